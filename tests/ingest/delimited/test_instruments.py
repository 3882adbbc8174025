"""Long exports as instruments of many kinds make them: right, asked or refused; none wrong.

All files are invented; their truth comes from the simulation in `instruments/made.py`, which shares nothing with ours.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.ingest.delimited.instruments import cyclers, loggers, meters, others, rates, sheets, stamps
from tests.ingest.delimited.instruments.judge import judge
from tests.ingest.delimited.instruments.made import CASES, Made

MODULES = (cyclers, loggers, meters, others, rates, sheets, stamps)

# What the file itself leaves open, and so is asked ("kept": stored under its own name, not used).
NOT_RIGHT = {
    "centivolts_counts": "asked",
    "charge_only_plain": "asked",
    "charger_log": "asked",
    "curve_table": "asked",
    "curve_table_tabs": "asked",
    "day_of_year": "asked",
    "dyno_points": "asked",
    "dyno_time": "asked",
    "header_A_values_mA": "asked",
    "header_mV_values_V": "asked",
    "kelvin": "asked",
    "long_quoted_preamble": "asked",
    "lost_degree_sign": "asked",
    "meter_autorange_units": "asked",
    "motor_controller_log": "asked",
    "no_time_at_all": "asked",
    "quality_triplets": "asked",
    "radio_log": "asked",
    "scanned_channels": "asked",
    "slashed_units": "asked",
    "snake_controller": "asked",
    "step_summary": "asked",
    "steps_exact_999": "asked",
    "thrust_stand": "asked",
    "two_current_columns": "asked",
    "voltage_current_sense_raw": "asked",
    "cells_battery_monitor": "kept",
    "days_and_time": "kept",
    "min_avg_max": "kept",
    "program_and_step_time": "kept",
    "three_layers": "kept",
    "cycle_summary": "refused",
    "cycle_summary_dated": "refused",
    "frequency_response": "refused",
    "header_only": "refused",
    "html_table": "refused",
    "impedance": "refused",
    "impedance_with_time": "refused",
    "json_lines": "refused",
    "long_events": "refused",
    "long_with_units": "refused",
    "transposed": "refused",
    "typed_rows": "refused",
}


@pytest.mark.parametrize("make", CASES, ids=[make.__name__ for make in CASES])
def test_instrument(make: Callable[[], Made], tmp_path: Path) -> None:
    made = make()
    verdict, notes = judge(made, tmp_path / made.file)
    assert verdict == NOT_RIGHT.get(make.__name__, "right"), notes


def test_there_are_enough() -> None:
    names = [make.__name__ for make in CASES]
    assert len(names) >= 150 and len(set(names)) == len(names)
    assert set(NOT_RIGHT) <= set(names)
