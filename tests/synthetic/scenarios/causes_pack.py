"""What packs do: resistance, a weak cell, empty, cold, not full, aged. The event lasts the whole match, so the found
span must overlap it; ageing, cold and resistance look alike but for temperature and history, hence the twins."""

from __future__ import annotations

import datetime as dt

import numpy as np

from ingest.builds import MeasuredByHand
from tests.synthetic.scenarios.bench import Maker, all_in_one, setup, split
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.robot import Paper
from tests.synthetic.scenarios.simulate import Truth
from tests.synthetic.scenarios.world import BUS, CELLS, PACK, PACK_TEMP, WEAPON

SAG = ("hit", "push", "spin_up", "current_limit", "low_voltage_cutoff", "undersampled", "undervoltage_restart")
CELL_PARTS = tuple(f"cell{n}" for n in range(1, 7))


def pack_resistance(name: str, k: int) -> Scenario:
    """Every cell alike sags 1.8 to 2.5 times as deep as the pack file's resistance gives, warm and from full charge.
    One match cannot tell a poor pack from an aged one (accepted). Variant 5 logs no current."""
    rate, grade = setup(k)
    plan = new_plan(name, length_s=55.0)
    factor = float(plan.rng.uniform(1.9, 2.6))
    plan.robot = plan.robot.but(cell_r=(factor,) * 6, weapon_cutoff_V=15.0)
    ordinary_match(plan, pushes=4, push_A=(30, 50))
    devices = {
        1: split(rate, grade), 3: [recorder(rate, grade, PACK, WEAPON)], 5: [recorder(rate, grade, CELLS, BUS)],
    }.get(k, all_in_one(rate, grade))  # fmt: skip
    label = Label(
        "voltage_sag", ("pack",), plan.start_s, plan.end_s, needs=("pack_voltage_V", "pack_current_A"),
        forbidden=("weak_cell", "cold_pack", "joint_step", "pack_empty"), accept=("ageing",), also=SAG,
        timing="overlap",
    )  # fmt: skip
    return finish(name, "pack_resistance", plan, devices, label)


def weak_cell(name: str, k: int) -> Scenario:
    """One cell of three to five times its neighbours' resistance (and often less capacity) sags alone; the rest of
    the pack is sound. Without cell voltages it cannot be told from the whole pack: hidden in variant 5."""
    rate, grade = setup(k)
    plan = new_plan(name, length_s=50.0)
    which = int(plan.rng.integers(0, 6))
    factor = float(plan.rng.uniform(3.2, 5.0))
    shares, capacity = [1.0] * 6, [1.0] * 6
    shares[which] = factor
    if k % 2:
        capacity[which] = 0.7
    plan.robot = plan.robot.but(cell_r=tuple(shares), cell_capacity=tuple(capacity))
    ordinary_match(plan, pushes=4, push_A=(30, 50))
    devices = {
        1: split(rate, grade), 3: [recorder(rate, grade, PACK, ("cell_min_V",), BUS)],
        5: [recorder(rate, grade, PACK, BUS, WEAPON)],
    }.get(k, all_in_one(rate, grade))  # fmt: skip
    label = Label(
        "voltage_sag", (f"cell{which + 1}", "pack"), plan.start_s, plan.end_s, needs=("pack_current_A",),
        needs_any=((f"cell{which + 1}_voltage_V", "cell_min_V"),),
        forbidden=("pack_resistance", "cold_pack", "joint_step", "pack_empty", "ageing", "not_full"),
        also=SAG, timing="overlap",
    )  # fmt: skip
    return finish(name, "weak_cell", plan, devices, label)


def pack_empty(name: str, k: int) -> Scenario:
    """Near the end of charge the rest voltage itself falls over the knee, all cells together, and stays down when the
    current stops; sag alone would come back."""
    rate, grade = setup(k)
    long = k in (0, 2)
    plan = new_plan(name, length_s=100.0 if long else 70.0)
    plan.robot = plan.robot.but(
        capacity_Ah=2.2, start_charge=0.40 if long else 0.27, weapon_cutoff_V=14.0 if k % 2 else 17.0
    )
    ordinary_match(plan, pushes=10 if long else 7, push_A=(30, 48), hits=8)
    devices = {3: split(rate, grade), 2: [recorder(rate, grade, PACK, CELLS, WEAPON)]}.get(k, all_in_one(rate, grade))

    def label(truth: Truth) -> Label:
        charge = plan.robot.start_charge - truth.x["drawn_Ah"] / plan.robot.capacity_Ah
        low_at = np.flatnonzero(charge < 0.08)
        start = float(truth.t_s[low_at[0]]) if low_at.size else plan.end_s
        return Label(
            "voltage_sag", ("pack", *CELL_PARTS, "weapon"), start, plan.total_s,
            needs_any=(("pack_voltage_V", *CELLS),),
            forbidden=("weak_cell", "cold_pack", "joint_step", "ageing"),
            also=(*SAG, "not_full", "pack_resistance", "brown_out"), timing="overlap",
        )  # fmt: skip

    return finish(name, "pack_empty", plan, devices, label, Paper(stated_mohm=11.5))


def cold_pack(name: str, k: int) -> Scenario:
    """A lithium pack at 2 to 9 °C has 1.6 to 2.1 times its resistance (class value, no source) and mends as it warms;
    the temperature is known from the pack's sensor or the air."""
    rate, grade = setup(k)
    plan = new_plan(name, length_s=55.0)
    cold = float(plan.rng.uniform(-2.0, 6.0))
    plan.robot = plan.robot.but(pack_degC=cold, air_degC=cold + 1.0, weapon_cutoff_V=15.0)
    ordinary_match(plan, pushes=4, push_A=(30, 50))
    devices = {
        1: split(rate, grade), 3: [recorder(rate, grade, PACK, PACK_TEMP, WEAPON)],
        5: [recorder(rate, grade, PACK, WEAPON)],
    }.get(k, all_in_one(rate, grade))  # fmt: skip
    label = Label(
        "voltage_sag", ("pack",), plan.start_s, plan.end_s,
        needs=("pack_voltage_V", "pack_current_A", "pack_temp_degC"),
        forbidden=("ageing", "weak_cell", "joint_step", "pack_resistance"), also=SAG, timing="overlap",
    )  # fmt: skip
    return finish(name, "cold_pack", plan, devices, label, Paper(air_known=k != 5))


def not_full(name: str, k: int) -> Scenario:
    """Rest voltage before the match is that of 55 to 80 % charge, 3.84 to 4.02 V a cell, all cells alike."""
    rate, grade = setup(k)
    plan = new_plan(name)
    plan.robot = plan.robot.but(start_charge=float(plan.rng.uniform(0.55, 0.8)))
    ordinary_match(plan)
    devices = {1: split(rate, grade), 3: [recorder(rate, grade, WEAPON)], 5: [recorder(rate, grade, CELLS)]}.get(
        k, all_in_one(rate, grade)
    )
    label = Label(
        "voltage_sag", ("pack", *CELL_PARTS), 0.0, plan.end_s,
        needs_any=(("pack_voltage_V", "cell1_voltage_V", "weapon_voltage_V"),),
        forbidden=("weak_cell", "pack_empty", "ageing", "cold_pack", "pack_resistance"), also=SAG, timing="overlap",
    )  # fmt: skip
    return finish(name, "not_full", plan, devices, label)


def ageing(name: str, k: int) -> Scenario:
    """A pack years in service whose resistance measured by hand has grown, all cells alike, at 25 °C and full charge;
    the match shows the same resistance. Told from a bad pack only by that history (pack_resistance is accepted)."""
    rate, grade = setup(k)
    plan = new_plan(name, length_s=55.0)
    factor = float(plan.rng.uniform(1.7, 2.3))
    plan.robot = plan.robot.but(cell_r=(factor,) * 6, cell_capacity=(0.78,) * 6, weapon_cutoff_V=15.0)
    ordinary_match(plan, pushes=4, push_A=(30, 50))
    new_mohm = 11.5 / 6
    days = (dt.date(2024, 3, 2), dt.date(2024, 11, 9), dt.date(2025, 7, 5), dt.date(2026, 4, 18))
    history = tuple(
        MeasuredByHand(date=day, cell_mohm=(round(new_mohm * (1 + (factor - 1) * part), 2),) * 6, degC=24)
        for day, part in zip(days, (0.0, 0.35, 0.7, 1.0), strict=True)
    )
    devices = {1: split(rate, grade), 3: [recorder(rate, grade, PACK, PACK_TEMP, WEAPON)]}.get(
        k, all_in_one(rate, grade)
    )
    label = Label(
        "voltage_sag", ("pack",), plan.start_s, plan.end_s, needs=("pack_voltage_V", "pack_current_A"),
        forbidden=("cold_pack", "weak_cell", "joint_step", "pack_empty"), accept=("pack_resistance",), also=SAG,
        timing="overlap",
    )  # fmt: skip
    return finish(name, "ageing", plan, devices, label, Paper(in_service=dt.date(2024, 2, 20), measured=history))


PACKS: dict[str, tuple[Maker, int]] = {
    "pack_resistance": (pack_resistance, 7), "weak_cell": (weak_cell, 7), "pack_empty": (pack_empty, 6),
    "cold_pack": (cold_pack, 7), "not_full": (not_full, 7), "ageing": (ageing, 6),
}  # fmt: skip
