"""Lowest means and dips on signals whose answer is a closed form."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.sag import dips, lowest, lowest_mean
from analysis.signal import signal

T = np.arange(0.0, 20.0, 0.01)


def test_a_rectangular_dip_of_a_second_is_its_own_lowest_mean() -> None:
    volts = np.where((T >= 5.0) & (T < 6.0), 20.0, 24.0)
    value, start, end = lowest_mean(signal("pack_voltage_V", T, volts), 1.0)
    assert value == pytest.approx(20.0, abs=0.05)
    assert start == pytest.approx(5.0, abs=0.02)
    assert end - start == pytest.approx(1.0, abs=0.02)


def test_a_dip_of_a_tenth_moves_the_mean_by_a_tenth_of_its_depth() -> None:
    volts = np.where((T >= 5.0) & (T < 5.1), 14.0, 24.0)
    assert lowest_mean(signal("v_voltage_V", T, volts), 1.0)[0] == pytest.approx(23.0, abs=0.06)


def test_a_window_across_a_gap_does_not_count() -> None:
    keep = (T < 5.0) | (T > 9.0)
    volts = np.where(T < 5.0, 24.0, 22.0)
    value, start, _ = lowest_mean(signal("v_voltage_V", T[keep], volts[keep]), 1.0)
    assert value == pytest.approx(22.0)
    assert start >= 9.0


@settings(max_examples=50)
@given(st.lists(st.floats(10.0, 26.0), min_size=150, max_size=400), st.floats(0.2, 1.5))
def test_the_lowest_mean_lies_between_the_lowest_sample_and_the_mean(values: list[float], window: float) -> None:
    t = np.arange(len(values)) * 0.01
    made = signal("v_voltage_V", t, values)
    value = lowest_mean(made, window)[0]
    assert min(values) - 1e-9 <= value <= max(values) + 1e-9
    assert value >= lowest(made)[0].value - 1e-9


def test_dips_are_counted_with_their_depth() -> None:
    rail = np.full(len(T), 5.0)
    rail[(T >= 3.0) & (T < 3.5)] = 3.4
    rail[(T >= 12.0) & (T < 12.2)] = 3.8
    found = dips(signal("receiver_rail_voltage_V", T, rail), 4.0)
    assert [(round(o.start_s, 1), o.measured) for o in found] == [(3.0, 3.4), (12.0, 3.8)]


def test_a_slow_log_says_nothing_of_what_lies_between() -> None:
    slow = signal("v_voltage_V", np.arange(0.0, 20.0, 0.5), 24.0 - np.arange(40) % 3)
    figure, _ = lowest(slow)
    assert figure.low < figure.value - 0.9  # as much again as what was seen
