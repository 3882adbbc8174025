"""What leads, joints and contacts do, by Ohm's law between two voltage taps: a drop that follows the current and
changes when the joint does, while the pack's own resistance stays. What no pair of taps spans cannot be placed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.bench import Maker, all_in_one, pick, setup, split
from tests.synthetic.scenarios.heat import STEP_s, binned_square, contact_degC, wire_degC
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.robot import Paper, Robot, awg_mm2
from tests.synthetic.scenarios.simulate import Truth
from tests.synthetic.scenarios.world import BUS, LEFT, PACK, SHOCK, WEAPON, World

Floats = npt.NDArray[np.float64]

BATTERY_PARTS = ("battery_lead", "pack_plug", "main_disconnect")
WEAPON_RUN = ("weapon_lead", "weapon_terminal", "weapon_fuse")
LEFT_RUN = ("left_lead", "left_terminal")
COMPANY = ("hit", "push", "spin_up", "current_limit", "undersampled", "contact_heating")
BATTERY_NEEDS = (("pack_voltage_V",), ("pack_current_A",), ("distribution_voltage_V", "weapon_voltage_V"))
WEAPON_NEEDS = (("weapon_voltage_V",), ("weapon_input_current_A",), ("distribution_voltage_V", "pack_voltage_V"))
LEFT_NEEDS = (
    ("left_drive_voltage_V",), ("left_drive_input_current_A",),
    ("distribution_voltage_V", "weapon_voltage_V", "pack_voltage_V"),
)  # fmt: skip


def joint_step(name: str, k: int) -> Scenario:
    """A crack, a plug half out: from one moment (mostly a hit) the loop has 8 to 25 mohm more, for good. The drop
    over the run steps up at the same current; the pack's terminal voltage shows no change. With no tap before
    the joint (variant 5) it cannot be told from the pack. Variant 7 logs no current."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan, 14.0, 16.0)
    ordinary_match(plan, [(at - 1.5, at + 1.5)], pushes=4)
    if k != 2:
        plan.hit(at, float(plan.rng.uniform(150, 300)), 0.75)
    added = float(plan.rng.uniform(9.0, 14.0)) * (1.7 if grade == "poor" or rate == 10 else 1.0)
    parts: tuple[str, ...]
    needs: tuple[tuple[str, ...], ...]
    series, parts, needs = "path_mohm", BATTERY_PARTS, BATTERY_NEEDS
    if k in (1, 4):
        series, parts, needs = "weapon_mohm", (*WEAPON_RUN, "weapon"), WEAPON_NEEDS
    elif k == 6:
        series, parts, needs, added = "left_mohm", (*LEFT_RUN, "left_drive"), LEFT_NEEDS, 45.0
    plan.change(series, at, plan.total_s, added)
    accept: tuple[str, ...] = ("terminal_loose",) if k in (1, 4, 6) else ()
    devices = {3: split(rate, grade), 2: [recorder(rate, grade, PACK, WEAPON)]}.get(k, all_in_one(rate, grade))
    if k == 5:
        devices = [recorder(rate, grade, WEAPON, ("pack_current_A",))]
        parts, needs, accept = (*parts, "pack"), (("pack_current_A",), ("weapon_voltage_V",)), ("pack_resistance",)
    if k == 7:
        devices = [recorder(rate, grade, BUS, ("pack_voltage_V",))]
    label = Label(
        "wiring_fault", parts, at, plan.total_s, needs_any=needs,
        forbidden=("pack_resistance", "weak_cell", "disconnect_opened", "ageing", "cold_pack", "pack_empty"),
        accept=accept, also=(*COMPANY, "brown_out", "low_voltage_cutoff", "terminal_loose"),
    )  # fmt: skip
    return finish(name, "joint_step", plan, devices, label)


def flicker(rng: np.random.Generator, at: float, length: float, low: float, high: float) -> Callable[[Floats], Floats]:
    """Resistance of a joint that comes and goes: bad for 20 to 150 ms, good for as long."""
    edges, values, t = [at], [0.0], at + 0.01
    while t < at + length:
        bad = rng.uniform(low, high)
        span = rng.uniform(0.04, 0.18)
        edges += [t, min(t + span, at + length)]
        values += [bad, 0.0]
        t += span + rng.uniform(0.03, 0.2)
    table, level = np.array(edges), np.array(values)
    return lambda x: level[np.clip(np.searchsorted(table, x, side="right") - 1, 0, level.size - 1)]


def joint_intermittent(name: str, k: int) -> Scenario:
    """A joint that a blow has loosened: 25 to 80 mohm for 40 to 180 ms at a time, good in between, over seconds of
    vibration, then held again. The drop over the run flickers at a current that does not."""
    rate, grade = setup(k, slowest_Hz=50.0)
    plan = new_plan(name)
    at = pick(plan)
    length = float(plan.rng.uniform(2.0, 4.0))
    ordinary_match(plan, [(at - 1.5, at + length + 1.0)])
    plan.hit(at, float(plan.rng.uniform(180, 320)), 0.6)
    for side in ("l", "r"):  # driving on, so that there is a current to drop
        plan.change(f"c{side}", at, at + length, 0.8)
        plan.change(f"push_{side}_A", at, at + length, 30.0)
    parts: tuple[str, ...]
    needs: tuple[tuple[str, ...], ...]
    series, parts, needs = "path_mohm", BATTERY_PARTS, BATTERY_NEEDS
    if k in (1, 4):
        series, parts, needs = "left_mohm", (*LEFT_RUN, "left_drive"), LEFT_NEEDS
    low, high = (60.0, 110.0) if series == "left_mohm" else (25.0, 60.0)
    plan.change(series, at, at + length, flicker(plan.rng, at + 0.02, length - 0.05, low, high))
    plan.quick(at, at + length)
    devices = {3: split(rate, grade), 5: [recorder(rate, grade, PACK)]}.get(k, all_in_one(rate, grade))
    label = Label(
        "wiring_fault", parts, at, at + length, needs_any=needs,
        forbidden=("joint_step", "disconnect_opened", "pack_resistance", "weak_cell", "stall"),
        accept=("terminal_loose", "disconnect_bounce"),
        also=(*COMPANY, "brown_out", "undervoltage_restart", "low_voltage_cutoff", "sensor_clipped"),
    )  # fmt: skip
    return finish(name, "joint_intermittent", plan, devices, label)


def contact_heating(name: str, k: int) -> Scenario:
    """A poor contact warms, oxidises and gets poorer: 1 to some 25 mohm over the match, i²R of some 10 to 40 W in a
    few grams of metal, past the 105 °C of its housing. Seen by its own sensor, or by a drop that creeps up."""
    rate, grade = setup(k)
    plan = new_plan(name, length_s=60.0)
    ordinary_match(plan, pushes=6, push_A=(35, 50), hits=7)
    worst = float(plan.rng.uniform(18.0, 26.0))
    series, part, current = "path_mohm", "main_disconnect", "pack_A"
    parts: tuple[str, ...] = BATTERY_PARTS
    if k in (1, 4):
        series, part, current = "weapon_mohm", "weapon_terminal", "weapon_A"
        parts, worst = (*WEAPON_RUN, "weapon"), worst * 1.8
    plan.change(series, plan.start_s, plan.total_s, lambda t: worst * (1 - np.exp(-(t - plan.start_s) / 22.0)), "add")
    kept: dict[str, Floats] = {}
    channel = f"{part}_temp_degC"

    def dress(world: World) -> None:
        truth = world.truth
        edges, square = binned_square(truth.t_s, truth.x[current], truth.dt_s)
        r = 0.8 + np.interp(edges[:-1], truth.t_s, truth.series[series])
        kept["t"], kept["T"] = edges, contact_degC(edges, square, r, plan.robot.air_degC, 3.2, 45.0)
        world.extra[channel] = lambda t, x: np.interp(t, kept["t"], kept["T"])

    def label(truth: Truth) -> Label:
        hot = np.flatnonzero(kept["T"] > 105.0)
        start = float(kept["t"][hot[0]]) if hot.size else plan.end_s
        seen = k not in (2, 3)
        taps = WEAPON_NEEDS if part == "weapon_terminal" else BATTERY_NEEDS
        return Label(
            "thermal_buildup", (part, *parts), start if seen else plan.start_s + 8.0, plan.total_s,
            needs_any=((channel,),) if seen else taps, timing="overlap",
            forbidden=("thin_wire", "pack_resistance", "weak_cell", "disconnect_opened"),
            accept=() if seen else ("joint_step",), also=(*COMPANY, "joint_step", "low_voltage_cutoff", "brown_out"),
        )  # fmt: skip

    devices = {3: split(rate, grade), 2: all_in_one(rate, grade), 5: [recorder(rate, grade, PACK, WEAPON)]}.get(k, [])
    if not devices:
        full = all_in_one(rate, grade)[0]
        devices = [recorder(rate, grade, full.channels, (channel,))]
    return finish(name, "contact_heating", plan, devices, label, dress=dress)


def thin_wire(name: str, k: int) -> Scenario:
    """A lead too thin for what flows: its drop is just that of its copper (so no joint), and the energy balance puts
    it past its insulation within the match. Nothing in the log is odd: it takes the build file to know."""
    rate, grade = setup(k)
    insulation = "pvc" if k in (0, 1, 4) else "silicone"
    limit, finer = (80.0, 0) if insulation == "pvc" else (183.0, 2)
    if k % 2 == 0:
        gauge, parts, column = 18 + finer, BATTERY_PARTS, "pack_A"
        robot = Robot(battery_lead=(gauge, 240.0))
    else:
        gauge, parts, column = 22 + finer, WEAPON_RUN, "weapon_A"
        robot = Robot(weapon_lead=(gauge, 200.0))
    plan = new_plan(name, robot, length_s=75.0)
    ordinary_match(plan, hits=14, pushes=8, push_A=(35, 52))

    def label(truth: Truth) -> Label:
        edges, square = binned_square(truth.t_s, truth.x[column], truth.dt_s)
        hot = wire_degC(square, awg_mm2(gauge), robot.air_degC)
        over = edges[:-1][hot[:-1] > limit]
        needs = ("pack_current_A",) if k % 2 == 0 else ("weapon_input_current_A",)
        return Label(
            "thermal_buildup", parts, float(over[0]) if over.size else plan.end_s,
            float(over[-1]) + STEP_s if over.size else plan.end_s, needs=needs, timing="overlap",
            forbidden=("joint_step", "contact_heating", "terminal_loose", "pack_resistance"), also=COMPANY[:-1],
        )  # fmt: skip

    devices = {3: split(rate, grade), 2: [recorder(rate, grade, PACK, BUS, WEAPON)]}.get(k, all_in_one(rate, grade))
    if k == 5:
        devices = [recorder(rate, grade, BUS, LEFT)]
    return finish(name, "thin_wire", plan, devices, label, Paper(lead_insulation=insulation))


def terminal_loose(name: str, k: int) -> Scenario:
    """A screw terminal worked loose: from one moment the branch's drop is larger and unsteady, 15 to 90 mohm
    wandering within tens of milliseconds with the hull's vibration, never open; the other branches are sound."""
    rate, grade = setup(k, slowest_Hz=50.0)
    plan = new_plan(name)
    at = pick(plan, 14.0, 16.0)
    ordinary_match(plan, [(at - 1.5, at + 1.0)], pushes=4, push_A=(30, 48))
    if k % 2:
        plan.hit(at, 220.0, 0.75)
    parts: tuple[str, ...]
    needs: tuple[tuple[str, ...], ...]
    series, parts, needs, low, high = "left_mohm", (*LEFT_RUN, "left_drive"), LEFT_NEEDS, 15.0, 90.0
    if k in (1, 4):
        series, parts, needs, low, high = "weapon_mohm", (*WEAPON_RUN, "weapon"), WEAPON_NEEDS, 6.0, 40.0
    knots = np.arange(at, plan.total_s + 0.05, 0.045)
    level = plan.rng.uniform(low, high, knots.size) * np.clip((knots - at) / 0.3, 0.4, 1.0)
    plan.change(series, at, plan.total_s, lambda t: np.interp(t, knots, level))
    devices = {3: split(rate, grade), 5: [recorder(rate, grade, PACK, SHOCK)]}.get(k, all_in_one(rate, grade))
    label = Label(
        "wiring_fault", parts, at, plan.total_s, needs_any=needs,
        forbidden=("pack_resistance", "disconnect_opened", "weak_cell", "brush_noise", "fuse_opened"),
        accept=("joint_intermittent", "joint_step"), also=(*COMPANY, "low_voltage_cutoff", "undervoltage_restart"),
    )  # fmt: skip
    return finish(name, "terminal_loose", plan, devices, label)


WIRING: dict[str, tuple[Maker, int]] = {
    "joint_step": (joint_step, 8), "joint_intermittent": (joint_intermittent, 7),
    "contact_heating": (contact_heating, 7), "thin_wire": (thin_wire, 6), "terminal_loose": (terminal_loose, 7),
}  # fmt: skip
