// Plotly for whoever touches a chart: fetched once, dressed for the light that the page is in.
window.study = (() => {
  "use strict";
  const told = JSON.parse(document.getElementById("study").textContent);
  const fine = matchMedia("(pointer: fine)").matches, TOUCH = "Tap a chart to read a value off it.";
  const theme = () => document.documentElement.dataset.theme || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "day");
  let library = null;

  // The server draws for the light; in the dark each colour has its counterpart.
  function dressed(figure) {
    let words = JSON.stringify(figure);
    if (theme() === "dark") for (const light in told.dark) words = words.replaceAll('"' + light + '"', '"' + told.dark[light] + '"');
    const mine = JSON.parse(words), timed = typeof mine.data[0]?.x[0] === "string";
    mine.layout.dragmode = fine && timed ? "zoom" : false;
    mine.layout.hovermode = timed ? "x unified" : "closest";
    mine.layout.xaxis.fixedrange = !fine;
    return mine;
  }
  function plotly() {
    library ||= new Promise((done, fail) => {
      const script = document.createElement("script");
      script.src = told.charts; script.onload = done;
      script.onerror = () => { library = null; script.remove(); fail(new Error("no chart library")); };
      document.head.append(script);
    });
    return library;
  }
  async function draw(chart, figure) {
    await plotly();
    const { data, layout } = dressed(figure);
    if (!chart.querySelector(".plot-container")) chart.replaceChildren();
    chart.style.height = layout.height + "px";
    await Plotly.react(chart, data, layout, told.config);
  }
  // The value under a finger that was there before the library was.
  function point(chart, x, y) {
    const box = chart.getBoundingClientRect(), { l, t } = chart._fullLayout._size;
    Plotly.Fx.hover(chart, { xpx: x - box.left - l, ypx: y - box.top - t }, "xy");
  }
  let hint = document.querySelector(".touch");
  if (!hint) {
    hint = document.createElement("p"); hint.className = "quiet touch"; hint.hidden = true;
    document.querySelector("[data-figure]")?.closest("figure").after(hint);
  }
  if (!fine && document.querySelector(".still path:not(.in-rule)")) { hint.textContent = TOUCH; hint.hidden = false; }
  async function touched(chart, event, take) {
    hint.textContent = "One moment…";
    try {
      await take();
      point(chart, event.clientX, event.clientY);
      hint.textContent = TOUCH;
    } catch (error) {
      hint.textContent = "Holdwater cannot be reached: values cannot be read off now.";
    }
  }

  // Rooms whose charts are only looked at: each is taken over when it is touched, or a mouse comes near.
  let figures = null;
  function taken(chart) {
    figures ||= fetch("?figures=1").then((answer) => { if (!answer.ok) throw new Error(answer.status); return answer.json(); })
      .catch((error) => { figures = null; throw error; });
    chart.taking ||= figures.then((all) => draw(chart, all[chart.dataset.figure])).catch((error) => { chart.taking = null; throw error; });
    return chart.taking;
  }
  for (const chart of document.querySelectorAll("[data-figure]")) {
    if (fine) chart.addEventListener("pointerenter", () => taken(chart).catch(() => {}), { once: true });
    else chart.addEventListener("click", (event) => { if (!chart.taking) touched(chart, event, () => taken(chart)); });
  }
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    for (const chart of document.querySelectorAll("[data-figure]")) if (chart.taking) figures.then((all) => draw(chart, all[chart.dataset.figure]));
  });
  return { fine, dressed, plotly, draw, touched };
})();
