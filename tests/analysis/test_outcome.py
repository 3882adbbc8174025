"""Margins and verdicts as the contract states them (section 4: margin_pct, verdict)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.findings import Finding, NotChecked, Passed
from analysis.outcome import Held, judge, margin_pct
from analysis.settings import DEFAULTS
from analysis.signal import Measured

CURRENT = Held("burst_current", "weapon", 160.0, 0.0, "A", "b.toml weapon.burst_A", "current_spike")
RAIL = Held("rail_voltage", "receiver", 4.0, 5.0, "V", "b.toml receiver.minimum_V", "voltage_sag", "min")
SPAN = (1.0, 2.0)


def test_margin_of_the_contract_example() -> None:
    """The contract's own document: rail 3.4 V, limit 4.0 V, nominal 5.0 V gives -60 %."""
    assert margin_pct(3.4, 4.0, 5.0, "min") == pytest.approx(-60.0)
    # and a wire at 61 degC of 183 degC in 20 degC air gives 74.8 %
    assert margin_pct(61.0, 183.0, 20.0, "max") == pytest.approx(74.85, abs=0.01)


def test_over_close_and_passed() -> None:
    over = judge(CURRENT, Measured(170.0, 165.0, 175.0), SPAN, DEFAULTS)
    assert isinstance(over, Finding) and (over.verdict, over.confidence) == ("over", "certain")
    unsure = judge(CURRENT, Measured(170.0, 155.0, 185.0), SPAN, DEFAULTS)
    assert isinstance(unsure, Finding) and (unsure.verdict, unsure.confidence) == ("over", "likely")
    reaching = judge(CURRENT, Measured(120.0, 110.0, 161.0), SPAN, DEFAULTS)
    assert isinstance(reaching, Finding) and reaching.verdict == "close"
    near = judge(CURRENT, Measured.exact(150.0), SPAN, DEFAULTS)
    assert isinstance(near, Finding) and near.verdict == "close"
    passed = judge(CURRENT, Measured(100.0, 98.0, 102.0), SPAN, DEFAULTS)
    assert isinstance(passed, Passed) and passed.margin_pct == pytest.approx(37.5)


def test_a_lower_bound_never_passes_and_can_fail() -> None:
    low = judge(CURRENT, Measured(100.0, 98.0, 102.0), SPAN, DEFAULTS, at_least=True)
    assert isinstance(low, NotChecked) and "at least 100 A" in low.reason
    clipped = judge(CURRENT, Measured(100.0, 98.0, math.inf), SPAN, DEFAULTS)
    assert isinstance(clipped, NotChecked)
    over = judge(CURRENT, Measured(170.0, 168.0, math.inf), SPAN, DEFAULTS, at_least=True)
    assert isinstance(over, Finding) and over.verdict == "over"


def test_memory_alone_never_makes_an_over() -> None:
    remembered = Held("wire_temperature", "lead", 105.0, 20.0, "degC", "memory", "thermal_buildup", from_memory=True)
    row = judge(remembered, Measured(150.0, 140.0, 160.0), SPAN, DEFAULTS)
    assert isinstance(row, Finding) and row.verdict == "close"
    assert any("from memory" in line for line in row.evidence)


@given(
    value=st.floats(0.0, 500.0),
    half=st.floats(0.0, 50.0),
    limit=st.floats(1.0, 400.0),
)
def test_what_passes_has_its_whole_interval_inside(value: float, half: float, limit: float) -> None:
    held = Held("x", "y", limit, 0.0, "A", "s", "current_spike")
    row = judge(held, Measured(value, max(value - half, 0.0), value + half), SPAN, DEFAULTS)
    if isinstance(row, Passed):
        assert value + half <= limit
        assert row.margin_pct >= DEFAULTS.close_margin_pct
    elif isinstance(row, Finding) and row.verdict == "over":
        assert value > limit


@given(volts=st.floats(0.0, 10.0))
def test_minimum_is_the_mirror_of_maximum(volts: float) -> None:
    row = judge(RAIL, Measured.exact(volts), SPAN, DEFAULTS)
    if volts < 4.0:
        assert isinstance(row, Finding) and row.verdict == "over"
    elif volts > 4.2:
        assert isinstance(row, Passed)
