"""The simulation's own books, and its parts against values from outside the project."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sample_data import cell, demo_logs, simulate
from sample_data.heat import WireHeat
from sample_data.parts import BUILDS, PACKS, Run, awg_area_mm2
from sample_data.plants import JointStep, Plants
from sample_data.script import PRE_ROLL_s, fight


@pytest.fixture(scope="module")
def short() -> Any:
    return simulate(BUILDS["b"], PACKS["p1"], fight(5, 30.0), air_degC=20.0, seed=5)


def spent(truth: Any) -> float:
    return sum(v for k, v in truth.energy_J.items() if k not in ("pack_delivered", "pack_heat"))


@pytest.mark.parametrize(
    ("build", "pack", "plants"),
    [
        ("a", "p1", Plants(stall=(30.0, 34.0))),
        ("b", "p3", Plants(joint_step=JointStep(30.0, "pack_plug", 9.0))),
        ("c", "p3", Plants(sync_losses=((33.0, 33.6),))),
    ],
)
def test_energy_from_the_pack_is_found_again_in_loads_and_losses(build: str, pack: str, plants: Plants) -> None:
    truth = simulate(BUILDS[build], PACKS[pack], fight(6, 25.0), plants, seed=6)
    assert spent(truth) == pytest.approx(truth.energy_J["pack_delivered"], rel=0.01)


def test_the_energy_account_can_fail(short: Any) -> None:
    """Leaving out one loss is seen: the account is not made to balance."""
    assert spent(short) - short.energy_J["weapon_copper_and_bridge"] < 0.97 * short.energy_J["pack_delivered"]


def test_weapon_shaft_energy_is_kinetic_energy_plus_drag_plus_hits(short: Any) -> None:
    drive = short.build.weapon
    w = short.channels["weapon_motor_speed_rpm"] * 2.0 * np.pi / 60.0
    drag = (drive.friction_Nm * np.minimum(w, 1.0) + drive.windage_Nms2 * w**2) * w
    into_hits = 0.0
    for t, keep in short.script.hits:
        k = round(t / 0.001)
        into_hits += 0.5 * drive.inertia_kgm2 * w[k - 1] ** 2 * (1.0 - keep**2)
    kinetic = 0.5 * drive.inertia_kgm2 * w[-1] ** 2
    total = kinetic + float(drag.sum()) * 0.001 + into_hits
    assert total == pytest.approx(short.energy_J["weapon_shaft"], rel=0.01)


def test_charge_counter_is_the_integral_of_the_current(short: Any) -> None:
    counted = short.channels["pack_charge_used_mAh"][-1]
    assert counted == pytest.approx(np.trapezoid(short.channels["pack_current_A"], short.t_s) / 3.6, rel=1e-3)
    assert short.charge[0] - short.charge[-1] == pytest.approx(counted / 3300.0, rel=0.01)


def test_cells_add_up_to_the_pack(short: Any) -> None:
    total = sum(short.channels[f"cell{i}_voltage_V"] for i in range(1, 7))
    assert np.abs(total - short.channels["pack_voltage_V"]).max() < 0.03


def test_awg_areas() -> None:
    """ASTM B258 diameters (12 AWG 2.052525 mm, 14 AWG 1.627727 mm) and 1.588 ohm per 1000 ft for 12 AWG copper
    at 20 degC (common wire tables)."""
    assert awg_area_mm2(12) == pytest.approx(np.pi / 4 * 2.052525**2, rel=1e-5)
    assert awg_area_mm2(14) == pytest.approx(np.pi / 4 * 1.627727**2, rel=1e-5)
    per_foot = Run("x", "a", "b", 12, 304.8, 1).loop_ohm_20C
    assert per_foot * 1000.0 == pytest.approx(1.588, rel=0.005)


@pytest.mark.parametrize(("awg", "ampacity_A"), [(14, 60.2), (12, 81.2), (10, 109.0)])
def test_wire_settles_near_200_degC_at_its_free_air_ampacity(awg: int, ampacity_A: float) -> None:
    """Free-air ampacity of silicone wire at 200 degC in 30 degC air, computed with ht 1.2.0 (Morgan's correlation)
    and CoolProp's air."""
    wires = WireHeat((Run("w", "a", "b", awg, 100.0),), 30.0)
    for _ in range(20_000):
        wires.step(np.array([ampacity_A**2]), 0.05)
    assert float(wires.degC[0]) - 30.0 == pytest.approx(170.0, rel=0.05)


def test_stalled_current_is_the_controllers_limit() -> None:
    truth = simulate(
        BUILDS["a"], PACKS["p1"], _full_ahead(fight(7, 20.0)), Plants(stall=(PRE_ROLL_s + 22.0, PRE_ROLL_s + 24.0))
    )
    inside = (truth.t_s > PRE_ROLL_s + 22.5) & (truth.t_s < PRE_ROLL_s + 23.5)
    assert truth.channels["left_drive_motor_current_A"][inside] == pytest.approx(45.0, abs=0.01)
    assert np.abs(truth.channels["left_motor_speed_rpm"][inside]).max() == 0.0


def _full_ahead(script: Any) -> Any:
    ahead = np.where((script.t_s > PRE_ROLL_s + 21.0) & (script.t_s < PRE_ROLL_s + 25.0), 1.0, script.left)
    return replace(script, left=ahead)


def test_pack_voltage_steps_by_its_resistance_when_the_disconnect_opens() -> None:
    truth = demo_logs(8)
    opened_s = truth.plants.open_at_s
    assert opened_s is not None
    k = round(opened_s / 0.001)
    current = truth.channels["pack_current_A"][k - 1]
    volts = truth.channels["pack_voltage_V"]
    at_once, _, _ = cell.split()
    seen = (volts[k + 2] - volts[k - 1]) / current * 1e3
    assert seen == pytest.approx(at_once * truth.pack_resistance_1s_mohm, rel=0.1)


def test_resistance_at_one_second_is_the_stated_one() -> None:
    assert cell.at_time(1.0) == pytest.approx(1.0)
    truth = demo_logs(1)
    assert truth.pack_resistance_1s_mohm == pytest.approx(24.0, abs=0.3)
    assert demo_logs(11).pack_resistance_1s_mohm > 30.0


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_open_voltage_rises_with_charge_within_the_cells_range(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert 3.3 <= cell.open_voltage_V(low) <= cell.open_voltage_V(high) <= 4.2


@given(st.floats(0.01, 100.0), st.floats(0.01, 100.0))
def test_resistance_grows_with_the_time_looked_at(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert cell.at_time(low) <= cell.at_time(high)


@given(st.floats(0.0, 55.0), st.floats(0.0, 55.0))
def test_a_colder_pack_has_more_resistance(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert cell.warm_factor(low, 0.5) >= cell.warm_factor(high, 0.5)


def test_a_build_without_a_run_or_a_fault_in_the_wrong_joint_is_refused() -> None:
    build = BUILDS["a"]
    short_of_one = replace(build, runs=build.runs[:-1])
    with pytest.raises(ValueError, match="right_motor_leads"):
        simulate(short_of_one, PACKS["p1"], fight(1, 10.0))
    with pytest.raises(ValueError, match="distribution_screw is not in the battery lead of build a"):
        simulate(build, PACKS["p1"], fight(1, 10.0), Plants(joint_step=JointStep(20.0, "distribution_screw", 9.0)))
