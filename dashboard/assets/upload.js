/* Files to the server in pieces, and the page that says how they are read. Nothing is kept in the browser. */
(function () {
  "use strict";

  const TRIES = 5;
  const WAIT_MS = 1000;
  let sending = Promise.resolve();
  let shown = null;

  function say(text) {
    document.querySelectorAll("[data-said]").forEach(function (node) { node.textContent = text; });
  }

  function pause(ms) { return new Promise(function (done) { setTimeout(done, ms); }); }

  function go(href) {
    history.pushState({}, "", href);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  async function ask(path, options) {
    let answer;
    try { answer = await fetch(path, options); } catch (broken) { return { broken: true }; }
    let body = {};
    try { body = await answer.json(); } catch (none) { body = { error: "The server answered with " + answer.status + "." }; }
    if (!answer.ok) body.error = body.error || "The server answered with " + answer.status + ".";
    body.status = answer.status;
    return body;
  }

  async function begin(draft, file) {
    return ask("/upload/begin", {
      method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ draft: draft, name: file.name, size: file.size }),
    });
  }

  async function sendPieces(begun, file) {
    let at = 0;
    let tries = 0;
    while (at < file.size) {
      const piece = file.slice(at, at + begun.piece);
      const answer = await ask("/upload/" + begun.draft + "/" + begun.file + "?at=" + at, {
        method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: piece,
      });
      if (answer.broken || answer.status === 409) {
        tries += 1;
        if (tries > TRIES) return "The connection broke off. Choose the file again.";
        if (answer.have !== undefined && answer.have !== null) at = answer.have; else await pause(WAIT_MS);
        continue;
      }
      if (answer.error) return answer.error;
      tries = 0;
      at = answer.have;
    }
    return "";
  }

  async function sendAll(files) {
    const node = document.getElementById("adding");
    let draft = node ? node.dataset.draft || null : null;
    const begun = [];
    let wrong = "";
    for (const file of files) {
      const answer = await begin(draft, file);
      if (answer.broken) { wrong = "The server does not answer. Is it still running?"; break; }
      if (answer.error) { wrong = file.name + ": " + answer.error; break; }
      draft = answer.draft;
      if (!answer.refused) begun.push([answer, file]);
    }
    if (draft) {
      if (node) { node.dataset.draft = draft; history.replaceState({}, "", "/add?draft=" + draft); look(node, true); }
      else go("/add?draft=" + draft);
    }
    say(wrong);
    for (const [answer, file] of begun) {
      const failed = await sendPieces(answer, file);
      if (failed) {
        wrong = file.name + ": " + failed;
        const form = new URLSearchParams({ do: "leave:" + answer.file });
        await ask("/upload/" + draft, { method: "POST", body: form });
      }
    }
    say(wrong);
    const now = document.getElementById("adding");
    if (now) look(now, true);
  }

  function send(list) {
    const files = Array.from(list);
    if (!files.length) return;
    sending = sending.then(function () { return sendAll(files); });
  }

  /* The page below the field */

  /* Whether somebody changed it since the server wrote it. */
  function touched(each) {
    if (each.type === "checkbox") return each.checked !== each.defaultChecked;
    if (each.tagName !== "SELECT") return each.value !== each.defaultValue;
    const first = Array.from(each.options).find(function (o) { return o.defaultSelected; }) || each.options[0];
    return !first || each.value !== first.value;
  }

  function controls(node) { return Array.from(node.querySelectorAll("input[name], select[name]")); }

  /* A new state of the page; what was typed since the last one stays typed, and the focus stays where it was. */
  function put(node, html) {
    const before = document.activeElement;
    const mine = before && node.contains(before);
    const key = function (each) { return each.name + "\n" + (each.tagName === "BUTTON" ? each.value : ""); };
    const fell = away !== "" && (!before || before === document.body || (mine && before.tagName[0] === "H"));
    const wanted = fell ? away : mine ? key(before) : "";
    const typed = new Map(controls(node).map(function (each) { return [each.name, each]; }));
    node.innerHTML = html;
    controls(node).forEach(function (each) {
      const old = typed.get(each.name);
      if (!old || !touched(old)) return;
      if (each.type === "checkbox") each.checked = old.checked;
      else if (each.tagName !== "SELECT" || Array.from(each.options).some(function (o) { return o.value === old.value; })) {
        each.value = old.value;
      }
      if (each.matches("[data-else]")) other(each);
    });
    if (!mine && !fell) return;
    const same = Array.from(node.querySelectorAll("button, input, select")).find(function (each) {
      return key(each) === wanted;
    });
    away = same ? "" : wanted;  // the control is away while its file is read: it gets the focus back
    const next = same || node.querySelector("h2, h1");
    if (next) { if (next.tagName[0] === "H") next.tabIndex = -1; next.focus({ preventScroll: true }); }
  }

  function other(select) {
    const box = select.closest(".asked").querySelector(".else");
    if (box) box.hidden = select.value !== "else";
  }

  function take(node, answer) {
    if (answer.go) { shown = null; go(answer.go); return; }
    if (answer.error) {
      node.innerHTML = "";
      const told = document.createElement("p");
      told.className = "stopped";
      told.textContent = answer.error;
      node.append(told);
      node.dataset.draft = "";
      return;
    }
    if (answer.html !== undefined) { put(node, answer.html); node.dataset.seen = String(answer.version); }
    plan(node, answer.again || 1000);
  }

  let away = "";
  let timer = 0;
  let posting = false;

  function plan(node, ms) {
    clearTimeout(timer);
    timer = setTimeout(function () { look(node, false); }, ms);
  }

  async function look(node, anew) {
    const draft = node.dataset.draft;
    if (!draft || !node.isConnected) return;
    clearTimeout(timer);
    const seen = anew ? "" : node.dataset.seen || "";
    const answer = await ask("/upload/" + draft + "?seen=" + seen, {});
    if (!node.isConnected || node.dataset.draft !== draft) return;
    if (answer.broken) { say("The server does not answer. Is it still running?"); plan(node, 2000); return; }
    take(node, answer);
  }

  async function post(node, form, action) {
    const values = new URLSearchParams(new FormData(form));
    values.set("do", action);
    if (posting) return;  // a second press while the first is under way; a disabled button would lose the focus
    posting = true;
    const answer = await ask("/upload/" + node.dataset.draft, { method: "POST", body: values });
    posting = false;
    if (answer.broken) { say("The server does not answer. Is it still running?"); return; }
    if (answer.error && answer.status !== 404) { say(answer.error); look(node, true); return; }
    say("");
    take(node, answer);
  }

  /* Events */

  function field() { return document.querySelector("[data-drop]"); }

  document.addEventListener("dragover", function (event) {
    const drop = field();
    if (!drop || !event.dataTransfer || !Array.from(event.dataTransfer.types).includes("Files")) return;
    event.preventDefault();
    event.dataTransfer.dropEffect = "copy";
    drop.classList.add("over");
  });
  document.addEventListener("dragleave", function (event) {
    if (event.relatedTarget === null && field()) field().classList.remove("over");
  });
  document.addEventListener("drop", function (event) {
    const drop = field();
    if (!drop || !event.dataTransfer) return;
    event.preventDefault();
    drop.classList.remove("over");
    const items = Array.from(event.dataTransfer.items || []);
    const folders = items.filter(function (item) {
      const entry = item.webkitGetAsEntry && item.webkitGetAsEntry();
      return entry && entry.isDirectory;
    });
    if (folders.length) { say("That is a folder: open it and drop the files in it."); return; }
    send(event.dataTransfer.files);
  });
  document.addEventListener("click", function (event) {
    if (event.target.closest("[data-choose]")) {
      const input = document.createElement("input");
      input.type = "file";
      input.multiple = true;
      input.addEventListener("change", function () { send(input.files); });
      input.click();
      return;
    }
  });
  document.addEventListener("change", function (event) {
    const node = event.target.closest("#adding");
    if (!node) return;
    if (event.target.matches("[data-else]")) other(event.target);
    if (event.target.matches("[data-again]")) post(node, event.target.form, "again");
  });
  document.addEventListener("submit", function (event) {
    const node = event.target.closest("#adding");
    if (!node || !event.target.matches("[data-adding]")) return;
    event.preventDefault();
    post(node, event.target, event.submitter ? event.submitter.value : "again");
  });

  new MutationObserver(function () {
    const node = document.getElementById("adding");
    if (node === shown) return;
    shown = node;
    if (node && node.dataset.draft) look(node, true);
  }).observe(document.documentElement, { subtree: true, childList: true });
})();
