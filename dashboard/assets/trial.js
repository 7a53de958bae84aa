// Renews a guided test's page each two seconds while a step is being watched, and goes on when the
// readings suffice. Without this script "Go on" and the page's own reload do the same.
(() => {
  "use strict";
  let busy = false;
  setInterval(async () => {
    const box = document.getElementById("trial");
    if (!box?.dataset.part || busy || document.hidden) return;
    if (box.dataset.next) { location.replace(box.dataset.next); busy = true; return; }
    busy = true;
    try {
      const answer = await fetch(box.dataset.part);
      if (answer.ok && !document.activeElement?.closest("#trial")) box.outerHTML = await answer.text();
      else if (answer.ok) {  // somebody is at a button: only the figures change beneath it
        const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("trial");
        for (const part of [".figure", "[role=status]", "progress", "dl"]) {
          const old = box.querySelector(part), now = fresh.querySelector(part);
          if (old && now) old.replaceWith(now);
        }
        if (fresh.dataset.next) box.dataset.next = fresh.dataset.next;
      }
    } catch { /* the network is away: the next try tells */ }
    busy = false;
  }, 2000);
})();
