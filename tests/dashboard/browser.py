"""Real Chromium for the tests of pages and printing; skipped with the reason where there is none, a failure on CI."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import pytest
from dash import Dash
from waitress.server import create_server

from dashboard.serving import LOOPBACK, guard

try:
    from playwright.sync_api import Error as PageError
except ImportError:  # the tests that need it say so themselves

    class PageError(Exception):  # type: ignore[no-redef]
        """Nothing raises it."""


# How long a condition may take to come true: only a test that fails waits for so long, however busy the machine is.
PATIENCE_S = 90.0
# Resolves when the page has not changed for a moment. The moment is counted by the page's own loop, behind whatever it
# still has to do, so that a busy machine stretches it.
RESTS = """() => new Promise((done) => {
  let timer;
  const again = () => { clearTimeout(timer); timer = setTimeout(look, 200); };
  const watch = new MutationObserver(again);
  const look = () => {
    if (document.readyState !== 'complete' || document.getAnimations().some((a) => a.playState === 'running')) {
      return again();
    }
    watch.disconnect();
    document.fonts.ready.then(() => requestAnimationFrame(() => done()));
  };
  watch.observe(document, { subtree: true, childList: true, attributes: true, characterData: true });
  again();
})"""

ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-quic",
    "--disable-sync",
    "--disable-component-update",
]


def missing(reason: str) -> None:
    if os.environ.get("CI") == "true":
        pytest.fail(f"{reason}; the browser tests must run on CI")
    pytest.skip(reason)


@contextmanager
def chromium() -> Iterator[object]:
    """A started browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed")
        raise
    path = next((p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if p), None)
    if path is None:
        missing("no Chromium on this machine")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=ARGS)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def served(app: Dash) -> Iterator[str]:
    """The address of an app that is served as it is in earnest."""
    guard(app, LOOPBACK)
    server = create_server(app.server, host="127.0.0.1", port=0, threads=4)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        server.close()


class Seen:
    """A page and everything that went wrong on it."""

    def __init__(
        self, browser: Any, address: str, path: str, *, width: int = 1400, dark: bool = False, script: str = ""
    ) -> None:
        """script: runs in the page before its own."""
        self.context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme="dark" if dark else "light"
        )
        self.context.set_default_timeout(1000 * PATIENCE_S)
        if script:
            self.context.add_init_script(script)
        self.page = self.context.new_page()
        self.wrong: list[str] = []
        self.elsewhere: list[str] = []
        self._under_way: set[Any] = set()
        self.page.on("console", lambda m: self.wrong.append(m.text) if m.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda e: self.wrong.append(str(e)))
        self.page.on("request", lambda r: self._asked(r, address))
        self.page.on("requestfinished", lambda r: self._under_way.discard(r))
        self.page.on("requestfailed", lambda r: self._under_way.discard(r))
        self.page.goto(address + path)

    def _asked(self, request: Any, address: str) -> None:
        if not request.url.startswith(("data:", "blob:")):
            self._under_way.add(request)
            if not request.url.startswith(address):
                self.elsewhere.append(request.url)

    def drawn(self) -> Seen:
        self.page.wait_for_selector(".match")
        self.page.wait_for_selector("#traces .main-svg .trace", state="attached")
        return self.settled()

    def settled(self) -> Seen:
        """When nothing is being asked and the page rests: what is pressed now is not drawn anew under the hand."""
        end = time.monotonic() + PATIENCE_S
        while True:
            with suppress(PageError):  # the page went to another address meanwhile
                self.page.evaluate(RESTS)
                if not self._under_way:
                    return self
            assert time.monotonic() < end, f"it never rests: {[request.url for request in self._under_way]}"

    def sound(self, width: int) -> None:
        """Nothing went wrong, nothing was asked elsewhere, nothing scrolls sideways, nothing is too small to read."""
        assert self.wrong == []
        assert self.elsewhere == []
        assert self.page.evaluate("document.documentElement.scrollWidth") <= width
        small = self.page.evaluate(
            "[...document.querySelectorAll('#page *, header *')].filter(e => [...e.childNodes]"
            ".some(n => n.nodeType == 3 && n.data.trim()) && parseFloat(getComputedStyle(e).fontSize) < 14)"
            ".map(e => e.tagName + ' ' + e.textContent.slice(0, 40))"
        )
        assert small == []
        low = self.page.evaluate(
            "[...document.querySelectorAll('button, summary, .tools a, nav a, input, select')]"
            ".filter(e => e.offsetParent && !e.closest('.unseen')).map(e => [e.outerHTML.slice(0, 80),"
            " e.getBoundingClientRect().height]).filter(e => e[1] < 44)"
        )
        assert low == []

    def close(self) -> None:
        self.context.close()


def came_true(true: Callable[[], bool], most_s: float = PATIENCE_S) -> bool:
    """Ask again until it is true or the time is over (the page's own policy forbids the browser to evaluate text).

    What cannot be asked because the page is being drawn anew is not true yet.
    """
    end = time.monotonic() + most_s
    while True:
        with suppress(PageError):
            if true():
                return True
        if time.monotonic() >= end:
            return False
        time.sleep(0.05)


def until(true: Callable[[], bool], most_s: float = PATIENCE_S) -> None:
    assert came_true(true, most_s), "it never came true"
