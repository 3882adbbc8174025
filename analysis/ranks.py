"""Exact distributions of rank statistics, by counting: no series, no tables.

Counts are float64: exact integers up to 2^53, beyond that good to 15 figures, which is what probabilities need.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analysis.signal import Floats

# Our choice: above this many values the exact count gives way to the normal law, which is then good to 1e-4.
EXACT_TO = 60


@lru_cache(maxsize=256)
def rank_sum_counts(m: int, n: int) -> Floats:
    """(m·n + 1,) ways in which U = 0, 1, …, m·n comes about without ties (Mann and Whitney 1947).

    The recurrence f(m, n) = f(m − 1, n) moved up by n, plus f(m, n − 1); the sum is C(m + n, m).
    Raises ValueError for a negative size.
    """
    if m < 0 or n < 0:
        raise ValueError(f"sizes must not be negative: {m}, {n}")
    row = [np.ones(1) for _ in range(n + 1)]
    for i in range(1, m + 1):
        left = np.ones(1)
        new = [left]
        for j in range(1, n + 1):
            both = np.zeros(i * j + 1)
            both[j : j + row[j].shape[0]] += row[j]
            both[: left.shape[0]] += left
            left = both
            new.append(both)
        row = new
    counts = row[n]
    counts.setflags(write=False)
    return counts


@lru_cache(maxsize=256)
def signed_rank_counts(n: int) -> Floats:
    """(n(n+1)/2 + 1,) ways in which Wilcoxon's T+ = 0, 1, … comes about without ties; the sum is 2^n."""
    counts = np.ones(1)
    for rank in range(1, n + 1):
        more = np.zeros(counts.shape[0] + rank)
        more[: counts.shape[0]] += counts
        more[rank:] += counts
        counts = more
    counts.setflags(write=False)
    return counts


def inversion_shares(groups: tuple[int, ...]) -> Floats:
    """Probability of 0, 1, … inversions of a random order when the places come in tied groups of these sizes.

    All groups of one: Kendall's distribution. A pair inside a group never counts. The law is that of a sum of
    independent rank sums, one for each group against all before it.
    """
    shares = np.ones(1)
    before = 0
    for size in groups:
        counts = rank_sum_counts(size, before)
        shares = np.convolve(shares, counts / counts.sum())
        before += size
    return shares


def inversion_spread(groups: npt.NDArray[np.int64]) -> float:
    """Standard deviation of the number of inversions (Kendall 1938, with ties); about normal from some ten places."""
    n = int(groups.sum())
    ties = float((groups * (groups - 1) * (2 * groups + 5)).sum())
    return float(np.sqrt((n * (n - 1) * (2 * n + 5) - ties) / 72))


def lower_rank(shares: npt.ArrayLike, level: float) -> tuple[int, float]:
    """(k, level achieved): the k-th smallest and the k-th largest difference hold the shift with at least `level`.

    shares: probabilities of the statistic 0, 1, …, symmetric. k = 0: even the whole range holds it less surely; the
    level is then that of the whole range.
    """
    below = np.cumsum(np.asarray(shares, dtype=np.float64))
    # 1e-12: 1 − 2·0.025 must not fail by a rounding error.
    k = int(np.searchsorted(2 * below, 1 - level + 1e-12, side="right"))
    at = max(k, 1)
    return k, float(max(1 - 2 * below[at - 1], 0.0))


def tied_rank_sum(ranks: Floats, m: int) -> tuple[Floats, Floats]:
    """(doubled sum, probability) of the rank sum of m of the values under every split, ties as they are.

    By the shift algorithm of Streitberg and Röhmel (1986) on doubled midranks.
    """
    doubled = np.rint(2 * ranks).astype(int)
    total = int(doubled.sum())
    counts = np.zeros((m + 1, total + 1))
    counts[0, 0] = 1.0
    for value in doubled:
        counts[1:, value:] += counts[:-1, : total + 1 - value].copy()
    found = np.flatnonzero(counts[m])
    return found.astype(np.float64), counts[m, found] / counts[m].sum()


def tied_signed_rank(ranks: Floats) -> tuple[Floats, Floats]:
    """(doubled sum, probability) of the positive ranks' sum under every choice of signs, ties as they are."""
    doubled = np.rint(2 * ranks).astype(int)
    counts = np.ones(1)
    for value in doubled:
        more = np.zeros(counts.shape[0] + value)
        more[: counts.shape[0]] += counts
        more[value:] += counts
        counts = more
    found = np.flatnonzero(counts)
    return found.astype(np.float64), counts[found] / counts.sum()


def tails(values: Floats, shares: Floats, seen: float) -> tuple[float, float]:
    """P(statistic ≤ seen), P(statistic ≥ seen)."""
    return float(shares[values <= seen + 1e-9].sum()), float(shares[values >= seen - 1e-9].sum())


def normal_tails(u: float, m: int, n: int, ranks: Floats) -> tuple[float, float]:
    """The same for Mann–Whitney's U by the normal law, with continuity and tie correction."""
    size = m + n
    _, ties = np.unique(ranks, return_counts=True)
    variance = m * n / 12 * (size + 1 - float((ties**3 - ties).sum()) / (size * (size - 1)))
    if variance <= 0:
        return 1.0, 1.0
    spread = float(np.sqrt(variance))
    return float(ndtr((u - m * n / 2 + 0.5) / spread)), float(ndtr((m * n / 2 + 0.5 - u) / spread))


def midranks(x: npt.ArrayLike) -> Floats:
    """Ranks from 1; equal values share the mean of theirs."""
    _, place, counts = np.unique(np.asarray(x, dtype=np.float64), return_inverse=True, return_counts=True)
    return np.asarray((np.cumsum(counts) - (counts - 1) / 2)[place], dtype=np.float64)
