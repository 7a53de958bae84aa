// Starts Dash in its mount point and tells it about the screen it draws for.
// Which of a row of buttons is pressed: the one just clicked, or the one that was.
function pressed(clicks, ids, held) {
  const by = window.dash_clientside.callback_context.triggered_id;
  const value = by && clicks.some(Boolean) ? by.key : held;
  return [value, ids.map((id) => String(id.key === value))];
}
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  screen: {
    told: () => ({
      dark: document.documentElement.dataset.theme ? document.documentElement.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches,
      fine: matchMedia("(pointer: fine)").matches,
      wide: innerWidth > 830,
    }),
    pick: (clicks, ids, held) => pressed(clicks, ids, held),
    light: (clicks, ids) => {
      const [chosen, marks] = pressed(clicks, ids, localStorage.getItem("light") || "auto");
      const root = document.documentElement;
      if (chosen === "auto") { localStorage.removeItem("light"); delete root.dataset.theme; }
      else { localStorage.setItem("light", chosen); root.dataset.theme = chosen; }
      return [chosen, marks];
    },
  },
});
// An address with a place in the page (#do) is gone to once that place is drawn.
if (location.hash) new MutationObserver((_, watching) => {
  const place = document.getElementById(location.hash.slice(1));
  if (place) { watching.disconnect(); setTimeout(() => place.scrollIntoView(), 300); }
}).observe(document.getElementById("react-entry-point"), { childList: true, subtree: true });
new DashRenderer();
