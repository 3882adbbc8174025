"""Values that stand although they should move: a sensor or its logger that repeats itself, or a top not declared."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.sensor_faults import held_times, noise_before_quantum, noise_of, quantum, runs
from analysis.signal import Bools, Signal

FROZEN_S = 0.5  # our choice
FROZEN_SAMPLES = 12  # our choice
FROZEN_TIMES = 8.0  # our choice: against the usual length of a run of equal values
MOVES_QUANTA = 4.0  # our choice: the companion must have called for this many codes of change
# ... and for this share of the channel's usual range. A pack sags on under a steady current, by a third of the first
# sag within seconds: a voltage that falls does not prove that the current rises. Our choice.
VOLTAGE_MOVES_SHARE = 0.1
CURRENT_MOVES_SHARE = 0.2
TOP_MOVES_SHARE = 0.35
FLICKER_QUANTA = 0.6  # our choice: with less noise, or noise this badly known, a value may stay on its code
FLICKER_SAMPLES = 40  # our choice
FLICKER_CHANCE = 1e-12  # our choice: a run that a healthy sensor makes less often than this is none

Run = tuple[int, int]  # first and one past the last sample


def frozen(signal: Signal, companions: Sequence[Signal] = ()) -> list[tuple[float, float]]:
    """(start_s, end_s) of stretches in which one value stands although it must have moved.

    Either a companion (a current for a voltage, and the other way round) says by straight regression, outside the
    stretch, how far this channel should have moved inside it; or the channel's own noise everywhere else is so large
    that it cannot have stayed on one code. A quiet channel that stands on one code is healthy, and so is one that
    stands on its highest or lowest code (idle, or clipped).
    """
    valid = signal.x[signal.valid]
    if valid.shape[0] < 64:
        return []
    step = quantum(valid)
    edge = 0.5 * step
    found = [run for run in _long_runs(signal) if valid.min() + edge < signal.x[run[0]] < valid.max() - edge]
    if not found:
        return []
    bad = {run for run in found if _cannot_stay(signal, run, found, step)}
    share = VOLTAGE_MOVES_SHARE if signal.channel.endswith("_V") else CURRENT_MOVES_SHARE
    bad |= set(_called_for(signal, [run for run in found if run not in bad], companions, step, share))
    return [(float(signal.t_s[a]), float(signal.t_s[b - 1])) for a, b in sorted(bad)]


def top_was_passed(signal: Signal, companions: Sequence[Signal]) -> Bools:
    """(n,) the samples at the highest code, if a companion says that the true values went on moving there."""
    off = np.zeros(len(signal), bool)
    valid = signal.x[signal.valid]
    if valid.shape[0] < 64:
        return off
    step = quantum(valid)
    top = signal.valid & (signal.x > valid.max() - 0.5 * step - 1e-12)
    at_top = [run for run in _long_runs(signal) if top[run[0]]]
    return top if _called_for(signal, at_top, companions, step, TOP_MOVES_SHARE) else off


def _long_runs(signal: Signal) -> list[Run]:
    same = np.concatenate([[False], (np.diff(signal.x) == 0) & signal.valid[1:] & signal.valid[:-1]])
    starts, ends = runs(same)
    held = held_times(signal.x[signal.valid])
    need = max(FROZEN_SAMPLES, FROZEN_TIMES * held, FROZEN_S / max(signal.period_s, 1e-9))
    starts = starts - 1
    long = ends - starts >= need
    return [(int(a), int(b)) for a, b in zip(starts[long], ends[long], strict=True)]


def _cannot_stay(signal: Signal, run: Run, long: list[Run], step: float) -> bool:
    """Whether the noise outside the stretch forbids it. Other long runs count as evidence of a quiet channel.

    Zero is what a controller writes while it is off, noise or not: there only a companion can tell.
    """
    if len(long) > 2 or step <= 0 or abs(signal.x[run[0]]) < 0.5 * step:
        return False
    rest = np.concatenate([signal.x[: run[0]], signal.x[run[1] :]])[
        np.concatenate([signal.valid[: run[0]], signal.valid[run[1] :]])
    ]
    # The quietest block of all, and never more than one quantum: in a slow log the match itself looks like noise.
    quanta = min(noise_before_quantum(rest, step, 0.0) / step, 1.0)
    if quanta < FLICKER_QUANTA or run[1] - run[0] < FLICKER_SAMPLES:
        return False
    stays = math.erf(0.5 / (np.sqrt(2.0) * quanta))  # at best, with the true value in the middle of the code
    return (run[1] - run[0]) * math.log(stays) < math.log(FLICKER_CHANCE)


def _called_for(signal: Signal, long: list[Run], companions: Sequence[Signal], step: float, share: float) -> list[Run]:
    """Those of the runs in which a companion moved so that this channel should have."""
    if not long:
        return []
    x = signal.x
    usable = signal.valid.copy()
    for a, b in long:
        usable[a:b] = False
    if int(usable.sum()) < 64:
        return []
    noise = noise_of(x[signal.valid], step)
    usual = float(np.ptp(np.quantile(x[usable], (0.01, 0.99))))
    found: list[Run] = []
    # A motor that turns backwards draws its current the other way and takes it from the pack all the same: size
    # against size then says what sign against sign cannot.
    for other, sized in ((one.good(), sized) for one in companions for sized in (False, True)):
        if len(other) < 32:
            continue
        x = np.abs(signal.x) if sized else signal.x
        y = np.interp(signal.t_s, other.t_s, np.abs(other.x) if sized else other.x)
        rest = usable & (signal.t_s >= other.t_s[0]) & (signal.t_s <= other.t_s[-1])
        # Differences over a fifth of a second: the slow drift of a pack's charge is not in them.
        lag = max(1, round(0.2 / max(signal.period_s, 1e-9)))
        both = rest[lag:] & rest[:-lag]
        dx, dy = (x[lag:] - x[:-lag])[both], (y[lag:] - y[:-lag])[both]
        power, across = float(np.sum(dy * dy)), float(np.sum(dx * dy))
        if dx.shape[0] < 32 or power == 0 or abs(across) < 0.5 * np.sqrt(power * float(np.sum(dx * dx))):
            continue  # the two do not go together well enough to say
        for a, b in long:
            low, high = np.searchsorted(other.t_s, [signal.t_s[a], signal.t_s[b - 1]])
            if high - low < 3:
                continue
            swing = abs(across / power) * float(np.ptp(np.quantile(y[a:b], (0.05, 0.95))))
            if swing > max(MOVES_QUANTA * step, 8 * noise, share * usual) and (a, b) not in found:
                found.append((a, b))
    return found
