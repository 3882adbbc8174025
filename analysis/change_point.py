"""One step in a series of few values, and whether chance would make it (Pettitt 1979, by ranks)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations

import numpy as np
import numpy.typing as npt

from analysis.ranks import midranks
from analysis.signal import Floats
from analysis.statistics import LEVEL, Shift, finite, shift

# Our choice: with this many shuffles a p of 0.05 is known to 0.006 (two standard errors).
SHUFFLES = 4999
SHUFFLED_AT_ONCE = 500  # our choice: some megabytes
ENUMERATE_TO = 7  # 7! = 5,040 orders are counted, more are shuffled
SHORTEST_SIDE = 2  # our choice: one match alone is no change


@dataclass(frozen=True)
class ChangePoint:
    """first: index of the first value after the change; shift of the values after against before; p by permutation
    over the whole series, so that having looked for the place is paid for.
    """

    first: int
    shift: Shift
    p: float
    least_p: float


def _largest_step(ranks: Floats) -> tuple[Floats, Floats]:
    """(best (r,), place (r,)) of the standardised rank step of each row of ranks (r, n)."""
    n = ranks.shape[1]
    k = np.arange(SHORTEST_SIDE, n - SHORTEST_SIDE + 1)
    sums = np.cumsum(ranks, axis=1)[:, k - 1] - k * (n + 1) / 2
    size = np.abs(sums) / np.sqrt(k * (n - k))
    best = np.argmax(size, axis=1)
    return size[np.arange(size.shape[0]), best], k[best]


def change_point(y: npt.ArrayLike, level: float = LEVEL, seed: int = 1) -> ChangePoint | None:
    """Where a series steps once, and whether chance would make such a step (Pettitt 1979, each place standardised).

    p counts every order of the values up to seven of them, else 4,999 shuffles of a fixed seed. None: fewer than four.
    A slow drift makes a step too: read it beside the trend.
    """
    values = finite(y)
    n = values.shape[0]
    if n < 2 * SHORTEST_SIDE:
        return None
    ranks = midranks(values)
    best, place = _largest_step(ranks[None, :])
    if n <= ENUMERATE_TO:
        orders = ranks[np.array(list(permutations(range(n))))]
        statistics, _ = _largest_step(orders)
        p = float(np.mean(statistics >= best[0] - 1e-9))
        least = float(np.mean(statistics >= statistics.max() - 1e-9))
    else:
        rng = np.random.default_rng(seed)
        more = 0
        for start in range(0, SHUFFLES, SHUFFLED_AT_ONCE):
            count = min(SHUFFLED_AT_ONCE, SHUFFLES - start)
            statistics, _ = _largest_step(rng.permuted(np.tile(ranks, (count, 1)), axis=1))
            more += int(np.sum(statistics >= best[0] - 1e-9))
        p = (1 + more) / (SHUFFLES + 1)
        least = 1 / (SHUFFLES + 1)
    first = int(place[0])
    return ChangePoint(first, shift(values[first:], values[:first], level), p, least)
