"""What a page is on paper, and what stays in sight on a phone: the doing is read on both."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.app import make_app
from dashboard.ink import LIGHT
from tests.dashboard.browser import Seen, chromium, served, until
from tests.dashboard.made_up import MadeUpSource

MATCH, WHATIF = "/match/000000000001", "/whatif/000000000001"


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with served(make_app(source=MadeUpSource())) as found:
        yield found


def contrast(one: str, other: str) -> float:
    """Of two colours "rgb(r, g, b)": (L1 + 0.05) / (L2 + 0.05) of WCAG 2.2, its relative luminance."""

    def luminance(colour: str) -> float:
        parts = [int(v) / 255 for v in re.findall(r"\d+", colour)[:3]]
        r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("dark", [False, True])
def test_what_to_do_is_black_on_white_on_paper(browser: object, address: str, dark: bool) -> None:
    """A browser prints no grounds: what is light on a dark one would be light on white."""
    seen = Seen(browser, address, MATCH, dark=dark).drawn()
    seen.page.emulate_media(media="print", color_scheme="dark" if dark else "light")

    def styles() -> dict[str, Any]:
        found: dict[str, Any] = seen.page.evaluate(
            "(e => ({colour: getComputedStyle(e).color, ground: getComputedStyle(e).backgroundColor,"
            " paper: getComputedStyle(document.documentElement).backgroundColor}))"
            "(document.querySelector('.do.say p').parentElement)"
        )
        return found

    until(lambda: contrast(styles()["colour"], "rgb(255, 255, 255)") >= 4.5)
    assert styles()["ground"] == "rgba(0, 0, 0, 0)"
    red, green, blue = (int(LIGHT.paper[i : i + 2], 16) for i in (1, 3, 5))
    assert styles()["paper"] == f"rgb({red}, {green}, {blue})"
    assert not seen.page.locator(".downloads").first.is_visible()
    assert seen.wrong == []
    seen.close()


def test_the_verdict_of_a_change_stays_in_sight_on_a_phone(browser: object, address: str) -> None:
    seen = Seen(browser, address, WHATIF, width=390)
    seen.page.wait_for_selector("#whatif-plot .main-svg .trace", state="attached")
    steppers = seen.page.locator("[data-stepper]")
    assert steppers.count() > 1
    seen.page.evaluate("document.querySelector('[data-stepper]:last-of-type').scrollIntoView({block: 'center'})")
    word = seen.page.locator(".tried .verdict .is h2")
    until(lambda: (box := word.bounding_box()) is not None and 0 <= box["y"] < 90)
    assert word.inner_text()
    seen.sound(390)
    seen.close()
