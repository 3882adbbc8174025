"""Mean square current in bins: what heats a wire, a contact or a motor, from a log at its own rate.

Mean current is not enough (a wire fed with the mean instead of the mean square comes out tens of degrees too
cool), so the integral of i² is kept exactly and only its place inside a bin is given up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from .low_pass import filtered
from .ratings import OutsideValidity
from .signal import Bools, Floats, Signal

# Our choice: two samples further apart than this many of the log's own periods are a gap. 1.5 would call a
# jittery stamp a gap; above 3 a lost pair of samples is bridged in silence.
GAP_PERIODS: Final = 2.5

Between = Literal["linear", "held"]


@dataclass(frozen=True, eq=False)
class Binned:
    """Mean of i² per bin.

    edges_s    (k+1,) rising, seconds; all bins equal but the last, which ends with the log
    mean_i2    (k,) A²; over the covered part of the bin; a bin without any cover is bridged linearly
    covered    (k,) share of the bin that the log covers, 0…1
    low_i2     (k,) A²; with no current where nothing was logged
    high_i2    (k,) A²; with the largest bin of the log wherever nothing was logged
    """

    edges_s: Floats
    mean_i2: Floats
    covered: Floats
    low_i2: Floats
    high_i2: Floats

    @property
    def width_s(self) -> Floats:
        return np.diff(self.edges_s)

    @property
    def has_gaps(self) -> bool:
        # 1e-9: rounding of the covered time; a real gap is at least a sample long.
        return bool((self.covered < 1 - 1e-9).any())

    @property
    def uncovered_s(self) -> float:
        """Seconds that no sample covers."""
        return float(((1 - self.covered) * self.width_s).sum())

    def scaled(self, factor: float) -> Binned:
        """The same with every current multiplied by `factor` (i² by its square)."""
        square = factor * factor
        return Binned(self.edges_s, self.mean_i2 * square, self.covered, self.low_i2 * square, self.high_i2 * square)


def bin_i2(
    t_s: npt.ArrayLike,
    i_A: npt.ArrayLike,
    bin_s: float = 0.25,
    *,
    valid: npt.ArrayLike | None = None,
    between: Between = "linear",
    gap_s: float | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
) -> tuple[Floats, Floats]:
    """(edges, mean_i2): see `bin_square`, which also says what was covered."""
    binned = bin_square(t_s, i_A, bin_s, valid=valid, between=between, gap_s=gap_s, start_s=start_s, end_s=end_s)
    return binned.edges_s, binned.mean_i2


def bin_square(
    t_s: npt.ArrayLike,
    i_A: npt.ArrayLike,
    bin_s: float = 0.25,
    *,
    valid: npt.ArrayLike | None = None,
    between: Between = "linear",
    gap_s: float | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
) -> Binned:
    """Mean of i² in bins of bin_s, conserving the integral of i² exactly (float64 rounding apart).

    t_s      (n,) strictly rising seconds, n ≥ 2; the steps may be uneven
    i_A      (n,) amperes, either sign
    valid    (n,) bool; a step with an invalid sample at either end is not covered
    between  "linear": the current runs straight from sample to sample (instant samples), so
             ∫i² = (i0² + i0·i1 + i1²)/3·dt; "held": each sample stands until the next (averaging loggers)
    gap_s    a longer step is not covered; default 2.5 of the log's own periods (median step)
    start_s, end_s   the window, default the log's first and last stamp; where the log does not reach the
             window's ends those parts are not covered

    Raises OutsideValidity for fewer than two samples or an empty window.
    """
    t = np.asarray(t_s, dtype=np.float64)
    i = np.asarray(i_A, dtype=np.float64)
    if t.shape[0] < 2:
        raise OutsideValidity("fewer than two samples of current", "log the current of this part")
    first = float(t[0]) if start_s is None else start_s
    last = float(t[-1]) if end_s is None else end_s
    if not last > first or not bin_s > 0:
        raise OutsideValidity(f"an empty window from {first:g} to {last:g} s", "widen the match window")
    step = np.diff(t)
    limit = GAP_PERIODS * float(np.median(step)) if gap_s is None else gap_s
    good = step <= limit
    if valid is not None:
        ok: Bools = np.asarray(valid, dtype=bool)
        good &= ok[:-1] & (ok[1:] if between == "linear" else True)
    now = i[:-1]
    slope = (i[1:] - now) / step if between == "linear" else np.zeros_like(now)
    square = (now * now + slope * step * (now + slope * step / 3)) * step
    energy = np.concatenate(([0.0], np.cumsum(np.where(good, square, 0.0))))
    cover = np.concatenate(([0.0], np.cumsum(np.where(good, step, 0.0))))

    count = max(1, round((last - first) / bin_s) if _whole(last - first, bin_s) else int((last - first) / bin_s) + 1)
    edges = first + bin_s * np.arange(count + 1, dtype=np.float64)
    edges[-1] = last
    at = np.clip(np.searchsorted(t, edges, side="right") - 1, 0, t.shape[0] - 2)
    u = np.clip(edges - t[at], 0.0, step[at])
    part = (now[at] * now[at] + slope[at] * u * (now[at] + slope[at] * u / 3)) * u
    energy_at = energy[at] + np.where(good[at], part, 0.0)
    cover_at = cover[at] + np.where(good[at], u, 0.0)
    return _means(edges, np.diff(energy_at), np.diff(cover_at))


def _whole(span: float, step: float) -> bool:
    return abs(span / step - round(span / step)) < 1e-6


def _means(edges: Floats, energy: Floats, cover: Floats) -> Binned:
    width = np.diff(edges)
    share = np.clip(cover / width, 0.0, 1.0)
    seen = share > 0
    if not seen.any():
        raise OutsideValidity("no valid sample of current in the window", "log the current of this part")
    energy = np.maximum(energy, 0.0)
    mean = np.zeros_like(energy)
    mean[seen] = energy[seen] / cover[seen]
    if not seen.all():
        middle = (edges[1:] + edges[:-1]) / 2
        mean[~seen] = np.interp(middle[~seen], middle[seen], mean[seen])
    most = float(mean[seen].max())
    low = energy / width
    high = low + (1 - share) * most
    return Binned(edges, mean, share, low, np.maximum(high, low))


def bin_signal(
    current: Signal, bin_s: float = 0.25, start_s: float | None = None, end_s: float | None = None
) -> Binned:
    """`bin_square` of a Signal: its valid flags, its period for gaps, "held" where the logger averages."""
    between: Between = "held" if current.detector == "average" else "linear"
    gap_s = GAP_PERIODS * current.period_s if current.period_s > 0 else None
    return bin_square(
        current.t_s, current.x, bin_s,
        valid=current.valid, between=between, gap_s=gap_s, start_s=start_s, end_s=end_s,
    )  # fmt: skip


def bin_mean(signal: Signal, edges: Floats) -> tuple[Floats, npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """(mean, number of samples, number of clipped ones) of the good samples in each bin; edges in s, rising, any unit.

    A bin begins with its left edge and ends before its right one; an empty one has mean 0.
    """
    good = signal.good()
    index = np.searchsorted(good.t_s, edges)
    count = np.diff(index)
    sums = np.concatenate(([0.0], np.cumsum(good.x)))
    clipped = np.concatenate(([0], np.cumsum(good.clipped)))
    return np.diff(sums[index]) / np.maximum(count, 1), count, np.diff(clipped[index])


def first_order(edges: Floats, drive: Floats, tau_s: float, start: float) -> Floats:
    """(k+1,) θ at the edges for τ·dθ/dt + θ = drive, drive (k,) constant in each bin: exact.

    edges (k+1,) rising s, tau_s above 0 s, start and the result in the unit of the drive.
    """
    width = np.diff(edges)
    out = np.empty(edges.shape[0])
    out[0] = start
    # Stretches of one width go at once; a log's bins and a forecast's behind them are two, with odd ones between.
    breaks = np.flatnonzero(np.abs(np.diff(width)) > 1e-6 * width[:-1]) + 1
    for low, high in pairwise((0, *breaks.tolist(), width.shape[0])):
        a = math.exp(-float(width[low]) / tau_s)
        out[low + 1 : high + 1] = filtered(1 - a, 0.0, a, drive[low:high], a * out[low])
    return out
