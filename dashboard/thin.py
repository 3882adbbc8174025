"""Fewer points for the screen: the least and the greatest of every column are kept, gaps stay open.

Gaps come from the full data, because a lone missing value can vanish when the rest is thinned.
"""

from __future__ import annotations

from dataclasses import replace
from weakref import WeakKeyDictionary

import numpy as np
from tsdownsample import MinMaxDownsampler

from analysis.settings import DEFAULTS
from analysis.signal import Bools, Floats, Signal

POINTS = 2000  # points a trace: more than twice the columns of the widest panel, and quick to draw as SVG
_MOST_GAP_EDGES = 200  # edges of the longest gaps that are kept besides (our choice: more cannot be told apart)


def thin(t: Floats, x: Floats, points: int = POINTS) -> tuple[Floats, Floats]:
    """At most points + 2 samples of (t, x): the least and the greatest x of every column, the first and the last.

    t (n,) rising, x (n,) without NaN. Raises ValueError where points is below 4.
    """
    keep = _kept(t, x, points)
    return t[keep], x[keep]


def _kept(t: Floats, x: Floats, points: int) -> np.ndarray:
    if points < 4:
        raise ValueError("at least 4 points are needed")
    n = len(t)
    if n <= points:
        return np.arange(n)
    even = points - points % 2
    at = np.ascontiguousarray(t, dtype=np.float64)
    values = np.ascontiguousarray(x, dtype=np.float64)
    chosen = MinMaxDownsampler().downsample(at, values, n_out=even)
    return np.unique(np.concatenate(([0], chosen.astype(np.int64), [n - 1])))


def gap_after(signal: Signal, gap_intervals: float = DEFAULTS.gap_intervals) -> Bools:
    """(n − 1,) True where the line must not be drawn on to the next sample: a gap, a restart, missing values."""
    apart = np.diff(signal.t_s) > gap_intervals * max(signal.period_s, 1e-9)
    if signal.recording is not None:
        apart |= np.diff(signal.recording) != 0
    return np.asarray(apart, dtype=bool)


# The samples that hold a value and the places of the gaps, found once for a signal however often it is looked at.
_known: WeakKeyDictionary[Signal, tuple[Signal, np.ndarray]] = WeakKeyDictionary()


def _prepared(signal: Signal) -> tuple[Signal, np.ndarray]:
    if signal not in _known:
        good = signal.good()
        kept = replace(good) if good is signal else good  # a value must not hold its own key alive
        _known[signal] = kept, np.flatnonzero(gap_after(kept))
    return _known[signal]


def thin_signal(
    signal: Signal, start_s: float | None = None, end_s: float | None = None, points: int = POINTS
) -> tuple[Floats, Floats]:
    """The part of a signal between two times for drawing; NaN where the line is broken.

    One sample beyond each end is kept, so that a line reaches the edge of the picture.
    """
    whole, all_gaps = _prepared(signal)
    low = 0 if start_s is None else max(0, int(np.searchsorted(whole.t_s, start_s)) - 1)
    high = len(whole) if end_s is None else min(len(whole), int(np.searchsorted(whole.t_s, end_s, "right")) + 1)
    if high <= low:
        return np.empty(0), np.empty(0)
    part = whole.where(slice(low, high))
    gaps = all_gaps[(all_gaps >= low) & (all_gaps < high - 1)] - low
    keep = _kept(part.t_s, part.x, points)
    if len(gaps):
        longest = gaps[np.argsort(-(part.t_s[gaps + 1] - part.t_s[gaps]), kind="stable")[: _MOST_GAP_EDGES // 2]]
        keep = np.unique(np.concatenate((keep, longest, longest + 1)))
    t, x = part.t_s[keep], part.x[keep]
    if not len(gaps):
        return t, x
    # a break stands between two kept samples wherever a gap lies between them
    after = np.searchsorted(keep, gaps, side="right")
    after = np.unique(after[(after > 0) & (after < len(keep))])
    return np.insert(t, after, (t[after - 1] + t[after]) / 2), np.insert(x, after, np.nan)
