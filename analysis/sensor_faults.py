"""Single tests for what a sensor or its logger did to a signal; trust.py makes quality notes of them."""

from __future__ import annotations

from typing import Literal

import numpy as np

from analysis.signal import Bools, Floats, Signal

ClipState = Literal["clipped", "not clipped", "undetermined"]

SAMPLE = 20_000  # values looked at for the quantum: enough to meet every code that matters
MIN_TOP = 3  # samples at the top code, in runs of two or more: no false alarm in 271 healthy logs (our figure)
NOISY_QUANTA = 0.8  # our choice: with less noise than this a true plateau also stands on one code
OFF_GRID = 0.05  # our choice: of a code; a converter's own codes lie on their grid far closer, or the test declines
CODE_BITS = range(8, 17)  # converters: a top at 2^n - 1 codes is a full scale
GAP_INTERVALS = 5.0  # our choice: beyond usual jitter
QUIET_S = 1.0  # our choice: idle at the head or tail of a log for this long shows the zero
NEGATIVE_A = 0.2  # our choice: a robot at rest cannot feed its pack
POSITIVE_A = 2.0  # our choice: controllers and radio draw less than this at rest
POSITIVE_SHARE = 0.015  # of the largest current: 1.5 % is a usual zero error of a Hall sensor (from memory)


def quantum(x: Floats) -> float:
    """Step between neighbouring values the logger can write; 0.0 where none shows (continuous, or too few values)."""
    values = np.unique(x[:: max(1, x.shape[0] // SAMPLE)])
    if values.shape[0] < 3:
        return float(values[1] - values[0]) if values.shape[0] == 2 else 0.0
    span = float(values[-1] - values[0])
    steps = np.diff(values)
    steps = steps[steps > 1e-9 * span]
    if steps.shape[0] == 0 or values.shape[0] > 0.5 * min(x.shape[0], SAMPLE):
        return 0.0
    smallest = float(steps.min())
    multiples = steps / smallest
    # Values printed with few digits make a step now and then one digit longer or shorter.
    whole = np.abs(multiples - np.round(multiples)) < 0.25
    if float(whole.mean()) < 0.8:
        return 0.0
    return float(np.median((steps / np.round(multiples))[whole]))


def _quiet_power(x: Floats, share: float = 0.1) -> float | None:
    """Variance of one sample in the quietest share of blocks, from second differences; None where too short."""
    second = x[2:] - 2 * x[1:-1] + x[:-2]
    size = 64 if second.shape[0] >= 2000 else 16
    blocks = second.shape[0] // size
    if blocks < 4:
        return None
    power = np.mean(second[: blocks * size].reshape(blocks, size) ** 2, axis=1) / 6
    return float(np.quantile(power, share))


def noise_of(x: Floats, step: float) -> float:
    """1 sigma of one sample, quantisation included, from the quietest tenth of the blocks of 16 or 64 samples."""
    power = _quiet_power(x)
    if power is None:
        power = float(np.mean((x[2:] - 2 * x[1:-1] + x[:-2]) ** 2) / 6) if x.shape[0] >= 16 else 0.0
    return max(float(np.sqrt(power)), step / float(np.sqrt(12.0)))


def noise_before_quantum(x: Floats, step: float, share: float = 0.1) -> float:
    """Noise of what the converter saw: 0 where the quietest blocks stand on one code, or the log is short."""
    power = _quiet_power(x, share)
    return 0.0 if power is None else float(np.sqrt(max(power - step**2 / 12, 0.0)))


def runs(on: Bools) -> tuple[np.ndarray, np.ndarray]:
    """Start and end (exclusive) of every run of True."""
    edge = np.diff(np.concatenate([[False], on, [False]]).astype(np.int8))
    return np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)


def clipping(
    signal: Signal,
    full_scale: float | None = None,
    limit: float | None = None,
    rests_high: bool = False,
) -> tuple[ClipState, Bools]:
    """Whether the sensor stood at its top, and the samples that did.

    At least three samples at the top code in runs of two or more, and the top code a local mode. A plateau at a
    set limit (`limit`, in the channel's unit) is none; where the noise is under a quantum a true plateau looks the
    same, and so does a voltage at rest (rests_high): then "undetermined", unless the full scale is declared, the
    top is a converter's last code, or it lies off the grid of all other codes: no converter writes such a value, so
    what was reported was cut.
    """
    off = np.zeros(len(signal), bool)
    x = signal.x[signal.valid]
    if x.shape[0] < 16:
        return "not clipped", off
    top = float(x.max())
    if full_scale is not None:
        at = signal.valid & (signal.x >= full_scale * (1 - 2e-3))
        return ("clipped", at) if int(at.sum()) >= 2 else ("not clipped", off)
    step = quantum(x)
    span = top - float(np.median(x))
    if span <= 8 * step or top <= 0:  # a channel that hardly moves has no top
        return "not clipped", off
    width = step if step > 0 else 1e-9 * span
    at = signal.valid & (signal.x > top - 0.5 * width)
    starts, ends = runs(at)
    long = ends - starts >= 2
    if int((ends - starts)[long].sum()) < MIN_TOP:
        return "not clipped", off
    if limit is not None and abs(top - limit) < 0.07 * limit:
        return "not clipped", off
    count = int(at.sum())
    below = [int(np.sum(np.abs(x - (top - k * width)) < 0.5 * width)) for k in range(1, 6)] if step > 0 else [0]
    if count <= 1.5 * max(below):
        return "not clipped", off
    code = top / step if step > 0 else 0.0
    last_code = any(abs(code - (2**bits - 1)) < 0.6 for bits in CODE_BITS)
    # A resting pack stands on its highest voltage: only the converter's last code is a full scale there.
    rest = signal.x[signal.valid & ~at]  # the plateau itself would pass for a quiet sensor
    if float(x.min()) < -0.9 * top:  # and so would one at the other end of a sensor that reads both ways
        rest = rest[rest > float(x.min()) + 0.5 * width]
    noisy = not rests_high and (step == 0 or noise_before_quantum(rest, step) >= NOISY_QUANTA * step)
    cut = not rests_high and step > 0 and _off_grid(x[x < top - 0.5 * step], top, step)
    return ("clipped", at) if noisy or last_code or cut else ("undetermined", off)


def _off_grid(below: Floats, top: float, step: float) -> bool:
    """Whether the top lies clearly between the codes that all other values stand on."""
    phases = np.exp(2j * np.pi * np.unique(below) / step)
    mean = phases.mean()
    if abs(mean) < 0.9:  # rounded in print, or scaled more than once: no grid to speak of
        return False
    spread = float(np.sqrt(-2.0 * np.log(min(abs(mean), 1.0)))) / (2 * np.pi)
    away = abs(float(np.angle(np.exp(2j * np.pi * top / step) / mean))) / (2 * np.pi)
    return away > max(OFF_GRID, 6.0 * spread)


def zero_error(signal: Signal, noise: float, step: float) -> float | None:
    """Zero error of a current sensor from idle at the head or tail of the log; None where nothing is wrong or known.

    A negative idle current is one; a positive one only where it is more than controllers and radio draw at rest.
    """
    x, t = signal.x[signal.valid], signal.t_s[signal.valid]
    if x.shape[0] < 32 or t[-1] - t[0] < 3 * QUIET_S:
        return None
    peak = float(np.quantile(x, 0.999))
    if peak - float(np.median(x)) < max(5 * POSITIVE_A, 20 * noise):  # nothing happened in this log: what is idle?
        return None
    levels = []
    for part in (t <= t[0] + QUIET_S, t >= t[-1] - QUIET_S):
        values = x[part]
        low, level, high = np.quantile(values, (0.1, 0.5, 0.9)) if values.shape[0] >= 5 else (0.0, 0.0, np.inf)
        quiet = high - low <= max(4 * noise, 2.5 * step, 0.01 * peak)  # plugging in makes one spike
        inner = values[(values >= low) & (values <= high)]
        levels.append(float(np.mean(inner)) if quiet else None)
    known = [level for level in levels if level is not None]
    if not known:
        return None
    level = min(known, key=abs)
    if level < -max(NEGATIVE_A, 0.6 * step, 4 * noise / np.sqrt(QUIET_S / signal.period_s)):
        return level
    both = len(known) == 2 and abs(known[0] - known[1]) < max(0.5, 0.25 * abs(level), step)
    if both and level > max(POSITIVE_A, POSITIVE_SHARE * peak):
        return level
    return None


def gaps(t_s: Floats, period_s: float, intervals: float = GAP_INTERVALS) -> list[tuple[float, float]]:
    """(last sample before, first after) of every stretch longer than `intervals` of the logger's own interval."""
    if t_s.shape[0] < 2 or period_s <= 0:
        return []
    k = np.flatnonzero(np.diff(t_s) > intervals * period_s)
    return [(float(t_s[j]), float(t_s[j + 1])) for j in k]


def jitter_rel(t_s: Floats) -> float:
    """Spread of the steps against their median, robust (0 for even stamps)."""
    if t_s.shape[0] < 4:
        return 0.0
    steps = np.diff(t_s)
    median = float(np.median(steps))
    return 1.4826 * float(np.median(np.abs(steps - median))) / median if median > 0 else 0.0


HELD_SAMPLES = 40_000  # our choice


def held_times(x: Floats) -> float:
    """How many samples a value usually stands where it changes at all: above 1.5 the source is slower than the log.

    Only for values that move: the median length of runs of equal values, the long idle ones left out.
    """
    if x.shape[0] < 16:
        return 1.0
    if x.shape[0] > HELD_SAMPLES:  # the source's own rate shows in any minute of the match
        middle = (x.shape[0] - HELD_SAMPLES) // 2
        x = x[middle : middle + HELD_SAMPLES]
    change = np.flatnonzero(np.diff(x) != 0)
    if change.shape[0] < 8:
        return 1.0
    return float(np.median(np.diff(change)))


def detector_against(slow: Signal, fast: Signal) -> Literal["instant", "average", "unknown"]:
    """Whether the slow logger writes instants or averages, told by a faster one of the same quantity and clock."""
    a, b = slow.good(), fast.good()
    if len(a) < 32 or len(b) < 64 or a.period_s < 2 * b.period_s:
        return "unknown"
    inside = (a.t_s > b.t_s[0] + a.period_s) & (a.t_s < b.t_s[-1])
    t, x = a.t_s[inside], a.x[inside]
    if t.shape[0] < 32:
        return "unknown"
    area = np.concatenate([[0.0], np.cumsum(0.5 * (b.x[1:] + b.x[:-1]) * np.diff(b.t_s))])
    mean = (np.interp(t, b.t_s, area) - np.interp(t - a.period_s, b.t_s, area)) / a.period_s
    left = [float(np.var(x - _best_line(model, x))) for model in (np.interp(t, b.t_s, b.x), mean)]
    if left[0] < 0.5 * left[1]:
        return "instant"
    return "average" if left[1] < 0.5 * left[0] else "unknown"


def _best_line(model: Floats, x: Floats) -> Floats:
    centred = model - model.mean()
    power = float(centred @ centred)
    slope = float(centred @ (x - x.mean()) / power) if power > 0 else 0.0
    return np.asarray(x.mean() + slope * centred)
