"""Stretches of time in which something holds."""

from __future__ import annotations

import numpy as np

from analysis.signal import Bools, Floats, Signal


def spans(mask: Bools, t_s: Floats, *, min_s: float = 0.0, join_s: float = 0.0) -> list[tuple[float, float]]:
    """Spans (start, end) where mask holds, joined over breaks up to join_s, at least min_s long.

    A span ends at the stamp of its last sample. Shapes: mask (n,), t_s (n,).
    """
    if not mask.any():
        return []
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    starts, ends = t_s[edges[::2]], t_s[edges[1::2] - 1]
    if len(starts) > 1 and join_s > 0:
        apart = starts[1:] - ends[:-1] > join_s
        starts = starts[np.concatenate(([True], apart))]
        ends = ends[np.concatenate((apart, [True]))]
    return [(float(a), float(b)) for a, b in zip(starts, ends, strict=True) if b - a >= min_s]


def overlap_s(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Seconds two spans share; negative: how far apart they lie."""
    return min(a[1], b[1]) - max(a[0], b[0])


def at_times(signal: Signal, t_s: Floats) -> tuple[Floats, Bools]:
    """The signal linearly between its valid samples at other times; False where no sample lies within 3 intervals.

    This resamples: for looking at one signal where another did something, never for a figure that is judged.
    """
    good = signal.good()
    if len(good) == 0:
        return np.zeros(len(t_s)), np.zeros(len(t_s), dtype=bool)
    x = np.interp(t_s, good.t_s, good.x)
    after = np.clip(np.searchsorted(good.t_s, t_s), 0, len(good) - 1)
    before = np.clip(after - 1, 0, len(good) - 1)
    near = np.minimum(np.abs(good.t_s[after] - t_s), np.abs(t_s - good.t_s[before]))
    return x, near <= 3.0 * max(signal.period_s, 1e-6)


def mean_between(signal: Signal | None, start_s: float, end_s: float) -> float | None:
    """Mean of the valid samples in start_s ≤ t ≤ end_s, in the unit of the signal; None where there are none."""
    if signal is None:
        return None
    cut = signal.between(start_s, end_s).good()
    return float(cut.x.mean()) if len(cut) else None


def min_between(signal: Signal | None, start_s: float, end_s: float) -> float | None:
    """Least of the valid samples in start_s ≤ t ≤ end_s, in the unit of the signal; None where there are none."""
    if signal is None:
        return None
    cut = signal.between(start_s, end_s).good()
    return float(cut.x.min()) if len(cut) else None


def max_between(signal: Signal | None, start_s: float, end_s: float) -> float | None:
    """Greatest of the valid samples in start_s ≤ t ≤ end_s, in the unit of the signal; None where there are none."""
    if signal is None:
        return None
    cut = signal.between(start_s, end_s).good()
    return float(cut.x.max()) if len(cut) else None
