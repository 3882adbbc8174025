/* Rows that were chosen for a comparison, kept while the page is open, through every redrawing of the table; and
   links in pieces of our own HTML that change the page without loading it anew. */
(function () {
  "use strict";

  const picked = new Set();

  function name(ids) {
    return ids.length === 1 ? ids[0] : ids.slice(0, -1).join(", ") + " and " + ids[ids.length - 1];
  }

  function tell() {
    const bar = document.querySelector("[data-picked]");
    if (!bar) { picked.clear(); return; }
    document.querySelectorAll("[data-pick]").forEach(function (box) {
      const on = String(picked.has(box.dataset.pick));
      if (box.getAttribute("aria-checked") !== on) box.setAttribute("aria-checked", on);
      const row = box.closest("tr");
      if (row && row.classList.contains("chosen") !== (on === "true")) row.classList.toggle("chosen", on === "true");
    });
    const ids = Array.from(picked);
    const text = ids.length ? name(ids) + " chosen" + (ids.length === 1 ? ": choose another to compare" : "") : "";
    const said = bar.querySelector(".names");
    if (said.textContent !== text) said.textContent = text;
    const link = bar.querySelector("a");
    const href = "/compare?" + ids.map(function (id, at) {
      return String.fromCharCode(97 + at) + "=" + encodeURIComponent(id);
    }).join("&");
    if (link.getAttribute("href") !== href) link.setAttribute("href", href);
    link.hidden = ids.length < 2;
    bar.hidden = !ids.length;
  }

  document.addEventListener("click", function (event) {
    const box = event.target.closest("[data-pick]");
    if (box) {
      const id = box.dataset.pick;
      if (!picked.delete(id) && picked.size < 26) picked.add(id);
      tell();
    }
    const link = event.target.closest("a[data-go], [data-picked] a");
    if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      history.pushState({}, "", link.getAttribute("href"));
      window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
      window.scrollTo(0, 0);
    }
  });

  let asked = false;
  new MutationObserver(function () {
    if (asked) return;
    asked = true;
    requestAnimationFrame(function () { asked = false; tell(); });
  }).observe(document.documentElement, { subtree: true, childList: true });
})();
