"""The compare and packs pages: figures and words of the analysis, what to do where there is nothing; in Chromium."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.compare import compare, grouped
from analysis.metric_kinds import Metric
from analysis.season_rows import MatchRow
from analysis.season_run import run_season
from analysis.signal import signal
from dashboard.app import make_app
from dashboard.compare_pictures import Beside, channels, overlaid, time_above
from dashboard.pack_picture import spread_pct
from dashboard.pages import compare as compare_page
from dashboard.pages import packs as packs_page
from dashboard.source import Source
from tests.dashboard.browser import Seen, chromium, served
from tests.dashboard.made_up import bench_m06
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
    assert "Choose two" in text
    half = text_of(compare_page.layout(source, {"a": "m05", "b": "<script>"}))
    assert "m05 with: choose the other" in half
    assert "Not in this season: <script>." in half


def test_any_two_can_be_chosen_one_after_the_other(tmp_path: Path) -> None:
    season = Source(small_season(tmp_path / "s", ("m05", "m06", "m09")))
    text = text_of(compare_page.layout(season, {}))
    assert "/compare?a=m05" in text and "/compare?a=m09" in text and "&b=" not in text.partition("Builds")[0]
    text = text_of(compare_page.layout(season, {"a": "m09"}))
    assert "m09 with: choose the other." in text
    assert "/compare?a=m09&b=m05" in text and "/compare?a=m09&b=m06" in text


def test_of_three_chosen_every_pair_is_a_step_away(tmp_path: Path) -> None:
    season = Source(small_season(tmp_path / "s", ("m05", "m06", "m09")))
    chosen = {"a": "m05", "b": "m06", "c": "m09"}
    (found,) = compare_page._other_pairs(season, "match", chosen, ["m05", "m06"])
    text = text_of(found)
    assert "3 were chosen" in text and "Here: m05 with m06" in text
    assert "/compare?a=m05&b=m09&c=m06" in text and "/compare?a=m06&b=m09&c=m05" in text
    assert compare_page._other_pairs(season, "match", {"a": "m05", "b": "m06"}, ["m05", "m06"]) == []


def test_every_pack_has_its_verdict(source: Source) -> None:
    text = text_of(packs_page.layout(source))
    for pack in source.packs():
        found = packs_page.verdict_of(source, pack.id)
        assert found is None or found[0].reasons[0][1:] in text  # its first letter is a capital there
    assert "No match of this season was logged with it." in text
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
    seen.page.wait_for_selector(".compare .part, .packs .pack, .words .word-row")
    seen.settled().sound(width)
    seen.close()


def test_time_above_a_current_is_the_share_of_samples_above_it() -> None:
    """Against counting by hand: of 0, 1, 2, 3 A a half is above 1 A, a quarter above 2 A, none above 3 A."""
    s = signal("pack_current_A", [0.0, 1.0, 2.0, 3.0], [3.0, 0.0, 2.0, 1.0])
    amps, share = time_above(s, 0.0, 3.0)
    assert share[amps >= 3.0].tolist() == [0.0]
    assert share[(amps >= 1.0) & (amps < 2.0)].tolist() == [50.0] * int(((amps >= 1.0) & (amps < 2.0)).sum())
    assert share[(amps >= 2.0) & (amps < 3.0)].max() == 25.0


def test_matches_over_each_other_start_at_zero() -> None:
    bench = bench_m06()
    start = bench.review.match.start_s
    assert start is not None
    matches = [Beside("m06", bench, second=False), Beside("m07", bench, second=True)]
    for line in overlaid(matches, channels(matches)[0]):
        assert -1.0 < line.x[0] <= 0.0
        assert line.x[-1] == pytest.approx((bench.review.match.end_s or 0.0) - start, abs=1.0)


def test_spread_of_the_cells_is_of_the_median_cell() -> None:
    cells = [Metric("cell_resistance_1s_mohm", f"cell{i}", v, v, v, "mohm") for i, v in enumerate((4.0, 3.8, 4.4, 4.0))]
    row = MatchRow("m", "b", "p", "", "", "", "within", None, tuple(cells), (), ())
    assert spread_pct(row) == pytest.approx(100 * 0.6 / 4.0)
    assert spread_pct(dataclasses.replace(row, metrics=tuple(cells[:1]))) is None
