"""The pit page: how it ends, the pack, the countdown, the list that starts empty and forbids power; in Chromium too."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator

import pytest

from analysis.build_check import BEFORE_POWER
from analysis.pit import ENDINGS
from dashboard.app import make_app
from dashboard.pages import pit
from dashboard.source import Source
from tests.dashboard.browser import PATIENCE_S, Seen, chromium, served, until
from tests.dashboard.small_season import small_season


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Source:
    return Source(small_season(tmp_path_factory.mktemp("pit") / "s", ("m06",)))


@pytest.fixture(scope="module")
def address(source: Source) -> Iterator[str]:
    with served(make_app(source=source)) as found:
        yield found


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


def text_of(component: object) -> str:
    return json.dumps(component, default=lambda o: o.to_plotly_json(), ensure_ascii=False).replace("\u00a0", " ")


def test_the_page_says_what_the_plan_says(source: Source) -> None:
    made = pit.plan_of(source, None)
    assert made is not None
    plan = made[1]
    text = text_of(pit.layout(source, None))
    assert plan.ending == "change first"
    for words in (*plan.reasons, plan.ending[1:], *(line.partition(":")[0].rstrip(".") for line in BEFORE_POWER)):
        assert words in text
    for pack in plan.packs:
        assert pack.verdict.word in text
    assert set(pit.MARKS) == set(ENDINGS)


def test_minutes_come_from_the_address_where_they_can_be(source: Source) -> None:
    assert 'data-minutes": "12"' in text_of(pit.layout(source, "12"))
    for wrong in ("-3", "soon", "1e9", "nan", "inf"):
        assert pit.minutes_asked(wrong) is None


def test_without_a_logged_match_it_says_what_to_do() -> None:
    assert "Add its log files first" in text_of(pit.layout(Source(None), None))


@pytest.mark.parametrize(("width", "dark"), [(1400, True), (390, False)])
def test_the_page_is_sound(browser: object, address: str, width: int, dark: bool) -> None:
    seen = Seen(browser, address, "/pit", width=width, dark=dark)
    seen.page.wait_for_selector(".pit .drawn svg")
    seen.settled().sound(width)
    seen.close()


def test_the_list_starts_empty_is_kept_and_forbids_power(browser: object, address: str) -> None:
    seen = Seen(browser, address, "/pit")
    seen.page.wait_for_selector(".tick")
    until(lambda: seen.page.inner_text(".ticked") == "0 of 8 ticked. Do not power up.")
    seen.settled()
    first = seen.page.locator(".ticks.first .tick")
    first.nth(0).focus()
    seen.page.keyboard.press("Space")
    until(lambda: seen.page.inner_text(".ticked") == "1 of 8 ticked. Do not power up.")
    first.nth(1).click()
    until(lambda: seen.page.inner_text(".ticked") == "2 of 8 ticked.")
    seen.page.reload()
    seen.page.wait_for_selector(".tick")
    until(lambda: seen.page.inner_text(".ticked") == "2 of 8 ticked.")
    seen.close()


def test_the_countdown_runs_and_can_be_set(browser: object, address: str) -> None:
    seen = Seen(browser, address, "/pit")
    seen.page.wait_for_selector(".count")
    until(lambda: re.fullmatch(r"\d+:\d\d", seen.page.inner_text(".count")) is not None)
    seen.settled()

    def ends_s() -> float:
        """When it will be at zero by the clock of this test; of some looks the one that was least held up."""
        looks = []
        for _ in range(10):
            minutes, seconds = seen.page.inner_text(".count").split(":")
            looks.append(time.monotonic() + 60 * int(minutes) + int(seconds))
        return min(looks)

    first, shown = ends_s(), seen.page.inner_text(".count")
    assert 2400 - PATIENCE_S < first - time.monotonic() <= 2401
    until(lambda: seen.page.inner_text(".count") != shown)  # it runs
    seen.page.click("[data-shift='60']")
    until(lambda: ends_s() - first > 30)
    assert ends_s() - first == pytest.approx(60, abs=5)
    assert seen.wrong == []
    seen.close()
