"""Faults of the log itself: the robot was sound (all of these are ordinary matches), its logger or sensor was not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.synthetic.scenarios.bench import Maker, all_in_one, pick, setup, spans_where, split
from tests.synthetic.scenarios.loggers import Device, recorder
from tests.synthetic.scenarios.model import Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import Plan, ordinary_match, push
from tests.synthetic.scenarios.robot import Paper
from tests.synthetic.scenarios.simulate import Truth
from tests.synthetic.scenarios.world import BUS, CELLS, PACK, RECEIVER, SHOCK, WEAPON

COMPANY = ("hit", "push", "spin_up", "undersampled", "current_limit")
WALL_CLOCK = "2026-05-09T14:19:40"
LOSSES = ("brown_out", "disconnect_opened", "disconnect_bounce", "radio_loss", "undervoltage_restart", "fuse_opened")


def swap(devices: Sequence[Device], index: int, **changes: object) -> list[Device]:
    out = list(devices)
    out[index] = replace(out[index], **changes)  # type: ignore[arg-type]
    return out


def busy(name: str, length_s: float = 45.0) -> Plan:
    plan = new_plan(name, length_s=length_s)
    ordinary_match(plan, pushes=5, push_A=(35, 52), hits=6)
    return plan


def sensor_clipped(name: str, k: int) -> Scenario:
    """A sensor of 50 to 90 A on currents of 130 to 180 A: the top code again and again, without any noise on it,
    at no current that a controller limits to."""
    rate, grade = setup(k)
    plan = busy(name)
    channel, column, scale = "pack_current_A", "pack_A", (80.0, 75.0, 90.0, 70.0, 65.0, 75.0, 85.0)[k]
    if k == 1:
        channel, column, scale = "weapon_input_current_A", "weapon_A", 50.0
    elif k == 5:
        channel, column, scale = "left_drive_motor_current_A", "left_motor_A", 40.0
    for _ in range(2):  # long pushes, so that slow loggers stand at the top too
        at = pick(plan)
        push(plan, at, at + 2.2, 52.0, 0.9)
    devices = split(rate, grade) if k == 3 else all_in_one(rate, grade)
    devices = [replace(d, full_scale={channel: scale}) for d in devices]

    def label(truth: Truth) -> Label:
        spans = spans_where(truth.t_s, truth.x[column] > scale + 1.0, 0.02)
        start, end = max(spans, key=lambda span: span[1] - span[0])
        return Label(
            "", (channel, channel.split("_")[0]), start, end, needs=(channel,), timing="overlap", occurrences=spans,
            forbidden=("current_limit", "frozen_values", "short"), also=COMPANY[:4],
        )  # fmt: skip

    return finish(name, "sensor_clipped", plan, devices, label, Paper(full_scale_A=scale if k == 0 else None))


def sensor_offset(name: str, k: int) -> Scenario:
    """A current sensor that shows 5 to 9 A with everything off, or a voltage that differs from the sum of its
    cells and
    from the bus at rest by 0.7 V and more: a zero that is wrong from end to end."""
    rate, grade = setup(k)
    plan = busy(name)
    channel = ("pack_current_A", "weapon_input_current_A", "pack_current_A", "pack_voltage_V", "pack_current_A",
               "left_drive_input_current_A", "weapon_voltage_V")[k]  # fmt: skip
    size = float(plan.rng.uniform(5.0, 9.0)) if channel.endswith("_A") else float(plan.rng.uniform(0.9, 1.4))
    size = -size if k in (2, 5) else size
    devices = [replace(d, offset={channel: size}) for d in all_in_one(rate, grade)]
    label = Label(
        "", (channel, channel.split("_")[0]), 0.0, plan.total_s, needs=(channel,), timing="overlap", also=COMPANY,
        forbidden=("frozen_values", "sensor_clipped", "drag", "winding_short", "joint_step"),
    )  # fmt: skip
    return finish(name, "sensor_offset", plan, devices, label)


def frozen_values(name: str, k: int) -> Scenario:
    """One channel repeats its last value to the digit for 4 to 12 s in the thick of the match while the others
    move."""
    rate, grade = setup(k)
    plan = busy(name)
    at = pick(plan, 6.0, 14.0)
    length = float(plan.rng.uniform(5.0, 12.0))
    channel = ("pack_current_A", "weapon_input_current_A", "pack_voltage_V", "weapon_speed_rpm", "pack_current_A",
               "left_drive_motor_current_A", "distribution_voltage_V")[k]  # fmt: skip
    devices = all_in_one(rate, grade)
    if k == 1:
        devices = [recorder(rate, grade, PACK, WEAPON)]
    devices = [replace(d, frozen=((channel, at, at + length),)) for d in devices]
    label = Label(
        "", (channel, channel.split("_")[0]), at, at + length, needs=(channel,), also=COMPANY,
        forbidden=(*LOSSES, "logger_gap", "current_limit", "joint_step"),
    )  # fmt: skip
    return finish(name, "frozen_values", plan, devices, label)


def undersampled(name: str, k: int) -> Scenario:
    """Instantaneous samples at 2 to 8 Hz: spin-ups of half a second and hits of less fall between them, so peaks
    cannot be judged; the rate itself is the signature."""
    rate = (5.0, 2.0, 4.0, 5.0, 8.0, 2.0)[k]
    grade = ("good", "good", "poor", "good", "poor", "poor")[k]
    plan = busy(name)
    devices = {1: [recorder(rate, grade, PACK, CELLS)], 3: [recorder(rate, grade, PACK, BUS, WEAPON)]}
    label = Label("", (), 0.0, plan.total_s, timing="overlap", also=COMPANY, forbidden=("sensor_clipped", "logger_gap"))
    return finish(name, "undersampled", plan, devices.get(k, all_in_one(rate, grade)), label)


def clock_reset(name: str, k: int) -> Scenario:
    """The logger starts again: its clock goes back to zero, a second recording begins, and how long it was away the
    file does not say; a controller's uptime, where logged, runs on."""
    rate, grade = setup(k)
    plan = busy(name)
    at, away = pick(plan), float(plan.rng.uniform(0.3, 2.0))
    devices = all_in_one(rate, grade)
    if k == 1:
        devices = [recorder(rate, grade, PACK, BUS)]
    elif k == 3:
        devices = [recorder(rate, grade, WEAPON, SHOCK)]
    twice: tuple[tuple[float, float], ...] = ((at, away),) if k != 4 else ((plan.start_s + 8.0, 0.5), (at, away))
    devices = [replace(d, restarts=twice) for d in devices]
    lost = sum(length for _, length in twice)
    before = sum(length for _, length in twice[:-1])
    label = Label(
        "", (), at - before, at - before + 1.0 / rate, also=(*COMPANY, "logger_gap"),
        occurrences=tuple((t - (before if t == at else 0.0), t - (before if t == at else 0.0)) for t, _ in twice),
        forbidden=LOSSES,
    )  # fmt: skip
    return finish(name, "clock_reset", plan, devices, label, window_end_s=plan.end_s - lost)


def clock_skew(name: str, k: int) -> Scenario:
    """Two files stamped by what claims to be one wall clock: the same dip of the supply stands 0.6 to 4 s apart in
    them, or drifts apart by some tenths of a second over the match."""
    rate, grade = setup(k, slowest_Hz=50.0)
    plan = busy(name, 60.0)
    offset = (1.6, -0.8, 3.5, 0.7, 0.0, -2.4)[k]
    drift = 6000.0 if k == 4 else 0.0
    devices = split(rate, grade)[:2] if k % 2 == 0 else split(rate, grade)
    devices = [replace(d, wall_clock=WALL_CLOCK, supply="own") for d in devices]
    devices = swap(devices, 1, clock_offset_s=offset, clock_drift_ppm=drift)
    label = Label("", (), 0.0, plan.total_s, timing="overlap", also=COMPANY, forbidden=(*LOSSES, "clock_reset"))
    return finish(name, "clock_skew", plan, devices, label)


def logger_gap(name: str, k: int) -> Scenario:
    """Rows are missing for 0.7 to 4 s while the robot went on: uptime counts through, voltage and link are sound
    on both sides, and another file, where there is one, is alive meanwhile."""
    rate, grade = setup(k)
    plan = busy(name)
    at, length = pick(plan), float(plan.rng.uniform(0.8, 3.5))
    gaps: tuple[tuple[float, float], ...] = ((at, at + length),)
    if k == 4:
        gaps = ((plan.start_s + 6.0, plan.start_s + 7.5), *gaps)
    devices = split(rate, grade) if k in (1, 3) else all_in_one(rate, grade)
    if k == 5:
        devices = [recorder(rate, grade, PACK, BUS, RECEIVER)]
    devices = swap(devices, 1 if k in (1, 3) else 0, gaps=gaps)
    label = Label("", (), at, at + length, occurrences=gaps, also=COMPANY, forbidden=(*LOSSES, "truncated"))
    return finish(name, "logger_gap", plan, devices, label)


def truncated(name: str, k: int) -> Scenario:
    """The file ends in the thick of the match under current, with no sign of a supply going: the card was pulled
    or the last block never written. Half of them end within a row, which the reader reports."""
    rate, grade = setup(k)
    plan = busy(name)
    at = pick(plan, 14.0, 8.0)
    for side in ("l", "r"):  # current flows at the end
        plan.change(f"c{side}", at - 1.5, at + 1.0, 0.8)
        plan.change(f"push_{side}_A", at - 1.4, at + 1.0, 25.0)
    devices = split(rate, grade) if k in (1, 4) else all_in_one(rate, grade)
    devices = swap(devices, 1 if k in (1, 4) else 0, stops_s=at, cut_short=k % 2 == 0)
    last = float(np.floor(at * rate) / rate)
    label = Label("", (), last, last, also=(*COMPANY, "logger_gap"), forbidden=LOSSES)
    return finish(name, "truncated", plan, devices, label, window_end_s=plan.end_s if k in (1, 4) else at)


LOGGER: dict[str, tuple[Maker, int]] = {
    "sensor_clipped": (sensor_clipped, 7), "sensor_offset": (sensor_offset, 7), "frozen_values": (frozen_values, 7),
    "undersampled": (undersampled, 6), "clock_reset": (clock_reset, 6), "clock_skew": (clock_skew, 6),
    "logger_gap": (logger_gap, 7), "truncated": (truncated, 7),
}  # fmt: skip
