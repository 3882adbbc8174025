"""Matches in which nothing is wrong: hard hits, long pushes, heavy spin-ups, regeneration, the plug-in inrush, with
every rating of the build kept by 10 % and more. Whatever is found over, close or at fault in them is a false
alarm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from tests.synthetic.scenarios.bench import all_in_one, pick, split
from tests.synthetic.scenarios.causes_logger import WALL_CLOCK
from tests.synthetic.scenarios.loggers import Device, recorder
from tests.synthetic.scenarios.model import Recipe, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.robot import Paper, Robot
from tests.synthetic.scenarios.world import BUS, CELLS, LEFT, PACK, RIGHT, SHOCK, WEAPON

RATES_Hz = (10.0, 50.0, 100.0, 1000.0)
GRADES = ("good", "poor")
FLAVOURS = ("ordinary", "split", "hard_hits", "pushes_and_braking", "plug_in", "long", "few_channels")
EXPECTED_NOTES = ("current_limit", "push", "hit", "spin_up")


def healthy(name: str, rate: float, grade: str, flavour: str) -> Scenario:
    """One healthy match."""
    paper = Paper()
    robot = Robot(pack_degC=26.0 + len(flavour) % 5)
    if flavour == "hard_hits":
        robot = robot.but(weapon_inertia=2.2e-3)
    if flavour == "pushes_and_braking":
        robot = robot.but(weapon_brake_A=60.0)
    plan = new_plan(name, robot, length_s=88.0 if flavour == "long" else 45.0)
    averages = rate <= 50 and grade == "poor"
    if flavour == "hard_hits":
        ordinary_match(plan, hits=12, shock_g=(150.0, 390.0))
    elif flavour == "pushes_and_braking":
        stop = pick(plan)
        ordinary_match(plan, [(stop - 1.0, stop + 4.0)], pushes=6, push_A=(38.0, 58.0), vigour=1.1)
        plan.change("cw", stop, stop + 2.4, 0.0)
        plan.change("brake_w", stop, stop + 2.0, 1.0)
    else:
        ordinary_match(plan, pushes=4, hits=6)
    devices = all_in_one(rate, grade)
    if flavour == "split":
        devices = split(rate, grade, pack_Hz=max(10.0, rate / 2))
    elif flavour == "plug_in":
        plan.plug_in_s = float(plan.rng.uniform(0.6, 1.1))
        plan.quick(plan.plug_in_s - 0.01, plan.plug_in_s + 0.05)
    elif flavour == "long":
        devices = _several(rate, grade, named_clock=grade == "good")
    elif flavour == "few_channels":
        devices = [
            {
                10.0: recorder(rate, grade, PACK, CELLS), 50.0: recorder(rate, grade, WEAPON),
                100.0: recorder(rate, grade, LEFT, RIGHT), 1000.0: recorder(rate, grade, PACK, BUS, SHOCK),
            }[rate]
        ]  # fmt: skip
    devices = [replace(device, averages=averages) for device in devices]
    return finish(name, "", plan, devices, None, paper)


def _several(rate: float, grade: str, named_clock: bool) -> list[Device]:
    """Files that begin at different moments: by one honest wall clock, or with offsets that `add` has found."""
    pack, weapon, drives, receiver = split(rate, grade)
    late = [pack, replace(weapon, start_s=0.8), replace(drives, start_s=1.3), receiver]
    if named_clock:
        return [replace(device, wall_clock=WALL_CLOCK) for device in late]
    return late


def healthy_recipes() -> Iterator[Recipe]:
    """4 rates, 2 grades, 7 flavours: 56 matches."""
    for flavour in FLAVOURS:
        for grade in GRADES:
            for rate in RATES_Hz:
                name = f"healthy_{flavour}_{grade}_{rate:.0f}hz"
                yield Recipe(name, "", partial(healthy, name, rate, grade, flavour))
