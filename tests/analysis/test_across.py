"""One change over several matches: each refused or replayed, and the worst one is the worst of the simulation too."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.across import Across, Case, across
from analysis.changes import Changes, changed
from analysis.findings import Finding, Passed
from analysis.match_data import MatchData
from analysis.review import review_data
from analysis.search import search_all
from analysis.wording import across_sentence
from tests.analysis import resimulated as rs

C, P1 = rs.BUILDS["c"], rs.PACKS["p1"]
SEEDS = (3, 5, 9)


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    found = []
    for seed in SEEDS:
        data = rs.logged(rs.run(C, P1, rs.script(seed)))
        found.append(Case(f"s{seed}", "p1", data, review_data(data, with_advice=False)))
    return found


def thin(data: MatchData) -> Changes:
    assert data.build is not None
    return changed(data.build, data.pack, ["wire.weapon_lead.gauge=16 AWG"])


@pytest.fixture(scope="module")
def table(cases: list[Case]) -> Across:
    broken = Case("lost", None, None, None, "its telemetry is missing")
    return across([*cases, broken], thin)


def test_the_worst_match_is_the_worst_of_the_simulation(table: Across) -> None:
    """The demo's simulation run again with the thinner lead (it shares no code with the replay)."""
    truth = {}
    for seed in SEEDS:
        again = rs.logged(rs.run(rs.gauge(C, "weapon_lead", 16), P1, rs.script(seed)))
        review = review_data(again, with_advice=False)
        rows: list[Finding | Passed] = [*review.passed, *review.findings]
        truth[f"s{seed}"] = min(row.margin_pct for row in rows if row.margin_pct is not None)
    assert table.worst is not None and table.worst.match == min(truth, key=lambda m: truth[m])
    for row in table.replayed:
        assert row.smallest is not None and row.smallest.margin_pct is not None
        assert row.smallest.margin_pct == pytest.approx(truth[row.match], abs=6)


def test_what_is_refused_is_named_and_not_counted(table: Across) -> None:
    assert [row.match for row in table.refused] == ["lost"]
    assert len(table.replayed) == len(SEEDS)
    words = across_sentence(table)
    assert words.startswith("In the worst of three matches (s")
    assert words.endswith("Not replayed, and not counted: lost.")


def test_a_clipped_match_does_not_count(cases: list[Case]) -> None:
    data = cases[0].data
    assert data is not None
    signal = data.signals["pack_current_A"]
    clipped = signal.x > 0.8 * signal.x.max()
    spoiled = replace(
        data, signals={**data.signals, "pack_current_A": replace(signal, clipped=clipped)}, _inside={}, memo={}
    )
    found = across([replace(cases[0], data=spoiled)], thin)
    assert not found.replayed and "sensor's top" in (found.refused[0].refused or "")
    assert across_sentence(found).startswith("No match could be replayed.")
    assert search_all([replace(cases[0], data=spoiled)]).best is None


def test_the_margin_at_the_worse_end_lies_below(table: Across) -> None:
    for row in table.replayed:
        least = row.smallest
        assert least is not None and least.margin_low_pct is not None and least.margin_pct is not None
        assert least.margin_low_pct <= least.margin_pct + 1e-9


def test_the_worst_match_decides_the_lightest(cases: list[Case]) -> None:
    together = search_all(cases)
    alone = [search_all([case]) for case in cases]
    assert together.best is not None and together.proved
    for one in alone:
        assert one.best is not None
        assert together.best.adds_g >= one.best.adds_g - 1e-9
    sizes = {run.run: int(run.gauge.split()[0]) for run in together.best.runs}
    for seed in SEEDS:
        build = C
        for run, number in sizes.items():
            build = rs.gauge(build, run, number)
        review = review_data(rs.logged(rs.run(build, P1, rs.script(seed))), with_advice=False)
        assert [f for f in review.findings if f.verdict in ("over", "close")] == []


def test_grams_against_margin_rise_together(cases: list[Case]) -> None:
    found = search_all(cases)
    assert len(found.pareto) > 2
    grams = [option.adds_g for option in found.pareto]
    margins = [option.margin_pct for option in found.pareto]
    assert grams == sorted(grams) and margins == sorted(margins)
    assert all(option.margin_pct >= found.need_pct for option in found.pareto)
