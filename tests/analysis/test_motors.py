"""Motor constants, winding temperature and limits against tests/reference/motor.csv."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analysis.binned import Binned, bin_square
from analysis.motors import (
    class_limit,
    coefficient_1_K,
    magnet_limit,
    motor_limit,
    runaway_current_A,
    speed_rpm,
    stall_current_A,
    steady_winding_degC,
    torque_constant_Nm_A,
    torque_Nm,
    winding_degC_from_resistance,
    winding_estimate,
    winding_mohm_at,
)
from analysis.ratings import OutsideValidity
from ingest.builds import Motor
from ingest.tables.names import UnknownName

REFERENCE = Path(__file__).parents[1] / "reference" / "motor.csv"


def rows(quantity: str) -> list[dict[str, str]]:
    with REFERENCE.open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] == quantity]
    assert found, quantity
    return found


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def close(row: dict[str, str]) -> Any:
    """The row's value within its own tolerance."""
    kind, number = row["tolerance"].split(":") if ":" in row["tolerance"] else ("rel", "1e-9")
    band: dict[str, Any] = {kind: float(number)}
    return pytest.approx(float(row["value"]), **band)


@pytest.mark.parametrize("row", rows("torque_constant"), ids=by_id)
def test_torque_constant(row: dict[str, str]) -> None:
    """S28: the relation Kt = 60/(2π·Kv)."""
    assert torque_constant_Nm_A(float(row["Kv_rpm_V"])) == close(row)


@pytest.mark.parametrize("row", rows("stall_current_ideal"), ids=by_id)
def test_stall_current(row: dict[str, str]) -> None:
    assert stall_current_A(float(row["V_V"]), 1000 * float(row["R_ohm"])) == close(row)


@pytest.mark.parametrize("row", rows("speed_under_load"), ids=by_id)
def test_speed(row: dict[str, str]) -> None:
    got = speed_rpm(float(row["Kv_rpm_V"]), float(row["V_V"]), float(row["I_A"]), 1000 * float(row["R_ohm"]))
    assert got == close(row)


@pytest.mark.parametrize("row", rows("torque"), ids=by_id)
def test_torque(row: dict[str, str]) -> None:
    assert torque_Nm(float(row["Kv_rpm_V"]), float(row["I_A"])) == close(row)
    assert torque_Nm(float(row["Kv_rpm_V"]), 1.0, no_load_A=2.0) == 0.0


@pytest.mark.parametrize("row", rows("winding_resistance_ratio_to_20C"), ids=by_id)
def test_winding_resistance(row: dict[str, str]) -> None:
    assert winding_mohm_at(1.0, float(row["T_C"])) == close(row)


def test_coefficient_at_25() -> None:
    (row,) = rows("temperature_coefficient_25C_reference")
    assert coefficient_1_K(25.0) == close(row)
    assert winding_mohm_at(20.0, 90.0, at_degC=25.0) == pytest.approx(20.0 * (1 + 65 * float(row["value"])), rel=1e-6)


def test_winding_temperature_from_resistance() -> None:
    (row,) = rows("winding_temperature_from_resistance")
    got = winding_degC_from_resistance(float(row["R1_mohm"]), float(row["T_C"]), float(row["R2_mohm"]))
    assert got == close(row)
    with pytest.raises(OutsideValidity, match="not a winding"):
        winding_degC_from_resistance(50, 20, 200)


@pytest.mark.parametrize("row", rows("steady_winding_temperature_with_copper_feedback"), ids=by_id)
def test_steady_winding(row: dict[str, str]) -> None:
    got = steady_winding_degC(
        float(row["I_A"]), float(row["R25_mohm"]), float(row["R_wh"]), float(row["R_ha"]), float(row["T_amb_C"])
    )
    assert got == close(row)


def test_runaway() -> None:
    (row,) = rows("thermal_runaway_current")
    runaway = runaway_current_A(float(row["R25_mohm"]), float(row["R_wh"]), float(row["R_ha"]))
    assert runaway == close(row)
    with pytest.raises(OutsideValidity, match="runs away"):
        steady_winding_degC(runaway * 1.001, 20, 3, 9, 25)
    with pytest.raises(OutsideValidity, match="250 degC"):
        steady_winding_degC(26.0, 20, 3, 9, 25)


@pytest.mark.parametrize("row", rows("insulation_class_limit"), ids=by_id)
def test_classes(row: dict[str, str]) -> None:
    """IEC 60085 letters (S23); N and R are recalled and say so."""
    got = class_limit(row["thermal_class"])
    assert got.value == float(row["value"]) and got.is_memory == (row["provenance"] == "memory")


@pytest.mark.parametrize("row", rows("ndfeb_magnet_working_limit"), ids=by_id)
def test_magnets(row: dict[str, str]) -> None:
    got = magnet_limit(row["thermal_class"].split()[0])
    assert got.value == float(row["value"]) and got.is_memory


def test_limit_of_a_motor() -> None:
    motor = Motor(id="m", controller="c")
    assert motor_limit(motor).value == 155 and motor_limit(motor).source.kind == "our choice"
    assert motor_limit(motor.model_copy(update={"insulation_class": "H"})).value == 180
    own = motor_limit(motor.model_copy(update={"limit_degC": 120.0}), "builds/b.toml")
    assert own.value == 120 and "builds/b.toml" in str(own.source)
    with pytest.raises(UnknownName, match="IEC 60085"):
        class_limit("Z")


def test_wrong_constants_are_refused() -> None:
    for call in (lambda: torque_constant_Nm_A(0.0), lambda: stall_current_A(20, 0.0), lambda: speed_rpm(-1, 1, 1, 1)):
        with pytest.raises(OutsideValidity, match="above 0"):
            call()


# -- estimate from current -------------------------------------------------------------------------------------


def motor(**more: object) -> Motor:
    return Motor.model_validate({"id": "wm", "controller": "w", "winding_mohm": 18, "mass_g": 400, **more})


def steady_load(current_A: float, seconds: float) -> Binned:
    return bin_square([0.0, seconds], [current_A, current_A], 0.25, gap_s=math.inf)


def test_estimate_against_a_tight_solution() -> None:
    """Two nodes with the stated shares, resistance following the winding, solved to 1e-8."""
    curve, peak = winding_estimate(motor(), steady_load(40.0, 60.0), 20.0, current_is="dc")
    inner, outer = 0.4 * 0.17 * 388, 0.4 * 0.83 * 480

    def slope(_: float, y: list[float]) -> list[float]:
        flow = (y[0] - y[1]) * inner / 20.0
        watt = 40.0**2 * 0.018 * (1 + 0.00393 * (y[0] - 20))
        return [(watt - flow) / inner, (flow - (y[1] - 20) * outer / 700.0) / outer]

    solved = solve_ivp(slope, (0, 60), [20.0, 20.0], rtol=1e-8, atol=1e-8)
    assert curve[-1] == pytest.approx(solved.y[0, -1], abs=0.1)
    assert peak.low < peak.value < peak.high and "estimate" in peak.basis


def test_estimate_knows_which_current_was_logged() -> None:
    """Three phases of r.m.s. I heat 1.5·I²·R between leads; a sine's peak half of that."""
    load = steady_load(20.0, 5.0)
    rises = {
        which: winding_estimate(motor(), load, 20.0, current_is=which)[1].value - 20
        for which in ("dc", "phase_rms", "phase_peak")
    }
    assert rises["phase_rms"] / rises["dc"] == pytest.approx(1.5, rel=0.02)
    assert rises["phase_rms"] / rises["phase_peak"] == pytest.approx(2.0, rel=0.02)
    shared = winding_estimate(motor(count=2), steady_load(40.0, 5.0), 20.0, current_is="dc")[1].value - 20
    assert shared == pytest.approx(rises["dc"], rel=1e-6)


def test_estimate_says_what_it_needs() -> None:
    load = steady_load(20.0, 5.0)
    for key in ("winding_mohm", "mass_g"):
        with pytest.raises(OutsideValidity, match=f"state {key}"):
            winding_estimate(motor().model_copy(update={key: None}), load, current_is="dc")
    with pytest.raises(OutsideValidity, match="motor_current_is"):
        winding_estimate(motor(), load)


def test_a_stall_past_the_model_is_at_least() -> None:
    curve, peak = winding_estimate(motor(), steady_load(200.0, 60.0), current_is="dc")
    assert peak.value == 250.0 and peak.high == math.inf and "at least" in peak.basis
    assert np.isfinite(curve).all() and curve.max() == 250.0


@given(st.floats(1, 60), st.floats(0, 20))
@settings(max_examples=25, deadline=None)
def test_more_current_is_hotter(current: float, more: float) -> None:
    low = winding_estimate(motor(), steady_load(current, 10.0), current_is="dc")[1]
    high = winding_estimate(motor(), steady_load(current + more, 10.0), current_is="dc")[1]
    assert high.value >= low.value - 1e-6
    assert low.low <= low.value <= low.high
