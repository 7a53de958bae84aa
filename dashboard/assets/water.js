// Live values for the text that the server already drew. No library; a page without this script
// still says everything, only not by the second.
(() => {
  "use strict";
  const body = document.body, page = body.dataset;
  const LIVE_MS = 30 * 60e3, WIDTH = 320, HEIGHT = 56;
  const made = Number(page.now), kept = made < Date.now() - 10e3;  // a page that the phone had kept
  let skew = kept ? 0 : made - Date.now();  // the server's clock less the phone's
  let newest = Number(page.newest) || null, heard = Math.min(made, Date.now()), source = null, wait = 1000, timer = null;
  const $ = (selector, root = document) => root.querySelector(selector);

  const span = (s) => s < 180 ? Math.round(s) + " s" : s < 5970 ? Math.round(s / 60) + " min"
    : s < 172800 ? Math.round(s / 3600) + " h" : Math.round(s / 86400) + " days";

  // How old the newest reading is: at the page's head, and by the rooms once the head is scrolled away.
  function age() {
    const s = newest === null ? null : Math.max(0, (Date.now() + skew - newest) / 1000);
    const words = s === null ? "no reading yet" : s < 1.5 ? "heard just now" : "heard " + span(s) + " ago";
    for (const el of [$("#age"), $(".heard")]) if (el && el.textContent !== words) el.textContent = words;
  }
  if ($("header.sky")) new IntersectionObserver(([head]) => body.toggleAttribute("data-past", !head.isIntersecting)).observe($("header.sky"));

  function link(state) {
    page.link = state;
    if (state === "lost") page.flow = "unknown";  // nothing moves in what is only remembered
    const el = $(".lost");
    if (el) el.textContent = state === "lost" ? "Holdwater cannot be reached. What stands here is " + span((Date.now() - heard) / 1000) + " old." : "";
  }

  // --- the live saw-tooth -------------------------------------------------------------------
  let saw = null;
  function find() {
    const svg = $("svg[data-live]");
    if (!svg) { saw = null; return; }
    const { points, span } = JSON.parse(svg.dataset.live);
    saw = { path: $(".live", svg), points, span };
  }
  function draw() {
    if (!saw) return;
    const now = Date.now() + skew, [low, high] = saw.span;
    saw.points = saw.points.filter((p) => p[0] > now - LIVE_MS);
    saw.path.setAttribute("d", saw.points.map(([t, v], i) =>
      (i ? "L" : "M") + (WIDTH * (1 - (now - t) / LIVE_MS)).toFixed(1) + " " +
      Math.min(HEIGHT, Math.max(0, HEIGHT - 2 - (v - low) / (high - low) * (HEIGHT - 4))).toFixed(1)).join(""));
  }

  // --- messages ----------------------------------------------------------------------------
  function put(key, html) {
    if (key === "first") { $("#first").innerHTML = html; return; }
    const old = document.getElementById(key);
    if (!old) return location.reload();  // another column: the plant file was changed
    const opened = [...old.querySelectorAll("details")].map((d) => d.open), focus = old.contains(document.activeElement)
      ? [...old.querySelectorAll("a,summary")].indexOf(document.activeElement) : -1;
    old.outerHTML = html;
    const fresh = document.getElementById(key);
    fresh.querySelectorAll("details").forEach((d, i) => { d.open = opened[i] ?? false; });
    if (focus >= 0) fresh.querySelectorAll("a,summary")[focus]?.focus({ preventScroll: true });
  }
  function verdictMark() {
    const h = $("#verdict"), there = $("svg", h), wrong = page.mood === "wrong";
    if (wrong && !there) h.insertAdjacentHTML("afterbegin", '<svg viewBox="0 0 24 24" class="mark" aria-hidden="true"><path d="M12 2.5Q5 11 5 15.2A7 7 0 0 0 12 22a7 7 0 0 0 7-6.8Q19 11 12 2.5ZM12 9v5M12 17.6v.1"/></svg>');
    if (!wrong && there) there.remove();
  }
  function take(event) {
    const m = JSON.parse(event.data);
    heard = Date.now(); skew = m.now - heard; wait = 1000;
    if (page.link !== "live") link("live");
    if (m.trouble) return;
    newest = m.newest; page.flow = m.flow; page.mood = m.mood;
    if ($(".column")) {
      for (const key in m.html || {}) put(key, m.html[key]);
      if (m.html) find();
      for (const key in m.fill || {}) document.getElementById(key)?.querySelector(".vessel")?.style.setProperty("--fill", m.fill[key]);
      if (saw && m.points) { saw.points.push(...m.points.filter((p) => !saw.points.length || p[0] > saw.points[saw.points.length - 1][0])); draw(); }
    }
    for (const key in m.slots || {}) {
      const el = $('[data-slot="' + CSS.escape(key) + '"]');
      if (el && el.textContent !== m.slots[key]) el.textContent = m.slots[key];
    }
    if (m.seen) page.seen = m.seen;
    verdictMark(); age();
    body.dispatchEvent(new CustomEvent("heard", { detail: m }));
  }
  function open() {
    close();
    if (document.hidden) return;
    source = new EventSource(page.live + "?seen=" + (page.seen || ""));
    source.onmessage = take;
    source.onerror = () => { close(); if (Date.now() - heard > 4000) link("lost"); whoAmI(); timer = setTimeout(open, wait); wait = Math.min(wait * 1.6, 8000); };
  }
  // A stream that fails may mean that this phone was signed out: then the page goes to the door.
  async function whoAmI() {
    const answer = await fetch(location.href, { method: "HEAD", redirect: "manual" }).catch(() => null);
    if (answer && (answer.type === "opaqueredirect" || answer.status === 401)) location.reload();
  }
  // What stands here now is what the phone shows when it next finds no server (worker.js).
  async function keep() {
    if (!("caches" in window) || page.link !== "live" || !$(".column") || !navigator.serviceWorker?.controller) return;
    const copy = document.documentElement.cloneNode(true), its = $("body", copy).dataset;
    its.now = Math.round(heard); its.newest = newest ?? ""; delete its.link;
    if (saw) $("svg[data-live]", copy).dataset.live = JSON.stringify({ points: saw.points, span: saw.span });
    const words = new Response("<!doctype html>" + copy.outerHTML, { headers: { "Content-Type": "text/html; charset=utf-8" } });
    await (await caches.open("pages-1")).put(location.origin + location.pathname, words);
  }
  function close() { clearTimeout(timer); if (source) { source.close(); source = null; } }

  document.addEventListener("visibilitychange", () => { if (document.hidden) { keep(); close(); } else { wait = 1000; open(); } });
  addEventListener("online", open);
  // An open stream may outlive the network by a while: a new one tells whether the server, which may be this machine, is there.
  addEventListener("offline", () => { close(); link("lost"); timer = setTimeout(open, wait); });
  addEventListener("pageshow", (e) => { if (e.persisted) open(); });
  setInterval(() => {
    age(); draw();
    const quiet = Date.now() - heard;
    if (page.link === "lost") link("lost");
    if (source && quiet > 20000) { link("lost"); open(); }
  }, 1000);
  // "More" closes as a sheet does: by a tap beside it, or by Escape.
  const far = $(".far");
  addEventListener("click", (e) => { if (far?.open && !far.contains(e.target)) far.open = false; });
  addEventListener("keydown", (e) => { if (e.key === "Escape" && far?.open) { far.open = false; $("summary", far).focus(); } });
  const theme = localStorage.getItem("light");
  if (theme) document.documentElement.dataset.theme = theme;
  if ($(".column")) find();
  if (kept) link("lost");
  open();
  navigator.serviceWorker?.register("/worker.js").catch(() => {});  // over plain HTTP there is none
})();
