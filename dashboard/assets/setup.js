// Set-up: the light this phone shows, and Dash for the part that calls back, fetched when it is unfolded.
(() => {
  "use strict";
  const root = document.documentElement, buttons = [...document.querySelectorAll("[data-light]")];
  function mark() {
    const chosen = localStorage.getItem("light") || "auto";
    for (const one of buttons) one.setAttribute("aria-pressed", String(one.dataset.light === chosen));
  }
  for (const one of buttons) one.addEventListener("click", () => {
    const chosen = one.dataset.light;
    if (chosen === "auto") { localStorage.removeItem("light"); delete root.dataset.theme; }
    else { localStorage.setItem("light", chosen); root.dataset.theme = chosen; }
    mark();
  });
  mark();

  const calls = document.getElementById("calls");
  let asked = false;
  calls?.addEventListener("toggle", () => {
    if (!calls.open || asked) return;
    asked = true;
    const script = document.createElement("script"), words = calls.querySelector("#react-entry-point p");
    script.src = JSON.parse(document.getElementById("dash").textContent).script;
    script.onerror = () => {
      script.remove(); asked = false;
      words.textContent = "Holdwater cannot be reached: shut this and open it again later.";
    };
    document.head.append(script);
  });
})();
