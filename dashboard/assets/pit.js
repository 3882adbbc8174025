/* The countdown and the list to tick: kept in this browser, for each match apart. A list starts empty. */
(function () {
  "use strict";

  const OFF_MIN = 2;  // minutes that a plan may be off (our choice: less than anything in it takes)

  function read(key) {
    try { return localStorage.getItem(key); } catch (refused) { return null; }
  }

  function write(key, value) {
    try { localStorage.setItem(key, value); } catch (refused) { /* kept for this page only */ }
  }

  function endOf(node) {
    const key = "afterbout-next-" + node.dataset.countdown;
    let end = Number(node.dataset.end || read(key));
    if (!end) {
      end = Date.now() + Number(node.dataset.minutes) * 60000;
      write(key, String(end));
    }
    node.dataset.end = String(end);
    return end;
  }

  function count() {
    document.querySelectorAll("[data-countdown]").forEach(function (node) {
      const left = Math.round((endOf(node) - Date.now()) / 1000);
      const size = Math.abs(left);
      const text = (left < 0 ? "−" : "") + Math.floor(size / 60) + ":" + String(size % 60).padStart(2, "0");
      if (node.textContent !== text) node.textContent = text;
      stale(left / 60);
    });
  }

  // What is ready in time was worked out for other minutes than are left: said, with the way to work it out again.
  function stale(left) {
    const told = document.querySelector("[data-stale]");
    if (!told) return;
    const planned = Number(told.dataset.stale);
    const now = Math.max(0, Math.floor(left));
    const off = Math.abs(planned - left) > OFF_MIN && now !== planned;
    if (told.hidden === off) told.hidden = !off;
    if (!off) return;
    const text = "This plan is for " + planned + " minutes; " + now + (now === 1 ? " is" : " are") + " left.";
    const said = told.querySelector(".names");
    if (said.textContent !== text) said.textContent = text;
    const link = told.querySelector("a");
    const href = "/pit?minutes=" + now;
    if (link.getAttribute("href") !== href) {
      link.setAttribute("href", href);
      link.textContent = "Plan for " + now + (now === 1 ? " minute" : " minutes");
    }
  }

  function tell() {
    const all = document.querySelectorAll("[data-tick]");
    if (!all.length) return;
    all.forEach(function (node) {
      const ticked = read("afterbout-tick-" + node.dataset.tick) === "1";
      if ((node.getAttribute("aria-checked") === "true") !== ticked) node.setAttribute("aria-checked", String(ticked));
    });
    const done = document.querySelectorAll('[data-tick][aria-checked="true"]').length;
    const forbidding = document.querySelectorAll('.ticks.first [data-tick][aria-checked="false"]').length;
    const said = document.querySelector(".ticked");
    const text = done + " of " + all.length + " ticked." + (forbidding ? " Do not power up." : "");
    if (said && said.textContent !== text) said.textContent = text;
  }

  document.addEventListener("click", function (event) {
    const tick = event.target.closest("[data-tick]");
    if (tick) {
      write("afterbout-tick-" + tick.dataset.tick, tick.getAttribute("aria-checked") === "true" ? "0" : "1");
      tell();
    }
    const shift = event.target.closest("[data-shift]");
    const node = document.querySelector("[data-countdown]");
    if (shift && node) {
      const by = Number(shift.dataset.shift) * 1000;
      const end = by ? endOf(node) + by : Date.now() + Number(node.dataset.minutes) * 60000;
      node.dataset.end = String(end);
      write("afterbout-next-" + node.dataset.countdown, String(end));
      count();
    }
  });
  setInterval(function () { count(); tell(); }, 250);
})();
