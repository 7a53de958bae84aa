// An exercise being played: moments are asked for one after the other, as fast as they come back.
(() => {
  "use strict";
  const charts = document.currentScript.dataset.charts, body = document.body, page = body.dataset;
  const $ = (id) => document.getElementById(id);
  if (!page.here) return;
  const begin = Number(page.begin), end = Number(page.end), scrub = $("scrub"), play = $("play");
  let at = begin, until = begin, playing = false, speed = Number($("speed").value), twin = false, view = "water", span = "six hours";
  let stops = [], from = Number(page.from) || 0, asked = 0, busy = false, again = false, done = false, last = performance.now(), ran = 0;
  const get = (what, more = {}) => fetch(page.here + "/" + what + "?" + new URLSearchParams({ t: Math.round(at), twin: twin ? 1 : 0, look: $("look").value, ...more }))
    .then((answer) => { if (answer.status === 404 || answer.redirected) location.reload(); if (!answer.ok) throw new Error(answer.status); return answer; });

  // --- one moment ----------------------------------------------------------------------------
  function put(key, html) {
    const old = $(key);
    if (!old) return;
    const opened = [...old.querySelectorAll("details")].map((d) => d.open);
    const focus = old.contains(document.activeElement) ? [...old.querySelectorAll("a,summary")].indexOf(document.activeElement) : -1;
    old.outerHTML = html;
    const fresh = $(key);
    fresh.querySelectorAll("details").forEach((d, i) => { d.open = opened[i] ?? false; });
    if (focus >= 0) fresh.querySelectorAll("a,summary")[focus]?.focus({ preventScroll: true });
  }
  function show(m) {
    page.flow = m.flow; page.mood = m.mood; page.seen = m.seen; until = m.until;
    for (const key in m.html || {}) put(key, m.html[key]);
    for (const key in m.slots) {
      const el = document.querySelector('[data-slot="' + CSS.escape(key) + '"]');
      if (el && el.textContent !== m.slots[key]) el.textContent = m.slots[key];
    }
    for (const key in m.fill) $(key)?.querySelector(".vessel")?.style.setProperty("--fill", m.fill[key]);
    for (const key in m.traces) {
      const svg = $(key)?.querySelector(".small svg");
      if (svg) drawPaths(svg, m.traces[key]);
    }
    $("clock").textContent = m.clock;
    scrub.setAttribute("aria-valuetext", m.clock);
  }
  const NS = "http://www.w3.org/2000/svg";
  function drawPaths(svg, paths) {
    while (svg.children.length > paths.length) svg.lastChild.remove();
    paths.forEach(([role, d], i) => {
      let path = svg.children[i];
      if (!path) { path = document.createElementNS(NS, "path"); svg.append(path); }
      path.setAttribute("class", role); path.setAttribute("d", d);
    });
  }
  async function moment() {
    if (busy) { again = true; return; }
    busy = true;
    try {
      do { again = false; show(await (await get("moment", { seen: page.seen })).json()); } while (again);
    } catch { pause(); $("made").textContent = "Holdwater cannot be reached; the exercise stands still."; }
    busy = false;
  }

  // --- the whole -----------------------------------------------------------------------------
  async function overview() {
    let o;
    try { o = await (await get("overview")).json(); } catch { setTimeout(overview, 3000); return; }
    drawPaths($("strip"), o.paths);
    $("strip").setAttribute("aria-label", o.words);
    $("ends").textContent = o.low ? o.low + " to " + o.high : "";
    until = o.until; done = o.done;
    const share = Math.floor(100 * (until - begin) / (end - begin));
    $("made").textContent = done ? "" : "Simulated so far: " + share + " %";
    stops = o.marks.filter((m) => m.kind === "called" || m.kind === "cleared").map((m) => m.at);
    $("coming").style.left = 100 * (until - begin) / (end - begin) + "%"; $("coming").hidden = done; $("coming").firstChild.hidden = share > 50;
    if (from && until >= from) { if (at === begin) go2(from); from = 0; }
    mendable();
    flags(o.marks);
    if ($("summary").textContent !== o.summary) $("summary").textContent = o.summary;
    const list = o.marks.map((m) => m.kind + m.says).join();
    if ($("marks").dataset.list !== list) {
      $("marks").dataset.list = list;
      $("marks").replaceChildren(...o.marks.map((m) => {
        const li = document.createElement("li"), go = document.createElement("button"), words = document.createElement("span");
        li.className = m.kind; words.textContent = m.says; go.textContent = "Go there"; go.type = "button";
        go.addEventListener("click", () => { pause(); go2(m.at + 1000); });
        go.setAttribute("aria-label", "Go there: " + m.says.slice(0, 60));
        li.append(words, go); return li;
      }));
    }
    $("what").hidden = !o.summary && !o.marks.length;
    if (!done) setTimeout(overview, 900);
  }
  // Once it was called it can be mended: at the moment that is looked at.
  function mendable() { const form = $("mend"); if (form) form.hidden = !stops.length || at < stops[0]; }
  $("mend")?.addEventListener("submit", (e) => { e.target.elements.t.value = Math.round(at); });
  function flags(marks) {
    const over = marks.some((m) => m.kind === "cleared");  // its word stands where the first one would
    const row = { shows: 1, mended: 1, other: 1, called: 2 }, taken = [-1, -1, -1];  // no word runs into another
    $("flags").replaceChildren(...marks.map((m) => {
      const el = document.createElement("span"), x = (m.at - begin) / (end - begin);
      el.className = m.kind + (x > 0.8 ? " late" : ""); el.style.left = 100 * x + "%";
      const r = row[m.kind] || 0, free = taken[r] < 0 || x - taken[r] > 0.17;
      if (free && m.kind !== "other" && !(m.kind === "onset" && over)) { taken[r] = x; el.append(Object.assign(document.createElement("b"), { textContent: m.word })); }
      return el;
    }), now);
    cursor();
  }
  const now = document.createElement("span"); now.className = "now";
  const cursor = () => { now.style.left = 100 * (at - begin) / (end - begin) + "%"; mendable(); };

  // --- time ----------------------------------------------------------------------------------
  function go2(t) { at = Math.min(Math.max(t, begin), until); scrub.value = at; cursor(); moment(); if (view !== "water") other(); }
  function pause() { playing = false; play.setAttribute("aria-pressed", "false"); play.firstChild.textContent = "Play"; }
  function start() { if (at >= end - 1000) at = begin; playing = true; last = performance.now(); play.setAttribute("aria-pressed", "true"); play.firstChild.textContent = "Pause"; }
  play.addEventListener("click", () => playing ? pause() : start());
  scrub.addEventListener("input", () => { at = Math.min(Number(scrub.value), until); scrub.value = at; cursor(); moment(); });
  scrub.addEventListener("change", () => { if (view !== "water") other(); });
  scrub.addEventListener("keydown", (e) => {
    const step = { ArrowLeft: -60e3, ArrowRight: 60e3, PageDown: -3600e3, PageUp: 3600e3 }[e.key];
    if (step) { e.preventDefault(); go2(at + step); }
  });
  $("speed").addEventListener("change", (e) => { speed = Number(e.target.value); });
  setInterval(() => {
    const t = performance.now(), gone = t - last; last = t;
    if (!playing) return;
    const next = Math.min(at + gone * speed, until);
    // the moment of the call, and of its end, is stopped at: it is what one is here to see
    const stop = stops.find((one) => at < one && next >= one);
    if (stop) { at = Math.min(stop + 1000, end); pause(); } else at = next;
    scrub.value = at; cursor(); moment();
    ran += gone;
    if (view !== "water" && ran > 3000) { ran = 0; other(); }
    if (at >= end || (done && at >= until)) pause();
  }, 250);

  // --- views ---------------------------------------------------------------------------------
  document.querySelectorAll(".tabs button").forEach((b) => b.addEventListener("click", () => {
    view = b.dataset.view;
    document.querySelectorAll(".tabs button").forEach((one) => one.setAttribute("aria-pressed", String(one === b)));
    document.querySelectorAll(".view").forEach((one) => { one.hidden = one.id !== "view-" + view; });
    if (view !== "water") other();
  }));
  document.querySelectorAll(".spans button").forEach((b) => b.addEventListener("click", () => {
    span = b.dataset.span;
    document.querySelectorAll(".spans button").forEach((one) => one.setAttribute("aria-pressed", String(one === b)));
    other();
  }));
  const dark = () => document.documentElement.dataset.theme ? document.documentElement.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  let loading = null;
  const plotting = () => loading ||= new Promise((good, bad) => {
    const s = document.createElement("script"); s.src = charts; s.onload = good; s.onerror = bad; document.head.append(s);
  });
  async function other() {
    const mine = ++asked;
    if (view === "beside") { const html = await (await get("beside", { span })).text(); if (mine === asked) $("beside").innerHTML = html; return; }
    const [found] = await Promise.all([get("runs", { dark: dark() ? 1 : 0 }).then((a) => a.json()), plotting()]);
    if (mine !== asked) return;
    const room = $("view-runs");
    if (!found.length) { room.replaceChildren(Object.assign(document.createElement("p"), { textContent: "No run so far." })); return; }
    if (room.children.length !== found.length || !room.querySelector(".chart")) room.replaceChildren(...found.map(part));
    found.forEach((one, i) => {
      const at = room.children[i];
      if (!one.figure) return;
      at.querySelector("figcaption").textContent = one.words;
      window.Plotly.react(at.querySelector(".chart"), one.figure.data, one.figure.layout, { displayModeBar: false, responsive: true, displaylogo: false, showSendToCloud: false });
    });
  }
  function part(one) {
    const block = document.createElement("section"), head = document.createElement("h" + Math.min(one.level + 1, 4));
    head.textContent = one.title; block.append(head);
    if (one.figure) {
      const figure = document.createElement("figure"), chart = document.createElement("div"), words = document.createElement("figcaption");
      chart.className = "chart"; chart.setAttribute("aria-hidden", "true"); chart.style.height = one.figure.layout.height + "px"; words.className = "quiet";
      figure.append(chart, words); block.append(figure);
    }
    return block;
  }
  $("look").addEventListener("change", () => { overview(); if (view === "beside") other(); });
  $("twin").addEventListener("click", (e) => { twin = !twin; e.currentTarget.setAttribute("aria-pressed", String(twin)); overview(); moment(); if (view !== "water") other(); });

  // --- the real plant meanwhile --------------------------------------------------------------
  setInterval(async () => {
    if (document.hidden) return;
    try { const own = await (await get("own")).json(); $("own").textContent = own.verdict; $("own").closest("a").dataset.mood = own.mood; } catch { /* the next one tells */ }
  }, 10000);
  document.addEventListener("visibilitychange", () => { if (document.hidden) pause(); });
  if ($("ask")) new IntersectionObserver(([one]) => document.querySelector(".to-ask").classList.toggle("there", one.isIntersecting), { rootMargin: "0px 0px -230px" }).observe($("ask"));
  $("what").hidden = true;
  moment(); overview();
  if (location.hash === "#answer") $("answer")?.focus();
})();
