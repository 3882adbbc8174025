"""The filter and the quantiles that stand in for slow imports, against SciPy's own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import binom, rankdata

from analysis import low_pass
from analysis.ranks import midranks


@pytest.mark.parametrize("n", [0, 1, 2, 3000, low_pass.LONG])
@pytest.mark.parametrize("decay", [0.0, 0.3, 0.99999])
def test_the_filter_is_scipys(n: int, decay: float) -> None:
    x = np.random.default_rng(n).normal(size=n)
    expected = lfilter([0.2, 0.1], [1.0, -decay], x, zi=[0.7])[0] if n else x
    assert low_pass.filtered(0.2, 0.1, decay, x, 0.7) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_midranks_are_scipys() -> None:
    rng = np.random.default_rng(3)
    for n in (1, 2, 7, 40):
        x = rng.integers(0, 6, n).astype(float)
        assert midranks(x).tolist() == rankdata(x).tolist()


def test_the_interval_of_a_median_takes_the_orders_that_the_binomial_law_gives() -> None:
    from analysis.metrics_drives import _median_interval

    for n in range(6, 60):
        k = int(binom.ppf(0.025, n, 0.5))
        low, high = _median_interval(np.arange(float(n)), 0.0)[1:]
        assert (low, high) == (max(k - 1, 0), min(n - k, n - 1))


def test_a_season_worker_starts_without_the_slow_imports() -> None:
    code = "import sys, analysis.season_run; print([m for m in ('scipy.stats', 'scipy.signal') if m in sys.modules])"
    root = Path(__file__).resolve().parents[2]
    ran = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
