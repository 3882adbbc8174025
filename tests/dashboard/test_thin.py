"""Thinning for the screen: spikes are never lost, gaps are never closed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.signal import signal
from dashboard.thin import gap_after, thin, thin_signal


@settings(max_examples=60, deadline=None)
@given(
    st.integers(min_value=1, max_value=40_000),
    st.integers(min_value=4, max_value=2000),
    st.integers(min_value=0, max_value=2**32 - 1),
    st.lists(st.floats(min_value=0, max_value=1), max_size=30),
)
def test_a_spike_of_one_sample_is_never_lost(n: int, points: int, seed: int, spikes: list[float]) -> None:
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.0005, 0.002, n))
    x = rng.normal(0, 1, n)
    where = np.array([int(s * (n - 1)) for s in spikes], dtype=int)
    x[where] += rng.choice([-100, 100], len(where))
    kept_t, kept_x = thin(t, x, points)
    assert len(kept_t) <= points + 2
    assert np.all(np.diff(kept_t) > 0)
    column = (t[-1] - t[0]) / max(1, (points - points % 2) // 2) if n > points else 0.0
    for i in where:
        near = np.abs(kept_t - t[i]) <= column * (1 + 1e-9)
        assert kept_x[near].max() >= x[i]
        assert kept_x[near].min() <= x[i]
    assert kept_x.max() == x.max()
    assert kept_x.min() == x.min()
    assert (kept_t[0], kept_t[-1]) == (t[0], t[-1])


@settings(max_examples=40, deadline=None)
@given(
    st.integers(min_value=100, max_value=20_000),
    st.lists(st.tuples(st.floats(0, 1), st.floats(0.1, 5.0)), max_size=8),
    st.sampled_from([10, 100, 2000]),
)
def test_a_gap_is_never_closed(n: int, gaps: list[tuple[float, float]], points: int) -> None:
    step = np.full(n - 1, 0.001)
    for place, length in gaps:
        step[int(place * (n - 2))] = length
    t = np.concatenate(([0.0], np.cumsum(step)))
    s = signal("pack_current_A", t, np.sin(t))
    kept_t, kept_x = thin_signal(s, points=points)
    for i in np.flatnonzero(gap_after(s)):
        inside = (kept_t >= t[i]) & (kept_t <= t[i + 1])
        assert np.isnan(kept_x[inside]).any()
    if not gaps:
        assert not np.isnan(kept_x).any()


def test_missing_values_and_a_restart_break_the_line() -> None:
    t = np.arange(0, 10, 0.01)
    x = np.ones_like(t)
    x[300:400] = np.nan
    recording = np.where(np.arange(len(t)) < 700, 0, 1).astype(np.int16)
    s = signal("pack_voltage_V", t, x, recording=recording)
    kept_t, kept_x = thin_signal(s, points=100)
    broken = kept_t[np.isnan(kept_x)]
    assert ((broken > 2.98) & (broken < 4.01)).any()
    assert ((broken >= 6.98) & (broken <= 7.01)).any()


def test_only_the_visible_part_with_one_sample_beyond_each_edge() -> None:
    t = np.arange(0, 100, 0.01)
    s = signal("pack_voltage_V", t, t)
    kept_t, _ = thin_signal(s, 10.0, 11.0)
    assert kept_t[0] == pytest.approx(9.99)
    assert kept_t[-1] == pytest.approx(11.01)
    assert len(thin_signal(s, 200.0, 201.0)[0]) <= 1
    assert len(thin_signal(signal("x", [], []))[0]) == 0
    with pytest.raises(ValueError, match="at least 4"):
        thin(t, t, 2)
