"""Real Chromium for the tests of pages and printing; skipped with the reason where there is none, a failure on CI."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

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
