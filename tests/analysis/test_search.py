"""The combination search: lightest wiring that keeps every margin, confirmed by the replay and simulated again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.review import review_data
from analysis.search import Found, search
from tests.analysis import resimulated as rs

C, P1, P3 = rs.BUILDS["c"], rs.PACKS["p1"], rs.PACKS["p3"]
SEED = 5
# Build c with drive leads far heavier than it needs: grams that may go.
HEAVY = rs.gauge(rs.gauge(C, "left_lead", 8), "right_lead", 8)


@pytest.fixture(scope="module")
def case() -> tuple[MatchData, Review]:
    data = rs.logged(rs.run(HEAVY, P1, rs.script(SEED)))
    return data, review_data(data, with_advice=False)


@pytest.fixture(scope="module")
def found(case: tuple[MatchData, Review]) -> Found:
    return search(*case, [rs.described(C, P3)[1]])


def test_hundreds_are_held_against_the_margins(found: Found) -> None:
    assert found.tried > 500


def test_the_best_is_lighter_and_proved(found: Found) -> None:
    assert found.best is not None and found.proved
    assert found.best.adds_g < 0
    assert found.best.margin_pct >= 15
    for run in found.best.runs:
        assert run.peak_degC < run.limit_degC


def test_a_run_stays_thick_enough_for_all_that_its_load_may_draw(found: Found) -> None:
    """A stall in another match holds the drive at its own limit of 45 A; a fuse of 40 A carries 44 A for 100 h and may
    carry 54 A for ten minutes (tests/reference/blade_fuse_gates.csv, 04-001 and 04-003)."""
    assert found.best is not None
    for run in ("left_lead", "right_lead"):
        chosen = next(row for row in found.best.runs if row.run == run)
        assert 8 < int(chosen.gauge.split()[0]) <= 14
    assert found.overloads == ()


def test_the_best_keeps_its_margins_when_simulated_again(found: Found) -> None:
    assert found.best is not None
    build = HEAVY
    for run in found.best.runs:
        build = rs.gauge(build, run.run, int(run.gauge.split()[0]))
    again = rs.logged(rs.run(build, P1, rs.script(SEED)))
    review = review_data(again, with_advice=False)
    assert [f for f in review.findings if f.verdict in ("over", "close")] == []
    assert review.match.verdict == "within"


def test_the_pareto_rises_in_both(found: Found) -> None:
    grams = [option.adds_g for option in found.pareto]
    margins = [option.margin_pct for option in found.pareto]
    assert grams == sorted(grams) and margins == sorted(margins)


def test_a_run_without_a_fuse_is_not_made_thinner(found: Found) -> None:
    assert found.best is not None
    supply = next(run for run in found.best.runs if run.run == "supply_lead")
    assert supply.gauge == supply.was
    battery = next(run for run in found.best.runs if run.run == "battery_lead")
    assert int(battery.gauge.split()[0]) <= int(battery.was.split()[0])


def test_a_mass_limit_already_passed_is_said(case: tuple[MatchData, Review]) -> None:
    data, review = case
    build = data.build
    assert build is not None
    heavy = build.model_copy(update={"build": build.build.model_copy(update={"mass_kg": 14.0})})
    over = search(replace(data, build=heavy, memo={}, _inside={}), review)
    assert over.best is None or over.best.adds_g <= 0
    assert "390 g over its limit already" in over.note


def test_without_currents_it_says_so(case: tuple[MatchData, Review]) -> None:
    data, review = case
    less = {n: s for n, s in data.signals.items() if "current" not in n}
    nothing = search(replace(data, signals=less, memo={}, _inside={}), review)
    assert nothing.best is None and nothing.note == "no run's current is known"
