// Findings and logbook, better with a script: forms are sent without leaving the page, and the page is
// renewed when something changed, unless somebody is writing. Without it all works by plain forms.
(() => {
  "use strict";
  const box = () => document.getElementById("story");
  const here = location.pathname;
  let asking = false, asked = Date.now();
  const part = { headers: { "X-Part": "1" } };

  function put(html) {
    const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("story");
    if (!fresh) return false;
    const top = scrollY, focus = box().contains(document.activeElement) ? document.activeElement : null;
    const href = focus?.getAttribute("href");
    box().replaceWith(fresh);
    if (href) fresh.querySelector('a[href="' + CSS.escape(href) + '"]')?.focus({ preventScroll: true });
    scrollTo(0, top);
    return true;
  }
  const writing = () => box().querySelector("details.act[open]") || document.activeElement?.closest("#story form, #story summary");

  async function renew() {
    if (asking || document.hidden || Date.now() - asked < 3000 || writing()) return;
    asking = true; asked = Date.now();
    try {
      const answer = await fetch(here + "?seen=" + box().dataset.version, part);
      if (answer.status === 200 && !writing()) put(await answer.text());
    } catch { /* the network is away: the next word from the server tells */ }
    asking = false;
  }
  document.body.addEventListener("heard", renew);

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!box()?.contains(form) || form.method !== "post") return;
    event.preventDefault();
    form.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form, event.submitter)), ...part });
      if (!answer.ok || !put(await answer.text())) { form.removeAttribute("aria-busy"); form.submit(); return; }
      const told = box().querySelector(".answer, .alarm, .pipe li:last-child");
      if (told) { told.tabIndex = -1; told.focus({ preventScroll: true }); }
    } catch {
      form.removeAttribute("aria-busy");
      let said = form.querySelector(".answer");
      if (!said) { said = document.createElement("p"); said.className = "answer"; said.setAttribute("role", "alert"); form.append(said); }
      said.textContent = "Holdwater cannot be reached. Nothing was sent; try again.";
    }
  });
})();
