// Renews the parts of a page that changed, every ten seconds, without touching
// what a person is typing, and says so when the daemon stops answering.
"use strict";
(() => {
  const every = 10000;
  const old = 35000; // three missed turns
  let heard = Date.now();
  let busy = false;

  const lost = () => {
    const note = document.getElementById("lost");
    if (Date.now() - heard < old) {
      note.hidden = true;
      return;
    }
    const at = new Date(heard).toLocaleTimeString([], {hour: "2-digit", minute: "2-digit", timeZoneName: "short"});
    const since = document.getElementById("lost-since");
    if (since.textContent !== at) since.textContent = at;
    note.hidden = false;
  };

  // A part is left alone while somebody is in it, so that a name half typed
  // or a text half read does not vanish.
  const inUse = (part) =>
    part.contains(document.activeElement) && document.activeElement.matches("input, button, summary, pre");

  const swap = (page) => {
    document.title = page.title;
    document.documentElement.className = page.documentElement.className;
    for (const part of document.querySelectorAll("[data-renew]")) {
      const next = page.getElementById(part.id);
      if (!next || inUse(part) || part.querySelector("details[open]")) continue;
      if (next.outerHTML !== part.outerHTML) part.replaceWith(document.adoptNode(next));
    }
  };

  const renew = async () => {
    if (busy || document.hidden) return;
    busy = true;
    try {
      const answer = await fetch(location.href, {headers: {Accept: "text/html"}, cache: "no-store", signal: AbortSignal.timeout(8000)});
      if (answer.status < 500) heard = Date.now();
      if (answer.ok) {
        swap(new DOMParser().parseFromString(await answer.text(), "text/html"));
      }
    } catch {
      // The next turn tries again; lost() tells the person.
    } finally {
      busy = false;
      lost();
    }
  };

  setInterval(renew, every);
  document.addEventListener("visibilitychange", renew);
})();
