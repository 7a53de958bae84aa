// Renews the reading each second while somebody turns the valve, and prints the plan. Without this
// script the page shows the reading as of its loading.
(() => {
  "use strict";
  document.getElementById("print")?.addEventListener("click", () => print());
  let busy = false;
  const target = new URLSearchParams(location.search).get("target") ?? "";
  setInterval(async () => {
    const box = document.getElementById("mix");
    if (!box || busy || document.hidden) return;
    busy = true;
    try {
      const answer = await fetch(location.pathname + "?part=1&target=" + encodeURIComponent(target));
      if (answer.ok) box.outerHTML = await answer.text();
    } catch { /* the network is away: the age in the head tells */ }
    busy = false;
  }, 1000);
})();
