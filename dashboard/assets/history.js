// Fetches the next view when a way to it is tapped. The server draws; Plotly takes its picture over when
// the chart is touched (or at leisure, where there is a mouse), so that values can be read off, a stretch
// drawn with the pointer, and a picture made. Every way is a plain link, so the room works without this.
(() => {
  "use strict";
  const $ = (id) => document.getElementById(id), chart = $("history-chart"), { fine } = study;
  let told = JSON.parse($("history-data").textContent), asking = null, taken = null;
  const wide = innerWidth > 830;

  async function draw() {
    if (taken) await study.draw(chart, told.figure);
    else chart.innerHTML = told.still;
  }
  async function part(query, options) {
    const answer = await fetch("?" + query + "&part=1" + (taken ? "&figure=1" : "") + (wide ? "&wide=1" : ""), options);
    if (!answer.ok) throw new Error(answer.status);
    return answer.json();
  }
  async function ask(query, remember = true) {
    asking?.abort();
    asking = new AbortController();
    document.body.dataset.asking = "";
    try {
      const focus = document.activeElement?.textContent;
      told = await part(query, { signal: asking.signal });
      $("history-title").textContent = told.title;
      $("history-dates").textContent = told.dates;
      $("history-chart-words").textContent = told.words;
      $("history-ways").innerHTML = told.ways;
      [...$("history-ways").querySelectorAll("a,button")].find((e) => e.textContent === focus)?.focus({ preventScroll: true });
      if (remember) history.pushState(null, "", "?" + told.here);
      await draw();
    } catch (error) {
      if (error.name === "AbortError") return;
      $("history-chart-words").textContent = "Holdwater cannot be reached: this is still the view before.";
    }
    delete document.body.dataset.asking;
  }

  // --- Plotly, once -------------------------------------------------------------------------
  function take() {
    taken ||= study.plotly().then(async () => {
      const here = told.here, fresh = await part(here);
      if (told.here === here) told = fresh;  // else another view is on its way, as a figure
      if (told.figure) await draw();
      chart.on("plotly_relayout", (moved) => {
        const ends = [moved["xaxis.range[0]"], moved["xaxis.range[1]"]];
        if (ends.every(Boolean)) ask(new URLSearchParams({ signal: new URLSearchParams(told.here).get("signal"), x0: ends[0], x1: ends[1] }).toString());
      });
      document.body.dataset.study = "";
    }).catch((error) => { taken = null; throw error; });
    return taken;
  }

  // A picture says by itself what it is of, whose, when, and in which unit.
  async function picture() {
    await take();
    const { data, layout } = study.dressed(told.figure), paper = getComputedStyle(document.body).backgroundColor;
    const whole = { ...layout, paper_bgcolor: paper, plot_bgcolor: paper, width: 720, height: 540, margin: { l: 60, r: 24, t: 112, b: 60 },
      annotations: [...layout.annotations, { text: wrap(told.picture), xref: "paper", yref: "paper", x: 0, y: 1, yshift: 98, xanchor: "left",
        yanchor: "top", align: "left", showarrow: false, font: { size: 14, color: layout.font.color } }] };
    const url = await Plotly.toImage({ data, layout: whole }, { format: "png", scale: 2, width: 720, height: 540 });
    const bytes = Uint8Array.from(atob(url.split(",")[1]), (c) => c.charCodeAt(0));
    const name = told.picture.split(".").slice(0, 2).join(" ").toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").slice(0, 90);
    const file = new File([bytes], name.replace(/^-|-$/g, "") + ".png", { type: "image/png" });
    if (!fine && navigator.canShare?.({ files: [file] })) return navigator.share({ files: [file], text: told.picture }).catch(() => {});
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file); link.download = file.name; link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10e3);
  }
  function wrap(words) {
    const lines = [""];
    for (const word of words.split(" ")) {
      if ((lines[lines.length - 1] + word).length > 80) lines.push("");
      lines[lines.length - 1] += word + " ";
    }
    return lines.slice(0, 4).map((line) => line.replace(/[<>&]/g, "")).join("<br>");
  }

  $("room").addEventListener("click", (e) => {
    const way = e.target.closest("[data-ask]");
    if (way && !e.ctrlKey && !e.metaKey) { e.preventDefault(); ask(way.getAttribute("href").slice(1)); }
    if (e.target.closest("#history-picture")) picture().catch(() => { $("history-chart-words").textContent = "Holdwater cannot be reached: no picture was made."; });
    if (e.target.closest("#history-chart") && !taken) study.touched(chart, e, take);
  });
  addEventListener("popstate", () => ask(location.search.slice(1), false));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => taken && draw());
  if (fine) {
    const leisure = window.requestIdleCallback || ((then) => setTimeout(then, 400));
    addEventListener("load", () => leisure(() => take().catch(() => {})));
  }
})();
