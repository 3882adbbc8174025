"""Statistics for few matches: shifts, trends and changes with exact intervals, and how many matches would tell.

A season has three to twelve matches a side, so nothing here leans on a law of large numbers where counting does it.
Every interval states the level it really reaches: with three against three no interval reaches 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from analysis.ranks import (
    EXACT_TO,
    inversion_shares,
    inversion_spread,
    lower_rank,
    midranks,
    normal_tails,
    rank_sum_counts,
    signed_rank_counts,
    tails,
    tied_rank_sum,
    tied_signed_rank,
)
from analysis.signal import Floats

LEVEL = 0.95
POWER = 0.80  # common practice in planning (Cohen 1988, from memory): four in five real differences are seen
MOST_MATCHES = 1000  # our choice: beyond this the difference is too small to matter to a season
MOST_VALUES = 1000  # our choice: half a million pairs; more matches of one robot tell nothing new


@dataclass(frozen=True)
class RankTest:
    """statistic: U of the first sample (pairs in which it is larger, ties half), or Wilcoxon's T+.

    p two-sided: twice the smaller tail, at most 1. least_p: what no data of this size can go below.
    """

    statistic: float
    p: float
    p_less: float
    p_greater: float
    least_p: float
    exact: bool


@dataclass(frozen=True)
class Shift:
    """Hodges–Lehmann shift with its interval. reached: the interval holds it with the level asked for; where it is
    False, low and high are the whole range of the differences and `achieved` is what that holds.
    """

    value: float
    low: float
    high: float
    achieved: float
    reached: bool
    n_first: int
    n_second: int


@dataclass(frozen=True)
class Trend:
    """Theil–Sen slope per unit of t with its interval, median intercept, Kendall's two-sided p."""

    slope: float
    low: float
    high: float
    achieved: float
    reached: bool
    intercept: float
    p: float
    least_p: float
    n: int


def finite(x: npt.ArrayLike) -> Floats:
    """(n,) of the values in float64; ValueError where one is not finite."""
    values = np.asarray(x, dtype=np.float64).ravel()
    if not bool(np.isfinite(values).all()):
        raise ValueError("values must be finite")
    return values


def least_p(m: int, n: int) -> float:
    """Smallest two-sided p of Mann–Whitney: 2/C(m+n, m), at most 1. 3 against 3: 0.1."""
    if m < 1 or n < 1:
        return 1.0
    return min(1.0, 2.0 / math.comb(m + n, m))


def mann_whitney(x: npt.ArrayLike, y: npt.ArrayLike) -> RankTest:
    """Exact for ties too up to 60 values together, beyond by the normal law (Mann and Whitney 1947).

    Raises ValueError for an empty sample.
    """
    first, second = finite(x), finite(y)
    m, n = first.shape[0], second.shape[0]
    if not m or not n:
        raise ValueError("each sample needs a value")
    ranks = midranks(np.concatenate([first, second]))
    u = float(ranks[:m].sum()) - m * (m + 1) / 2
    exact = m + n <= EXACT_TO
    if exact:
        sums, shares = tied_rank_sum(ranks, m)
        less, greater = tails(sums, shares, 2 * float(ranks[:m].sum()))
    else:
        less, greater = normal_tails(u, m, n, ranks)
    return RankTest(u, min(1.0, 2 * min(less, greater)), less, greater, least_p(m, n), exact)


def shift(x: npt.ArrayLike, y: npt.ArrayLike, level: float = LEVEL) -> Shift:
    """Median of all x − y with its distribution-free interval (Hodges and Lehmann 1963; Moses 1965).

    Holds where the two samples are alike but for their place. With ties the level is at least what is stated.
    Raises ValueError for an empty sample.
    """
    first, second = finite(x), finite(y)
    m, n = first.shape[0], second.shape[0]
    if not m or not n:
        raise ValueError("each sample needs a value")
    differences = np.sort((first[:, None] - second[None, :]).ravel())
    if m + n <= 2 * EXACT_TO:
        counts = rank_sum_counts(min(m, n), max(m, n))
        k, achieved = lower_rank(counts / counts.sum(), level)
    else:
        half = float(ndtri(0.5 + level / 2)) * math.sqrt(m * n * (m + n + 1) / 12)
        k, achieved = max(math.floor(m * n / 2 - half), 0), level
    at = max(k, 1)
    return Shift(
        float(np.median(differences)),
        float(differences[at - 1]),
        float(differences[-at]),
        achieved,
        k > 0,
        m,
        n,
    )


def wilcoxon(differences: npt.ArrayLike) -> RankTest:
    """Signed rank test of paired differences against zero, exact (Wilcoxon 1945). Zeros are left out, and counted
    neither way: n is the number of pairs that differ.
    """
    d = finite(differences)
    d = d[d != 0]
    n = d.shape[0]
    if not n:
        return RankTest(0.0, 1.0, 1.0, 1.0, 1.0, True)
    ranks = midranks(np.abs(d))
    t_plus = float(ranks[d > 0].sum())
    sums, shares = tied_signed_rank(ranks)
    less, greater = tails(sums, shares, 2 * t_plus)
    return RankTest(t_plus, min(1.0, 2 * min(less, greater)), less, greater, min(1.0, 2.0 ** (1 - n)), True)


def paired_shift(differences: npt.ArrayLike, level: float = LEVEL) -> Shift:
    """Median of the Walsh averages (d_i + d_j)/2, i ≤ j, with the signed-rank interval (Tukey 1949).

    Raises ValueError without a pair.
    """
    d = finite(differences)
    n = d.shape[0]
    if not n:
        raise ValueError("a paired shift needs a pair")
    i, j = np.triu_indices(n)
    walsh = np.sort((d[i] + d[j]) / 2)
    counts = signed_rank_counts(n)
    k, achieved = lower_rank(counts / counts.sum(), level)
    at = max(k, 1)
    return Shift(float(np.median(walsh)), float(walsh[at - 1]), float(walsh[-at]), achieved, k > 0, n, n)


def theil_sen(t: npt.ArrayLike, y: npt.ArrayLike, level: float = LEVEL) -> Trend:
    """Median of all slopes with Sen's interval (Sen 1968), from Kendall's exact distribution; t may have ties.

    At least two different t. The level is at least what is stated. Beyond 60 values by the normal law; of more than
    a thousand, a thousand evenly spread ones are taken. Raises ValueError for unlike shapes or without two different t.
    """
    at, values = finite(t), finite(y)
    if at.shape != values.shape:
        raise ValueError(f"t has {at.shape}, y has {values.shape}")
    order = np.argsort(at, kind="stable")
    at, values = thinned(at[order]), thinned(values[order])
    _, groups = np.unique(at, return_counts=True)
    if groups.shape[0] < 2:
        raise ValueError("a trend needs two different t")
    i, j = np.triu_indices(at.shape[0], 1)
    apart = at[j] > at[i]
    rise = (values[j] - values[i])[apart]
    slopes = np.sort(rise / (at[j] - at[i])[apart])
    # Ties of y count for neither side: the larger tail, so that p is never too small.
    down, up = int((rise < 0).sum()), int((rise > 0).sum())
    fewest = rise.shape[0] - max(down, up)
    if at.shape[0] <= EXACT_TO:
        shares = inversion_shares(tuple(int(g) for g in groups))
        k, achieved = lower_rank(shares, level)
        tail, least = float(shares[: fewest + 1].sum()), float(shares[0])
    else:
        middle, sigma = rise.shape[0] / 2, inversion_spread(groups)
        k, achieved = max(math.floor(middle - float(ndtri(0.5 + level / 2)) * sigma), 0), level
        tail, least = (float(ndtr((count + 0.5 - middle) / sigma)) for count in (fewest, 0))
    slope = float(np.median(slopes))
    rank = max(k, 1)
    return Trend(
        slope,
        float(slopes[rank - 1]),
        float(slopes[-rank]),
        achieved,
        k > 0,
        float(np.median(values) - slope * np.median(at)),
        min(1.0, 2 * tail),
        min(1.0, 2 * least),
        int(values.shape[0]),
    )


def thinned(x: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """At most a thousand of them, evenly spread, the first and the last among them: all pairs are looked at."""
    if x.shape[0] <= MOST_VALUES:
        return x
    return x[np.linspace(0, x.shape[0] - 1, MOST_VALUES).astype(int)]


def holm(p: Sequence[float]) -> list[float]:
    """p adjusted so that the chance of any false claim among all of them stays what each states (Holm 1979)."""
    order = sorted(range(len(p)), key=lambda i: p[i])
    adjusted = [1.0] * len(p)
    running = 0.0
    for place, index in enumerate(order):
        running = max(running, min(1.0, (len(p) - place) * p[index]))
        adjusted[index] = running
    return adjusted


def fewest_each(comparisons: int, level: float = LEVEL) -> int:
    """Matches on each side below which no difference at all can be shown after that many comparisons."""
    n = 2
    while least_p(n, n) > (1 - level) / max(comparisons, 1):
        n += 1
    return n


def matches_to_tell(
    difference: float, spread: float, *, level: float = LEVEL, power: float = POWER, comparisons: int = 1
) -> int | None:
    """Matches on each side so that Mann–Whitney would show this difference `power` of the time.

    Noether (1987): N = (z_{α/2} + z_β)² / (12·¼·(P(X > Y) − ½)²) in all, P for normal values of this spread (1 sigma);
    never fewer than where the smallest p goes under α. α is shared over the comparisons (Bonferroni). None: no
    difference, or more than 1,000.
    """
    if not (math.isfinite(difference) and math.isfinite(spread)) or difference == 0 or spread < 0:
        return None
    alpha = (1 - level) / max(comparisons, 1)
    fewest = fewest_each(comparisons, level)
    if spread == 0:
        return fewest
    better = float(ndtr(abs(difference) / spread / math.sqrt(2))) - 0.5
    z = float(ndtri(1 - alpha / 2) + ndtri(power))
    each = z * z / (3 * better * better) / 2
    needed = max(fewest, math.ceil(each))
    return needed if needed <= MOST_MATCHES else None


def spread_of(x: npt.ArrayLike, y: npt.ArrayLike | None = None) -> float | None:
    """Spread (1 sigma) within one or two samples, pooled; None where no sample holds two values."""
    groups = [finite(x)] + ([] if y is None else [finite(y)])
    free = sum(max(g.shape[0] - 1, 0) for g in groups)
    if free == 0:
        return None
    return math.sqrt(sum(float(((g - g.mean()) ** 2).sum()) for g in groups if g.shape[0]) / free)
