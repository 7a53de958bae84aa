// Starts Dash in its mount point. Which of a row of buttons is pressed: the one just clicked, or the one that was.
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  screen: {
    pick: (clicks, ids, held) => {
      const by = window.dash_clientside.callback_context.triggered_id;
      const value = by && clicks.some(Boolean) ? by.key : held;
      return [value, ids.map((id) => String(id.key === value))];
    },
  },
});
new DashRenderer();
