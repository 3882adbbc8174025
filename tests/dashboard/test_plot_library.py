"""The script that draws the traces, and how the pages' own files travel: packed once, kept by the browser."""

from __future__ import annotations

import ast
import gzip
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from dash import Dash

import dashboard
from dashboard import compressing, plot_library
from dashboard.app import make_app
from dashboard.serving import LOOPBACK, guard
from tests.dashboard.browser import Seen, chromium, served
from tests.dashboard.made_up import MadeUpSource

MATCH = "/match/000000000001"
FOLDER = Path(dashboard.__file__).parent / "assets" / plot_library.FOLDER
DRAWN_BY_THE_BUNDLE = {
    "scatter",
    "bar",
    "pie",
}  # traces of the basic bundle, as the README of its npm package lists them


@pytest.fixture
def app() -> Dash:
    made = make_app(source=MadeUpSource())
    guard(made, LOOPBACK)
    return made


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


def test_the_bundle_is_the_one_whose_origin_stands_beside_it() -> None:
    said = (FOLDER / "SOURCE.txt").read_text()
    sha256 = re.search(r"sha256 ([0-9a-f]{64})", said)
    version = re.search(r"Version ([\d.]+)", said)
    assert sha256 is not None and version is not None
    assert hashlib.sha256(plot_library.bundle()).hexdigest() == sha256[1]
    assert f"plotly.js (basic - minified) v{version[1].rstrip('.')}".encode() in plot_library.bundle()[:200]
    assert "MIT License" in (FOLDER / "LICENSE.txt").read_text()


def test_the_figures_use_only_what_the_bundle_draws() -> None:
    kinds = set()
    for path in (Path(dashboard.__file__).parent).glob("figure*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Dict):
                pairs = {
                    k.value: v.value
                    for k, v in zip(node.keys, node.values, strict=True)
                    if isinstance(k, ast.Constant) and isinstance(v, ast.Constant)
                }
                if "mode" in pairs:  # a trace; shapes have a type too
                    kinds.add(pairs["type"])
    assert kinds == {"scatter"}
    assert kinds <= DRAWN_BY_THE_BUNDLE


def test_the_framework_is_given_the_bundle_packed_and_once(app: Dash) -> None:
    client = app.server.test_client()
    answer = client.get(plot_library.ADDRESS, headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(answer.data) == plot_library.bundle()
    assert len(answer.data) < 420_000
    before = compressing._compressed_once.cache_info().misses
    again = client.get(plot_library.ADDRESS, headers={"Accept-Encoding": "gzip"})
    assert again.data == answer.data
    assert compressing._compressed_once.cache_info().misses == before
    known = {"Accept-Encoding": "gzip", "If-None-Match": answer.headers["ETag"]}
    assert client.get(plot_library.ADDRESS, headers=known).status_code == 304
    assert client.get(plot_library.ADDRESS).data == plot_library.bundle()  # for a browser that takes no gzip


def test_own_files_are_packed_and_kept_answers_are_not(app: Dash) -> None:
    client = app.server.test_client()
    style = client.get("/assets/pages.css", headers={"Accept-Encoding": "gzip"})
    assert style.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(style.data) == (Path(dashboard.__file__).parent / "assets" / "pages.css").read_bytes()
    assert style.cache_control.max_age == compressing.KEPT_S
    assert style.cache_control.private
    for address in ("/", MATCH, "/season.csv", "/_dash-layout"):
        assert client.get(address).cache_control.max_age is None, address
    missing = client.get("/assets/not-there.css")
    assert missing.status_code == 404
    assert missing.cache_control.max_age is None


def test_a_page_without_traces_asks_for_no_plot_library_and_one_with_them_for_one_alone(browser: object) -> None:
    with served(make_app(source=MadeUpSource())) as address:
        for path, wanted in (("/words", set()), (MATCH, {plot_library.ADDRESS})):
            seen = Seen(browser, address, path)
            asked: set[str] = set()
            seen.page.on(
                "request", lambda r, asked=asked: asked.add(r.url.removeprefix(address)) if "plotly" in r.url else None
            )
            seen.page.reload()
            if wanted:
                seen.drawn()
                assert seen.page.evaluate("window.Plotly.version") in plot_library.bundle()[:200].decode()
            else:
                seen.page.wait_for_selector("#page .words")
                seen.page.wait_for_load_state("networkidle")
            assert asked == wanted
            assert seen.wrong == []
            seen.close()
