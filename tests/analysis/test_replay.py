"""The replay against the demo's simulation run again with the changed robot: an independent generator.

The simulation steps motors and cells at 1 kHz and shares no code with the analysis. Held to: lowest voltage within
0.15 V on average, the stated band covering it, the pack's end temperature within 4 °C.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from analysis.changes import changed
from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.replay import replay
from analysis.replay.demand import later
from analysis.review import review_data
from ingest.builds import Pack
from sample_data import JointStep, Plants
from sample_data.parts import BuildSpec, PackSpec

MEAN_ERROR_V, PACK_K = 0.15, 4.0
SEEDS = (3, 4)


def _helper() -> ModuleType:
    path = Path(__file__).with_name("resimulated.py")
    spec = importlib.util.spec_from_file_location("resimulated", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


rs = _helper()
P1, P3 = rs.PACKS["p1"], rs.PACKS["p3"]
ALL_JOINTS = [f"wire.{run}.joints=remade" for run in ("battery_lead", "weapon_lead", "left_lead", "right_lead")]


@dataclass(frozen=True)
class Case:
    name: str
    sets: list[str]
    robot: Callable[[BuildSpec], BuildSpec]
    pack: PackSpec = P1
    with_joint: bool = False


def _thinner(b: BuildSpec) -> BuildSpec:
    return rs.gauge(rs.gauge(b, "battery_lead", 16), "weapon_lead", 16)


def _longer(b: BuildSpec) -> BuildSpec:
    return rs.gauge(b, "battery_lead", b.run("battery_lead").awg, 660.0)


def _limited(b: BuildSpec) -> BuildSpec:
    return replace(b, weapon=replace(b.weapon, current_limit_A=90.0))


def _ramped(b: BuildSpec) -> BuildSpec:
    return replace(b, weapon=replace(b.weapon, ramp_s=2.5))


def _drives(b: BuildSpec) -> BuildSpec:
    left = replace(b.left, motor_limit_A=30.0, current_limit_A=30.0)
    right = replace(b.right, motor_limit_A=30.0, current_limit_A=30.0)
    return replace(b, left=left, right=right)


def _better(b: BuildSpec) -> BuildSpec:
    joints = tuple(replace(j, resistance_mohm=0.1) if j.id == "pack_plug" else j for j in b.joints)
    return replace(b, joints=joints)


DOUBLE = replace(P1, capacity_Ah=6.6, cell_mohm=tuple(r / 2 for r in P1.cell_mohm), stated_mohm=12.0, mass_g=1040.0)
CASES = (
    Case("thinner wire", ["wire.battery_lead.gauge=16 AWG", "wire.weapon_lead.gauge=16 AWG"], _thinner),
    Case("longer lead", ["wire.battery_lead.length_mm=660"], _longer),
    Case("better plug", ["contact.pack_plug.resistance_mohm=0.1"], _better),
    Case("other pack", ["pack=p3"], lambda b: b, P3),
    Case("parallel packs", ["pack.parallel=2"], lambda b: b, DOUBLE),
    Case("weapon's limit", ["controller.weapon.current_limit_A=90"], _limited),
    Case("drives' limits", [f"controller.{s}_drive.current_limit_A=30" for s in ("left", "right")], _drives),
    Case("ramp", ["controller.weapon.ramp_s=2.5"], _ramped),
    Case("joint remade", ALL_JOINTS, lambda b: b, P1, True),
)


@dataclass(frozen=True)
class Match:
    build: BuildSpec
    script: object
    healthy: tuple[MatchData, Review]
    loose: tuple[MatchData, Review]
    packs: dict[str, Pack]


@pytest.fixture(scope="module")
def matches() -> list[Match]:
    found = []
    for seed in SEEDS:
        build = rs.BUILDS["abc"[seed % 3]]
        script = rs.script(seed)
        joint = Plants(joint_step=JointStep(42.0, "pack_plug", 9.0))
        both = []
        for plants in (Plants(), joint):
            data = rs.logged(rs.run(build, P1, script, plants))
            both.append((data, review_data(data, with_advice=False)))
        found.append(Match(build, script, both[0], both[1], {"p3": rs.described(build, P3)[1]}))
    return found


@dataclass(frozen=True)
class Outcome:
    """Lowest weapon voltage and hottest pack: replayed (with its band) and simulated again."""

    replayed_V: tuple[float, float, float]
    real_V: float
    pack_degC: float
    real_pack_degC: float


def _outcome(match: Match, case: Case) -> Outcome:
    data, before = match.loose if case.with_joint else match.healthy
    assert data.build is not None
    found = replay(data, changed(data.build, data.pack, case.sets, match.packs), before)
    assert found.refused is None and found.after is not None
    truth = rs.run(case.robot(match.build), case.pack, match.script)
    rows = {(r.check, r.part): r for r in found.after.passed}
    rows |= {(r.check, r.part): r for r in found.after.findings}  # type: ignore[misc]
    volts, pack = rows["controller_cutoff", "weapon"], rows["pack_temperature", "pack"]
    assert volts.low is not None and volts.high is not None
    inside = (truth.t_s >= truth.start_s) & (truth.t_s <= truth.end_s)
    hottest = float(truth.channels["pack_temp_degC"][inside].max())
    figures = (volts.measured, volts.low, volts.high)
    return Outcome(figures, rs.lowest(truth, "weapon_voltage_V"), pack.measured, hottest)


@pytest.fixture(scope="module")
def outcomes(matches: list[Match]) -> dict[str, list[Outcome]]:
    return {case.name: [_outcome(match, case) for match in matches] for case in CASES}


def test_the_lowest_voltage_is_right_on_average(outcomes: dict[str, list[Outcome]]) -> None:
    errors = [abs(o.replayed_V[0] - o.real_V) for case in outcomes.values() for o in case]
    assert np.mean(errors) <= MEAN_ERROR_V


@pytest.mark.parametrize("name", [case.name for case in CASES])
def test_the_band_holds_what_the_simulation_says(outcomes: dict[str, list[Outcome]], name: str) -> None:
    for outcome in outcomes[name]:
        assert outcome.replayed_V[1] <= outcome.real_V <= outcome.replayed_V[2]
        assert outcome.pack_degC == pytest.approx(outcome.real_pack_degC, abs=PACK_K)


def test_a_remade_joint_takes_its_findings_away(matches: list[Match]) -> None:
    data, before = matches[0].loose
    assert data.build is not None
    assert any(f.check == "joint" for f in before.findings)
    found = replay(data, changed(data.build, data.pack, ALL_JOINTS), before)
    assert found.after is not None
    assert not [f for f in found.after.findings if f.check == "joint" or f.cause == "contact_heating"]


def test_nothing_electrical_changed_leaves_every_figure(matches: list[Match]) -> None:
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


def test_a_clipped_current_is_refused(matches: list[Match]) -> None:
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
def test_without_the_pack_s_channels_it_is_refused(matches: list[Match], channel: str) -> None:
    data, before = matches[0].healthy
    less = {name: s for name, s in data.signals.items() if name != channel}
    assert data.build is not None
    found = replay(
        replace(data, signals=less, memo={}, _inside={}), changed(data.build, data.pack, ["pack.parallel=2"]), before
    )
    assert found.refused == f"{channel} was not logged. Log {channel} next time."


def test_a_pack_of_another_cell_count_says_what_else_would_change(matches: list[Match]) -> None:
    data, before = matches[0].healthy
    assert data.build is not None
    found = replay(data, changed(data.build, data.pack, ["pack.cells=4"]), before)
    assert found.refused is not None
    for words in ("4 cells", "wired for 6", "cutoff_V", "16.8 V"):
        assert words in found.refused


def test_a_limit_that_was_reached_cannot_be_raised(matches: list[Match]) -> None:
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
