"""Is the first suggestion true? Random robots with random faults, simulated again with what was suggested.

    python -m benchmarks.advice_truth [--robots 60] [--seed 1] [--each]

The robot, its faults and the match come from the demo's simulation (sample_data), which shares no code with the
analysis; a suggestion is turned into a changed robot figure by figure. Counted, of the suggestions that were replayed
("proved"): whether the findings that one is said to clear are gone when the changed robot's match is reviewed, whether
the figure it promises lies in its band, and whether anything new went wrong that was not said.
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

import numpy as np

from analysis.advice import advise
from analysis.changes import Changes, changed
from analysis.findings import Advice, Review
from analysis.review import review_data
from ingest.tables.gauges import parse_gauge
from sample_data import JointStep, Plants
from sample_data.parts import BuildSpec, PackSpec, Run

ROOT = Path(__file__).resolve().parents[1]
SERIOUS = ("over", "fault", "close")


def _resimulated() -> ModuleType:
    name = "resimulated"
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "analysis" / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


rs = _resimulated()


@dataclass(frozen=True)
class Robot:
    build: BuildSpec
    pack: PackSpec
    plants: Plants
    seed: int


def random_robot(seed: int) -> Robot:
    """A build of the demo, made worse at one to three places, and a match of it."""
    rng = np.random.default_rng([seed, 77])
    build: BuildSpec = rs.BUILDS[str(rng.choice(["a", "b", "c"]))]
    pack: PackSpec = rs.PACKS[str(rng.choice(["p1", "p3"]))]
    plants = Plants()
    for fault in rng.choice(
        [
            "thin battery",
            "thin weapon",
            "long",
            "tired pack",
            "weak cell",
            "joint",
            "stall",
            "small plug",
            "cutoff",
            "weapon",
        ],
        size=int(rng.integers(1, 4)),
        replace=False,
    ):
        if fault == "thin battery":
            build = rs.gauge(build, "battery_lead", int(rng.choice([16, 18, 20])))
        elif fault == "thin weapon":
            build = rs.gauge(build, "weapon_lead", int(rng.choice([16, 18, 20])))
        elif fault == "long":
            build = rs.gauge(build, "battery_lead", build.run("battery_lead").awg, float(rng.uniform(400, 900)))
        elif fault == "tired pack":
            pack = replace(pack, cell_mohm=tuple(r * float(rng.uniform(1.5, 2.2)) for r in pack.cell_mohm))
        elif fault == "weak cell":
            cells = list(pack.cell_mohm)
            cells[int(rng.integers(6))] += float(rng.uniform(3.0, 8.0))
            pack = replace(pack, cell_mohm=tuple(cells))
        elif fault == "joint":
            joint = str(rng.choice(build.run("battery_lead").through))
            plants = replace(plants, joint_step=JointStep(float(rng.uniform(30, 45)), joint, float(rng.uniform(3, 14))))
        elif fault == "stall":
            start = float(rng.uniform(28, 45))
            plants = replace(plants, stall=(start, start + float(rng.uniform(3, 15))))
        elif fault == "small plug":
            joints = tuple(
                replace(j, rated_A=float(rng.choice([30.0, 45.0, 60.0])), resistance_mohm=0.8)
                if j.id == "pack_plug"
                else j
                for j in build.joints
            )
            build = replace(build, joints=joints)
        elif fault == "cutoff":
            build = replace(build, cutoff_V=float(rng.uniform(18.5, 20.5)))
        elif fault == "weapon":
            weapon = replace(build.weapon, burst_A=float(rng.uniform(80, 130)), continuous_A=float(rng.uniform(30, 60)))
            build = replace(build, weapon=weapon)
    return Robot(build, pack, plants, seed)


def applied(robot: Robot, changes: Changes) -> Robot | None:
    """The simulated robot with the changes; None where it has no part that could be changed so."""
    build, plants = robot.build, robot.plants
    gone = set(changes.removed)
    runs: list[Run] = []
    for run in build.runs:
        wire = next(w for w in changes.build.wires if w.id == run.id)
        awg = run.awg
        if wire.gauge is not None:
            area = parse_gauge(str(wire.gauge)) * wire.parallel
            # two alike in parallel are three sizes thicker, within 1 %
            awg = round(36.0 - 39.0 * float(np.log(np.sqrt(area / 0.785398163) / 0.127) / np.log(92.0)))
        through = tuple(j for j in run.through if j not in gone)
        runs.append(replace(run, awg=awg, length_mm=float(wire.length_mm or run.length_mm), through=through))
    contacts = {c.id: c for c in changes.build.contacts}
    joints = tuple(
        replace(
            j,
            resistance_mohm=float(contacts[j.id].resistance_mohm or j.resistance_mohm),
            rated_A=float(contacts[j.id].rated_A or j.rated_A),
        )
        for j in build.joints
        if j.id not in gone
    )
    drives = {}
    for side in ("weapon", "left", "right"):
        drive = getattr(build, side)
        now = next(c for c in changes.build.controllers if c.id == drive.controller)
        limit = float(now.current_limit_A or drive.current_limit_A)
        more = {"motor_limit_A": limit} if drive.basis == "motor" and limit < drive.motor_limit_A else {}
        drives[side] = replace(drive, current_limit_A=limit, ramp_s=float(now.ramp_s or drive.ramp_s), **more)
        motor = next(m for m in changes.build.motors if m.controller == drive.controller)
        if motor.gear_ratio != drive.gear_ratio:
            return None  # the simulation has no wheels of its own
    step = plants.joint_step
    if step is not None and ("battery_lead" in changes.remade or step.joint in gone):
        plants = replace(plants, joint_step=None)
    build = replace(build, runs=tuple(runs), joints=joints, **drives)
    return Robot(build, _fitted(robot.pack, changes), plants, robot.seed)


def _fitted(pack: PackSpec, changes: Changes) -> PackSpec:
    now, texts = changes.pack, changes.as_dict()
    if now is None:
        return pack
    if changes.other:
        pack = rs.PACKS[now.id]
    if "pack.condition" in texts:
        pack = replace(pack, cell_mohm=tuple(pack.stated_mohm / pack.cells for _ in pack.cell_mohm))
    share = float(now.resistance_mohm or pack.stated_mohm) / pack.stated_mohm
    start = pack.charge_start if changes.start_pct is None else changes.start_pct / 100.0
    return replace(
        pack,
        capacity_Ah=float(now.capacity_Ah or pack.capacity_Ah),
        cell_mohm=tuple(r * share for r in pack.cell_mohm),
        stated_mohm=pack.stated_mohm * share,
        mass_g=float(now.mass_g or pack.mass_g),
        charge_start=start,
    )


def reviewed(robot: Robot) -> tuple[Review, tuple[Advice, ...]]:
    truth = rs.run(robot.build, robot.pack, rs.script(robot.seed), robot.plants)
    data = rs.logged(truth)
    found = review_data(data, with_advice=False)
    others = [rs.described(robot.build, p)[1] for p in rs.PACKS.values() if p.id != robot.pack.id and p.id != "p2"]
    return found, advise(data, found, others)


def tried(robot: Robot) -> tuple[str, str]:
    """(what became of it, a line that says so)."""
    before, advice = reviewed(robot)
    serious = [f for f in before.findings if f.verdict in SERIOUS]
    if not serious:
        return "nothing found", "nothing over, close or failed"
    if not advice:
        return "no suggestion", "; ".join(f"{f.check} {f.part}" for f in serious)
    first = advice[0]
    if not first.proved:
        return "not replayed", first.change
    build, pack = rs.described(robot.build, robot.pack)
    packs = {name: rs.described(robot.build, p)[1] for name, p in rs.PACKS.items()}
    changes = changed(build, pack, first.change.split("; "), packs)
    other = applied(robot, changes)
    if other is None:
        return "not simulated", first.change
    after, _ = reviewed(other)
    now = {(f.check, f.part): f for f in after.findings if f.verdict in SERIOUS}
    was = {(f.check, f.part) for f in serious}
    by_id = {f.id: f for f in serious}
    still = [f"{f.check} {f.part}" for f in map(by_id.__getitem__, first.clears) if (f.check, f.part) in now]
    new = [
        f"{check} {part} {f.measured:.4g} of {f.limit}"
        for (check, part), f in now.items()
        if (check, part) not in was and f.verdict != "close" and not f.consequence_of
    ]
    told = "" if not (still or new) else f" still: {still} new: {new} said: {first.cost_note or first.sentence}"
    state = "not cured" if still else "something new" if new and "new" not in first.cost_note else "true"
    if not first.clears:
        state = "said to fall short"
    return state, first.change + told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--robots", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--each", action="store_true", help="a line for each robot")
    asked = parser.parse_args()
    start = time.perf_counter()
    counts: Counter[str] = Counter()
    for seed in range(asked.seed, asked.seed + asked.robots):
        state, line = tried(random_robot(seed))
        counts[state] += 1
        if asked.each or state in ("not cured", "something new"):
            print(f"{seed:4} {state}: {line}", flush=True)
    made = counts["true"] + counts["not cured"] + counts["something new"]
    print(", ".join(f"{state}: {n}" for state, n in counts.most_common()))
    print(f"of {made} suggestions that promise a cure {counts['true']} are true ({time.perf_counter() - start:.0f} s)")


if __name__ == "__main__":
    main()
