/* Puts our own drawings into the page, keeps the light or dark choice, and says which run of the wiring was chosen.
   Every text inside a drawing was escaped where it was made. */
(function () {
  "use strict";

  window.dash_clientside = Object.assign(window.dash_clientside || {}, {
    afterbout: {
      // The span that a zoom chose; an event that is no zoom changes nothing.
      zoomed: function (event) {
        const chosen = event && ["xaxis.range", "xaxis.range[0]", "xaxis.autorange"].some((key) => key in event);
        return chosen ? event : window.dash_clientside.no_update;
      },
    },
  });

  // What is known again when a table or a picture is drawn anew: the keyboard stays where it was.
  function inFocus(node) {
    const at = document.activeElement;
    if (!at || at === node || !node.contains(at)) return "";
    const name = ["data-pick", "data-run", "href"].find((each) => at.hasAttribute(each));
    return name ? "[" + name + '="' + CSS.escape(at.getAttribute(name)) + '"]' : "";
  }

  function draw(node) {
    const markup = node.getAttribute("data-svg");
    if (markup !== null && node.drawnFrom !== markup) {
      const focused = inFocus(node);
      node.drawnFrom = markup;
      node.innerHTML = markup;
      const same = focused && node.querySelector(focused);
      if (same) same.focus({ preventScroll: true });
    }
  }

  function drawAll(root) {
    if (root.nodeType !== 1) return;
    if (root.hasAttribute("data-svg")) draw(root);
    root.querySelectorAll("[data-svg]").forEach(draw);
  }

  new MutationObserver(function (changes) {
    for (const change of changes) {
      if (change.type === "attributes") draw(change.target);
      else change.addedNodes.forEach(drawAll);
    }
  }).observe(document.documentElement, {
    subtree: true, childList: true, attributes: true, attributeFilter: ["data-svg"],
  });

  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const narrow = window.matchMedia("(max-width: 1099px)");

  function kept() {
    try { return localStorage.getItem("afterbout-theme"); } catch (refused) { return null; }
  }

  function isDark() {
    const choice = document.documentElement.dataset.theme;
    return choice ? choice === "dark" : dark.matches;
  }

  // The span of time that the traces of this match show, so that drawing them anew does not lose it.
  function shownWindow() {
    const graph = document.querySelector("#traces .js-plotly-plot");
    const axis = graph && graph._fullLayout && graph._fullLayout.xaxis;
    if (!axis || !Array.isArray(axis.range)) return null;
    return { token: location.pathname.split("/").pop(), range: axis.range.slice() };
  }

  // A page that draws fetches the plot library beside everything else; the framework, which asks for it last, then
  // finds it in the browser's store.
  if (/^\/(match|whatif)\/[0-9a-f]{12}$/.test(location.pathname)) {
    fetch("/_dash-component-suites/plotly/package_data/plotly.min.js", { priority: "low" }).catch(function () {});
  }

  function tell() {
    const button = document.getElementById("theme");
    if (!button || !window.dash_clientside || !window.dash_clientside.set_props) return false;
    button.textContent = isDark() ? "Light" : "Dark";
    window.dash_clientside.set_props("view", { data: { dark: isDark(), narrow: narrow.matches, window: shownWindow() } });
    return true;
  }

  const choice = kept();
  if (choice === "dark" || choice === "light") document.documentElement.dataset.theme = choice;
  dark.addEventListener("change", tell);
  narrow.addEventListener("change", tell);
  const waiting = setInterval(function () { if (tell()) clearInterval(waiting); }, 50);

  function switchTheme() {
    const next = isDark() ? "light" : "dark";
    document.documentElement.dataset.theme = next;
    try { localStorage.setItem("afterbout-theme", next); } catch (refused) { /* kept for this page only */ }
    tell();
  }

  function chooseRun(target) {
    const run = target.closest && target.closest("[data-run]");
    if (!run) return false;
    document.querySelectorAll("[data-run].chosen").forEach(function (n) { n.classList.remove("chosen"); });
    document.querySelectorAll('[data-run="' + CSS.escape(run.dataset.run) + '"]').forEach(function (n) {
      n.classList.add("chosen");
    });
    const step = document.querySelector('[data-stepper="' + CSS.escape(run.dataset.run) + '"] button');
    if (step) step.focus();
    window.dash_clientside.set_props("run-chosen", { data: run.dataset.run });
    return true;
  }

  function still() { return window.matchMedia("(prefers-reduced-motion: reduce)").matches; }

  document.addEventListener("click", function (event) {
    if (event.target.closest("#theme")) switchTheme();
    if (event.target.closest(".event, .finding")) {
      const traces = document.getElementById("traces-part");
      if (traces) traces.scrollIntoView({ behavior: still() ? "auto" : "smooth", block: "start" });
    }
    chooseRun(event.target);
  });
  document.addEventListener("keydown", function (event) {
    if ((event.key === "Enter" || event.key === " ") && chooseRun(event.target)) event.preventDefault();
  });
})();
