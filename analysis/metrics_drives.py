"""Metrics of one controller with its motor: spin-up from standing, and the current at steady full speed."""

from __future__ import annotations

import numpy as np
from scipy.special import bdtr

from analysis.causes.drives import Drive, Happening
from analysis.causes.spin_and_hits import STANDING_SHARE, spin_ups
from analysis.metric_kinds import Absent, Metric
from analysis.metrics_pack import Row
from analysis.signal import Floats, Signal
from analysis.spans import spans

STEADY_SHARE = 0.9  # our choice: of the usual speed; a weapon between hits stays within a tenth
STEADY_S = 0.5  # our choice: long enough that spin-up and pay-back currents are over
LEAST_STRETCHES = 3  # our choice: fewer tell more of one hit than of the motor
# Our choice: a speed that is there again after a few samples is as well the reading of one that never stopped (the
# controller lost its supply); and a time of so few samples tells nothing.
LEAST_SAMPLES = 5


def rows(drive: Drive) -> list[Row]:
    """Metrics of one drive: spin-up (s, J) and no-load current (A); what is missing says why."""
    found: list[Row] = []
    mend = f"log speed and current of {drive.id} at 20 Hz or more"
    if drive.speed_rpm is None or drive.usual_rpm <= 0:
        names = ("spin_up_s", "spin_up_energy_J", "no_load_A")
        return [Absent(name, drive.id, "its speed was not logged", mend) for name in names]
    if not drive.brushed:  # a drive starts and stops all the time: only a weapon spins up
        found += _spin_up(drive, mend)
    found.append(_no_load(drive, mend))
    return found


def _spin_up(drive: Drive, mend: str) -> list[Row]:
    """From standing only, as a weapon that still turns after a hit takes less; and seen to rise."""
    assert drive.speed_rpm is not None
    share = np.abs(drive.speed_rpm) / drive.usual_rpm

    def stood(one: Happening) -> bool:
        return bool(share[int(np.searchsorted(drive.t_s, one.start_s))] <= STANDING_SHARE)

    ups = [one for one in spin_ups(drive) if stood(one) and one.length_s > (LEAST_SAMPLES - 0.5) * drive.period_s]
    at = f"to 80 % of {drive.usual_rpm:,.0f} rpm"
    if not ups:
        reason = "no spin-up from standing inside the match"
        return [Absent(name, drive.id, reason, mend) for name in ("spin_up_s", "spin_up_energy_J")]
    times = np.array([one.length_s for one in ups])
    middle, low, high = _median_interval(times, 2 * drive.period_s)
    basis = f"{len(ups)} from standing, {at}"
    found: list[Row] = [Metric("spin_up_s", drive.id, middle, low, high, "s", "", basis)]
    if drive.input_A is None or drive.voltage_V is None:
        reason = "its input current or voltage was not logged"
        return [*found, Absent("spin_up_energy_J", drive.id, reason, f"log both of {drive.id}")]
    power = drive.input_A * drive.voltage_V
    energies = np.array([_between(drive.t_s, power, one.start_s, one.end_s) for one in ups])
    middle, low, high = _median_interval(energies, 2 * drive.period_s * float(np.abs(power).max()))
    return [*found, Metric("spin_up_energy_J", drive.id, middle, max(low, 0.0), high, "J", "", basis)]


def _between(t: Floats, x: Floats, start: float, end: float) -> float:
    inside = (t >= start) & (t <= end)
    return float(np.trapezoid(x[inside], t[inside]))


def _median_interval(x: Floats, resolution: float) -> tuple[float, float, float]:
    """Median with its distribution-free 95 % interval (order statistics), at least as wide as the resolution.

    Under six values their whole range stands in, which then holds the median less surely.
    """
    ordered = np.sort(x)
    n = len(ordered)
    k = int(np.argmax(bdtr(np.arange(n + 1), n, 0.5) >= 0.025))  # the 2.5 % quantile of n coins
    low, high = float(ordered[max(k - 1, 0)]), float(ordered[min(n - k, n - 1)])
    middle = float(np.median(ordered))
    return middle, min(low, middle - resolution), max(high, middle + resolution)


def _no_load(drive: Drive, mend: str) -> Row:
    """Median current of the stretches at steady full speed: drag of bearings, belts and air, and nothing hit."""
    assert drive.speed_rpm is not None
    name = "no_load_A"
    speed = drive.smoothed(np.abs(drive.speed_rpm), 0.2)
    fast = speed > STEADY_SHARE * drive.usual_rpm
    stretches = spans(fast, drive.t_s, min_s=2 * STEADY_S)
    steady = [
        float(np.median(np.abs(drive.current_A[(drive.t_s >= a + STEADY_S) & (drive.t_s <= b - STEADY_S / 2)])))
        for a, b in stretches
        if ((drive.t_s >= a + STEADY_S) & (drive.t_s <= b - STEADY_S / 2)).sum() >= 5
    ]
    if len(steady) < LEAST_STRETCHES:
        return Absent(name, drive.id, f"{len(steady)} stretches at steady full speed, three are needed", mend)
    middle, low, high = _median_interval(np.array(steady), 0.0)
    which = drive.raw["motor" if drive.motor_A is not None else "input"]
    return Metric(name, drive.id, middle, low, high, "A", _about(which), f"{len(steady)} stretches at full speed")


def _about(signal: Signal) -> str:
    return "motor current" if signal.channel.endswith("motor_current_A") else "input current"
