"""The equations of tests/reference/equations.csv, written again from that table's text, against our public functions.

The table names the source of each equation. Every row of it stands below: held here, held in another test file, or not
used by this project, with the reason.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.contact_drop import drop_mV
from analysis.cooling import nusselt_cylinder, radiation_W_m2K
from analysis.motors import speed_rpm, stall_current_A, torque_constant_Nm_A, torque_Nm, winding_mohm_at
from analysis.pack_model.common import jackknife_half_width
from analysis.ratings import copper_factor, value
from analysis.wire_heat import adiabatic_i2t, k_factor
from ingest.tables.gauges import parse_gauge

REFERENCE = Path(__file__).parents[1] / "reference"
HERE = (
    "AWG diameter", "Resistance", "Adiabatic heating", "Pulse trains", "Onderdonk", "Natural convection", "Radiation",
    "Motor constants", "Winding resistance", "Contact heat",
)  # fmt: skip
ELSEWHERE = {
    "Class 5 flexible conductor": "test_ratings.py",
    "Energy balance": "test_wire_steady.py",
    "Lumped wire": "test_wire_heat.py",
    "Fuse gates": "test_fuses.py",
    "DC internal resistance": "test_pack_model.py",
    "First-order equivalent circuit": "test_pack_model.py",
    "CC-CV charge": "test_pit.py",
    "Pack heat": "test_pack_model.py",
    "Two-node network": "test_part_heat.py",
    "Steady winding with feedback": "test_motors.py",
    "Contact spot temperature": "test_contacts.py",
    "RC command": "test_radio_and_cautions.py",
    "Hodges-Lehmann shift": "test_statistics.py",
    "Theil-Sen slope": "test_statistics.py",
}
NOT_USED = {
    "Preece": "a fusing current of bare wire after a long time is no limit of a robot's wire; the order is held below",
    "Ambient correction": "the balance of heat is solved at the air that is stated, so no factor is applied",
    "C-rate": "a definition: capacity times the figure",
    "BCa bootstrap": "the table itself says that it is not for 3 to 5 matches; intervals here are exact or jackknifed",
}


def rows(file: str, *quantities: str) -> list[dict[str, str]]:
    with (REFERENCE / file).open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] in quantities]
    assert found, quantities
    return found


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def test_every_equation_of_the_table_is_held_or_not_used_for_a_reason() -> None:
    with (REFERENCE / "equations.csv").open(newline="", encoding="utf-8") as stream:
        names = [next(iter(list(row.values())[1:])) for row in csv.DictReader(stream)]
    assert sorted(names) == sorted([*HERE, *ELSEWHERE, *NOT_USED])
    for file in ELSEWHERE.values():
        assert (Path(__file__).parent / file).exists()


@pytest.mark.parametrize("gauge", [-3, -1, 0, 4, 10, 22, 36])
def test_awg_diameter(gauge: int) -> None:
    name = f"{gauge} AWG" if gauge >= 0 else f"{'0' * (1 - gauge)} AWG"
    assert parse_gauge(name) == pytest.approx(math.pi / 4 * (0.127 * 92 ** ((36 - gauge) / 39)) ** 2, rel=1e-9)


@pytest.mark.parametrize("degC", [-40.0, 20.0, 75.0, 200.0])
def test_resistance_of_copper_by_temperature(degC: float) -> None:
    assert copper_factor(degC) == pytest.approx(1 + 0.00393 * (degC - 20), rel=1e-9)
    assert copper_factor(degC) == pytest.approx((234.5 + degC) / 254.5, rel=3e-3)  # the table's second form
    assert value("copper_resistivity", "20 degC") == pytest.approx(1 / 58, rel=1e-9)


def test_constants_of_the_adiabatic_equation() -> None:
    (exact,), (printed,) = rows("adiabatic.csv", "K_copper_exact"), rows("adiabatic.csv", "K_copper_standard")
    assert value("copper_adiabatic_K") == float(printed["value"])
    heat, beta = value("copper_heat_capacity") * 1e-9, value("copper_zero_resistance")
    assert math.sqrt(heat * (beta + 20) / 17.241e-6) == pytest.approx(float(exact["value"]), rel=1e-4)
    for other, rel in (("K_copper_from_onderdonk", 2.5e-3), ("K_copper_from_0p0297_form", 1e-2)):
        (row,) = rows("adiabatic.csv", other)
        assert value("copper_adiabatic_K") == pytest.approx(float(row["value"]), rel=rel)


@pytest.mark.parametrize(
    "row", rows("adiabatic.csv", "onderdonk_fusing_current", "onderdonk_same_case_correct"), ids=by_id
)
def test_fusing_current_by_onderdonk_is_the_adiabatic_limit_at_the_melting_point(row: dict[str, str]) -> None:
    """Two routes to one figure: 33 per circular mil, and K = 226 (0.18 % apart; Onderdonk has 234 for 234.5)."""
    i2t = adiabatic_i2t(parse_gauge(f"{row['awg']} AWG"), float(row["T_i_C"]), float(row["T_f_C"]))
    assert math.sqrt(i2t / float(row["duration_s"])) == pytest.approx(float(row["value"]), rel=4e-3)


def test_the_wrong_sign_of_a_public_example_is_not_reproduced() -> None:
    (wrong,) = rows("adiabatic.csv", "onderdonk_public_worked_example_WRONG")
    i2t = adiabatic_i2t(parse_gauge("16 AWG"), float(wrong["T_i_C"]), float(wrong["T_f_C"]))
    assert abs(math.sqrt(i2t / float(wrong["duration_s"])) / float(wrong["value"]) - 1) > 0.04


@pytest.mark.parametrize("row", rows("adiabatic.csv", "preece_fusing_current"), ids=by_id)
def test_what_melts_a_wire_in_half_a_second_is_above_what_melts_it_in_the_end(row: dict[str, str]) -> None:
    """Preece's current is for bare wire in still air after a long time; without any loss half a second needs more."""
    i2t = adiabatic_i2t(parse_gauge(f"{row['awg']} AWG"), 25.0, 1083.0)
    assert math.sqrt(i2t / 0.5) > float(row["value"])


def test_length_correction_of_aircraft_practice_is_the_inverse_of_the_resistance_factor() -> None:
    (row,) = rows("adiabatic.csv", "aircraft_length_correction")
    assert 1 / copper_factor(float(row["T_i_C"] or row["T_f_C"])) == pytest.approx(float(row["value"]), rel=2e-3)


def test_pulses_add_as_their_i2t() -> None:
    area = parse_gauge("12 AWG")
    whole = adiabatic_i2t(area, 25.0, 90.0)
    assert adiabatic_i2t(area, 25.0, 60.0) + adiabatic_i2t(area, 60.0, 90.0) == pytest.approx(whole, rel=1e-12)
    assert k_factor(25.0, 60.0) == pytest.approx(226 * math.sqrt(math.log((234.5 + 60) / (234.5 + 25))), rel=1e-12)


@pytest.mark.parametrize("rayleigh", [1.0, 50.0, 1e3, 1e6])
def test_natural_convection(rayleigh: float) -> None:
    prandtl = 0.707
    expected = (0.60 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2
    assert float(np.asarray(nusselt_cylinder(rayleigh, prandtl))) == pytest.approx(expected, rel=1e-6)


def test_radiation() -> None:
    hot, cold = 90.0 + 273.15, 25.0 + 273.15
    expected = 0.9 * 5.670374e-8 * (hot**4 - cold**4) / (hot - cold)
    assert float(np.asarray(radiation_W_m2K(0.9, 90.0, 25.0))) == pytest.approx(expected, rel=1e-6)


def test_motor_constants_and_winding() -> None:
    kt = 60 / (2 * math.pi * 580)
    assert torque_constant_Nm_A(580) == pytest.approx(kt, rel=1e-12)
    assert speed_rpm(580, 24.0, 40.0, 60.0) == pytest.approx(580 * (24.0 - 40.0 * 0.060), rel=1e-12)
    assert stall_current_A(24.0, 60.0) == pytest.approx(24.0 / 0.060, rel=1e-12)
    assert torque_Nm(580, 40.0, 3.0) == pytest.approx(kt * 37.0, rel=1e-12)
    assert winding_mohm_at(18.0, 120.0) == pytest.approx(18.0 * (1 + 0.00393 * 100), rel=1e-9)


def test_contact_drop_is_ohms_law() -> None:
    assert drop_mV(43.0, 0.4) == pytest.approx(43.0 * 0.4, rel=1e-12)


def figures(row: dict[str, str]) -> Any:
    return np.array([float(x) for x in row["data"].split()])


@pytest.mark.parametrize("quantity", ["plug_in_variance", "exact_bootstrap_se_of_mean"])
def test_the_jackknife_agrees_with_the_bootstrap_where_that_has_a_closed_form(quantity: str) -> None:
    """Of a mean the jackknife gives s/√n (n - 1 in s²), the bootstrap over all resamples the plug-in's √(σ²/n): known
    to differ by √((n - 1)/n) (Efron and Tibshirani 1993, chapter 11; from memory)."""
    from scipy.stats import t as student

    (row,) = rows("statistics.csv", quantity)
    x = figures(row)
    n = x.size
    half = jackknife_half_width((x.sum() - x) / (n - 1))
    standard = half / float(student.ppf(0.975, n - 1))
    plug_in = standard * math.sqrt((n - 1) / n)
    reached = plug_in if quantity.startswith("exact") else plug_in**2 * n
    assert reached == pytest.approx(float(row["value"]), abs=float(row["tolerance"].removeprefix("abs:")) * 5)
