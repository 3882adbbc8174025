"""The pages in a real Chromium: nothing fetched from elsewhere, no error, no sideways scroll, zoom, keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.app import make_app
from tests.dashboard.browser import Seen, came_true, chromium, served, until
from tests.dashboard.made_up import MadeUpSource, review_m06

M06, M07 = "/match/000000000001", "/match/000000000002"


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with served(make_app(source=MadeUpSource())) as found:
        yield found


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


def drag_the_middle(seen: Seen) -> None:
    """Draw a span over the middle fifth of the traces."""
    drag = seen.page.locator("#traces .nsewdrag").first
    drag.scroll_into_view_if_needed()
    box = drag.bounding_box()
    assert box is not None
    y = box["y"] + box["height"] / 2
    seen.page.mouse.move(box["x"] + 0.4 * box["width"], y)
    seen.page.mouse.down()
    seen.page.mouse.move(box["x"] + 0.6 * box["width"], y, steps=5)
    seen.page.mouse.up()


def axis_range(seen: Seen) -> list[float]:
    return list(seen.page.evaluate("document.querySelector('#traces .js-plotly-plot')._fullLayout.xaxis.range"))


@pytest.mark.parametrize(
    ("path", "width", "dark"),
    [("/", 1400, False), ("/", 1100, True), ("/", 390, True), (M06, 1400, True), (M06, 1100, False), (M06, 390, False),
     (M07, 390, True)],
)  # fmt: skip
def test_renders_without_errors_other_hosts_or_sideways_scroll(
    browser: object, address: str, path: str, width: int, dark: bool
) -> None:
    seen = Seen(browser, address, path, width=width, dark=dark)
    if path == "/":
        seen.page.wait_for_selector(".season")
    else:
        seen.drawn()
    seen.settled()
    assert seen.wrong == []
    assert seen.elsewhere == []
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
    small = seen.page.evaluate(
        "[...document.querySelectorAll('#page *, header *')].filter(e => [...e.childNodes]"
        ".some(n => n.nodeType == 3 && n.data.trim()) && parseFloat(getComputedStyle(e).fontSize) < 14)"
        ".map(e => e.tagName + ' ' + e.textContent.slice(0, 40))"
    )
    assert small == []
    seen.close()


def test_our_face_is_used(browser: object, address: str) -> None:
    seen = Seen(browser, address, "/")
    seen.page.wait_for_selector(".season")
    seen.settled()
    loaded = seen.page.evaluate("document.fonts.ready.then(f => [...f].filter(x => x.status == 'loaded').length)")
    assert loaded >= 2
    seen.close()


def test_a_finding_zooms_the_traces_and_whole_match_goes_back(browser: object, address: str) -> None:
    seen = Seen(browser, address, M06).drawn()
    whole = axis_range(seen)
    seen.page.click(".finding >> nth=2")
    until(lambda: axis_range(seen)[0] > 100)
    start, end = axis_range(seen.settled())
    finding = review_m06().findings[2]
    assert start < finding.start_s < finding.end_s < end
    assert end - start < 10
    seen.page.click("#whole")
    until(lambda: axis_range(seen)[0] < 5)
    until(lambda: axis_range(seen) == whole)
    assert seen.wrong == []
    seen.close()


def test_dragging_sends_only_the_visible_part(browser: object, address: str) -> None:
    seen = Seen(browser, address, M06).drawn()
    first_last = (
        "document.querySelector('#traces .js-plotly-plot')._fullData.filter(t => t.name.startsWith('pack, peak'))"
        ".map(t => [t.x[0], t.x[t.x.length - 1]])[0]"
    )

    def zoomed() -> bool:
        """The axis shows a third of the match, and the samples are of that span only."""
        start, end = axis_range(seen)
        first, last = seen.page.evaluate(first_last)
        return 20 < end - start < 60 and first > start - 1 and last < end + 1

    answers: list[Any] = []
    seen.page.on("response", lambda r: answers.append(r) if "_dash-update-component" in r.url else None)
    for _ in range(8):  # a page that is drawn once more under the hand loses what it drew: then the hand tries again
        answers.clear()
        drag_the_middle(seen.settled())
        if came_true(lambda: zoomed() and bool(answers), most_s=10.0):
            break
    assert zoomed() and answers
    sizes = [len(answer.body()) for answer in answers]
    assert max(sizes) <= 200_000
    assert seen.wrong == []
    seen.close()


def test_a_run_of_the_wiring_opens_by_click_and_by_enter(browser: object, address: str) -> None:
    seen = Seen(browser, address, M06).drawn()
    seen.page.click(".wide-only [data-run=battery_lead] text >> nth=0")
    seen.page.wait_for_selector("#run-detail h3")
    until(lambda: "Battery lead" in seen.page.inner_text("#run-detail h3"))
    seen.settled().page.focus(".wide-only [data-run=weapon_lead]")
    seen.page.keyboard.press("Enter")
    until(lambda: seen.page.inner_text("#run-detail h3").startswith("Weapon lead"))
    assert seen.wrong == []
    seen.close()


def test_the_switch_changes_the_tones_and_is_kept(browser: object, address: str) -> None:
    seen = Seen(browser, address, M06).drawn()
    paper = "getComputedStyle(document.documentElement).backgroundColor"
    assert seen.page.evaluate(paper) == "rgb(252, 252, 250)"
    seen.page.click("#theme")
    until(lambda: seen.page.evaluate(paper) == "rgb(21, 24, 27)")
    until(lambda: seen.page.inner_text("#theme") == "Light")
    seen.settled().page.reload()  # what is broken off on its way would stand in the console
    seen.drawn()
    assert seen.page.evaluate(paper) == "rgb(21, 24, 27)"
    colour = "document.querySelector('#traces .js-plotly-plot')._fullLayout.font.color"
    until(lambda: seen.page.evaluate(colour).upper() == "#B4BBC1")
    seen.close()


def test_everything_can_be_reached_by_keyboard_and_the_focus_shows(browser: object, address: str) -> None:
    seen = Seen(browser, address, M06).drawn()
    reached = []
    for _ in range(40):
        seen.page.keyboard.press("Tab")
        reached.append(
            seen.page.evaluate(
                "(e => [e.className.baseVal ?? e.className, e.id, getComputedStyle(e).outlineStyle,"
                " getComputedStyle(e).outlineWidth])(document.activeElement)"
            )
        )
    names = [f"{r[0]} {r[1]}" for r in reached]
    for wanted in ("skip", "brand", "theme", "event", "run", "whole", "finding"):
        assert any(wanted in name for name in names), wanted
    assert all(style == "solid" and width == "3px" for _, _, style, width in reached if _ != "")
    seen.close()


def test_touch_targets_are_large_enough_on_a_phone(browser: object, address: str) -> None:
    seen = Seen(browser, address, M06, width=390).drawn()
    heights = seen.page.evaluate(
        "[...document.querySelectorAll('button, summary, .tools a, nav a')].filter(e => e.offsetParent)"
        ".map(e => [e.textContent.slice(0, 30), e.getBoundingClientRect().height])"
    )
    assert [h for h in heights if h[1] < 44] == []
    seen.close()


def test_the_sheet_opens_from_the_page_without_errors(browser: object, address: str) -> None:
    seen = Seen(browser, address, "/sheet/000000000001")
    assert "Over" in seen.page.inner_text("h1")
    seen.settled()
    assert seen.wrong == []
    assert seen.elsewhere == []
    seen.close()
