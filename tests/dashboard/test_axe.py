"""Every page under axe-core (from npm, by its own command): no serious or critical violation, in light and in dark, at
both widths; every control reached by Tab with a focus that shows. A picture of each page is kept in test-output/.
"""

from __future__ import annotations

import shutil
import subprocess
import tarfile
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import make_app
from dashboard.pages.season import pending
from dashboard.source import Source
from tests.dashboard.browser import Seen, chromium, missing, served, until

PICTURES = Path(__file__).parents[2] / "test-output" / "pages"
PAGES = ("season", "add", "match", "whatif", "compare", "compare-choose", "packs", "pit", "words", "sheet", "teach")
READY = {
    "match": "#traces .main-svg .trace",
    "whatif": "#whatif-plot .main-svg .trace",
    "season": ".season",
    "sheet": "h1",
    "teach": "h1",
}


@pytest.fixture(scope="session")
def axe() -> str:
    """The text of axe.min.js, fetched once a machine by npm."""
    kept = Path(tempfile.gettempdir()) / "afterbout-test-axe"
    kept.mkdir(exist_ok=True)
    if not list(kept.glob("axe-core-*.tgz")):
        npm = shutil.which("npm")
        if npm is None:
            missing("no npm on this machine to fetch axe-core")
            raise AssertionError
        with tempfile.TemporaryDirectory(dir=kept) as fresh:  # what broke off half way is never taken for it
            for wait_s in (0, 5, 20, 60):  # a network that is away for a moment is no fault of the pages
                time.sleep(wait_s)
                ran = subprocess.run(
                    [npm, "pack", "axe-core", "--silent", "--pack-destination", fresh],
                    cwd=kept, capture_output=True, text=True, timeout=300, check=False,
                )  # fmt: skip
                if ran.returncode == 0:
                    break
            else:
                missing(f"npm could not fetch axe-core: {ran.stderr.strip()[-200:]}")
            for file in Path(fresh).glob("axe-core-*.tgz"):
                file.replace(kept / file.name)
    with tarfile.open(sorted(kept.glob("axe-core-*.tgz"))[-1]) as packed:
        file = packed.extractfile("package/axe.min.js")
        assert file is not None
        return file.read().decode()


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def pages(demo: tuple[Path, dict[str, Any]]) -> Iterator[tuple[str, dict[str, str]]]:
    source = Source(demo[0])
    token = next(e.token for e in source.entries() if e.title == "m06")
    paths = {
        "season": "/", "add": "/add", "match": f"/match/{token}", "whatif": f"/whatif/{token}",
        "compare": "/compare?a=m05&b=m06", "compare-choose": "/compare", "packs": "/packs", "pit": "/pit",
        "words": "/words", "sheet": f"/sheet/{token}", "teach": f"/teach/match/{token}",
    }  # fmt: skip
    with served(make_app(source=source)) as address:
        source.review_all()  # a table that grows under the keyboard is tried in test_pages_season.py
        until(lambda: not pending(source), most_s=600.0)
        yield address, paths


def opened(browser: object, pages: tuple[str, dict[str, str]], name: str, width: int, script: str = "") -> Seen:
    seen = Seen(browser, pages[0], pages[1][name], width=width, script=script)
    seen.page.wait_for_selector(READY.get(name, "#page > :not(.waiting), main h1"), state="attached")
    return seen.settled()


def violations(seen: Seen) -> list[str]:
    """Each serious or critical one: rule, and the first places."""
    found = seen.page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"], "axe checked nothing"
    return [
        f"{v['id']} ({v['impact']}): " + "; ".join(n["html"][:160] for n in v["nodes"][:4])
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("name", PAGES)
def test_no_serious_violation_in_light_and_dark_at_both_widths(
    browser: object, pages: tuple[str, dict[str, str]], axe: str, name: str
) -> None:
    PICTURES.mkdir(parents=True, exist_ok=True)
    for width in (1400, 390):
        seen = opened(browser, pages, name, width, axe)
        for scheme in ("light", "dark"):
            seen.page.emulate_media(color_scheme=scheme)
            seen.settled()
            seen.page.screenshot(path=str(PICTURES / f"{name}-{width}-{scheme}.png"), full_page=True)
            assert violations(seen) == [], (name, width, scheme)
        assert seen.wrong == []
        assert seen.elsewhere == []
        if name != "sheet":  # which is paper
            assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        seen.close()


def test_axe_would_find_a_violation(browser: object, pages: tuple[str, dict[str, str]], axe: str) -> None:
    seen = opened(browser, pages, "words", 1400, axe)
    seen.page.evaluate(
        "(b => { b.type = 'button'; document.querySelector('#page').append(b) })(document.createElement('button'))"
    )
    assert any("button-name" in line for line in violations(seen))
    seen.close()


@pytest.mark.parametrize("name", ["season", "add", "whatif", "compare", "compare-choose", "packs", "pit", "words"])
def test_tab_reaches_every_control_and_the_focus_shows(
    browser: object, pages: tuple[str, dict[str, str]], name: str
) -> None:
    seen = opened(browser, pages, name, 1400)
    wanted = seen.page.evaluate(
        "[...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex=\"0\"]')]"
        ".filter(e => !e.disabled && e.getClientRects().length && e.type != 'hidden'"
        " && !e.closest('details:not([open]) > :not(summary)'))"
        ".map((e, i) => { e.dataset.tabTest = i; return i })"
    )
    reached: dict[int, list[str]] = {}
    for _ in range(len(wanted) + 30):
        seen.page.keyboard.press("Tab")
        at = seen.page.evaluate(
            "(e => { const own = getComputedStyle(e), frame = getComputedStyle(e.parentElement ?? e);"
            " const at = own.outlineStyle == 'none' && e.tagName == 'INPUT' ? frame : own;"
            " return [e.dataset.tabTest ?? '', e.outerHTML.slice(0, 90), at.outlineStyle, parseFloat(at.outlineWidth)]"
            "})(document.activeElement)"
        )
        if at[0] != "":
            reached[int(at[0])] = at[1:]
    radios = seen.page.evaluate(
        "[...document.querySelectorAll('input[type=radio][data-tab-test]')].map(e => +e.dataset.tabTest)"
    )  # of a group one is reached, the others by arrow
    assert set(wanted) - set(reached) - set(radios) == set()
    faint = [html for html, style, width in reached.values() if style in ("none", "") or float(width) < 2]
    assert faint == []
    seen.close()
