"""Mean square current in bins: the integral of i² is kept, gaps are named."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.binned import bin_i2, bin_signal, bin_square
from analysis.ratings import OutsideValidity
from analysis.signal import signal
from analysis.wire_heat import WireRun, wire_heat


@given(
    st.lists(st.tuples(st.floats(0.001, 0.3), st.floats(-300, 300)), min_size=3, max_size=60),
    st.floats(0.02, 2.0),
    st.sampled_from(["linear", "held"]),
)
@settings(deadline=None)
def test_bins_conserve_the_integral_of_i2(steps: list[tuple[float, float]], bin_s: float, between: str) -> None:
    t = np.cumsum([0.0] + [step for step, _ in steps[1:]])
    i = np.array([current for _, current in steps])
    edges, mean = bin_i2(t, i, bin_s, between=between, gap_s=math.inf)  # type: ignore[arg-type]
    if between == "linear":
        expected = sum((a * a + a * b + b * b) / 3 * dt for a, b, dt in zip(i, i[1:], np.diff(t), strict=False))
    else:
        expected = float((i[:-1] ** 2 * np.diff(t)).sum())
    assert float((mean * np.diff(edges)).sum()) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert edges[0] == t[0] and edges[-1] == t[-1] and (np.diff(edges) > 0).all()
    assert (mean >= 0).all() and mean.max() <= (i**2).max() * (1 + 1e-9) + 1e-9


def test_bins_cut_a_ramp_exactly() -> None:
    """i = 10·t over 0…4 s in one-second bins: mean i² is 100·(b³ − a³)/3."""
    edges, mean = bin_i2([0.0, 4.0], [0.0, 40.0], 1.0, gap_s=math.inf)
    assert edges.tolist() == [0, 1, 2, 3, 4]
    assert mean == pytest.approx([100 * ((k + 1) ** 3 - k**3) / 3 for k in range(4)])


def test_gaps_and_invalid_samples() -> None:
    t = np.arange(0.0, 10.0, 0.1)
    i = np.full_like(t, 20.0)
    valid = np.ones(t.shape, dtype=bool)
    valid[30:50] = False
    load = bin_square(t, i, 0.5, valid=valid)
    assert load.has_gaps and load.uncovered_s == pytest.approx(2.1, abs=1e-6)
    assert load.mean_i2 == pytest.approx(400.0)  # what was logged stands for the bin
    assert load.low_i2.min() == pytest.approx(0.0, abs=1e-9)
    assert load.high_i2 == pytest.approx(400.0)
    keep = (t < 3) | (t > 5)
    stepped = bin_square(t[keep], i[keep], 0.5)
    assert stepped.uncovered_s == pytest.approx(2.2, abs=0.11)
    full = bin_square(t, i, 0.5)
    assert not full.has_gaps
    heats = [wire_heat([WireRun("x", 1.0)], [one])[0].peak for one in (full, load)]
    assert heats[1].low < heats[0].low and heats[1].low <= heats[0].value <= heats[1].high


def test_windows_beyond_the_log_are_not_covered() -> None:
    t = np.arange(0.0, 5.0, 0.01)
    load = bin_square(t, np.full_like(t, 10.0), 0.5, start_s=-1.0, end_s=6.0)
    assert load.uncovered_s == pytest.approx(2.01, abs=1e-6)
    inner = bin_square(t, np.full_like(t, 10.0), 0.5, start_s=1.0, end_s=3.3)
    assert inner.edges_s[0] == 1.0 and inner.edges_s[-1] == 3.3 and not inner.has_gaps


def test_bins_of_a_signal() -> None:
    t = np.arange(0.0, 4.0, 0.02)
    x = 5 + 3 * np.sin(t)
    averaged = bin_signal(signal("a_input_current_A", t, x, detector="average"), 0.5)
    instant = bin_signal(signal("a_input_current_A", t, x, detector="instant"), 0.5)
    assert averaged.mean_i2 == pytest.approx(bin_i2(t, x, 0.5, between="held")[1])
    assert instant.mean_i2 == pytest.approx(bin_i2(t, x, 0.5)[1])
    cut = bin_signal(signal("a_input_current_A", t, x), 0.5, 1.0, 2.0)
    assert cut.edges_s.tolist() == [1.0, 1.5, 2.0]


def test_bins_refuse_nothing_to_bin() -> None:
    with pytest.raises(OutsideValidity, match="fewer than two samples"):
        bin_i2([0.0], [1.0])
    with pytest.raises(OutsideValidity, match="empty window"):
        bin_i2([0.0, 1.0], [1.0, 1.0], start_s=2.0, end_s=2.0)
    with pytest.raises(OutsideValidity, match="no valid sample"):
        bin_i2([0.0, 1.0, 2.0], [1.0, 1.0, 1.0], valid=[False, False, False])
