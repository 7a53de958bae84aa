// The light this phone was set to, before the first paint.
{ const light = localStorage.getItem("light"); if (light) document.documentElement.dataset.theme = light; }
