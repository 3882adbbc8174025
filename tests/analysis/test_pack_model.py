"""Pack figures against tests/reference/cell_and_pack.csv (source column there) and against a pack of known truth."""

from __future__ import annotations

import csv
import functools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.pack_model import (
    NotFitted,
    PackFit,
    adiabatic_rise_K,
    charge_from_rest,
    charge_state,
    charge_used_Ah,
    chen_rincon_mora_V,
    cold_factor,
    energy_used_Wh,
    fit_cells,
    fit_pack,
    harness_resistance,
    iec_61960_dc_resistance,
    lowest_mean_V,
    open_circuit_cell_V,
    pack_temperature_rise_K,
    resistance_change,
    resistance_steps,
    slope_steps,
    two_step_resistance_mohm,
    voltage_at_standard_load,
)
from analysis.pack_model.ladder import low_pass
from analysis.signal import Measured, Signal, signal
from tests.synthetic.pack_truth import GRADES, Logger, TrueMatch, TruePack, match_current, play, random_pack

REFERENCE = Path(__file__).parents[1] / "reference" / "cell_and_pack.csv"


def rows(quantity: str) -> list[dict[str, str]]:
    with REFERENCE.open(encoding="utf-8") as file:
        found = [row for row in csv.DictReader(file) if row["quantity"] == quantity]
    assert found
    return found


def number(row: dict[str, str], name: str) -> float:
    return float(row[name])


@functools.cache
def truth(seed: int, length_s: float = 180.0) -> TrueMatch:
    rng = np.random.default_rng(seed)
    pack = random_pack(rng)
    return play(pack, *match_current(rng, length_s))


def logged(
    match: TrueMatch, current: Logger, voltage: Logger, seed: int = 0, gain_rel: float = 0.0
) -> tuple[Signal, Signal]:
    rng = np.random.default_rng(1000 + seed)
    step = (current.high - current.low) / 2**current.bits if current.bits else 0.0
    noise = float(np.hypot(current.noise, step / np.sqrt(12)))
    i = signal("pack_current_A", *current.log(rng, match.t_s, match.current_A), noise=noise, gain_rel=gain_rel)
    v = signal("pack_voltage_V", *voltage.log(rng, match.t_s, match.voltage_V), noise=voltage.noise)
    return i, v


USUAL_A, USUAL_V = GRADES["usual 10-bit, 0.4 A noise"]


def fitted(match: TrueMatch, current: Logger = USUAL_A, voltage: Logger = USUAL_V, **more: float) -> PackFit:
    fit = fit_pack(*logged(match, current, voltage, **more), cells=6, capacity_Ah=3.3)  # type: ignore[arg-type]
    assert isinstance(fit, PackFit), fit
    return fit


# --- published values ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "row", rows("iec61960_dc_resistance") + rows("iec61960_dc_resistance_model_cell"), ids=lambda row: row["id"]
)
def test_iec_61960_closed_form(row: dict[str, str]) -> None:
    figure = two_step_resistance_mohm(*(number(row, k) for k in ("I1_A", "U1_V", "I2_A", "U2_V")))
    assert figure == pytest.approx(number(row, "value"), rel=1e-3)


@pytest.mark.parametrize("row", rows("iec61960_dc_resistance_model_cell"), ids=lambda row: row["id"])
@pytest.mark.parametrize("rate_Hz", [10.0, 100.0])
def test_iec_61960_from_a_log(row: dict[str, str], rate_Hz: float) -> None:
    """The two-step discharge of a model cell (PyBaMM voltages) written as a log, with rest around it."""
    i1, u1, i2, u2 = (number(row, k) for k in ("I1_A", "U1_V", "I2_A", "U2_V"))
    t = np.arange(0, 20, 1 / rate_Hz)
    current = np.select([t < 5, t < 15, t < 16 + 1e-9], [0.0, i1, i2], 0.0)
    voltage = np.select([t < 5, t < 15, t < 16 + 1e-9], [u1 + 0.02, u1, u2], u1 + 0.01)
    figure = iec_61960_dc_resistance(signal("pack_current_A", t, current), signal("pack_voltage_V", t, voltage))
    assert isinstance(figure, Measured)
    assert figure.value == pytest.approx(number(row, "value"), rel=1e-3)


def test_iec_61960_refuses_a_match() -> None:
    figure = iec_61960_dc_resistance(*logged(truth(1), USUAL_A, USUAL_V))
    assert isinstance(figure, NotFitted) and "10 s at a steady current" in figure.reason


@pytest.mark.parametrize("row", rows("open_circuit_voltage"), ids=lambda row: row["id"])
def test_open_circuit_voltage(row: dict[str, str]) -> None:
    s, volts = number(row, "SoC"), number(row, "value")
    if row["parameter_set"].startswith("Chen"):
        assert float(chen_rincon_mora_V(s)) == pytest.approx(volts, abs=1e-4)
        if s > 0.8:  # an old cell that ends at 4.10 V
            return
        cell = open_circuit_cell_V(s)
        assert isinstance(cell, Measured) and (s < 0.1 or cell.low <= volts <= cell.high)
        return
    if s < 0.05:  # the sets' own lower cut-offs, not one chemistry
        return
    cell = open_circuit_cell_V(s)
    assert isinstance(cell, Measured)
    assert cell.low <= volts <= cell.high
    assert cell.value == pytest.approx(volts, abs=0.13 if s <= 0.1 else 0.08)  # the row's band for another cell


@given(st.floats(0.06, 1.0), st.floats(0.0, 0.02))
def test_charge_from_rest_holds_the_charge_it_came_from(charge: float, error_V: float) -> None:
    cell = open_circuit_cell_V(charge)
    assert isinstance(cell, Measured)
    back = charge_from_rest(Measured(cell.value, cell.value - error_V, cell.value + error_V), "lithium-polymer")
    assert isinstance(back, Measured)
    assert 0 <= back.low <= back.value <= back.high <= 100
    assert back.low - 0.5 <= 100 * charge <= back.high + 0.5


@pytest.mark.parametrize("chemistry", ["lithium-iron-phosphate", "lithium-polymer-hv", "lithium-ion", "other"])
def test_no_charge_from_voltage_without_a_curve(chemistry: str) -> None:
    assert isinstance(charge_from_rest(Measured.exact(3.3), chemistry), NotFitted)


@pytest.mark.parametrize("volts", [2.0, 4.9, float("nan"), -1.0])
def test_no_charge_from_an_impossible_voltage(volts: float) -> None:
    assert isinstance(charge_from_rest(Measured.exact(volts), "lithium-polymer"), NotFitted)


@pytest.mark.parametrize("row", rows("thevenin_terminal_voltage"), ids=lambda row: row["id"])
def test_low_pass_against_the_closed_form(row: dict[str, str]) -> None:
    r0, r1, c1 = (number(row, k) for k in ("R0_ohm", "R1_ohm", "C1_F"))
    after, load = number(row, "t_s"), number(row, "I_A")
    dt = 0.01
    n = round(after / dt) + 1
    current = np.concatenate([[0.0], np.full(n, load)])  # a rise within one step stands for the jump
    state = low_pass(current, dt, np.array([r1 * c1]))[-1, 0]
    volts = number(row, "OCV_V") - r0 * load - r1 * state
    assert volts == pytest.approx(number(row, "value"), abs=2e-4 * r1 * load + 3e-5)


def test_low_pass_after_a_sequence_of_steps() -> None:
    row = rows("thevenin_V1_after_sequence")[0]
    tau = number(row, "R1_ohm") * number(row, "C1_F")
    dt = 1e-3
    current = np.concatenate([[0.0], np.repeat([10.0, 0.0, 30.0], [10_000, 10_000, 2_000])])
    volts = number(row, "R1_ohm") * low_pass(current, dt, np.array([tau]))[-1, 0]
    assert volts == pytest.approx(number(row, "value"), rel=2e-4)
    euler = rows("thevenin_V1_after_sequence_forward_euler")[0]  # the discretisation error we must not have
    assert abs(volts - number(euler, "value")) > 1e-4


@pytest.mark.parametrize("row", rows("adiabatic_pack_temperature_rise"), ids=lambda row: row["id"])
def test_adiabatic_rise(row: dict[str, str]) -> None:
    rise = adiabatic_rise_K(*(number(row, k) for k in ("P_W", "t_s", "mass_kg", "cp_J_kgK")))
    assert rise == pytest.approx(number(row, "value"), rel=1e-4)


@pytest.mark.parametrize("row", rows("cell_specific_heat"), ids=lambda row: row["id"])
def test_specific_heat_interval_is_the_literature_range(row: dict[str, str]) -> None:
    from analysis.pack_model.charge import CP_J_KGK

    slack = 0.1 * number(row, "value")  # the rows carry ±10 %
    assert CP_J_KGK.low - slack <= number(row, "value") <= CP_J_KGK.high + slack


@pytest.mark.parametrize("row", rows("pack_voltage_under_load"), ids=lambda row: row["id"])
def test_voltage_at_standard_load(row: dict[str, str]) -> None:
    """V = ns·OCV - I·(ns·R_cell + R_wiring): a log of such a pack, fitted, gives the tabled voltage back."""
    cells, load = int(number(row, "series")), number(row, "I_A")
    ohm = 1e-3 * (cells * number(row, "R_cell_mohm") + number(row, "R_wiring_mohm"))
    t, current = match_current(np.random.default_rng(3), 60.0, peak_A=load)
    keep = slice(0, None, 20)
    volts = cells * number(row, "OCV_V") - ohm * current
    fit = fit_pack(
        signal("pack_current_A", t[keep], current[keep]),
        signal("pack_voltage_V", t[keep], volts[keep]),
        cells=cells,
        capacity_Ah=20.0,
    )
    assert isinstance(fit, PackFit)
    at_load = voltage_at_standard_load(fit, load)
    assert at_load is not None and at_load.value == pytest.approx(number(row, "value"), abs=2e-3)


def test_resistance_of_the_published_polymer_cell() -> None:
    """Chen and Rincon-Mora 2006: two branches of 33 and 223 s; 0.1, 1 and 10 s follow in closed form."""
    names = ("Rseries", "Rshort", "Cshort", "Rlong", "Clong")
    rs, r1, c1, r2, c2 = (number(rows(f"chen_rincon_mora_{name}")[0], "value") for name in names)
    t, current = match_current(np.random.default_rng(5), 150.0, peak_A=8.0)  # for a 0.85 Ah cell
    current = current - current[0]
    pack = TruePack(1, 0.85, rs, ((r1, r1 * c1), (r2, r2 * c2)), 0.75, mass_kg=1e9, per_K=0.0, charge_curve=0.0)
    match = play(pack, t, current)
    keep = slice(0, None, 20)
    fit = fit_pack(
        signal("pack_current_A", t[keep], current[keep]),
        signal("pack_voltage_V", t[keep], match.voltage_V[keep]),
        cells=1,
        capacity_Ah=0.85,
    )
    assert isinstance(fit, PackFit)
    for scale in (0.1, 1.0, 10.0):
        figure = fit.at(scale)
        exact = 1e3 * (rs + r1 * (1 - np.exp(-scale / (r1 * c1))) + r2 * (1 - np.exp(-scale / (r2 * c2))))
        assert figure is not None and figure.low <= exact <= figure.high
        assert figure.value == pytest.approx(exact, rel=0.02)


# --- against a known truth ----------------------------------------------------------------------------------------


def test_resistance_accuracy_and_cover() -> None:
    """10 bit, 50 Hz, gain known: 1 s resistance to 0.5 % median and 1.5 % at the worst of twelve."""
    errors, inside = [], []
    for seed in range(12):
        match = truth(seed)
        fit = fitted(match, seed=seed)
        for scale in (0.1, 1.0, 10.0):
            figure, exact = fit.at(scale), match.resistance_mohm(scale)
            assert figure is not None
            inside.append(figure.low <= exact <= figure.high)
            if scale == 1.0:
                errors.append(abs(figure.value / exact - 1))
    assert np.median(errors) <= 0.005
    assert np.max(errors) <= 0.015
    assert np.mean(inside) >= 0.9


@pytest.mark.parametrize("late_s", [-0.06, -0.004, 0.004, 0.06])
def test_skew_between_the_clocks_is_found_and_does_no_harm(late_s: float) -> None:
    match = truth(2)
    fit = fitted(match, voltage=USUAL_V.but(late_s=late_s))
    figure = fit.at(1.0)
    assert figure is not None and figure.value == pytest.approx(match.resistance_mohm(1.0), rel=0.02)
    assert fit.skew_s == pytest.approx(late_s, abs=0.004)


@pytest.mark.parametrize("rates", [(1000.0, 1000.0), (100.0, 20.0), (20.0, 100.0), (50.0, 47.0)])
def test_other_rates(rates: tuple[float, float]) -> None:
    match = truth(3)
    fit = fitted(match, USUAL_A.but(rate_Hz=rates[0]), USUAL_V.but(rate_Hz=rates[1]))
    figure = fit.at(1.0)
    assert figure is not None and figure.value == pytest.approx(match.resistance_mohm(1.0), rel=0.03)
    assert figure.low <= match.resistance_mohm(1.0) * 1.01 and figure.high >= match.resistance_mohm(1.0) * 0.99


def test_a_slow_log_declines_the_short_scales() -> None:
    fit = fitted(truth(4), USUAL_A.but(rate_Hz=5.0), USUAL_V.but(rate_Hz=5.0))
    assert fit.at(0.1) is None and "every 0.2 s" in fit.declined[0.1]
    assert fit.at(1.0) is not None


def test_gain_error_is_one_to_one() -> None:
    match = truth(5)
    plain, scaled = fitted(match), fitted(match, USUAL_A.but(gain=1.05, bits=None), gain_rel=0.03)
    a, b = plain.at(1.0), scaled.at(1.0)
    assert a is not None and b is not None
    assert b.value == pytest.approx(a.value / 1.05, rel=0.01)
    assert b.high - b.low > 2 * 1.9 * 0.03 * b.value
    assert b.low <= match.resistance_mohm(1.0) <= b.high


@pytest.mark.parametrize("share", [0.005, 0.03])
def test_clipped_current(share: float) -> None:
    match = truth(6)
    top = float(np.quantile(match.current_A, 1 - share))
    i, v = logged(match, USUAL_A.but(clip_at=top), USUAL_V)
    i = signal("pack_current_A", i.t_s, i.x, clipped=i.x >= i.x.max() - 1e-9, noise=i.noise)
    fit = fit_pack(i, v, cells=6, capacity_Ah=3.3)
    assert isinstance(fit, PackFit)
    figure = fit.at(1.0)
    assert figure is not None and figure.value == pytest.approx(match.resistance_mohm(1.0), rel=0.02)


def test_gaps_and_missing_values() -> None:
    match = truth(7)
    i, v = logged(match, USUAL_A, USUAL_V)
    rng = np.random.default_rng(0)
    keep = np.ones(len(i), bool)
    for start in rng.uniform(10, 170, 4):
        keep &= ~((i.t_s > start) & (i.t_s < start + rng.uniform(0.5, 3)))
    x = np.where(rng.uniform(size=len(i)) < 0.01, np.nan, i.x)
    fit = fit_pack(signal("pack_current_A", i.t_s[keep], x[keep], noise=i.noise), v, cells=6, capacity_Ah=3.3)
    assert isinstance(fit, PackFit)
    figure = fit.at(1.0)
    assert figure is not None and figure.value == pytest.approx(match.resistance_mohm(1.0), rel=0.03)


def test_predicted_voltage_on_the_logged_current() -> None:
    match = truth(8)
    fit = fitted(match)
    t = match.t_s[::10]
    volts = fit.predict_V(t, match.current_A[::10])
    assert float(np.sqrt(np.mean((volts - match.voltage_V[::10]) ** 2))) < 0.06
    assert fit.rms_V < 0.08


def test_resistance_change_follows_the_truth() -> None:
    inside = []
    for seed in range(8):
        match = truth(seed)
        change = resistance_change(fitted(match, seed=seed))
        assert isinstance(change, Measured)
        used = match.charge_used_Ah
        exact = match.resistance_mohm(1.0, used * 5 / 6) - match.resistance_mohm(1.0, used / 6)
        inside.append(abs(change.value - exact) < 0.06 * match.resistance_mohm(1.0))
    assert np.mean(inside) >= 0.75


def test_weak_cell() -> None:
    match = truth(9)
    fit_all = []
    for weak in (True, False):
        i, _ = logged(match, USUAL_A, USUAL_V)
        rng = np.random.default_rng(4)
        cells = {}
        for k in range(1, 7):
            extra_ohm = 0.0015 if weak and k == 4 else 0.00008 * (k % 3)
            volts = match.voltage_V / 6 - extra_ohm * match.current_A
            logger = Logger(rate_Hz=20.0, bits=12, high=5.0, noise=0.002)
            cells[f"cell{k}"] = signal(f"cell{k}_voltage_V", *logger.log(rng, match.t_s, volts))
        fit_all.append(fit_cells(i, cells, capacity_Ah=3.3))
    bad, good = fit_all
    assert bad.weak and bad.highest == "cell4" and bad.excess_mohm is not None
    assert bad.excess_mohm.value == pytest.approx(1.42, abs=0.15)
    assert len(bad.mohm) == 6 and not bad.not_fitted
    assert not good.weak


def test_charge_and_energy() -> None:
    for rate, averages in ((50.0, False), (10.0, True), (10.0, False)):
        match = truth(10)
        i, v = logged(match, USUAL_A.but(rate_Hz=rate, averages=averages), USUAL_V, gain_rel=0.01)
        inside = (match.t_s >= 20) & (match.t_s <= 150)
        exact_Ah = float(match.current_A[inside].sum()) * 1e-3 / 3600
        exact_Wh = float((match.current_A * match.voltage_V)[inside].sum()) * 1e-3 / 3600
        used, energy = charge_used_Ah(i, 20, 150), energy_used_Wh(i, v, 20, 150)
        assert isinstance(used, Measured) and isinstance(energy, Measured)
        assert used.low <= exact_Ah <= used.high and used.value == pytest.approx(exact_Ah, rel=0.02)
        assert energy.low <= exact_Wh <= energy.high and energy.value == pytest.approx(exact_Wh, rel=0.02)


def test_charge_through_a_gap_is_bounded_and_a_clipped_sensor_leaves_it_open() -> None:
    match = truth(10)
    i, _ = logged(match, USUAL_A, USUAL_V)
    whole = charge_used_Ah(i, 20, 150)
    hole = charge_used_Ah(i.where((i.t_s < 60) | (i.t_s > 75)), 20, 150)
    assert isinstance(whole, Measured) and isinstance(hole, Measured)
    assert hole.low < whole.value < hole.high and hole.high - hole.low > 0.05
    assert "not logged" in hole.basis
    clipped = charge_used_Ah(signal("pack_current_A", i.t_s, i.x, clipped=i.x > 100), 20, 150)
    assert isinstance(clipped, Measured) and np.isinf(clipped.high)


def test_charge_state_from_rest_and_by_counting() -> None:
    for seed in range(5):
        match = truth(seed)
        i, v = logged(match, USUAL_A, USUAL_V, seed)
        state = charge_state(
            i, v, cells=6, capacity_Ah=3.3, chemistry="lithium-polymer", start_s=5.5, end_s=186.0, fit=fitted(match)
        )
        for figure, exact, near in (
            (state.start_pct, match.charge[5500], 5),
            (state.end_counted_pct, match.charge[186_000], 5),
            (state.end_rest_pct, match.charge[186_000], 18),  # the curve is flat there
        ):
            assert isinstance(figure, Measured)
            assert figure.low <= 100 * exact <= figure.high
            assert figure.value == pytest.approx(100 * exact, abs=near)


def test_lowest_one_second_mean() -> None:
    match = truth(11)
    _, v = logged(match, USUAL_A, USUAL_V)
    total = np.concatenate([[0.0], np.cumsum(match.voltage_V)])
    exact = float(((total[1000:] - total[:-1000]) / 1000).min())
    found = lowest_mean_V(v, -np.inf, np.inf)
    assert not isinstance(found, NotFitted)
    assert found[0].low <= exact <= found[0].high and found[0].value == pytest.approx(exact, abs=0.08)


def test_pack_temperature_rise_holds_the_truth() -> None:
    for seed in range(5):
        match = truth(seed)
        rise = pack_temperature_rise_K(fitted(match), 520.0, 0, 200)
        assert isinstance(rise, Measured)
        assert rise.low <= float(match.degC[-1] - match.degC[0]) <= rise.high


def test_cold_factor() -> None:
    at_25, cold = cold_factor(25.0), cold_factor(5.0)
    assert isinstance(at_25, Measured) and at_25.value == pytest.approx(1.0)
    assert isinstance(cold, Measured) and 1 < cold.low < cold.value < cold.high < 4 and "memory" in cold.basis
    assert isinstance(cold_factor(-30.0), NotFitted)


# --- harness ------------------------------------------------------------------------------------------------------


def taps(seed: int, step_ohm: float, warms: float = 0.0) -> tuple[Signal, Signal, Signal]:
    match = truth(seed)
    rng = np.random.default_rng(seed)
    ohm = 0.005 * (1 + warms * np.cumsum(match.current_A**2) / np.sum(match.current_A**2))
    ohm = ohm + (match.t_s >= 74.0) * step_ohm
    late = rng.uniform(-0.004, 0.004, 3)
    i = signal("pack_current_A", *USUAL_A.but(late_s=late[0]).log(rng, match.t_s, match.current_A), noise=0.41)
    up = signal("pack_voltage_V", *USUAL_V.but(late_s=late[1], phase_s=0.003).log(rng, match.t_s, match.voltage_V))
    low = match.voltage_V - ohm * match.current_A
    down = signal("distribution_voltage_V", *USUAL_V.but(late_s=late[2]).log(rng, match.t_s, low))
    return i, up, down


def test_harness_resistance() -> None:
    found = [harness_resistance(*taps(seed, 0.0)) for seed in range(8)]
    assert all(isinstance(one, Measured) for one in found)
    values = [one for one in found if isinstance(one, Measured)]
    assert np.max([abs(one.value - 5.0) for one in values]) < 0.15
    assert np.mean([one.low <= 5.0 <= one.high for one in values]) >= 0.75


@pytest.mark.parametrize("seed", range(4))
def test_a_joint_that_steps_up_is_found_in_time_and_size(seed: int) -> None:
    found = resistance_steps(*taps(seed, 0.009))
    assert not isinstance(found, NotFitted) and found.step is not None
    assert found.step.at_s.value == pytest.approx(74.0, abs=0.5)
    assert found.step.at_s.low - 0.04 <= 74.0 <= found.step.at_s.high + 0.04
    assert found.step.change_mohm.value == pytest.approx(9.0, abs=0.4)
    assert found.step.before_mohm.value == pytest.approx(5.0, abs=0.3)
    assert found.step.after_mohm.value == pytest.approx(14.0, abs=0.4)
    known = np.isfinite(found.mohm)
    assert np.median(found.mohm[known & (found.t_s < 70)]) == pytest.approx(5.0, abs=0.5)
    assert np.median(found.mohm[known & (found.t_s > 80)]) == pytest.approx(14.0, abs=0.5)


@pytest.mark.parametrize("warms", [0.0, 0.2])
def test_a_steady_or_warming_wire_is_no_step(warms: float) -> None:
    for seed in range(6):
        found = resistance_steps(*taps(seed, 0.0, warms))
        assert not isinstance(found, NotFitted) and found.step is None


def test_one_tap_sees_the_step_too_but_not_a_healthy_match() -> None:
    for seed in range(4):
        i, up, down = taps(seed, 0.009)
        fit = fit_pack(i, down, cells=6, capacity_Ah=3.3)
        assert isinstance(fit, PackFit)
        step = slope_steps(fit).step
        assert step is not None and step.at_s.value == pytest.approx(74.0, abs=0.5)
        assert step.change_mohm.value == pytest.approx(9.0, rel=0.3)
        healthy = fit_pack(i, up, cells=6, capacity_Ah=3.3)
        assert isinstance(healthy, PackFit) and slope_steps(healthy).step is None


# --- nothing to fit -----------------------------------------------------------------------------------------------


def _flat(n: int, value: float, rate: float = 50.0) -> Signal:
    return signal("pack_current_A", np.arange(n) / rate, np.full(n, value))


@pytest.mark.parametrize("n", [0, 1, 2, 150, 5000])
@pytest.mark.parametrize("level", [0.0, 40.0, -5.0])
def test_constant_or_short_signals_are_refused(n: int, level: float) -> None:
    current, voltage = _flat(n, level), _flat(n, 22.0)
    fit = fit_pack(current, voltage, cells=6, capacity_Ah=3.3)
    assert isinstance(fit, NotFitted) and fit.reason and fit.mend
    for figure in (
        harness_resistance(current, voltage, voltage),
        resistance_steps(current, voltage, voltage),
        iec_61960_dc_resistance(current, voltage),
    ):
        assert isinstance(figure, NotFitted) and figure.reason and figure.mend


def test_wrong_sign_and_wrong_channel_are_refused() -> None:
    i, v = logged(truth(1), USUAL_A, USUAL_V)
    turned = fit_pack(i.with_values(-i.x), v, cells=6, capacity_Ah=3.3)
    assert isinstance(turned, NotFitted)
    other = fit_pack(i, logged(truth(2), USUAL_A, USUAL_V)[1], cells=6, capacity_Ah=3.3)
    if isinstance(other, PackFit):  # a small positive slope can come by chance: then its interval says so
        figure = other.at(1.0)
        assert figure is not None and figure.high - figure.low > 0.3 * figure.value


def test_three_second_match_is_refused_with_the_mend() -> None:
    i, v = logged(truth(1), USUAL_A, USUAL_V)
    fit = fit_pack(i.between(20, 23), v.between(20, 23), cells=6, capacity_Ah=3.3)
    assert isinstance(fit, NotFitted) and "whole match" in fit.mend


def test_logs_that_do_not_overlap() -> None:
    i, v = logged(truth(1), USUAL_A, USUAL_V)
    fit = fit_pack(i.between(0, 50), v.between(100, 150), cells=6, capacity_Ah=3.3)
    assert isinstance(fit, NotFitted) and "overlap" in fit.reason


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.integers(2, 900),
    st.sampled_from(["noise", "steps", "spikes", "negative volts", "all missing", "huge", "tiny"]),
    st.floats(0.0, 0.9),
)
def test_any_arrays_give_a_figure_or_a_reason(seed: int, n: int, kind: str, missing: float) -> None:
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.001, 0.2, n))
    i, v = rng.normal(0, 30, n), 22 + rng.normal(0, 1, n)
    if kind == "steps":
        i, v = np.round(i / 40) * 40, np.round(v)
    elif kind == "spikes":
        i = np.where(rng.uniform(size=n) < 0.02, 1e4, 0.0)
    elif kind == "negative volts":
        v = -v
    elif kind == "huge":
        i, v = i * 1e9, v * 1e9
    elif kind == "tiny":
        i, v = i * 1e-9, v * 1e-9
    i[rng.uniform(size=n) < (1.0 if kind == "all missing" else missing)] = np.nan
    v[rng.uniform(size=n) < missing] = np.nan
    current, voltage = signal("pack_current_A", t, i), signal("pack_voltage_V", t, v)
    fit = fit_pack(current, voltage, cells=6, capacity_Ah=3.3)
    if isinstance(fit, PackFit):
        for figure in fit.resistance_mohm.values():
            assert np.isfinite(figure.value) and figure.low <= figure.value <= figure.high
        slope_steps(fit)
        resistance_change(fit)
        pack_temperature_rise_K(fit, 500.0, t[0], t[-1])
    for answer in (
        charge_used_Ah(current, t[0], t[-1]),
        energy_used_Wh(current, voltage, t[0], t[-1]),
        harness_resistance(current, voltage, voltage),
    ):
        if isinstance(answer, Measured):
            assert answer.low <= answer.value <= answer.high
    resistance_steps(current, voltage, voltage)
    lowest_mean_V(voltage, t[0], t[-1])
    charge_state(
        current,
        voltage,
        cells=6,
        capacity_Ah=3.3,
        chemistry="lithium-polymer",
        start_s=float(t[0]),
        end_s=float(t[-1]),
        fit=fit if isinstance(fit, PackFit) else None,
    )
