"""Contact heating, drops and spot temperatures against tests/reference/contacts_and_joints.csv."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analysis.binned import Binned, bin_square
from analysis.contact_drop import (
    contact_heat_W,
    drop_mV,
    holm_temperature_degC,
    holm_voltage_V,
    melting_voltage,
    softening_voltage,
    stud_terminal_check,
)
from analysis.contacts import (
    ContactBody,
    body_of_contact,
    contact_heat,
    default_limit,
    rise_at_rated,
    steady_rise,
    thermal_resistance_K_W,
    time_constant,
)
from analysis.ratings import OutsideValidity
from ingest.builds import Contact

REFERENCE = Path(__file__).parents[1] / "reference" / "contacts_and_joints.csv"


def rows(quantity: str) -> list[dict[str, str]]:
    with REFERENCE.open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] == quantity]
    assert found, quantity
    return found


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def steady_load(current_A: float, seconds: float, bin_s: float = 0.25) -> Binned:
    return bin_square([0.0, seconds], [current_A, current_A], bin_s, gap_s=math.inf)


def plug(**changes: object) -> ContactBody:
    fields: dict[str, object] = {
        "id": "plug", "kind": "connector", "rated_A": 90.0, "r_mohm": 0.4, "poles": 2,
        "rise_at_rated_K": 40.0, "time_constant_s": 60.0,
    }  # fmt: skip
    return ContactBody(**{**fields, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize("row", rows("contact_heat"), ids=by_id)
def test_heat(row: dict[str, str]) -> None:
    got = contact_heat_W(float(row["I_A"]), float(row["R_mohm"]))
    assert got == pytest.approx(float(row["value"]), rel=1e-12)


@pytest.mark.parametrize("row", rows("contact_voltage_drop"), ids=by_id)
def test_drop(row: dict[str, str]) -> None:
    assert drop_mV(float(row["I_A"]), float(row["R_mohm"])) == pytest.approx(float(row["value"]), rel=1e-12)


def test_rise_scales_with_current() -> None:
    """07-008 and 07-009: 30 K at 50 A rated scales to 70 A with exponent 2 and, measured, 1.7…2.0 (1.8)."""
    contact = ContactBody("c", "connector", 50.0, rise_at_rated_K=30.0)
    got = steady_rise(contact, 70.0)
    (square,), (eighteen,) = rows("temperature_rise_scaling"), rows("temperature_rise_scaling_exponent_1p8")
    assert got.value == pytest.approx(float(square["value"]), rel=1e-4)
    assert got.low <= float(eighteen["value"]) <= got.high
    assert got.low == pytest.approx(30 * 1.4**1.7)


@pytest.mark.parametrize("row", rows("holm_supertemperature"), ids=by_id)
def test_holm(row: dict[str, str]) -> None:
    drop = float(row["U_V"])
    got = holm_temperature_degC(drop)
    assert got == pytest.approx(float(row["value"]), rel=1e-3)
    assert holm_voltage_V(got) == pytest.approx(drop, rel=1e-9)


def test_holm_against_the_melting_table() -> None:
    """Holm's tabulated 0.43 V for copper (memory) and the relation at 1083 °C agree within 5 % (07-025)."""
    (row,) = rows("copper_melting_voltage_from_L")
    computed = holm_voltage_V(1083.0)
    assert computed == pytest.approx(float(row["value"]), rel=5e-3)
    assert computed == pytest.approx(melting_voltage("copper").value, rel=0.05)


@pytest.mark.parametrize("row", rows("softening_voltage") + rows("melting_voltage"), ids=by_id)
def test_spot_voltages(row: dict[str, str]) -> None:
    table = softening_voltage if row["quantity"] == "softening_voltage" else melting_voltage
    got = table(row["metal"])
    assert got.value == float(row["value"]) and got.is_memory and got.source.document.startswith("Holm")


@pytest.mark.parametrize("row", rows("stud_terminal_max_drop"), ids=by_id)
def test_stud_terminal_limit(row: dict[str, str]) -> None:
    """MIL-DTL-83454A paragraph 4.5.3, table VIII (S24a): 7.5 mV, and the equivalent resistance of the note."""
    current = float(row["I_A"])
    equivalent = float(row["note"].split()[1])
    check = stud_terminal_check(equivalent * 0.995, current)
    assert check.limit.value == float(row["value"]) and check.limit.source.kind == "standard"
    assert check.within and not stud_terminal_check(equivalent * 1.01, current).within


def test_stud_terminal_outside_its_currents() -> None:
    with pytest.raises(OutsideValidity, match="25 to 43 A, not 100 A"):
        stud_terminal_check(0.1, 100.0)


def test_holm_outside_its_range() -> None:
    with pytest.raises(OutsideValidity, match="0 to 1 V"):
        holm_temperature_degC(1.5)
    with pytest.raises(OutsideValidity, match="not cooler"):
        holm_voltage_V(10.0, 20.0)


def test_bullet_pair_of_a_drawing() -> None:
    """S24c: a 3.5 mm bullet pair, at most 1 mΩ, rated 30 A, rises less than 85 K at 35 A (maker's drawing).

    The default rise at rated current must not contradict it: at 35 A below 85 K, with its upper end too.
    """
    (row,) = rows("hobby_bullet_connector_current_for_85K_rise")
    got = steady_rise(ContactBody("bullet", "connector", 30.0, r_mohm=1.0, poles=2), float(row["value"]))
    assert got.high < 85


def test_defaults_are_named_and_carry_an_interval() -> None:
    bare = ContactBody("c", "connector", 50.0)
    assert bare.uses_defaults == ("rise_at_rated_K", "time_constant_s")
    assert (rise_at_rated(bare).low, rise_at_rated(bare).high) == (30.0, 45.0)
    assert time_constant(bare).low < time_constant(bare).value < time_constant(bare).high
    assert plug().uses_defaults == () and rise_at_rated(plug()).low == 40.0
    assert default_limit().value == 105 and default_limit().is_memory
    wide = contact_heat(bare, steady_load(50.0, 60.0))
    assert wide.uses_defaults == bare.uses_defaults and "our choice" in wide.peak.basis


def test_power_form_is_the_same_thing() -> None:
    """R_th·I²·r with the worse joint equals the scaled rise."""
    contact = plug()
    got = steady_rise(contact, 40.0, excess_mohm=0.9)
    power = contact_heat_W(40.0, 0.4 + 0.9)
    assert got.value == pytest.approx(power * thermal_resistance_K_W(contact), rel=1e-12)
    assert got.low < got.value  # shared by both poles


def test_transient_against_a_tight_solution() -> None:
    contact = plug()
    t = np.arange(0.0, 120.0, 0.01)
    i = np.where(t % 20 < 4, 120.0, 30.0)
    heat = contact_heat(contact, bin_square(t, i, 0.25, between="held"), 20.0)
    solved = solve_ivp(
        lambda s, y: [(40.0 * ((120.0 if s % 20 < 4 else 30.0) / 90) ** 2 - y[0]) / 60.0],
        (0, 119.99), [0.0], max_step=0.02, rtol=1e-8, atol=1e-8, dense_output=True,
    )  # fmt: skip
    assert np.abs(heat.temp_degC - 20 - solved.sol(heat.t_s)[0]).max() < 0.05


def test_a_joint_that_got_worse() -> None:
    """+9 mΩ from 60 s on: cool before, past the model after, and never a figure beyond its range."""
    contact = ContactBody("joint", "joint", 100.0, r_mohm=0.3, rise_at_rated_K=40.0, time_constant_s=60.0)
    load = steady_load(50.0, 180.0)
    excess = np.where(load.edges_s[:-1] < 60, 0.0, 9.0)
    heat = contact_heat(contact, load, excess_mohm=excess)
    before = heat.temp_degC[heat.t_s <= 60]
    assert before.max() < 25 + 40 * 0.25
    assert heat.valid_to_s is not None and heat.valid_to_s > 60
    assert heat.peak.value == 175.0 and heat.peak.high == math.inf and "at least" in heat.peak.basis
    mild = contact_heat(contact, load, excess_mohm=excess / 30)
    assert mild.valid_to_s is None and mild.peak.value > contact_heat(contact, load).peak.value
    unsure = contact_heat(contact, load, excess_mohm=0.3, excess_low_mohm=0.1, excess_high_mohm=0.6)
    exact = contact_heat(contact, load, excess_mohm=0.3)
    assert unsure.peak.high > exact.peak.high and unsure.peak.low < exact.peak.low


def test_an_excess_needs_the_stated_resistance() -> None:
    with pytest.raises(OutsideValidity, match=r'state resistance_mohm in \[\[contact\]\] "c"'):
        contact_heat(ContactBody("c", "joint", 50.0), steady_load(10.0, 5.0), excess_mohm=1.0)
    with pytest.raises(OutsideValidity, match="outside 0 to 1000"):
        steady_rise(plug(), 10.0, excess_mohm=-1.0)


def test_interval_contains_each_stated_change() -> None:
    load = steady_load(100.0, 90.0)
    bare = ContactBody("c", "connector", 90.0, r_mohm=0.4, poles=2)
    peak = contact_heat(bare, load).peak
    for rise in (30.0, 45.0):
        assert peak.low <= contact_heat(plug(rise_at_rated_K=rise), load).peak.value <= peak.high
    for tau in (25.0, 140.0):
        changed = plug(rise_at_rated_K=37.5, time_constant_s=tau)
        assert peak.low <= contact_heat(changed, load).peak.value <= peak.high
    known = contact_heat(plug(), load).peak
    wide = contact_heat(plug(), load, i2_low_rel=0.1, i2_high_rel=0.1).peak
    assert wide.low < known.low and wide.high > known.high
    assert contact_heat(plug(), load, at_least=True).peak.high == math.inf
    warm = contact_heat(plug(), steady_load(0.0, 30.0), 20.0, start_degC=60.0)
    assert warm.peak.value == 60.0 and warm.temp_degC[-1] == pytest.approx(20 + 40 * math.exp(-0.5))


def test_gaps_widen() -> None:
    t = np.arange(0.0, 20.0, 0.1)
    valid = np.abs(t - 10) > 2
    whole = contact_heat(plug(), bin_square(t, np.full_like(t, 80.0)))
    holed = contact_heat(plug(), bin_square(t, np.full_like(t, 80.0), valid=valid))
    assert holed.peak.low < whole.peak.low


def test_body_of_a_build_file() -> None:
    contact = Contact(id="pack_plug", kind="connector", rated_A=90, resistance_mohm=0.4)
    body = body_of_contact(contact)
    assert body.poles == 2 and body.r_mohm == 0.4
    assert body_of_contact(contact.model_copy(update={"kind": "joint"})).poles == 1
    with pytest.raises(OutsideValidity, match="state rated_A in"):
        body_of_contact(contact.model_copy(update={"rated_A": None}))


@given(st.floats(0, 140), st.floats(0, 20), st.floats(0.05, 2.0))
@settings(max_examples=40, deadline=None)
def test_more_current_or_resistance_is_hotter(current: float, more: float, r_mohm: float) -> None:
    contact = plug(r_mohm=r_mohm)
    base = contact_heat(contact, steady_load(current, 20.0)).peak
    assert contact_heat(contact, steady_load(current + more, 20.0)).peak.value >= base.value - 1e-9
    assert contact_heat(contact, steady_load(current, 20.0), excess_mohm=more / 10).peak.value >= base.value - 1e-9
    assert base.low <= base.value <= base.high
