"""Published tables of copper wire: adiabatic heating, air and convection, free-air ampacity.

Reference rows: tests/reference (each with its source; sources.csv says what S.. is and how it was seen).
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import ht
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.cooling import (
    air_conductivity_W_mK,
    air_prandtl,
    air_viscosity_m2_s,
    convection_spread,
    convection_W_m2K,
    nusselt_cylinder,
    nusselt_morgan,
    radiation_W_m2K,
    rayleigh_cylinder,
)
from analysis.ratings import OutsideValidity
from analysis.wire_heat import (
    WireRun,
    adiabatic_i2t,
    adiabatic_temperature_degC,
    adiabatic_time_s,
    k_factor,
    steady_current,
    steady_temperature,
)
from ingest.tables.gauges import parse_gauge

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(file: str, *quantities: str) -> list[dict[str, str]]:
    with (REFERENCE / file).open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] in quantities]
    assert found, quantities
    return found


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def area(row: dict[str, str]) -> float:
    return parse_gauge(f"{row['awg']} AWG")


def tolerance(row: dict[str, str]) -> Any:
    """The row's own pass band as the keyword of pytest.approx."""
    kind, number = row["tolerance"].split(" ")[0].split(":")
    return {kind: float(number)}


# -- adiabatic: IEC 60364-5-54 annex A / IEC 60949 ------------------------------------------------------------


@pytest.mark.parametrize("row", rows("adiabatic.csv", "k_adiabatic_copper"), ids=by_id)
def test_k_factors_of_the_standard(row: dict[str, str]) -> None:
    """S05, IEC 60364-5-54: all eight printed k of copper, whole numbers."""
    assert k_factor(float(row["T_i_C"]), float(row["T_f_C"])) == pytest.approx(float(row["value"]), abs=1)


@pytest.mark.parametrize("row", rows("adiabatic.csv", "k_adiabatic_copper_computed"), ids=by_id)
def test_k_factor_equation(row: dict[str, str]) -> None:
    k = k_factor(float(row["T_i_C"]), float(row["T_f_C"]))
    assert k == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize("row", rows("adiabatic.csv", "adiabatic_current_limit"), ids=by_id)
def test_adiabatic_current(row: dict[str, str]) -> None:
    i2t = adiabatic_i2t(area(row), float(row["T_i_C"]), float(row["T_f_C"]))
    assert math.sqrt(i2t / float(row["duration_s"])) == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize(
    "row",
    rows("adiabatic.csv", "adiabatic_final_temperature", "adiabatic_final_temperature_two_pulses"),
    ids=by_id,
)
def test_adiabatic_temperature(row: dict[str, str]) -> None:
    i2t = float(row["I2t_A2s"] or 0) or float(row["I_A"]) ** 2 * float(row["duration_s"])
    got = adiabatic_temperature_degC(area(row), i2t, float(row["T_i_C"]))
    assert got == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize("row", rows("adiabatic.csv", "adiabatic_time_to_temperature"), ids=by_id)
def test_adiabatic_time(row: dict[str, str]) -> None:
    got = adiabatic_time_s(area(row), float(row["I_A"]), float(row["T_i_C"]), float(row["T_f_C"]))
    assert got == pytest.approx(float(row["value"]), **tolerance(row))


def test_adiabatic_outside_its_range() -> None:
    with pytest.raises(OutsideValidity, match="1083"):
        k_factor(25, 1100)
    with pytest.raises(OutsideValidity, match="does not heat"):
        k_factor(100, 50)
    with pytest.raises(OutsideValidity, match="1083"):
        adiabatic_temperature_degC(1.0, 1e9, 25)


# -- air, convection, radiation ------------------------------------------------------------------------------

AIR = {
    "air_thermal_conductivity": air_conductivity_W_mK,
    "air_kinematic_viscosity": air_viscosity_m2_s,
    "air_prandtl": air_prandtl,
}


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", *AIR), ids=by_id)
def test_air(row: dict[str, str]) -> None:
    """S20a: dry air of a fluid-property library at 101 325 Pa."""
    assert float(AIR[row["quantity"]](float(row["T_K"]))) == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize("ra", np.logspace(-2, 6, 17))
@pytest.mark.parametrize("pr", [0.69, 0.71])
def test_nusselt_against_a_heat_transfer_library(ra: float, pr: float) -> None:
    """ht, Nu_horizontal_cylinder_Churchill_Chu (Churchill and Chu 1975)."""
    expected = ht.Nu_horizontal_cylinder_Churchill_Chu(Pr=pr, Gr=ra / pr)
    assert float(nusselt_cylinder(ra, pr)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "Nu_churchill_chu_cylinder"), ids=by_id)
def test_nusselt(row: dict[str, str]) -> None:
    got = float(nusselt_cylinder(float(row["Ra"]), float(row["Pr"])))
    assert got == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "Nu_morgan_cylinder"), ids=by_id)
def test_the_other_correlation(row: dict[str, str]) -> None:
    """Morgan 1975 (S20b)."""
    assert float(nusselt_morgan(float(row["Ra"]))) == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize("ra", np.logspace(-4.9, 6.9, 25))
def test_the_other_correlation_against_a_heat_transfer_library(ra: float) -> None:
    """ht, Nu_horizontal_cylinder with the method of Morgan (1975)."""
    expected = ht.conv_free_immersed.Nu_horizontal_cylinder_Morgan(Pr=0.7, Gr=ra / 0.7)
    assert float(nusselt_morgan(ra)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("diameter_mm", [0.3, 0.6, 1.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize("rise_K", [1.0, 20.0, 80.0, 160.0])
def test_the_interval_of_the_convection_holds_both_correlations(diameter_mm: float, rise_K: float) -> None:
    """Nusselt numbers of Morgan and of Churchill and Chu from the library ht; Morgan with his own 5 %."""
    air, surface, diameter = 25.0, 25.0 + rise_K, diameter_mm * 1e-3
    ra = float(rayleigh_cylinder(diameter, surface, air))
    pr = float(air_prandtl(298.15 + rise_K / 2))
    ours = ht.Nu_horizontal_cylinder_Churchill_Chu(Pr=pr, Gr=ra / pr)
    other = ht.conv_free_immersed.Nu_horizontal_cylinder_Morgan(Pr=pr, Gr=ra / pr)
    low, high = (float(end) for end in convection_spread(diameter, surface, air, 0.25))
    assert low <= 0.75 and high >= 1.25
    assert low * ours <= 0.951 * other and 1.049 * other <= high * ours


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "h_convection_cylinder"), ids=by_id)
def test_convection(row: dict[str, str]) -> None:
    got = convection_W_m2K(float(row["D_mm"]) * 1e-3, float(row["T_surface_C"]), float(row["T_amb_C"]))
    assert float(got) == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "h_radiation_cylinder"), ids=by_id)
def test_radiation(row: dict[str, str]) -> None:
    got = radiation_W_m2K(float(row["emissivity"]), float(row["T_surface_C"]), float(row["T_amb_C"]))
    assert float(got) == pytest.approx(float(row["value"]), **tolerance(row))


def test_textbook_steam_pipe() -> None:
    """Incropera and DeWitt, horizontal steam pipe (S20c, recalled): 0.1 m, 165 °C in 23 °C air, ε 0.85."""
    round_m = math.pi * 0.1
    convection = float(convection_W_m2K(0.1, 165, 23)) * round_m * (165 - 23)
    glow = float(radiation_W_m2K(0.85, 165, 23)) * round_m * (165 - 23)
    assert convection == pytest.approx(325, rel=0.01)
    assert glow == pytest.approx(441, rel=2e-3)


# -- steady state: published ampacities ----------------------------------------------------------------------


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "free_air_ampacity_silicone"), ids=by_id)
def test_free_air_ampacity_of_silicone_wire(row: dict[str, str]) -> None:
    """Energy balance solved with ht and CoolProp (S20b), same correlation: 2 %."""
    run = WireRun("x", area(row), outer_diameter_mm=float(row["D_mm"]))
    got = steady_current(run, float(row["T_cond_C"]), float(row["T_amb_C"]))
    assert got.value == pytest.approx(float(row["value"]), rel=0.02)
    # The usual outer diameters of our table are those of the reference table.
    assert WireRun("x", area(row)).size.outer_diameter_mm == pytest.approx(float(row["D_mm"]), rel=0.01)


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "free_air_ampacity_bare_bright"), ids=by_id)
def test_free_air_ampacity_of_bare_wire(row: dict[str, str]) -> None:
    run = WireRun("x", area(row), insulation="bare", emissivity=float(row["emissivity"]))
    got = steady_current(run, float(row["T_cond_C"]), float(row["T_amb_C"]))
    assert got.value == pytest.approx(float(row["value"]), **tolerance(row))


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "nec_310_17_free_air_copper"), ids=by_id)
def test_code_table_of_single_conductors_in_free_air(row: dict[str, str]) -> None:
    """NEC table 310.17 (S08a), 60/75/90 °C at 30 °C: an energy balance lies within about 9 % (prints 5 A steps)."""
    run = WireRun("x", area(row), insulation="pvc", strand="solid")
    got = steady_current(run, float(row["T_cond_C"]), 30.0)
    printed = float(row["value"])
    assert got.value == pytest.approx(printed, rel=0.10)
    assert got.low <= printed + 2.5 and printed - 2.5 <= got.high  # the code prints steps of 5 A


def test_chart_of_14_awg_at_200_degC() -> None:
    """S06, AC 43.13-1B worked example 2: 47 A for 14 AWG, 200 °C wire, 50 °C ambient, read off a chart."""
    (row,) = rows("free_air_ampacity.csv", "faa_free_air_chart_14awg")
    run = WireRun("x", area(row), insulation="ptfe", outer_diameter_mm=2.3)
    got = steady_current(run, 200.0, 50.0)
    assert got.value == pytest.approx(float(row["value"]), **tolerance(row))
    assert got.low <= float(row["value"]) <= got.high


def test_hobby_rule_is_not_reproduced() -> None:
    """S08d, 25 A per mm² (a negative example): it exceeds the 200 °C equilibrium of thick wire."""
    (row,) = [r for r in rows("free_air_ampacity.csv", "hobby_rule_25A_per_mm2") if r["awg"] == "8"]
    assert steady_current(WireRun("x", area(row)), 200.0, 30.0).high < float(row["value"])


@given(st.sampled_from([8, 12, 16, 20]), st.floats(60, 240), st.floats(0, 50))
@settings(max_examples=15, deadline=None)
def test_steady_temperature_inverts_steady_current(gauge: int, hot: float, air: float) -> None:
    run = WireRun("x", parse_gauge(f"{gauge} AWG"))
    back = steady_temperature(run, steady_current(run, hot, air).value, air)
    assert back.value == pytest.approx(hot, abs=0.01)
    assert back.low <= back.value <= back.high


def test_steady_outside_the_model() -> None:
    run = WireRun("lead", parse_gauge("16 AWG"))
    with pytest.raises(OutsideValidity, match="no steady temperature below 250 degC in lead"):
        steady_temperature(run, 200.0)
    with pytest.raises(OutsideValidity, match="no current holds"):
        steady_current(run, 20.0, 25.0)
    two = steady_current(WireRun("x", 3.3, parallel=2), 105).value
    assert two == pytest.approx(2 * steady_current(WireRun("x", 3.3), 105).value)
