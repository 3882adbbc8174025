"""The compare and packs pages: figures and words of the analysis, what to do where there is nothing; in Chromium."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from analysis.compare import compare, grouped
from analysis.season_run import run_season
from dashboard.app import make_app
from dashboard.pages import compare as compare_page
from dashboard.pages import packs as packs_page
from dashboard.source import Source
from tests.dashboard.browser import Seen, chromium, served
from tests.dashboard.small_season import small_season


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Source:
    return Source(small_season(tmp_path_factory.mktemp("compare") / "s", ("m05", "m06")))


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


def test_the_page_says_what_the_comparison_says(source: Source) -> None:
    assert source.season is not None
    made = compare(grouped(list(run_season(source.season).rows()), "match"), "match")
    text = text_of(compare_page.layout(source, {"a": "m05", "b": "m06"}))
    for row in made.rows:
        assert row.verdict in text
        for reason in row.confounded:
            assert reason in text
    for note in made.notes:
        assert note in text
    assert "Confounded" in text


def test_without_two_it_offers_them(source: Source) -> None:
    text = text_of(compare_page.layout(source, {}))
    assert "/compare?a=m05&b=m06" in text
    assert "no two to compare yet" in text  # one build only
    assert "season folder" in text_of(compare_page.layout(Source(None), {}))
    assert "Choose two" in text_of(compare_page.layout(source, {"a": "m05", "b": "<script>"}))


def test_every_pack_has_its_verdict(source: Source) -> None:
    text = text_of(packs_page.layout(source))
    for pack in source.packs():
        found = packs_page.verdict_of(source, pack.id)
        assert found is None or found[0].reasons[0] in text
    assert "no match of this season was logged with it" in text
    assert "No packs yet" in text_of(packs_page.layout(Source(None)))


BOTH = "/compare?a=m05&b=m06"
LOOKS = [
    (BOTH, 1400, True),
    (BOTH, 390, False),
    ("/packs", 1400, False),
    ("/packs", 390, True),
    ("/words", 390, False),
    ("/compare", 390, True),
]


@pytest.mark.parametrize(("path", "width", "dark"), LOOKS)
def test_the_pages_are_sound(browser: object, address: str, path: str, width: int, dark: bool) -> None:
    seen = Seen(browser, address, path, width=width, dark=dark)
    seen.page.wait_for_selector(".compare .part, .packs .pack, .words .word-row", timeout=30000)
    seen.page.wait_for_timeout(300)
    seen.sound(width)
    seen.close()
