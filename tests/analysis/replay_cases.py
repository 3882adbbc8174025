"""Matches of the simulated robot, changes to it, and what the replay and the simulation say of each, for tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.changes import changed
from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.replay import replay
from analysis.review import review_data
from ingest.builds import Pack
from sample_data import JointStep, Plants, Truth
from sample_data.parts import BuildSpec, PackSpec
from tests.analysis import resimulated as rs
from tests.synthetic.wire_truth import copper_degC

# Controllers that make up for a sagging supply hold this at a full command: six cells at 3.70 V (our choice).
HELD_V = 22.2


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
    held_V: float | None = None


def made_match(seed: int, held_V: float | None = None) -> Match:
    """One match of a build, with sound joints and with one that comes loose. held_V as in sample_data.simulate."""
    build = rs.BUILDS["abc"[seed % 3]]
    script = rs.script(seed)
    both = []
    for plants in (Plants(), Plants(joint_step=JointStep(42.0, "pack_plug", 9.0))):
        data = rs.logged(rs.run(build, P1, script, plants, held_V))
        both.append((data, review_data(data, with_advice=False)))
    return Match(build, script, both[0], both[1], {"p3": rs.described(build, P3)[1]}, held_V)


@dataclass(frozen=True)
class Figure:
    """One figure as replayed, with its band, and as simulated again."""

    value: float
    low: float
    high: float
    real: float

    @property
    def error(self) -> float:
        return self.value - self.real

    @property
    def holds(self) -> bool:
        return self.low <= self.real <= self.high


@dataclass(frozen=True)
class Outcome:
    """Lowest voltage of the weapon (V), hottest pack (degC), hottest place of each run (degC)."""

    volts: Figure
    pack: Figure
    wires: dict[str, Figure]


CURRENT_OF = {
    "battery_lead": "pack_current_A",
    "weapon_lead": "weapon_input_current_A",
    "left_lead": "left_drive_input_current_A",
    "weapon_motor_leads": "weapon_motor_current_A",
    "left_motor_leads": "left_drive_motor_current_A",
}
STEPS = 50  # of 1 ms: the truth of the wire is stepped every 0.05 s


def hottest_degC(truth: Truth, run: str) -> float:
    """The copper of a run at its hottest in the match, its jacket in rings: the simulation's own single node of copper
    and jacket stays 5 to 20 % of the rise below it, because a jacket lags behind a burst."""
    amps = truth.channels[CURRENT_OF[run]][: len(truth.t_s) // STEPS * STEPS]
    square = np.square(amps.reshape(-1, STEPS)).mean(axis=1)
    temps = copper_degC(truth.build.run(run), square, STEPS * 1e-3, 20.0)
    t = truth.t_s[STEPS - 1 :: STEPS][: len(temps)]
    return float(temps[(t >= truth.start_s) & (t <= truth.end_s)].max())


def outcome(match: Match, case: Case) -> Outcome:
    """Raises AssertionError with the reason where the replay is refused."""
    data, before = match.loose if case.with_joint else match.healthy
    assert data.build is not None
    found = replay(data, changed(data.build, data.pack, case.sets, match.packs), before)
    assert found.after is not None, found.refused
    truth = rs.run(case.robot(match.build), case.pack, match.script, None, match.held_V)
    inside = (truth.t_s >= truth.start_s) & (truth.t_s <= truth.end_s)
    rows = {(r.check, r.part): r for r in (*found.after.passed, *found.after.findings)}

    def figure(check: str, part: str, real: float) -> Figure:
        row = rows[check, part]
        assert row.measured is not None and row.low is not None and row.high is not None
        return Figure(row.measured, row.low, row.high, real)

    return Outcome(
        figure("controller_cutoff", "weapon", rs.lowest(truth, "weapon_voltage_V")),
        figure("pack_temperature", "pack", float(truth.channels["pack_temp_degC"][inside].max())),
        {
            part: figure(check, part, hottest_degC(truth, part))
            for check, part in rows
            if check == "wire_temperature" and part in CURRENT_OF
        },
    )
