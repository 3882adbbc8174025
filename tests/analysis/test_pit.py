"""Charge and cooling times against published and closed figures; how the pit plan ends."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analysis.charging import charge_time, cooled_degC, cooling_s, pack_time_constant_s
from analysis.findings import Finding, QualityNote
from analysis.pack_model.open_circuit import AI_2020_V, CHARGE
from analysis.pit import ENDINGS, PackHistory, PitPlan, pit_plan
from analysis.review import review_data
from ingest.builds import Match, Noted
from ingest.season_file import Charger
from tests.analysis import resimulated as rs

REFERENCE = Path(__file__).parent.parent / "reference" / "cell_and_pack.csv"


def rows(quantity: str) -> list[dict[str, str]]:
    with REFERENCE.open(encoding="utf-8", newline="") as stream:
        return [row for row in csv.DictReader(stream) if row["quantity"] == quantity]


def test_charge_time_of_a_straight_curve_in_closed_form() -> None:
    """cell_and_pack.csv 05-091, 05-092: OCV = 3.5 + 0.7·s, 20 mΩ, 5 Ah, 1C from 20 %, until C/20."""
    (cc,), (cv,) = rows("cccv_linear_ocv_cc_time"), rows("cccv_linear_ocv_cv_time")
    made = charge_time(
        0.2, capacity_Ah=5.0, cells=1, pack_ohm=0.02, limit_A=5.0, charge=np.array([0.0, 1.0]),
        rest_V=np.array([3.5, 4.2]),
    )  # fmt: skip
    assert made.constant_current_min == pytest.approx(float(cc["value"]), rel=2e-3)
    assert made.constant_voltage_min == pytest.approx(float(cv["value"]), rel=5e-3)


@pytest.mark.parametrize("start", [0.0, 0.2, 0.5])
def test_charge_time_against_a_simulated_pouch_cell(start: float) -> None:
    """cell_and_pack.csv 05-085…090 (PyBaMM, single particle, Ai2020): 1C to 4.2 V, then until C/20; within 10 %.

    The simulated cell holds 1.08 times its nominal 2.28 Ah (the rows' own slope: 64.9 min per unit of charge at 1C),
    and has the 41.652 mΩ at half charge of row 05-004.
    """
    cc = {float(r["SoC"]): float(r["value"]) for r in rows("cc_phase_time_1C")}
    cv = {float(r["SoC"]): float(r["value"]) for r in rows("cv_phase_time_to_C20")}
    capacity = 2.28 * (cc[0.0] - cc[0.5]) / 0.5 / 60.0
    ohm = next(float(r["value"]) for r in rows("iec61960_dc_resistance_model_cell") if float(r["SoC"]) == 0.5) / 1e3
    made = charge_time(
        start, capacity_Ah=capacity, cells=1, pack_ohm=ohm, limit_A=2.28, charge=CHARGE, rest_V=AI_2020_V,
        stop_A=2.28 / 20,
    )  # fmt: skip
    assert made.constant_current_min == pytest.approx(cc[start], rel=0.10)
    assert made.minutes == pytest.approx(cc[start] + cv[start], rel=0.10)


def test_a_weaker_charger_takes_longer() -> None:
    usual = charge_time(0.5, capacity_Ah=3.3, cells=6, pack_ohm=0.03, limit_A=3.3)
    watts = charge_time(0.5, capacity_Ah=3.3, cells=6, pack_ohm=0.03, limit_A=3.3, limit_W=40.0)
    assert watts.minutes > usual.minutes * 1.3
    # 40 W into a pack at about 23.5 V is 1.7 A: the Ah left over that current is the least it can take.
    assert watts.minutes > 60.0 * 0.5 * 3.3 * 0.95 / (40.0 / 22.0)


@given(st.floats(-10, 90), st.floats(-10, 45), st.floats(0, 7200), st.floats(30, 5000))
def test_cooling_is_the_lumped_equation(start: float, air: float, after: float, tau: float) -> None:
    """Against the differential equation solved numerically (scipy), within 1 % of the difference to the air."""
    solved = solve_ivp(lambda _, y: (air - y) / tau, (0.0, after), [start], rtol=1e-8, atol=1e-9).y[0, -1]
    assert cooled_degC(start, air, after, tau) == pytest.approx(solved, abs=0.01 * abs(start - air) + 1e-6)


@given(st.floats(41, 90), st.floats(-10, 39), st.floats(30, 5000))
def test_cooling_time_is_its_inverse(start: float, air: float, tau: float) -> None:
    assert cooled_degC(start, air, cooling_s(start, air, 40.0, tau), tau) == pytest.approx(40.0, abs=1e-6)


def test_it_never_cools_below_the_air() -> None:
    assert math.isinf(cooling_s(50.0, 40.0, 40.0, 100.0))
    assert cooling_s(30.0, 60.0, 40.0, 100.0) == 0.0


def test_a_pack_s_time_constant_is_stated_with_its_spread() -> None:
    tau = pack_time_constant_s(520.0)
    assert tau.low < tau.value < tau.high
    assert 15 * 60 < tau.value < 60 * 60


# -- the plan -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def calm() -> PackHistory:
    data = rs.logged(rs.run(rs.BUILDS["b"], rs.PACKS["p1"], rs.script(4)))
    data = replace(data, match=Match(id="m1", minutes_to_next=90.0, air_degC=20.0))
    pack = data.pack
    assert pack is not None
    return PackHistory(pack, data, review_data(data, with_advice=False))


def plan(h: PackHistory, minutes: float | None = None, charger: Charger | None = None) -> PitPlan:
    return pit_plan(h, (), charger, minutes)


def changed(h: PackHistory, *, match: Match | None = None, **review: object) -> PackHistory:
    data, found = h.data, h.review
    assert data is not None and found is not None
    return PackHistory(
        h.pack,
        data if match is None else replace(data, match=match),
        replace(found, **review),  # type: ignore[arg-type]
    )


def finding(cause: str, check: str = "power", verdict: str = "fault") -> Finding:
    return Finding(
        "power_loss", cause, "main_disconnect", None, 30.0, 30.0, 35.0, 35.0, 35.0, "A", verdict,  # type: ignore[arg-type]
        "likely", check=check, id="f1", sentence="Everything went off at 30.0 s.",
    )  # fmt: skip


def test_nothing_against_it_and_time_to_charge(calm: PackHistory) -> None:
    found = plan(calm, 90)
    assert (found.ending, found.use) == (ENDINGS[0], calm.pack.id)
    (pack,) = found.packs
    assert pack.verdict.word == "reuse"
    assert pack.charge_pct is not None and 80 < pack.charge_pct.value < 97
    assert pack.charge_min is not None and pack.charge_min.low < pack.charge_min.value < pack.charge_min.high
    assert pack.ready_min is not None and pack.ready_min > pack.charge_min.high


def test_too_few_minutes_to_charge(calm: PackHistory) -> None:
    found = plan(calm, 8)
    assert (found.ending, found.use) == (ENDINGS[2], None)
    assert "8 are left" in found.packs[0].why


def test_the_charger_s_limits_count(calm: PackHistory) -> None:
    fast, slow = plan(calm, 90).packs[0], plan(calm, 90, Charger(max_A=1.0)).packs[0]
    assert fast.charge_min is not None and slow.charge_min is not None
    assert slow.charge_min.value > 1.5 * fast.charge_min.value


@pytest.mark.parametrize("cause", ["disconnect_opened", "disconnect_bounce"])
def test_a_failed_disconnect_does_not_power_up(calm: PackHistory, cause: str) -> None:
    found = plan(changed(calm, findings=(finding(cause),)))
    assert found.ending == "do not power up"
    assert "main disconnect" in found.reasons[0]


def test_a_build_without_a_disconnect_does_not_power_up(calm: PackHistory) -> None:
    data = calm.data
    assert data is not None and data.build is not None
    contacts = tuple(c for c in data.build.contacts if c.kind != "disconnect")
    without = replace(data, build=data.build.model_copy(update={"contacts": contacts}))
    found = plan(PackHistory(calm.pack, without, calm.review))
    assert found.ending == "do not power up"


def test_a_failed_light_noted_by_hand_does_not_power_up(calm: PackHistory) -> None:
    noted = Noted(part="chassis", quantity="light", value=0.0, unit="1")
    assert plan(changed(calm, match=Match(id="m1", noted=(noted,)))).ending == "do not power up"


def test_a_serious_finding_is_changed_first(calm: PackHistory) -> None:
    found = plan(changed(calm, findings=(finding("stall", "motor"),)))
    assert found.ending == "change first"
    assert any("No change" in reason for reason in found.reasons)


def test_a_blind_log_is_not_checked(calm: PackHistory) -> None:
    note = QualityNote("sensor_clipped", "pack_current_A", "pack", 1.0, 2.0, "14 samples stand at the sensor's top")
    found = plan(changed(calm, quality=(note,)))
    assert found.ending == "not checked"
    assert found.reasons[0].startswith("14 samples")


@pytest.mark.parametrize(
    ("notes", "words"),
    [("pack was hit by the blade", "pack was hit"), ("a bit puffed", "puffed")],
)
def test_no_charge_time_for_a_pack_that_was_hit_or_puffed(calm: PackHistory, notes: str, words: str) -> None:
    found = plan(changed(calm, match=Match(id="m1", notes=notes, air_degC=20.0)))
    (pack,) = found.packs
    assert pack.charge_min is None and pack.ready_min is None and not pack.fits
    assert words in pack.why and pack.verdict.word == "retire"


def test_no_charge_time_below_three_volts_a_cell(calm: PackHistory) -> None:
    review = calm.review
    assert review is not None
    low = tuple(replace(e, value=2.9, low=2.9, high=2.9) if e.name == "cell_minimum_V" else e for e in review.estimates)
    (pack,) = plan(changed(calm, estimates=low)).packs
    assert pack.charge_min is None and "under 3.0 V a cell" in pack.why


def test_no_charge_time_where_the_temperature_is_not_known(calm: PackHistory) -> None:
    data = calm.data
    assert data is not None
    blind = replace(data, signals={n: s for n, s in data.signals.items() if n != "pack_temp_degC"}, _inside={})
    (pack,) = plan(PackHistory(calm.pack, blind, calm.review)).packs
    assert pack.charge_min is None and "temperature is not known" in pack.why
    noted = Noted(part="pack", quantity="temp", value=86.0, unit="degF")
    told = replace(blind, match=Match(id="m1", noted=(noted,), air_degC=20.0))
    (pack,) = plan(PackHistory(calm.pack, told, calm.review)).packs
    assert pack.temp_degC is not None and pack.temp_degC.value == pytest.approx(30.0)
    assert pack.charge_min is not None


@pytest.mark.parametrize("air", [-5.0, 45.0])
def test_no_charge_time_in_the_cold_or_the_heat(calm: PackHistory, air: float) -> None:
    data = calm.data
    assert data is not None
    temp = data.signals["pack_temp_degC"]
    hot = replace(data, signals={**data.signals, "pack_temp_degC": temp.with_values(temp.x * 0 + 48.0)}, _inside={})
    hot = replace(hot, match=Match(id="m1", air_degC=air))
    (pack,) = plan(PackHistory(calm.pack, hot, calm.review)).packs
    assert pack.charge_min is None
    assert ("outside 0 to 40" in pack.why) or ("does not cool" in pack.why)


def test_a_hot_pack_waits_before_it_is_charged(calm: PackHistory) -> None:
    data = calm.data
    assert data is not None
    temp = data.signals["pack_temp_degC"]
    hot = replace(data, signals={**data.signals, "pack_temp_degC": temp.with_values(temp.x * 0 + 48.0)}, _inside={})
    (pack,) = plan(PackHistory(calm.pack, hot, calm.review)).packs
    assert pack.wait_min is not None and pack.wait_min > 5
    assert pack.ready_min is not None and pack.charge_min is not None
    assert pack.ready_min > pack.wait_min + pack.charge_min.high


def test_a_pack_never_logged_is_not_vouched_for(calm: PackHistory) -> None:
    other = calm.pack.model_copy(update={"id": "p9"})
    found = pit_plan(calm, (PackHistory(other, None, None),), None, 90)
    p9 = next(p for p in found.packs if p.pack == "p9")
    assert (p9.verdict.word, p9.fits) == ("not checked", False)
