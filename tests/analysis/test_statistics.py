"""Statistics against published worked examples, against brute force, and against the error rates they claim.

tests/reference/statistics.csv names the source of each row. The paired example is Hollander and Wolfe (1973), p. 29,
as in the manual of the R language's wilcox.test (data and results from memory: V = 40, one-sided p = 0.01953).
"""

from __future__ import annotations

import csv
import math
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy.stats import kendalltau

from analysis import statistics as stats
from analysis.change_point import change_point
from analysis.ranks import inversion_shares, rank_sum_counts, signed_rank_counts

TABLE = Path(__file__).resolve().parent.parent / "reference" / "statistics.csv"
with TABLE.open(encoding="utf-8", newline="") as _file:
    ROWS = {row["id"]: row for row in csv.DictReader(_file)}


def samples(row: dict[str, str]) -> list[list[float]]:
    return [[float(v) for v in part.split("=")[1].split()] for part in row["data"].split("|")]


def within(row: dict[str, str], value: float) -> None:
    kind, _, size = row["tolerance"].partition(":")
    expected = float(row["value"])
    allowed = 1e-12 if kind == "exact" else float(size) * (abs(expected) if kind == "rel" else 1.0)
    assert value == pytest.approx(expected, abs=allowed, rel=0), row["id"]


@pytest.mark.parametrize(
    ("row", "attribute"),
    [("09-001", "statistic"), ("09-002", "p_greater"), ("09-003", "p"), ("09-013", "statistic"), ("09-014", "p")],
)
def test_mann_whitney_published(row: str, attribute: str) -> None:
    first, second = samples(ROWS[row])
    found = stats.mann_whitney(first, second)
    assert found.exact
    within(ROWS[row], getattr(found, attribute))


@pytest.mark.parametrize(
    ("row", "attribute"), [("09-004", "value"), ("09-005", "low"), ("09-006", "high"), ("09-007", "achieved")]
)
def test_shift_published(row: str, attribute: str) -> None:
    first, second = samples(ROWS[row])
    found = stats.shift(first, second)
    assert found.reached
    within(ROWS[row], getattr(found, attribute))


@pytest.mark.parametrize("row", ["09-008", "09-009", "09-010", "09-011", "09-012"])
def test_smallest_p_published(row: str) -> None:
    m, n = int(ROWS[row]["n1"]), int(ROWS[row]["n2"])
    within(ROWS[row], stats.least_p(m, n))
    within(ROWS[row], stats.mann_whitney(np.arange(m), 100 + np.arange(n)).p)


def test_theil_sen_published() -> None:
    """Sen (1968): the fourth smallest and fourth largest slope, quoted at about 93 %; counted out they hold 97.0 %."""
    t, y = samples(ROWS["09-016"])
    found = stats.theil_sen(t, y)
    within(ROWS["09-016"], found.slope)
    within(ROWS["09-017"], found.low)
    within(ROWS["09-018"], found.high)
    within(ROWS["09-019"], found.intercept)
    assert found.achieved == pytest.approx(1 - 2 * 76 / 5040)  # 76 of 7! orders have three inversions or fewer
    assert stats.theil_sen(t, y, level=0.93).achieved == pytest.approx(1 - 2 * 174 / 5040)


def test_trend_p_is_kendalls() -> None:
    """Against SciPy's exact Kendall test, an independent implementation."""
    rng = np.random.default_rng(5)
    for n in (3, 6, 12):
        for y in rng.normal(size=(40, n)):
            assert stats.theil_sen(np.arange(n), y).p == pytest.approx(
                kendalltau(np.arange(n), y, method="exact").pvalue
            )


def test_paired_published() -> None:
    x = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30])
    y = np.array([0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29])
    found = stats.wilcoxon(x - y)
    assert found.statistic == 40
    assert found.p_greater == pytest.approx(0.01953, abs=5e-6)
    shift = stats.paired_shift(x - y)
    assert shift.value == pytest.approx(0.46, abs=0.005)
    assert (shift.low, shift.high) == pytest.approx((0.010, 0.786), abs=5e-4)
    assert shift.achieved == pytest.approx(0.961, abs=5e-4)


def test_three_against_three_reaches_no_95_percent() -> None:
    found = stats.shift([1.0, 2.0, 3.0], [10.0, 11.0, 12.0])
    assert not found.reached
    assert found.achieved == pytest.approx(0.9)
    assert (found.low, found.high) == (-11.0, -7.0)
    assert stats.shift([1.0], [2.0]).achieved == pytest.approx(0.0)


def test_counts_against_enumeration() -> None:
    for m, n in [(1, 1), (2, 3), (3, 4), (4, 4)]:
        brute = np.zeros(m * n + 1)
        for chosen in combinations(range(m + n), m):
            brute[sum(chosen) - m * (m - 1) // 2] += 1
        assert np.array_equal(rank_sum_counts(m, n), brute)
    signs = [sum(r for r, s in zip(range(1, 6), pick, strict=True) if s) for pick in product((0, 1), repeat=5)]
    assert np.array_equal(signed_rank_counts(5), np.bincount(signs))
    # Numbers of orders by inversions, n = 4 (Kendall 1938, from memory): 1 3 5 6 5 3 1.
    assert inversion_shares((1, 1, 1, 1)) * 24 == pytest.approx([1, 3, 5, 6, 5, 3, 1])
    assert inversion_shares((2, 2)) * 6 == pytest.approx([1, 1, 2, 1, 1])


values = st.lists(st.integers(0, 6).map(float), min_size=1, max_size=4)


@given(values, values)
@hypothesis_settings(max_examples=60, deadline=None)
def test_mann_whitney_with_ties_against_enumeration(x: list[float], y: list[float]) -> None:
    both = np.array(x + y)
    m = len(x)

    def u(first: np.ndarray, second: np.ndarray) -> float:
        return float(((first[:, None] > second) + 0.5 * (first[:, None] == second)).sum())

    seen = u(both[:m], both[m:])
    every = [
        u(both[list(c)], both[[i for i in range(len(both)) if i not in c]]) for c in combinations(range(len(both)), m)
    ]
    found = stats.mann_whitney(x, y)
    assert found.statistic == pytest.approx(seen)
    assert found.p_greater == pytest.approx(np.mean(np.array(every) >= seen - 1e-9))
    assert found.p_less == pytest.approx(np.mean(np.array(every) <= seen + 1e-9))


@given(st.lists(st.integers(-4, 4).map(float), min_size=1, max_size=7))
@hypothesis_settings(max_examples=60, deadline=None)
def test_wilcoxon_against_enumeration(d: list[float]) -> None:
    kept = np.array([v for v in d if v])
    found = stats.wilcoxon(d)
    if not len(kept):
        assert found.p == 1.0
        return
    size = np.abs(kept)
    ranks = np.array([(size < s).sum() + ((size == s).sum() + 1) / 2 for s in size])
    every = [ranks[np.array(pick, dtype=bool)].sum() for pick in product((0, 1), repeat=len(kept))]
    assert found.p_greater == pytest.approx(np.mean(np.array(every) >= found.statistic - 1e-9))


def test_the_normal_law_carries_on_where_counting_stops() -> None:
    rng = np.random.default_rng(4)
    x, y = rng.normal(size=31), rng.normal(0.5, 1, size=29)
    exact = stats.mann_whitney(x, y)
    from analysis.ranks import midranks, normal_tails

    less, greater = normal_tails(exact.statistic, 31, 29, midranks(np.concatenate([x, y])))
    assert less == pytest.approx(exact.p_less, abs=2e-3)
    assert greater == pytest.approx(exact.p_greater, abs=2e-3)
    assert not stats.mann_whitney(np.arange(40.0), np.arange(40.0)).exact


def test_asymptotic_published() -> None:
    from analysis.ranks import midranks, normal_tails

    x, y = samples(ROWS["09-013"])
    found = normal_tails(17.0, len(x), len(y), midranks(np.array(x + y)))
    within(ROWS["09-015"], 2 * min(found))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=5))
@hypothesis_settings(max_examples=60, deadline=None)
def test_holm_is_the_closed_test(p: list[float]) -> None:
    """Holm's procedure is the closure of Bonferroni (Marcus, Peritz and Gabriel 1976)."""
    adjusted = stats.holm(p)
    for i in range(len(p)):
        others = [j for j in range(len(p)) if j != i]
        worst = 0.0
        for size in range(len(p)):
            for more in combinations(others, size):
                together = [p[i], *(p[j] for j in more)]
                worst = max(worst, min(1.0, len(together) * min(together)))
        assert adjusted[i] == pytest.approx(worst)


@pytest.mark.parametrize("n", [3, 6, 12])
def test_simulated_seasons_claim_no_more_than_they_should(n: int) -> None:
    """2,000 seasons without a difference: false claims at or under 5 % (+2.5 standard errors of the count)."""
    rng = np.random.default_rng(10 + n)
    repeats = 2000
    x, y = rng.normal(size=(repeats, n)), rng.normal(size=(repeats, n))
    p = np.array([stats.mann_whitney(a, b).p for a, b in zip(x, y, strict=True)])
    bound = 0.05 + 2.5 * math.sqrt(0.05 * 0.95 / repeats)
    assert np.mean(p <= 0.05) <= bound
    shifts = [stats.shift(a + 1.0, b) for a, b in zip(x, y, strict=True)]
    held = np.mean([s.low <= 1.0 <= s.high for s in shifts])
    assert held >= shifts[0].achieved - 2.5 * math.sqrt(0.05 / repeats)
    trends = [stats.theil_sen(np.arange(n), a) for a in y]
    assert np.mean([r.p <= 0.05 for r in trends]) <= bound
    assert np.mean([r.low <= 0 <= r.high for r in trends]) >= trends[0].achieved - 2.5 * math.sqrt(0.05 / repeats)


@pytest.mark.parametrize(("difference", "comparisons"), [(2.0, 1), (1.2, 1), (2.0, 8)])
def test_matches_to_tell_keeps_its_promise(difference: float, comparisons: int) -> None:
    """The stated number of matches shows a real difference about as often as claimed (Noether is an approximation)."""
    n = stats.matches_to_tell(difference, 1.0, comparisons=comparisons)
    assert n is not None
    rng = np.random.default_rng(3)
    p = [stats.mann_whitney(rng.normal(difference, 1, n), rng.normal(size=n)).p for _ in range(400)]
    assert np.mean(np.array(p) <= 0.05 / comparisons) >= stats.POWER - 0.06


def test_matches_to_tell_at_its_ends() -> None:
    assert stats.matches_to_tell(1.0, 0.0) == 4  # 4 against 4 is the first that can go under 5 %
    assert stats.matches_to_tell(100.0, 1.0) == 6  # Noether's own limit for samples that never overlap
    assert stats.matches_to_tell(0.0, 1.0) is None
    assert stats.matches_to_tell(0.001, 1.0) is None
    assert stats.matches_to_tell(math.nan, 1.0) is None


def test_change_point_finds_the_step_and_no_other() -> None:
    rng = np.random.default_rng(6)
    y = np.concatenate([rng.normal(5, 0.2, 5), rng.normal(7, 0.2, 7)])
    found = change_point(y)
    assert found is not None
    assert found.first == 5
    assert found.p < 0.05
    assert found.shift.low < 2.0 < found.shift.high
    assert change_point([1.0, 2.0, 3.0]) is None


@pytest.mark.parametrize("n", [6, 12])
def test_change_point_error_rate(n: int) -> None:
    rng = np.random.default_rng(n)
    repeats = 500
    found = [change_point(rng.normal(size=n)) for _ in range(repeats)]
    rate = np.mean([f is not None and f.p <= 0.05 for f in found])
    assert rate <= 0.05 + 2.5 * math.sqrt(0.05 * 0.95 / repeats)


def test_change_point_p_by_every_order() -> None:
    """Five values: of 5! orders, 4·2!·3! set the two smallest or the two largest apart at one end; 2·2!·2! do both."""
    found = change_point([1.0, 2.0, 8.0, 9.0, 10.0])
    assert found is not None
    assert found.first == 2
    assert found.p == pytest.approx((4 * 2 * 6 - 2 * 2 * 2) / math.factorial(5))
    assert found.p == found.least_p


@pytest.mark.parametrize("call", [
    lambda: stats.shift([], [1.0]),
    lambda: stats.mann_whitney([1.0], []),
    lambda: stats.paired_shift([]),
    lambda: stats.theil_sen([1.0, 1.0], [1.0, 2.0]),
    lambda: stats.theil_sen([1.0, 2.0], [1.0]),
    lambda: stats.shift([math.nan], [1.0]),
])  # fmt: skip
def test_nothing_is_made_up_from_nothing(call: object) -> None:
    with pytest.raises(ValueError, match=r"."):
        call()  # type: ignore[operator]


def test_the_normal_law_of_a_trend_carries_on_where_counting_stops() -> None:
    """61 values, some of the same time: against Kendall's exact distribution, and SciPy's test with ties."""
    rng = np.random.default_rng(8)
    t = np.repeat(np.arange(41.0), [2] * 20 + [1] * 21)
    y = 0.01 * t + rng.normal(size=61)
    found = stats.theil_sen(t, y)
    shares = inversion_shares((2,) * 20 + (1,) * 21)
    rise = np.sign((y[None, :] - y[:, None]) * (t[None, :] > t[:, None]))
    fewest = int(min((rise > 0).sum(), (rise < 0).sum()))
    assert found.p == pytest.approx(2 * shares[: fewest + 1].sum(), abs=2e-3)
    assert found.p == pytest.approx(kendalltau(t, y, method="asymptotic").pvalue, abs=0.02)
    exact = stats.theil_sen(t[:60], y[:60])
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), abs=0.1 * (exact.high - exact.low))


def test_a_very_long_series_is_told_from_a_thousand_of_it() -> None:
    y = np.arange(20_000.0) * 0.5
    found = stats.theil_sen(np.arange(20_000.0), y)
    assert (found.slope, found.n) == (pytest.approx(0.5), 1000)
