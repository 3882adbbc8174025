"""Random robots and matches, the first suggestion for each, and the robot simulated again with it: was it true?

The robots, the matches and the truth come from the demo's simulation, which shares nothing with the analysis; the new
robot's log is reviewed as any other. What a suggestion says is: which findings it clears, between which bounds the
figure will lie, and that nothing else comes close or over but what it names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.advice import SERIOUS, advise
from analysis.changes import changed
from analysis.findings import Advice, Review
from analysis.match_data import MatchData
from analysis.outcome import Row
from analysis.review import review_data
from ingest.builds import Pack
from sample_data import BUILDS, PACKS, JointStep, Plants, Truth, fight, simulate
from sample_data.parts import BuildSpec, Drive, Joint, PackSpec, Run
from sample_data.script import Script
from tests.analysis import resimulated as rs

HELD_V = 22.2  # controllers that make up for their supply: six cells at 3.70 V (our choice)
AT = {"V": (0.01, 0.02), "A": (0.3, 0.2), "degC": (0.0, 1.0)}  # noise and step of the loggers (our choice)


@dataclass(frozen=True)
class Robot:
    """One robot and what happens to it."""

    build: BuildSpec
    pack: PackSpec
    script: Script
    plants: Plants
    air_degC: float
    held_V: float | None
    seed: int

    def truth(self) -> Truth:
        return simulate(
            self.build, self.pack, self.script, self.plants, air_degC=self.air_degC, seed=1, held_V=self.held_V
        )


def random_robot(seed: int) -> Robot:
    """A build, a pack and a match with parts that are often too small for it."""
    rng = np.random.default_rng([seed, 77])
    base = BUILDS["abc"[int(rng.integers(3))]]
    sizes = {
        "battery_lead": int(rng.choice([10, 12, 14, 16])),
        "weapon_lead": int(rng.choice([10, 12, 14, 16])),
        "weapon_motor_leads": int(rng.choice([10, 12, 14])),
    }
    drive = int(rng.choice([14, 16, 18]))
    longer = float(rng.uniform(0.7, 2.0))
    runs = tuple(
        replace(r, awg=sizes.get(r.id, r.awg if r.id == "supply_lead" else drive), length_mm=r.length_mm * longer)
        for r in base.runs
    )
    joints = tuple(
        replace(
            j,
            rated_A=round(j.rated_A * float(rng.uniform(0.5, 1.3))),
            resistance_mohm=round(j.resistance_mohm * float(rng.uniform(0.7, 1.8)), 2),
        )
        for j in base.joints
    )
    weapon = replace(
        base.weapon,
        current_limit_A=round(float(rng.uniform(80, 170))),
        burst_A=round(float(rng.uniform(110, 200))),
        continuous_A=round(float(rng.uniform(45, 90))),
    )
    limit_A = round(float(rng.uniform(35, 60)))
    burst_A = round(limit_A * float(rng.uniform(0.9, 1.3)))

    def side(d: Drive) -> Drive:
        return replace(d, motor_limit_A=float(limit_A), current_limit_A=float(limit_A), burst_A=float(burst_A))

    air = round(float(rng.uniform(10, 30)))
    build = replace(
        base, runs=runs, joints=joints, weapon=weapon, left=side(base.left), right=side(base.right),
        cutoff_V=round(float(rng.uniform(17.0, 19.5)), 1), mass_kg=round(float(rng.uniform(13.3, 13.6)), 2),
        air_degC=float(air),
    )  # fmt: skip
    pack = PACKS[str(rng.choice(["p1", "p2", "p3"]))]
    worn = float(rng.uniform(0.9, 1.7))
    cells = [r * worn for r in pack.cell_mohm]
    if rng.random() < 0.2:
        cells[int(rng.integers(6))] *= float(rng.uniform(2.0, 4.0))
    pack = replace(
        pack, cell_mohm=tuple(cells), charge_start=round(float(rng.uniform(0.85, 1.0)), 3), start_degC=float(air)
    )
    script = fight(
        seed, float(rng.uniform(40, 80)), intensity=float(rng.uniform(0.8, 1.8)), countdown_end_s=14.0, tail_s=6.0
    )
    joint = None
    if rng.random() < 0.25:
        name = str(rng.choice(build.run("battery_lead").through))
        joint = JointStep(float(rng.uniform(30, 40)), name, float(rng.uniform(5, 16)))
    stall = (34.0, 34.0 + float(rng.uniform(1, 4))) if rng.random() < 0.15 else None
    held = HELD_V if rng.random() < 0.5 else None
    return Robot(build, pack, script, Plants(stall=stall, joint_step=joint), float(air), held, seed)


def logged(robot: Robot, truth: Truth) -> MatchData:
    """Its log as loggers of usual resolution write it."""
    rng = np.random.default_rng([robot.seed, 5])
    seen = {}
    for name, x in truth.channels.items():
        noise, step = AT.get(name.rsplit("_", 1)[1], (0.0, 0.0))
        x = x + rng.normal(0.0, noise, x.shape) if noise else x
        seen[name] = np.round(x / step) * step if step else x
    data: MatchData = rs.logged(replace(truth, channels=seen))
    return data


@dataclass(frozen=True)
class Doubled(Run):
    """A run of several alike in parallel."""

    parallel: int = 2

    @property
    def loop_ohm_20C(self) -> float:
        return super().loop_ohm_20C / self.parallel


class NotTried(Exception):
    """The simulation knows no such change."""


def applied(robot: Robot, row: Advice) -> Robot:
    """The robot with what the words of the suggestion say. Raises NotTried."""
    for pair in row.change.split("; "):
        key, value = pair.split(" = ")
        robot = _one(robot, key.split("."), value)
    return robot


def _one(robot: Robot, key: list[str], value: str) -> Robot:
    build = robot.build
    if key[0] == "wire":
        if key[2] == "joints":
            return replace(robot, plants=replace(robot.plants, joint_step=None))
        runs = tuple(_run(r, key[2], value) if r.id == key[1] else r for r in build.runs)
        return replace(robot, build=replace(build, runs=runs))
    if key[0] == "contact":
        return replace(robot, build=_contact(build, key, value))
    if key[0] == "controller":
        name = key[1].removesuffix("_drive")
        drive = getattr(build, name)
        if key[2] == "ramp_s":
            drive = replace(drive, ramp_s=float(value))
        elif key[2] == "current_limit_A":
            drive = replace(drive, current_limit_A=float(value))
            if drive.basis == "motor":
                drive = replace(drive, motor_limit_A=float(value))
        else:
            raise NotTried(".".join(key))
        return replace(robot, build=replace(build, **{name: drive}))
    if key[0] == "fuse":
        fuses = tuple(replace(f, rated_A=float(value)) if f.id == key[1] else f for f in build.fuses)
        return replace(robot, build=replace(build, fuses=fuses))
    if key[0] == "pack":
        return replace(robot, pack=_pack(robot.pack, key[1:], value))
    raise NotTried(".".join(key))


def _run(run: Run, what: str, value: str) -> Run:
    if what == "gauge":
        return replace(run, awg=int(value.split()[0]))
    if what == "length_mm":
        return replace(run, length_mm=float(value))
    if what == "parallel":
        return Doubled(run.id, run.start, run.end, run.awg, run.length_mm, run.conductors, run.through, int(value))
    raise NotTried(f"wire {what}")


def _contact(build: BuildSpec, key: list[str], value: str) -> BuildSpec:
    if value == "removed":
        runs = tuple(replace(r, through=tuple(j for j in r.through if j != key[1])) for r in build.runs)
        return replace(build, runs=runs, joints=tuple(j for j in build.joints if j.id != key[1]))

    def other(j: Joint) -> Joint:
        if key[2] == "rated_A":
            return replace(j, rated_A=float(value))
        if key[2] == "resistance_mohm":
            return replace(j, resistance_mohm=float(value))
        raise NotTried(".".join(key))

    return replace(build, joints=tuple(other(j) if j.id == key[1] else j for j in build.joints))


def _pack(pack: PackSpec, field_: list[str], value: str) -> PackSpec:
    if not field_:
        return replace(PACKS[value], start_degC=pack.start_degC, charge_start=pack.charge_start)
    name = field_[0]
    if name == "condition":
        return replace(pack, cell_mohm=(pack.stated_mohm / pack.cells,) * pack.cells)
    if name == "parallel":
        cells = tuple(r / 2 for r in pack.cell_mohm)
        return replace(pack, cell_mohm=cells, capacity_Ah=2 * pack.capacity_Ah, mass_g=2 * pack.mass_g)
    if name == "capacity_Ah":  # the next size of the same kind: its cells are larger by as much
        share = float(value) / pack.capacity_Ah
        return replace(pack, capacity_Ah=float(value), cell_mohm=tuple(r / share for r in pack.cell_mohm))
    if name == "mass_g":
        return replace(pack, mass_g=float(value))
    if name == "resistance_mohm":
        return pack
    if name == "start_pct":
        return replace(pack, charge_start=float(value) / 100.0)
    raise NotTried(f"pack {name}")


@dataclass(frozen=True)
class Told:
    """One suggestion and what came of it.

    cleared: (check, part) that it said it clears; still: those that are serious again (close ones only where the row
    did not say so); new: what came close or over without a word; said_new and said_new_came: whether it named any,
    whether any came. real: the figure that the row showed, as measured on the new robot.
    """

    seed: int
    row: Advice
    cleared: tuple[tuple[str, str], ...]
    still: tuple[str, ...]
    new: tuple[str, ...]
    said_new: bool
    said_new_came: bool
    shown: tuple[str, str] | None
    real: float | None
    verdicts: tuple[str, str] = field(default=("", ""))

    @property
    def holds(self) -> bool | None:
        low, high = self.row.after["low"], self.row.after["high"]
        if self.real is None or low is None or high is None:
            return None
        return bool(low <= self.real <= high)


def packs_of(robot: Robot) -> tuple[Pack, ...]:
    """The season's packs, each as its file states."""
    return tuple(rs.described(robot.build, p)[1] for p in PACKS.values())


def tried(robot: Robot, packs: Sequence[Pack] | None = None) -> Told | str:
    """The first suggestion, held against the robot simulated again with it; or why there is none to hold."""
    data = logged(robot, robot.truth())
    before = review_data(data, with_advice=False)
    others = packs_of(robot) if packs is None else packs
    rows = advise(data, before, others)
    if not rows:
        return f"none ({before.match.verdict})"
    first = rows[0]
    if not first.proved:
        return f"not proved: {first.change}"
    if not first.clears:
        return f"falls short: {first.change}"
    try:
        again = applied(robot, first)
    except NotTried as why:
        return f"not tried: {why}"
    assert data.build is not None
    sets = [pair.replace(" = ", "=") for pair in first.change.split("; ")]
    changes = changed(data.build, data.pack, sets, {p.id: p for p in others})
    plain = replace(again, build=replace(again.build, runs=tuple(_plain(r) for r in again.build.runs)))
    new_log = replace(logged(plain, again.truth()), build=changes.build, packs=(changes.pack,) if changes.pack else ())
    after = review_data(new_log, with_advice=False)
    return _held(robot, first, before, after)


def _plain(run: Run) -> Run:
    return Run(run.id, run.start, run.end, run.awg, run.length_mm, run.conductors, run.through)


def _held(robot: Robot, first: Advice, before: Review, after: Review) -> Told:
    serious = [f for f in before.findings if f.verdict in SERIOUS]
    cleared = tuple((f.check or f.cause, f.part) for f in serious if f.id in first.clears)
    had = {(f.check or f.cause, f.part) for f in serious}
    now = {(f.check or f.cause, f.part): f.verdict for f in after.findings if f.verdict in SERIOUS}
    note = first.cost_note.lower()
    still = tuple(
        f"{key[0]} {key[1]} {now[key]}"
        for key in cleared
        if key in now and not (now[key] == "close" and "may leave" in note)
    )
    fresh = tuple((key, verdict) for key, verdict in now.items() if key not in had)
    unsaid = tuple(
        f"{key[0]} {key[1]} {verdict}"
        for key, verdict in fresh
        if "brings " not in note and not (verdict == "close" and "may bring" in note)
    )
    shown, real = _figure(first, before, after)
    return Told(
        robot.seed, first, cleared, still, unsaid, "brings " in note, bool(fresh), shown, real,
        (before.match.verdict, after.match.verdict),
    )  # fmt: skip


def _figure(first: Advice, before: Review, after: Review) -> tuple[tuple[str, str] | None, float | None]:
    """The check and part whose figure the row shows, and its figure on the new robot."""
    rows: list[Row] = [*after.findings, *after.passed]
    for f in before.findings:
        if f.id in first.clears and f.measured == first.before["measured"] and f.check:
            key = (f.check, f.part)
            same = [r for r in rows if (r.check, r.part) == key]  # type: ignore[union-attr]
            if f.check == "cell_minimum":
                same = [r for r in rows if r.check == f.check]  # type: ignore[union-attr]
            return key, same[0].measured if same else None  # type: ignore[union-attr]
    return None, None
