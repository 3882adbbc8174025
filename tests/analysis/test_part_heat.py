"""The two-node network against closed forms (tests/reference/motor.csv), its fit against simulated parts."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.linalg import expm

from analysis.binned import Binned, bin_square
from analysis.part_heat import PartHeatFit, TwoNode, fit_part_heat, forecast
from analysis.ratings import OutsideValidity
from analysis.signal import Floats, signal

REFERENCE = Path(__file__).parents[1] / "reference" / "motor.csv"


def rows(*quantities: str) -> list[dict[str, str]]:
    with REFERENCE.open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] in quantities]
    assert found, quantities
    return found


@pytest.mark.parametrize(
    "row", rows("two_node_winding_temperature", "two_node_housing_temperature"), ids=lambda row: row["id"]
)
def test_two_nodes_under_constant_power(row: dict[str, str]) -> None:
    """Rows computed by matrix exponential with SciPy; ±0.01 °C."""
    case = rows("two_node_winding_temperature")[0]
    nodes = TwoNode(*(float(case[key]) for key in ("C_w", "C_h", "R_wh", "R_ha")))
    end = float(row["t_s"])
    inner, outer = nodes.temperatures(np.linspace(0, end, 101), float(case["P_W"]), float(case["T_amb_C"]))
    got = inner[-1] if "winding" in row["quantity"] else outer[-1]
    assert got == pytest.approx(float(row["value"]), abs=0.01)


def test_two_nodes_after_a_long_time() -> None:
    (row,) = rows("two_node_steady_winding")
    nodes = TwoNode(12.0, 80.0, float(row["R_wh"]), float(row["R_ha"]))
    assert nodes.steady(float(row["P_W"]), float(row["T_amb_C"]))[0] == float(row["value"])
    inner, _ = nodes.temperatures([0.0, 20_000.0], 10.0, 25.0)
    assert inner[-1] == pytest.approx(145.0, abs=1e-3)


def test_two_nodes_from_a_warm_start() -> None:
    nodes = TwoNode(12.0, 80.0, 3.0, 9.0)
    edges = np.linspace(0, 200, 81)
    power = np.where(edges[:-1] < 60, 15.0, 2.0)
    whole = nodes.temperatures(edges, power, 25.0)
    second = nodes.temperatures(edges[40:], power[40:], 25.0, (whole[0][40], whole[1][40]))
    assert second[0] == pytest.approx(whole[0][40:], abs=1e-9)
    assert second[1] == pytest.approx(whole[1][40:], abs=1e-9)


# -- fit and forecast on simulated parts -------------------------------------------------------------------


def simulated(seed: int, seconds: float = 240.0, dt: float = 0.1) -> tuple[Floats, Floats, Floats, float]:
    """(time, motor current, (n, 2) temperatures, air) of a random two-node part in a random match."""
    rng = np.random.default_rng(seed)
    c1, c2, r12, r2a = rng.uniform(8, 40), rng.uniform(60, 250), rng.uniform(0.3, 1.5), rng.uniform(1.5, 6)
    t = np.arange(0, seconds, dt)
    current = np.zeros_like(t)
    k = 0
    while k < t.shape[0]:
        length = int(rng.exponential(2.5) / dt) + 5
        level = rng.choice([2, 10, 25, 40, 70, 110], p=[0.25, 0.2, 0.2, 0.2, 0.1, 0.05])
        current[k : k + length] = level * rng.uniform(0.7, 1.3)
        k += length
    ohm, idle_W = rng.uniform(40, 90) / (r2a + r12) / 1600, rng.uniform(0, 2)
    matrix = np.array([[-1 / (r12 * c1), 1 / (r12 * c1)], [1 / (r12 * c2), -(1 / r12 + 1 / r2a) / c2]])
    step = expm(matrix * dt)
    drive = np.linalg.solve(matrix, (step - np.eye(2)) @ np.array([1 / c1, 0.0]))
    state = np.full(2, rng.uniform(0, 12))
    rise = np.empty((t.shape[0], 2))
    for n in range(t.shape[0]):
        rise[n] = state
        state = step @ state + drive * (ohm * current[n] ** 2 + idle_W)
    air = float(rng.uniform(15, 30))
    return t, current, rise + air, air


def fitted(seed: int, air_known: bool) -> tuple[PartHeatFit, Binned, Floats, Floats]:
    """Fit on the first 180 s with a 5 Hz sensor of whole degrees; the load and truth of the last 60 s."""
    t, current, temps, air = simulated(seed)
    node = seed % 2
    past = t < 180
    read = np.round(temps[::2, node] + np.random.default_rng(seed + 999).normal(0, 0.3, t[::2].shape[0]))
    record = t[::2] < 180
    load = bin_square(t[past], current[past], 0.25, between="held")
    fit = fit_part_heat(signal("c_temp_degC", t[::2][record], read[record]), load, air if air_known else None)
    future = bin_square(t, current, 0.25, between="held", start_s=float(load.edges_s[-1]), end_s=float(t[-1]))
    return fit, future, t, temps[:, node]


def test_forecast_a_minute_ahead() -> None:
    """Median error at 60 s under 1.5 °C, 90 % band covers at least 90 % (of 24 parts; 22 is 92 %)."""
    errors, inside = [], []
    for seed in range(24):
        try:
            fit, future, t, truth = fitted(seed, air_known=seed % 3 != 0)
        except OutsideValidity as refused:
            assert "changes by" in refused.reason
            continue
        ahead = forecast(fit, future.edges_s, future.mean_i2)
        expected = np.interp(ahead.t_s, t, truth)
        errors.append(abs(ahead.temp_degC[-1] - expected[-1]))
        inside.append(ahead.low_degC[-1] <= expected[-1] <= ahead.high_degC[-1])
        assert (ahead.low_degC <= ahead.temp_degC).all() and (ahead.temp_degC <= ahead.high_degC).all()
    assert len(errors) >= 20
    assert np.median(errors) < 1.5
    assert np.mean(inside) >= 0.9


def test_fit_finds_the_steady_rise_within_its_interval() -> None:
    """A part whose slow time constant fits in the record: the steady rise per A² is known."""
    nodes = TwoNode(10.0, 40.0, 0.6, 1.2)  # about 6 s and 60 s
    t = np.arange(0.0, 300.0, 0.05)
    rng = np.random.default_rng(3)
    current = np.repeat(rng.choice([5.0, 30.0, 60.0], size=150, p=[0.5, 0.3, 0.2]), 40)
    load = bin_square(t, current, 0.25, between="held")
    inner, _ = nodes.temperatures(load.edges_s, 0.012 * load.mean_i2, 22.0)
    read = np.interp(t[::4], load.edges_s, inner) + rng.normal(0, 0.2, t[::4].shape[0])
    fit = fit_part_heat(signal("c_temp_degC", t[::4], read), load, 22.0)
    assert fit.steady_K_per_A2.low <= 0.012 * 1.8 <= fit.steady_K_per_A2.high
    assert fit.steady_K_per_A2.value == pytest.approx(0.012 * 1.8, rel=0.1)
    assert fit.residual_K == pytest.approx(0.2, rel=0.3)
    # Ten minutes at 40 A: the forecast settles at the closed form.
    edges = np.concatenate(([load.edges_s[-1]], load.edges_s[-1] + np.arange(1.0, 601.0)))
    ahead = forecast(fit, edges, 1600.0)
    steady = nodes.steady(0.012 * 1600, 22.0)[0]
    assert ahead.temp_degC[-1] == pytest.approx(steady, abs=2.0)
    assert ahead.low_degC[-1] <= steady <= ahead.high_degC[-1]
    assert ahead.first_above_s(steady - 5) is not None and ahead.first_above_s(500.0) is None
    # A pause cools it.
    rest = forecast(fit, edges, 0.0)
    assert rest.temp_degC[-1] < 24 and rest.peak.value >= rest.temp_degC[-1]


def test_input_current_is_noted() -> None:
    t = np.arange(0.0, 120.0, 0.1)
    load = bin_square(t, 20 + 20 * (t % 20 < 5), 0.25)
    read, _ = TwoNode(20.0, 100.0, 1.0, 3.0).temperatures(load.edges_s, 0.02 * load.mean_i2, 25.0)
    fit = fit_part_heat(signal("w_temp_degC", load.edges_s, read), load, 25.0, load_basis="input")
    assert any("stall" in note for note in fit.notes)
    again = fit_part_heat(signal("w_temp_degC", load.edges_s, read), load, 25.0, load_basis="input")
    assert again.model.amount == pytest.approx(fit.model.amount)  # the same seed, the same answer


def test_what_cannot_carry_a_fit_is_refused() -> None:
    t = np.arange(0.0, 100.0, 0.2)
    load = bin_square(t, np.full_like(t, 20.0), 0.25)
    with pytest.raises(OutsideValidity, match=r"changes by 1\.0 K only"):
        fit_part_heat(signal("w_temp_degC", t, 30 + 0.01 * t), load)
    with pytest.raises(OutsideValidity, match="less than 30 s"):
        fit_part_heat(signal("w_temp_degC", t[:100], 30 + t[:100]), load)
    with pytest.raises(OutsideValidity, match="no load stands beside"):
        fit_part_heat(signal("w_temp_degC", t, 30 + 0.1 * t), bin_square(t, np.zeros_like(t), 0.25))
    fit = fit_part_heat(signal("w_temp_degC", t, 30 + 0.1 * t), load)
    with pytest.raises(OutsideValidity, match="begin the future where the record ends"):
        forecast(fit, [500.0, 501.0], [400.0])
