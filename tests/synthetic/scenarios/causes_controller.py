"""What controllers do to protect themselves. Each leaves a mark of its own: a flat current, a falling duty at high
temperature, an output cut at a voltage, an uptime that begins again. Physical argument throughout, no source."""

from __future__ import annotations

from tests.synthetic.scenarios.bench import Maker, all_in_one, pick, setup, spans_where, split
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import Plan, ordinary_match
from tests.synthetic.scenarios.robot import Paper, Robot
from tests.synthetic.scenarios.simulate import Truth
from tests.synthetic.scenarios.world import BUS, CELLS, LEFT, PACK, SHOCK, WEAPON, World

WEAPON_PARTS = ("weapon", "weapon_motor")
COMPANY = ("hit", "push", "spin_up", "undersampled", "current_limit")
OUTPUT = ("weapon_duty_pct", "weapon_motor_current_A", "weapon_speed_rpm")


def current_limit(name: str, k: int) -> Scenario:
    """The controller holds its current at the set figure while it spins up a heavy weapon: a plateau for 1 to 4 s,
    with the noise of the sensor still on it, at the limit of the build file (not stated in variant 3) and well
    inside the sensor's range; duty lies under the command meanwhile."""
    rate, grade = setup(k)
    limit = (60.0, 45.0, 75.0, 50.0, 40.0, 65.0, 55.0)[k]
    robot = Robot(
        weapon_input_limit_A=limit, weapon_motor_limit_A=5.0 * limit, weapon_inertia=3.4e-3, weapon_ramp_s=0.2,
        weapon_kv=520.0,
    )  # fmt: skip
    plan = new_plan(name, robot)
    ordinary_match(plan, hits=4)
    devices = {
        1: split(rate, grade),
        5: [recorder(rate, grade, PACK, CELLS)],
        2: [recorder(rate, grade, WEAPON, SHOCK)],
    }
    chosen = devices.get(k, all_in_one(rate, grade))

    def label(truth: Truth) -> Label:
        spans = spans_where(truth.t_s, truth.x["weapon_A"] >= 0.96 * limit, 0.1)
        spans = tuple(span for span in spans if span[1] - span[0] > 0.25)
        start, end = max(spans, key=lambda span: span[1] - span[0])
        return Label(
            "current_spike", (*WEAPON_PARTS, "weapon_lead"), start, end, needs=("weapon_input_current_A",),
            forbidden=("sensor_clipped", "short", "stall", "thermal_limit"), also=(*COMPANY, "drag"),
            occurrences=spans,
        )  # fmt: skip

    return finish(name, "current_limit", plan, chosen, label, Paper(weapon_limit_A=None if k == 3 else limit))


def thermal_limit(name: str, k: int) -> Scenario:
    """The weapon controller reaches its limit temperature after many hard restarts and takes its limits back, to a
    quarter at the worst: duty and current fall while the command stands; the voltage is sound."""
    rate, grade = setup(k)
    robot = Robot(weapon_heat_K_per_A2s=0.0014, weapon_derate_degC=90.0, weapon_inertia=1.9e-3)
    plan = new_plan(name, robot, length_s=60.0)
    ordinary_match(plan, hits=12)
    devices = {
        1: split(rate, grade),
        5: [recorder(rate, grade, PACK, BUS)],
        2: [recorder(rate, grade, PACK, WEAPON)],
    }.get(k, all_in_one(rate, grade))
    late = plan.end_s - 14.0  # ground against the floor until it is hot, at whatever the limits allow
    plan.change("drag_w", late - 14.0, plan.end_s, 7.0)

    def dress(world: World) -> None:
        at = world.truth.first("derated")
        if at is not None:
            world.faults.append((at, plan.total_s, 3.0))

    def label(truth: Truth) -> Label:
        start = truth.first("derated") or plan.end_s
        return Label(
            "thermal_buildup", WEAPON_PARTS, start, plan.end_s, needs=("weapon_temp_degC",),
            needs_any=(OUTPUT, ("weapon_command_pct",)),
            timing="overlap",  # the limits come down by degrees, and bite only where more is asked
            forbidden=("low_voltage_cutoff", "sync_loss", "sensor_clipped", "undervoltage_restart", "stall"),
            also=(*COMPANY, "drag"),
        )  # fmt: skip

    return finish(name, "thermal_limit", plan, devices, label, dress=dress)


def low_voltage_cutoff(name: str, k: int) -> Scenario:
    """The weapon controller sees less than its cutoff for some 50 ms and stops its output for 3 s, command or not:
    duty and current to nothing at that voltage, its own uptime runs on, the others drive on."""
    rate, grade = setup(k)
    cut = 20.6 if k % 2 else 20.0
    robot = Robot(weapon_cutoff_V=cut, start_charge=0.42, cell_r=(1.35,) * 6)
    plan = new_plan(name, robot)
    at = pick(plan)
    ordinary_match(plan, [(at - 2.5, at + 5.0)], push_A=(15, 22))
    plan.hit(at, 230.0, 0.25)
    for side in ("l", "r"):
        plan.change(f"c{side}", at - 0.3, at + 1.6, 0.95)
        plan.change(f"push_{side}_A", at - 0.2, at + 1.6, 62.0)
    devices = {
        1: split(rate, grade),
        5: [recorder(rate, grade, PACK, CELLS)],
        2: [recorder(rate, grade, PACK, WEAPON)],
    }
    chosen = devices.get(k, all_in_one(rate, grade))

    def dress(world: World) -> None:
        world.faults += [(t, t + 3.0, 1.0) for t, what in world.truth.events if what == "weapon_cut"]

    def label(truth: Truth) -> Label:
        cuts = [t for t, what in truth.events if what == "weapon_cut"]
        spans = tuple((t, min(t + 3.0, plan.end_s)) for t in cuts if t < plan.end_s)
        return Label(
            "voltage_sag", (*WEAPON_PARTS, "weapon_lead", "pack"), *spans[0], needs=("weapon_voltage_V",),
            needs_any=(OUTPUT,), occurrences=spans,
            forbidden=("undervoltage_restart", "sync_loss", "thermal_limit", "radio_loss", "fuse_opened"),
            also=(*COMPANY, "pack_empty", "pack_resistance", "not_full", "ageing"),
        )  # fmt: skip

    return finish(name, "low_voltage_cutoff", plan, chosen, label, dress=dress)


def regeneration_trip(name: str, k: int) -> Scenario:
    """The weapon is braked from full speed into a nearly full pack through a resistive lead: current flows backwards,
    the voltage at the controller rises over its maximum and it trips: its output stops for 1.5 s and the weapon
    coasts instead."""
    rate, grade = setup(k, slowest_Hz=50.0)
    maximum = float((26.5, 26.3, 26.4, 26.2, 26.5, 26.4, 26.3)[k])
    robot = Robot(
        weapon_brake_A=190.0, weapon_maximum_V=maximum, battery_lead=(14, 320.0), start_charge=1.0, weapon_kv=520.0,
        weapon_inertia=2.0e-3, plug_mohm=1.2,
    )  # fmt: skip
    plan = new_plan(name, robot)
    at = pick(plan)
    ordinary_match(plan, [(at - 3.0, at + 4.5)])
    for name_ in ("cl", "cr"):
        plan.change(name_, at - 1.0, at + 1.0, 0.0)
    plan.change("cw", at, at + 2.2, 0.0)
    for step in range(5):  # the brake bites harder as the driver's hand does
        plan.change("brake_w", at + 0.025 * step, at + 1.2, 0.4 + 0.15 * step)
    plan.quick(at, at + 1.0)
    devices = {
        1: split(rate, grade),
        5: [recorder(rate, grade, PACK, CELLS)],
        2: [recorder(rate, grade, PACK, WEAPON)],
    }
    chosen = devices.get(k, all_in_one(rate, grade))

    def dress(world: World) -> None:
        world.faults += [(t, t + 1.5, 2.0) for t, what in world.truth.events if what == "weapon_trip"]

    def label(truth: Truth) -> Label:
        trip = truth.first("weapon_trip", at - 0.1)
        assert trip is not None, "the scenario must trip"
        return Label(
            "power_loss", (*WEAPON_PARTS, "pack"), trip, trip + 1.5, needs=("weapon_voltage_V",),
            needs_any=(("weapon_input_current_A", "weapon_fault_code", "weapon_uptime_s"),),
            forbidden=("low_voltage_cutoff", "undervoltage_restart", "thermal_limit", "sync_loss", "fuse_opened"),
            also=COMPANY,
        )  # fmt: skip

    return finish(name, "regeneration_trip", plan, chosen, label, dress=dress)


def starve(plan: Plan, at: float, length: float) -> None:
    """The weapon stands, its lead opens for `length`: only the weapon controller loses its supply."""
    plan.change("cw", at - 8.0, at + 1.8, 0.0)
    plan.change("drag_w", at - 8.0, at + 1.0, 50.0)
    plan.change("open_weapon", at, at + length, 1.0)
    plan.quick(at - 0.02, at + length + 0.1)


def wedged(plan: Plan, start_s: float, end_s: float) -> None:
    """Both drives held still at a third of their command: a load with no back-EMF to hold the bus up."""
    for side in ("l", "r"):
        plan.change(f"c{side}", start_s, end_s, 0.3)
        plan.change(f"free_{side}", start_s, end_s, 0.0)


def undervoltage_restart(name: str, k: int) -> Scenario:
    """A controller whose supply falls under its minimum (a lead or disconnect open for some tens of ms with the
    weapon standing, so that nothing holds the bus up) starts again: no answer for about a second, then
    uptime from nil."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan, 18.0, 9.0)
    ordinary_match(plan, [(at - 8.5, at + 4.0)])
    plan.hit(at - 0.01, 260.0, 1.0)
    length = max(float(plan.rng.uniform(0.09, 0.2)), 3.4 / rate if rate < 50 else 0.0)
    if k in (0, 3):
        starve(plan, at, length)
    else:
        plan.change("cw", at - 8.0, at + 2.5, 0.0)
        plan.change("drag_w", at - 8.0, at + 1.0, 50.0)
        wedged(plan, at - 0.4, at + 0.3)
        plan.change("open_path", at, at + length, 1.0)
        plan.quick(at - 0.02, at + length + 0.1)
    devices = {5: [recorder(rate, grade, PACK, LEFT)], 2: [recorder(rate, grade, PACK, BUS, WEAPON)]}
    chosen = devices.get(k, all_in_one(rate, grade))

    def dress(world: World) -> None:
        world.faults.append((at, at + 3.0, 1.0))

    def label(truth: Truth) -> Label:
        when = truth.first("weapon_restart", at - 0.1)
        assert when is not None, "the scenario must restart"
        return Label(
            "power_loss", (*WEAPON_PARTS, "weapon_lead", "left_drive", "right_drive", "battery_lead"), when,
            at + length + 0.9,
            needs=("weapon_uptime_s",), needs_any=(("weapon_voltage_V",),),
            forbidden=(
                "sync_loss", "low_voltage_cutoff", "thermal_limit", "radio_loss", "logger_gap", "fuse_opened",
            ),
            also=(*COMPANY, "disconnect_bounce", "brown_out", "joint_intermittent", "terminal_loose", "stall",
                  "low_voltage_cutoff"),
        )  # fmt: skip

    return finish(name, "undervoltage_restart", plan, chosen, label, dress=dress)


CONTROLLER: dict[str, tuple[Maker, int]] = {
    "current_limit": (current_limit, 7), "thermal_limit": (thermal_limit, 7),
    "low_voltage_cutoff": (low_voltage_cutoff, 7), "regeneration_trip": (regeneration_trip, 7),
    "undervoltage_restart": (undervoltage_restart, 7),
}  # fmt: skip
