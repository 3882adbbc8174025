"""What loads do: stall, push, spin-up, hit, short. Signatures by physical argument, as stated with each."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.bench import Floats, Maker, all_in_one, pick, recovered, setup, spans_where, split
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.plan import push as press
from tests.synthetic.scenarios.robot import Paper, Robot
from tests.synthetic.scenarios.simulate import Truth
from tests.synthetic.scenarios.world import BUS, CELLS, DRIVE_SPEED, LEFT, PACK, RIGHT, SHOCK, WEAPON

DRIVE_PARTS = ("left_drive", "left_motor", "right_drive", "right_motor")
WEAPON_PARTS = ("weapon", "weapon_motor", "weapon_lead")


def stall(name: str, k: int) -> Scenario:
    """A rotor held still: no back-EMF, so the current is duty·V/R or stands at the limiter, speed is nil and the
    input current is far below the motor current. Variant 5 logs only the pack and cannot tell."""
    rate, grade = setup(k)
    side = "left" if k in (0, 3, 5) else "right"
    robot, paper = Robot(), Paper()
    if k in (1, 6):  # no limiter: 23 V over 0.13 ohm
        robot, paper = Robot(drive_limit_A=400.0), Paper(drive_limit_A=None)
    plan = new_plan(name, robot)
    at = pick(plan)
    length = float(plan.rng.uniform(0.9, 1.8)) if k != 1 else 0.8
    ordinary_match(plan, [(at - 2.0, at + length + 1.5)])
    if k == 2:
        plan.hit(at, 190.0, 0.3)
        plan.change("free_w", at + 0.01, at + length, 0.0)
        parts, key = WEAPON_PARTS, "weapon"
    else:
        plan.change(f"c{side[0]}", at - 0.15, at + length, 1.0 if k % 2 else -0.9)
        plan.change(f"free_{side[0]}", at, at + length, 0.0)
        parts, key = (f"{side}_drive", f"{side}_motor", f"{side}_lead"), f"{side}_drive"
    without = (DRIVE_SPEED,) if k in (1, 6) else ()
    devices = split(rate, grade) if k == 4 else all_in_one(rate, grade, *without)
    if k == 5:
        devices = [recorder(rate, grade, PACK, CELLS)]
    label = Label(
        "current_spike", parts, at, at + length, needs=(f"{key}_motor_current_A",),
        forbidden=("spin_up", "sync_loss", "winding_short", "start_failure", "short"),
        accept=("push",) if without else (),
        also=("current_limit", "thermal_limit", "push", "hit", "spin_up", "undersampled"),
    )  # fmt: skip
    return finish(name, "stall", plan, devices, label, paper)


def push(name: str, k: int) -> Scenario:
    """Two robots against each other: both drives draw a steady current well under the stall figure while turning
    slowly; within the rating it is worth a note and no more."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan)
    length = float(plan.rng.uniform(1.6, 3.2))
    ordinary_match(plan, [(at - 2.0, at + length + 1.5)], pushes=0)
    press(plan, at, at + length, float(plan.rng.uniform(40.0, 58.0)), float(plan.rng.uniform(0.75, 0.95)))
    devices = {3: split(rate, grade), 5: [recorder(rate, grade, PACK, CELLS)]}.get(
        k, all_in_one(rate, grade, *((DRIVE_SPEED,) if k == 1 else ()))
    )
    label = Label(
        "current_spike", (*DRIVE_PARTS, "pack"), at, at + length,
        needs_any=(("left_drive_motor_current_A", "left_drive_input_current_A"),),
        forbidden=("stall", "short", "winding_short", "drag"),
        also=("hit", "spin_up", "current_limit", "undersampled"),
    )  # fmt: skip
    return finish(name, "push", plan, devices, label)


def spin_up(name: str, k: int) -> Scenario:
    """The weapon from rest: the motor current stands high while speed rises steadily, input current follows speed;
    0.5 to 3 s by its inertia. Present at the start of every match; labelled here with again-starts in the match."""
    rate, grade = setup(k)
    robot, paper = Robot(), Paper()
    if k == 1:
        robot = Robot(weapon_inertia=2.6e-3)
    elif k == 2:
        robot = Robot(weapon_input_limit_A=125.0, weapon_motor_limit_A=190.0)
        paper = Paper(weapon_fuse_A=140.0, weapon_limit_A=125.0)
    elif k == 3:
        robot = Robot(weapon_ramp_s=1.2)
    plan = new_plan(name, robot)
    again = pick(plan)
    ordinary_match(plan, [(again - 6.5, again + 5.0)])
    plan.change("cw", again - 3.0, again, 0.0)
    plan.change("drag_w", again - 3.0, again, 60.0)  # stopped against the floor
    plan.spin_ups.append(again)
    devices = {4: split(rate, grade), 5: [recorder(rate, grade, PACK)]}.get(
        k, [recorder(rate, grade, PACK, BUS, WEAPON, SHOCK)]
    )

    def label(truth: Truth) -> Label:
        spans = tuple((at, recovered(truth, "weapon_rad_s", at, 1250.0, 4.0)) for at in plan.spin_ups)
        start, end = spans[-1]
        return Label(
            "current_spike", (*WEAPON_PARTS, "pack"), start, end,
            needs_any=(("weapon_input_current_A", "weapon_motor_current_A"),),
            forbidden=("stall", "short", "start_failure", "sync_loss", "winding_short"),
            also=("current_limit", "hit", "push", "undersampled"), occurrences=spans,
        )  # fmt: skip

    return finish(name, "spin_up", plan, devices, label, paper)


def hit(name: str, k: int) -> Scenario:
    """The weapon strikes: a shock of some 15 ms, its speed drops at once, and current surges while it recovers within
    some tenths of a second. The speed comes back, the current is bounded by the limiter: no fault."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan)
    ordinary_match(plan, [(at - 3.0, at + 3.0)], hits=3)
    plan.hit(at, float(plan.rng.uniform(180, 330)), float(plan.rng.uniform(0.4, 0.6)))
    devices = {3: split(rate, grade), 5: [recorder(rate, grade, PACK)], 1: [recorder(rate, grade, PACK, WEAPON)]}.get(
        k, all_in_one(rate, grade)
    )

    def label(truth: Truth) -> Label:
        spans = []
        for when, _ in sorted(plan.hits):
            before = float(truth.at("weapon_rad_s", np.array([when - 0.02]))[0])
            spans.append((when, recovered(truth, "weapon_rad_s", when, 0.95 * before, 1.5)))
        end = next(b for a, b in spans if a == at)
        return Label(
            "current_spike", (*WEAPON_PARTS, "pack", "chassis"), at, end,
            needs_any=(("weapon_input_current_A", "weapon_motor_current_A"), ("weapon_speed_rpm", "chassis_shock_g")),
            forbidden=("short", "sync_loss", "winding_short", "stall", "joint_step"),
            also=("spin_up", "current_limit", "push", "undersampled"), occurrences=tuple(spans),
        )  # fmt: skip

    return finish(name, "hit", plan, devices, label)


def short(name: str, k: int) -> Scenario:
    """A lead cut through to its return: V over what resistance remains, several times any motor current, no speed
    gained by it, the bus pulled down by the same share; ended by the fuse or by the lead parting. A lead that chafes
    gives pulses of some 30 ms. Where the short lies before the controller only the pack's sensor sees it."""
    rate, grade = {0: (1000.0, "good"), 2: (1000.0, "poor"), 4: (100.0, "poor"), 5: (10.0, "good")}.get(
        k, (100.0, "good")
    )
    plan = new_plan(name)
    at = pick(plan)
    length = (0.09, 0.25, 0.6, 0.3, 0.3, 0.06, 0.15)[k]
    ordinary_match(plan, [(at - 3.0, plan.end_s)] if k == 1 else [(at - 3.0, at + 4.0)])
    plan.hit(at - 0.02, 240.0, 0.7)
    plan.quick(at - 0.01, at + length + 0.05)
    siemens = (25.0, 45.0, 22.0, 18.0, 20.0, 25.0, 30.0)[k]
    parts: tuple[str, ...] = ("weapon", "weapon_motor", "weapon_lead", "weapon_fuse", "weapon_terminal")
    needs_any: tuple[tuple[str, ...], ...] = (
        ("weapon_input_current_A", "pack_current_A"),
        ("weapon_voltage_V", "pack_voltage_V"),
    )
    upstream = k in (1, 6)
    occurrences: tuple[tuple[float, float], ...] = ()
    if k == 3:
        plan.change("short_l_S", at, at + length, siemens)
        parts = ("left_drive", "left_motor", "left_lead", "left_terminal")
        needs_any = (("left_drive_input_current_A", "pack_current_A"),)
    elif k == 2:
        starts = at + np.sort(plan.rng.uniform(0, 0.6, 5))
        occurrences = tuple((float(a), float(a) + 0.03) for a in starts)
        for a, b in occurrences:
            plan.change("short_w_S", a, b, siemens)
        occurrences = spans_where(*_pulse_grid(occurrences, at, length))
    else:
        plan.change("short_w_S", at, at + length, siemens)
    if k == 1:
        plan.change("open_weapon", at + length, plan.total_s, 1.0)  # the fuse has gone
    if upstream:
        parts = (*parts, "distribution", "battery_lead", "pack")
    plan.short_upstream = upstream

    label = Label(
        "current_spike", parts, at, at + length, needs_any=needs_any,
        forbidden=("stall", "drag", "pack_resistance", "weak_cell", "pack_empty"),
        also=("hit", "sensor_clipped", "undervoltage_restart", "brown_out", "fuse_opened", "low_voltage_cutoff",
              "current_limit", "undersampled", "spin_up", "push", "joint_intermittent"), occurrences=occurrences,
    )  # fmt: skip
    devices = split(rate, grade) if k == 3 else all_in_one(rate, grade)
    if k == 6:
        devices = [recorder(1000.0, "good", PACK, BUS, WEAPON, LEFT, RIGHT)]
    return finish(name, "short", plan, devices, label)


def _pulse_grid(
    pulses: tuple[tuple[float, float], ...], at: float, length: float
) -> tuple[Floats, npt.NDArray[np.bool_], float]:
    t = np.arange(at - 0.01, at + length + 0.1, 0.001)
    on = np.zeros(t.shape, dtype=bool)
    for a, b in pulses:
        on |= (t >= a) & (t < b)
    return t, on, 0.0


LOAD: dict[str, tuple[Maker, int]] = {
    "stall": (stall, 8), "push": (push, 7), "spin_up": (spin_up, 7), "hit": (hit, 7), "short": (short, 7),
}  # fmt: skip
