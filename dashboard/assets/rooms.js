// Starts Dash in its mount point and tells it about the screen it draws for.
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  screen: {
    told: () => ({
      dark: document.documentElement.dataset.theme ? document.documentElement.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches,
      fine: matchMedia("(pointer: fine)").matches,
      wide: innerWidth > 830,
    }),
    light: (chosen) => {
      const root = document.documentElement;
      if (chosen === undefined || chosen === null) return localStorage.getItem("light") || "auto";
      if (chosen === "auto") { localStorage.removeItem("light"); delete root.dataset.theme; }
      else { localStorage.setItem("light", chosen); root.dataset.theme = chosen; }
      return chosen;
    },
  },
});
new DashRenderer();
