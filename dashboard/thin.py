"""Fewer points for the screen: the least and the greatest of every column are kept, gaps stay open.

Gaps come from the full data, because a lone missing value can vanish when the rest is thinned. A window of many
samples is thinned from the pyramid of the signal, a short one from its samples.
"""

from __future__ import annotations

from dataclasses import replace
from weakref import WeakKeyDictionary

import numpy as np
from tsdownsample import MinMaxDownsampler

from analysis.signal import Floats, Signal
from dashboard.pyramid import BLOCK, Places, Pyramid, gap_after, pyramid_of

__all__ = ["POINTS", "extremes", "gap_after", "thin", "thin_signal"]

POINTS = 2000  # points a trace: more than twice the columns of the widest panel, and quick to draw as SVG
_MOST_GAP_EDGES = 200  # edges of the longest gaps that are kept besides (our choice: more cannot be told apart)
_BLOCKS_A_COLUMN = (
    4  # from so many blocks a column on the pyramid is drawn from (our choice: borders move by a quarter)
)


def thin(t: Floats, x: Floats, points: int = POINTS) -> tuple[Floats, Floats]:
    """At most points + 2 samples of (t, x): the least and the greatest x of every column, the first and the last.

    t (n,) rising, x (n,) without NaN. Raises ValueError where points is below 4.
    """
    keep = _kept(t, x, points)
    return t[keep], x[keep]


def _kept(t: Floats, x: Floats, points: int) -> Places:
    """Places in (t, x); t may stand still where a block's pair must not be parted."""
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


# The samples that hold a value, found once for a signal however often it is looked at.
_known: WeakKeyDictionary[Signal, Signal] = WeakKeyDictionary()


def _good(signal: Signal) -> Signal:
    if signal not in _known:
        good = signal.good()
        _known[signal] = replace(good) if good is signal else good  # a value must not hold its own key alive
    return _known[signal]


def extremes(signal: Signal) -> tuple[float, float]:
    """The least and the greatest value of a signal."""
    pyramid = pyramid_of(signal)
    return pyramid.least, pyramid.greatest


def thin_signal(
    signal: Signal, start_s: float | None = None, end_s: float | None = None, points: int = POINTS
) -> tuple[Floats, Floats]:
    """The part of a signal between two times for drawing; NaN where the line is broken.

    One sample beyond each end is kept, so that a line reaches the edge of the picture.
    """
    pyramid = pyramid_of(signal)
    if pyramid.n > _BLOCKS_A_COLUMN * BLOCK * points // 2 and _whole(pyramid, start_s, end_s):
        return _from_pairs(pyramid, points)
    whole = _good(signal)
    low = 0 if start_s is None else max(0, int(np.searchsorted(whole.t_s, start_s)) - 1)
    high = len(whole) if end_s is None else min(len(whole), int(np.searchsorted(whole.t_s, end_s, "right")) + 1)
    if high <= low:
        return np.empty(0), np.empty(0)
    first, last = np.searchsorted(pyramid.gaps, [low, high - 1])
    gaps = pyramid.gaps[first:last]
    if high - low > _BLOCKS_A_COLUMN * BLOCK * points // 2:
        keep = _window(pyramid, whole, low, high, points)
    else:
        keep = low + _kept(whole.t_s[low:high], whole.x[low:high], points)
    if len(gaps):
        longest = gaps[_longest(pyramid.gap_t_s[first:last])]
        keep = np.unique(np.concatenate((keep, longest, longest + 1)))
    return _broken(keep, whole.t_s[keep], whole.x[keep], gaps)


def _whole(pyramid: Pyramid, start_s: float | None, end_s: float | None) -> bool:
    """Whether the window holds every sample."""
    return (start_s is None or start_s <= pyramid.first_s) and (end_s is None or end_s >= pyramid.last_s)


def _longest(times: Floats) -> Places:
    """Which of the gaps have their edges kept."""
    return np.argsort(times[:, 0] - times[:, 1], kind="stable")[: _MOST_GAP_EDGES // 2]


def _broken(keep: Places, t: Floats, x: Floats, gaps: Places) -> tuple[Floats, Floats]:
    """A break stands between two kept samples wherever a gap lies between them."""
    if not len(gaps):
        return t, x
    after = np.searchsorted(keep, gaps, side="right")
    after = np.unique(after[(after > 0) & (after < len(keep))])
    return np.insert(t, after, (t[after - 1] + t[after]) / 2), np.insert(x, after, np.nan)


def _from_pairs(pyramid: Pyramid, points: int) -> tuple[Floats, Floats]:
    """The whole signal from its pyramid alone: not one of its samples is touched."""
    together = np.repeat(pyramid.t_s[::2], 2)  # both of a block in one column
    kept = _kept(together, pyramid.x, points)
    at, t, x = pyramid.at[kept], pyramid.t_s[kept], pyramid.x[kept]
    if not len(pyramid.gaps):
        return t, x
    longest = _longest(pyramid.gap_t_s)
    at = np.concatenate((at, pyramid.gaps[longest], pyramid.gaps[longest] + 1))
    t = np.concatenate((t, pyramid.gap_t_s[longest].T.ravel()))
    x = np.concatenate((x, pyramid.gap_x[longest].T.ravel()))
    at, order = np.unique(at, return_index=True)
    return _broken(at, t[order], x[order], pyramid.gaps)


def _window(pyramid: Pyramid, whole: Signal, low: int, high: int, points: int) -> Places:
    """Places of the samples to draw: pairs of the blocks inside, single samples at both ends."""
    first, last = -(-low // BLOCK), high // BLOCK
    head, tail = np.arange(low, first * BLOCK), np.arange(last * BLOCK, high)
    inside = pyramid.at[2 * first : 2 * last]
    at = np.concatenate((head, inside, tail))
    together = np.concatenate((whole.t_s[head], np.repeat(pyramid.t_s[2 * first : 2 * last : 2], 2), whole.t_s[tail]))
    x = np.concatenate((whole.x[head], pyramid.x[2 * first : 2 * last], whole.x[tail]))
    return np.unique(at[_kept(together, x, points)])
