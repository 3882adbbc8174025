/* Pictures to take away: our drawings as SVG and PNG in the tones of the page, the traces through plotly.
   Everything is made in the browser from what the server of this page sent. */
(function () {
  "use strict";

  function isDark() {
    const choice = document.documentElement.dataset.theme;
    return choice ? choice === "dark" : window.matchMedia("(prefers-color-scheme: dark)").matches;
  }

  function inTones(address) {
    return isDark() ? address + (address.includes("?") ? "&" : "?") + "dark=1" : address;
  }

  function save(address, name) {
    const link = document.createElement("a");
    link.href = address;
    link.download = name;
    document.body.appendChild(link);
    link.click();
    link.remove();
  }

  function paper() { return getComputedStyle(document.documentElement).backgroundColor; }

  async function fontRule() {
    const answer = await fetch("/assets/fonts/atkinson-hyperlegible-next-600.woff2");
    if (!answer.ok) return "";
    const bytes = new Uint8Array(await answer.arrayBuffer());
    let text = "";
    for (const byte of bytes) text += String.fromCharCode(byte);
    return '<style>@font-face{font-family:"Atkinson Hyperlegible Next";src:url(data:font/woff2;base64,' + btoa(text)
      + ')}</style>';
  }

  async function png(address, name) {
    const answer = await fetch(inTones(address));
    if (!answer.ok) throw new Error(await answer.text());
    const text = await answer.text();
    const end = text.indexOf(">") + 1;
    const box = text.slice(0, end).match(/viewBox="0 0 ([\d.]+) ([\d.]+)"/);
    const own = text.slice(0, end) + (await fontRule()) + text.slice(end);
    const picture = new Image();
    const source = URL.createObjectURL(new Blob([own], { type: "image/svg+xml" }));
    try {
      picture.src = source;
      await picture.decode();
      const canvas = document.createElement("canvas");
      canvas.width = 2 * Math.ceil(Number(box[1]));
      canvas.height = 2 * Math.ceil(Number(box[2]));
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      const blob = await new Promise((done) => canvas.toBlob(done, "image/png"));
      const made = URL.createObjectURL(blob);
      save(made, name + ".png");
      setTimeout(() => URL.revokeObjectURL(made), 10000);
    } finally {
      URL.revokeObjectURL(source);
    }
  }

  async function plot(id, kind, name) {
    const graph = document.querySelector("#" + CSS.escape(id) + " .js-plotly-plot");
    if (!graph || !window.Plotly) return;
    const shape = { format: kind, width: graph.clientWidth, height: graph.clientHeight, scale: kind === "png" ? 2 : 1 };
    const figure = { data: graph.data, layout: Object.assign({}, graph.layout, { paper_bgcolor: paper() }) };
    save(await window.Plotly.toImage(figure, shape), name + "." + kind);
  }

  document.addEventListener("click", function (event) {
    const at = event.target.closest("[data-png], [data-plot], a[data-picture]");
    if (!at) return;
    if (at.matches("a[data-picture]")) {
      event.preventDefault();
      save(inTones(at.getAttribute("href")), "");
      return;
    }
    const said = at.textContent;
    at.textContent = "making it";
    const made = at.dataset.png ? png(at.dataset.png, at.dataset.name)
      : plot(at.dataset.plot, at.dataset.kind, at.dataset.name);
    made.then(() => { at.textContent = said; }, () => { at.textContent = said + ": not possible"; });
  });
})();
