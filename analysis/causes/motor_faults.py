"""A motor that changed within the match: drag, a shorted winding, noisy brushes.

Only the same motor's earlier half of the match, or its twin drive, is a fair comparison. At a steady speed the
current is the torque of drag alone; with the speed over the back-EMF (duty·V − I·R) it also gives the motor's
constant, which drag leaves alone and a shorted winding raises (fewer turns work).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from analysis.causes.drives import COMMANDED_PCT, Drive, Happening, as_finding, smooth
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.signal import Bools, Floats
from analysis.spans import spans

# Our choices, tried on simulated matches:
RUNNING_SHARE = 0.55  # of the usual speed: from here up the motor runs
BIN_S = 0.5
LEAST_BINS = 4  # steady half seconds on either side of a change
DRAG_RATIO = 2.0  # running current after over before; a blade that lost balance or a warm bearing changes less
APART = 0.8  # share of the bins after the change that lie over all but as few before it
CONSTANT_RATIO = 1.08  # speed per volt after over before: a tenth of the turns gone, less its error
RAGGED_RATIO = 0.2  # of the current from sample to sample; ripple and noise are some 2 %, driving at 50 Hz up to 12 %
RAGGED_PERIOD_S = 0.03  # a slower log shows the driver's hand in the same way
TWIN_TIMES = 3.0
RAGGED_S = 2.0
LEAST_SAMPLES = 12


@dataclass(frozen=True)
class Change:
    """Running current before and after, and the motor constant's ratio where it can be known."""

    happening: Happening
    ratio: float
    constant_ratio: float | None


def running_change(drive: Drive) -> Change | None:
    """One lasting rise of the running current within the match, for motors that run steadily (weapons)."""
    if drive.speed_rpm is None or drive.usual_rpm <= 0 or drive.brushed or len(drive.t_s) < 20:
        return None
    t = drive.t_s
    speed = drive.smoothed(np.abs(drive.speed_rpm), 0.1)
    rate = np.gradient(speed, t)  # rpm/s
    current = drive.smoothed(np.abs(drive.current_A), 0.1)
    running = speed > RUNNING_SHARE * drive.usual_rpm
    if drive.asked_pct is not None:
        running &= np.abs(drive.asked_pct) > COMMANDED_PCT
    per_rate = _inertia(drive, speed, rate, current)
    load = current - per_rate * np.maximum(rate, 0.0)
    steady = running & (rate > -0.3 * drive.usual_rpm) & (per_rate * rate < 0.35 * current + 2.0)
    bins = _binned(t, load, steady)
    if bins is None:
        return None
    at_s, level = bins
    split = _split(level)
    if split is None:
        return None
    before, after = float(np.median(level[:split])), float(np.median(level[split:]))
    floor = max(1.0, 2.0 * drive.current.noise)
    if after < DRAG_RATIO * max(before, floor) or not _apart(level, split):
        return None
    start = _onset(t, load, running, float(at_s[split - 1]), float(at_s[split]), before, after)
    constant = _constant_ratio(drive, steady, start)
    detail = f"{after:.0f} A at a steady speed against {before:.0f} A before"
    happening = Happening("drag", drive.id, start, float(t[-1]), "drag", detail, after)
    return Change(happening, after / max(before, floor), constant)


def _inertia(drive: Drive, speed: Floats, rate: Floats, current: Floats) -> float:
    """Ampere per rpm/s, from where it gathers speed hardest; 0 where it never does."""
    fast = (rate > 0.3 * drive.usual_rpm) & (speed > 0.15 * drive.usual_rpm)
    if int(fast.sum()) < 3:
        return 0.0
    return float(np.median(current[fast] / rate[fast]))


def _binned(t: Floats, x: Floats, keep: Bools) -> tuple[Floats, Floats] | None:
    """Medians of the kept samples in bins of BIN_S that are at least a third full."""
    index = np.floor((t - t[0]) / BIN_S).astype(int)
    full = np.bincount(index, minlength=index[-1] + 1)
    held = np.bincount(index[keep], minlength=index[-1] + 1)
    chosen = np.flatnonzero(held >= np.maximum(1, full / 3))
    if len(chosen) < 2 * LEAST_BINS:
        return None
    edges = np.searchsorted(index, np.arange(index[-1] + 2))
    medians = []
    for b in chosen:
        part = slice(edges[b], edges[b + 1])
        medians.append(float(np.median(x[part][keep[part]])))
    return t[0] + (chosen + 0.5) * BIN_S, np.maximum(np.array(medians), 0.1)


def _split(level: Floats) -> int | None:
    """The bin at which two medians explain the level best (least squares on its logarithm)."""
    n = len(level)
    x = np.log(level)
    ahead, square = np.cumsum(x), np.cumsum(x * x)
    k = np.arange(LEAST_BINS, n - LEAST_BINS + 1)
    if not len(k):
        return None
    left = square[k - 1] - ahead[k - 1] ** 2 / k
    right = (square[-1] - square[k - 1]) - (ahead[-1] - ahead[k - 1]) ** 2 / (n - k)
    return int(k[int(np.argmin(left + right))])


def _apart(level: Floats, split: int) -> bool:
    """Whether nearly all bins after lie above nearly all before."""
    high = float(np.quantile(level[:split], APART))
    low = float(np.quantile(level[split:], 1.0 - APART))
    return low > 1.3 * high


def _onset(t: Floats, load: Floats, running: Bools, low_s: float, high_s: float, before: float, after: float) -> float:
    """When the load last rose through the middle (geometric) between the bins on either side."""
    window = np.flatnonzero((t >= low_s - 1.0) & (t <= high_s + 0.25) & running)
    if not len(window):
        return high_s
    over = load[window] > np.sqrt(before * after)
    under = np.flatnonzero(~over)
    first = window[min(int(under[-1]) + 1, len(window) - 1)] if len(under) else window[0]
    return float(min(t[first], high_s))


def _constant_ratio(drive: Drive, steady: Bools, start: float) -> float | None:
    """Speed per volt of back-EMF after over before; None where voltage or duty is missing."""
    if drive.voltage_V is None or drive.duty_pct is None or drive.speed_rpm is None:
        return None
    inner = np.abs(drive.duty_pct) * 0.01 * drive.voltage_V
    ohm = drive.motor.winding_mohm if drive.motor is not None else None
    if ohm is not None and drive.motor_A is not None:
        inner = inner - np.abs(drive.motor_A) * ohm * 1e-3
    fair = steady & (inner > 1.0) & (np.abs(drive.duty_pct) > 30.0)
    per_volt = np.abs(drive.speed_rpm) / np.maximum(inner, 1.0)
    earlier, later = fair & (drive.t_s < start - 0.2), fair & (drive.t_s > start + 0.8)
    if int(earlier.sum()) < 5 or int(later.sum()) < 5:
        return None
    return float(np.median(per_volt[later]) / np.median(per_volt[earlier]))


def change_finding(drive: Drive, change: Change) -> Finding:
    """Named after what the motor's constant did; both where that cannot be known."""
    evidence: tuple[str, ...]
    could_be: tuple[str, ...] = ()
    if change.constant_ratio is None:
        cause, sure, could_be = "drag", "possible", ("drag", "winding_short")
        evidence = (f"log voltage and duty of {drive.id}: its speed per volt tells drag from a shorted winding",)
    elif change.constant_ratio > CONSTANT_RATIO:
        cause, sure = "winding_short", "likely"
        more = 100 * (change.constant_ratio - 1)
        evidence = (f"its speed per volt is {more:.0f} % higher: fewer turns work", *_heat(drive, change))
    else:
        cause, sure = "drag", "likely"
        off = 100 * (change.constant_ratio - 1)
        evidence = (f"its speed per volt is the same ({off:+.1f} %): the winding is sound", *_heat(drive, change))
    happening = replace(change.happening, cause=cause)
    return as_finding("motor_fault", [happening], "fault", sure, drive.current.channel, "A", evidence, could_be)


def _heat(drive: Drive, change: Change) -> tuple[str, ...]:
    return (f"{change.ratio:.1f} times the running current heats it {change.ratio**2:.0f} times as fast",)


def raggedness(drive: Drive) -> tuple[Floats, Floats] | None:
    """(time, share) in windows of RAGGED_S: scatter of the current from sample to sample over the current."""
    signal = drive.current
    if len(signal) < 50 or signal.period_s > RAGGED_PERIOD_S:
        return None
    size = np.abs(signal.x)
    local = (size[:-2] + size[1:-1] + size[2:]) / 3.0
    curve = np.abs(signal.x[2:] - 2.0 * signal.x[1:-1] + signal.x[:-2]) / np.sqrt(6.0)
    wide = smooth(size, signal.period_s, 0.25)[1:-1]
    loaded = wide > max(3.0, 12.0 * signal.noise, 0.08 * drive.usual_peak_A)
    share = curve / np.maximum(np.maximum(local, 0.5 * wide), 1e-9)
    t = signal.t_s[1:-1]
    index = np.floor((t - t[0]) / RAGGED_S).astype(int)
    edges = np.searchsorted(index, np.arange(index[-1] + 2))
    places, values = [], []
    for a, b in itertools.pairwise(edges.tolist()):
        part = share[a:b][loaded[a:b]]
        if len(part) >= LEAST_SAMPLES:
            places.append(float(t[a]))
            values.append(float(np.median(part)) / 0.6745)
    return (np.array(places), np.array(values)) if places else None


def brush_noise(found: list[Drive]) -> list[tuple[Drive, Happening, bool]]:
    """Brushed drives whose current is ragged; whether their twin was quiet meanwhile."""
    seen = {drive.id: raggedness(drive) for drive in found if drive.brushed}
    result = []
    for drive in found:
        mine = seen.get(drive.id)
        if mine is None:
            continue
        others = [s[1] for other, s in seen.items() if other != drive.id and s is not None]
        quiet = float(np.median(np.concatenate(others))) if others else None
        level = max(RAGGED_RATIO, TWIN_TIMES * quiet if quiet is not None else RAGGED_RATIO)
        ragged = mine[1] > level
        stretches = spans(ragged, mine[0], join_s=2.5 * RAGGED_S)
        if not stretches or int(ragged.sum()) < 3:
            continue
        start, end = stretches[0][0], stretches[-1][1] + RAGGED_S
        much = float(np.median(mine[1][ragged]))
        detail = f"its current scatters by {100 * much:.0f} % from sample to sample"
        if quiet is not None:
            detail += f", that of the other drive by {100 * quiet:.1f} %"
        happening = Happening("brush_noise", drive.id, start, end, "brush noise", detail, 100 * much)
        result.append((drive, happening, quiet is not None))
    return result


def brush_finding(drive: Drive, happening: Happening, compared: bool) -> Finding:
    """Ragged current of brushes in per cent of the mean; likely where another drive was there to compare with."""
    sure = "likely" if compared else "possible"
    return as_finding("motor_fault", [happening], "fault", sure, drive.current.channel, "pct")


def findings(data: MatchData, found: list[Drive]) -> tuple[list[Finding], list[Happening]]:
    """Faults of the motors themselves, and the changes as happenings."""
    rows: list[Finding] = []
    happened: list[Happening] = []
    for drive in found:
        change = running_change(drive)
        if change is not None:
            finding = change_finding(drive, change)
            rows.append(finding)
            happened.append(replace(change.happening, cause=finding.cause, what=finding.cause.replace("_", " ")))
    for drive, happening, compared in brush_noise(found):
        rows.append(brush_finding(drive, happening, compared))
        happened.append(happening)
    return rows, happened
