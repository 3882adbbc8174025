"""The replay against the demo's simulation run again with the changed robot: an independent generator.

The simulation steps motors and cells at 1 kHz and shares no code with the analysis. Held to: lowest voltage within
0.15 V on average, the stated band covering it, the pack's end temperature within 4 °C.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.changes import changed
from analysis.replay import replay
from analysis.replay.demand import later
from tests.analysis import replay_cases as cases

MEAN_ERROR_V, PACK_K, WIRE_K = 0.15, 4.0, 5.0
# One robot whose commands are duties, one whose controllers make up for a sagging supply.
MATCHES = ((3, False), (4, True))


rs, CASES, ALL_JOINTS = cases.rs, cases.CASES, cases.ALL_JOINTS


@pytest.fixture(scope="module")
def matches() -> list[Any]:
    return [cases.made_match(seed, cases.HELD_V if held else None) for seed, held in MATCHES]


@pytest.fixture(scope="module")
def outcomes(matches: list[Any]) -> dict[str, list[Any]]:
    return {case.name: [cases.outcome(match, case) for match in matches] for case in CASES}


def test_the_lowest_voltage_is_right_on_average(outcomes: dict[str, list[Any]]) -> None:
    assert np.mean([abs(o.volts.error) for case in outcomes.values() for o in case]) <= MEAN_ERROR_V


@pytest.mark.parametrize("name", [case.name for case in CASES])
def test_the_band_holds_what_the_simulation_says(outcomes: dict[str, list[Any]], name: str) -> None:
    for outcome in outcomes[name]:
        assert outcome.volts.holds
        assert abs(outcome.pack.error) <= PACK_K
        for run, wire in outcome.wires.items():
            assert abs(wire.error) <= WIRE_K or wire.holds, (run, wire)


def test_a_remade_joint_takes_its_findings_away(matches: list[Any]) -> None:
    data, before = matches[0].loose
    assert data.build is not None
    assert any(f.check == "joint" for f in before.findings)
    found = replay(data, changed(data.build, data.pack, ALL_JOINTS), before)
    assert found.after is not None
    assert not [f for f in found.after.findings if f.check == "joint" or f.cause == "contact_heating"]


def test_nothing_electrical_changed_leaves_every_figure(matches: list[Any]) -> None:
    data, before = matches[0].healthy
    assert data.build is not None
    found = replay(data, changed(data.build, data.pack, ["controller.weapon.cutoff_V=15"]), before)
    assert found.after is not None
    old = {(e.name, e.part): e.value for e in before.estimates}
    assert {(e.name, e.part): e.value for e in found.after.estimates} == old
    was, now = (
        next(r for r in review.passed if (r.check, r.part) == ("controller_cutoff", "weapon"))
        for review in (before, found.after)
    )
    assert (was.limit, now.limit) == (18.0, 15.0)
    assert now.margin_pct > was.margin_pct


def test_a_clipped_current_is_refused(matches: list[Any]) -> None:
    data, before = matches[0].healthy
    current = data.signals["pack_current_A"]
    top = current.x >= 0.9 * current.x.max()
    signals = {**data.signals, "pack_current_A": replace(current, clipped=top)}
    clipped = replace(data, signals=signals, memo={}, _inside={})
    assert data.build is not None
    found = replay(clipped, changed(data.build, data.pack, ["pack.parallel=2"]), before)
    assert found.after is None and found.refused is not None
    assert "pack_current_A stands at its sensor's top" in found.refused


@pytest.mark.parametrize("channel", ["pack_voltage_V", "pack_current_A"])
def test_without_the_pack_s_channels_it_is_refused(matches: list[Any], channel: str) -> None:
    data, before = matches[0].healthy
    less = {name: s for name, s in data.signals.items() if name != channel}
    assert data.build is not None
    found = replay(
        replace(data, signals=less, memo={}, _inside={}), changed(data.build, data.pack, ["pack.parallel=2"]), before
    )
    assert found.refused == f"{channel} was not logged. Log {channel} next time."


def test_a_pack_of_another_cell_count_says_what_else_would_change(matches: list[Any]) -> None:
    data, before = matches[0].healthy
    assert data.build is not None
    found = replay(data, changed(data.build, data.pack, ["pack.cells=4"]), before)
    assert found.refused is not None
    for words in ("4 cells", "wired for 6", "cutoff_V", "16.8 V"):
        assert words in found.refused


def test_a_limit_that_was_reached_cannot_be_raised(matches: list[Any]) -> None:
    data, before = matches[0].healthy
    assert data.build is not None
    limit = next(c for c in data.build.controllers if c.id == "left_drive").current_limit_A
    peak = float(np.abs(data.signals["left_drive_motor_current_A"].x).max())
    sets = [f"controller.left_drive.current_limit_A={peak:g}", "controller.left_drive.ramp_s=0"]
    assert limit is not None
    near = changed(data.build, data.pack, sets[:1])
    lower = replace(data, build=near.build, memo={}, _inside={})
    found = replay(lower, changed(near.build, data.pack, ["controller.left_drive.current_limit_A=200"]), before)
    assert found.refused is not None and "stood at its limit" in found.refused


def test_what_a_limit_takes_away_comes_later() -> None:
    """10 s at 100 A under a limit of 50 A: the same charge at 50 A takes 20 s (arithmetic)."""
    drawn = np.concatenate([np.full(100, 100.0), np.full(300, 5.0)])
    capped = later(drawn, 50.0, 0.1)
    assert capped.max() == 50.0
    assert float(capped.sum()) == pytest.approx(float(drawn.sum()), rel=0.02)
    assert later(drawn, 120.0, 0.1) is drawn
