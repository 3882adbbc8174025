"""Figures worth knowing that no rating is held against: where the volts go, what heats next, how the pack moved.

None of these makes a finding; each says its method, and stands only where the log carries it.
"""

from __future__ import annotations

import numpy as np

from analysis.bench import bench_resistance
from analysis.binned import Binned, bin_signal
from analysis.findings import Estimate
from analysis.match_data import MatchData
from analysis.metrics_pack import standard_load_A
from analysis.metrics_robot import harness_figures
from analysis.motor_check import SENSOR_K, limit_of
from analysis.motors import winding_estimate
from analysis.outcome import Outcome, Row, joined
from analysis.pack_check import capacity_Ah, pack_fit
from analysis.pack_model import (
    PackFit,
    pack_temperature_rise_K,
    resistance_change,
    voltage_at_standard_load,
)
from analysis.part_heat import PartHeatFit, fit_part_heat, forecast, under_load
from analysis.ratings import OutsideValidity
from analysis.signal import Measured, Signal
from analysis.wiring import RunCurrent, currents_of, tree
from ingest.builds import Controller, Motor

FULL_MATCH_S = 180.0  # the ruled length where the match file states none (common practice, no source)
SIXTY_S = 60.0


def check(data: MatchData) -> Outcome:
    """All the figures that no rating is held against; without a build only those of the pack."""
    outcomes = [Outcome(tuple(_pack(data)))]
    if data.build is not None:
        outcomes += [Outcome(tuple(_harness(data))), Outcome(tuple(_heat(data)))]
    return joined(outcomes)


def _row(name: str, part: str, figure: Measured, unit: str, method: str, note: str = "") -> Estimate:
    return Estimate(name, part, figure.value, figure.low, figure.high, unit, method, note or figure.basis)


def _pack(data: MatchData) -> list[Row]:
    rows: list[Row] = []
    fit = pack_fit(data)
    if isinstance(fit, PackFit):
        load = standard_load_A(capacity_Ah(data))
        volts = voltage_at_standard_load(fit, load)
        if volts is not None:
            rows.append(
                _row("pack_voltage_standard_load_V", "pack", volts, "V", f"{load:g} A for 1 s, mid-charge used")
            )
        change = resistance_change(fit)
        if isinstance(change, Measured):
            rows.append(_row("pack_resistance_change_mohm", "pack", change, "mohm", "last third less first third"))
        mass = data.pack.mass_g if data.pack is not None else None
        if mass is not None and data.window is not None:
            rise = pack_temperature_rise_K(fit, mass, data.window.start_s, data.window.end_s)
            if isinstance(rise, Measured):
                rows.append(_row("pack_rise_K", "pack", rise, "K", "its own losses, nothing lost to the air: at most"))
    bench = bench_resistance(data)
    if bench is not None:
        rows.append(_row("pack_resistance_dc_mohm", "pack", bench, "mohm", "two-step discharge of IEC 61960-3"))
    return rows


def _harness(data: MatchData) -> list[Row]:
    """Resistance of every run between taps, its drop at the worst second's current, and its share of the sag."""
    assert data.build is not None
    wiring = tree(data.build)
    currents = currents_of(data, wiring)
    rows: list[Row] = []
    figures, _ = harness_figures(data)
    fit = pack_fit(data)
    pack_mohm = fit.at(1.0) if isinstance(fit, PackFit) else None
    for run_id, figure in figures.items():
        rows.append(_row("harness_resistance_mohm", run_id, figure, "mohm", "between voltage taps, over the match"))
        current = currents.get(run_id)
        if not isinstance(current, RunCurrent) or data.window is None:
            continue
        inside = current.signal.between(data.window.start_s, data.window.end_s).good()
        if len(inside) < 3:
            continue
        peak = float(np.percentile(np.abs(inside.x), 99.5))
        drop = Measured(peak * figure.value / 1e3, peak * figure.low / 1e3, peak * figure.high / 1e3)
        note = f"at {peak:.0f} A"
        if pack_mohm is not None and run_id in wiring.roots:
            share = 100.0 * figure.value / (figure.value + pack_mohm.value)
            note += f"; {share:.0f} % of what pack and lead lose together"
        rows.append(_row("run_drop_V", run_id, drop, "V", "resistance times the current it carried", note))
    return rows


def _heat(data: MatchData) -> list[Row]:
    """Where a part's temperature is logged: its forecast; where only its current is: the winding, roughly."""
    assert data.build is not None
    rows: list[Row] = []
    for controller in data.build.controllers:
        rows += _forecasts(data, controller.id, controller, controller.limit_degC, "controller")
    for motor in data.build.motors:
        driver = next((c for c in data.build.controllers if c.id == motor.controller), None)
        if driver is None:
            continue
        if data.get(f"{motor.id}_temp_degC") is not None:
            rows += _forecasts(data, motor.id, driver, limit_of(motor), "motor")
        else:
            rows += _winding(data, motor, driver)
    return rows


def _current(data: MatchData, controller: Controller) -> tuple[Signal, str] | None:
    for basis in ("motor", "input"):
        signal = data.get(f"{controller.id}_{basis}_current_A")
        if signal is not None:
            return signal, basis
    return None


def _forecasts(data: MatchData, part: str, controller: Controller, limit_degC: float | None, what: str) -> list[Row]:
    """The end of a full-length match at this match's mean load, and when its limit would come."""
    temp, found = data.get(f"{part}_temp_degC"), _current(data, controller)
    if temp is None or found is None or data.window is None:
        return []
    current, basis = found
    if not data.same_clock(temp.channel, current.channel) or current.period_s > 0.25:
        return []
    window = data.window
    try:
        load = bin_signal(current, data.settings.wire_bin_s, window.start_s, window.end_s)
        fit = _fitted(data, part, temp, load, basis)
        length = data.match.length_s if data.match is not None and data.match.length_s else FULL_MATCH_S
        left = max(length - window.length_s, SIXTY_S)
        edges = window.end_s + np.arange(0.0, left + 0.5, 0.5)
        edges[0] = load.edges_s[-1]
        ahead = forecast(fit, edges, np.full(len(edges) - 1, float(load.mean_i2.mean())))
    except OutsideValidity:
        return []  # no rating is held against it, so nothing is left unchecked
    name = f"{what}_forecast_degC"
    note = f"{left:.0f} s more at this match's mean load"
    if basis == "input":
        note += ", on input current: a stall is missing"
    # The fit follows the sensor; what the sensor itself may be off is no error of the fit.
    peak = Measured(ahead.peak.value, ahead.peak.low - SENSOR_K, ahead.peak.high + SENSOR_K, ahead.peak.basis)
    rows: list[Row] = [_row(name, part, peak, "degC", "two-node fit to its own sensor", note)]
    reach = ahead.first_above_s(limit_degC) if limit_degC is not None else None
    if reach is not None:
        when = reach - window.end_s
        figure = Measured(when, 0.0, np.inf, f"{limit_degC:g} °C")
        rows.append(_row(f"{what}_time_to_limit_s", part, figure, "s", "two-node fit to its own sensor", note))
    return rows


def _fitted(data: MatchData, part: str, temp: Signal, load: Binned, basis: str) -> PartHeatFit:
    """The part's two-node fit. A replay has that of the match as it was: the same part, under another load."""
    key = f"part_heat:{part}"
    kept = data.memo.get(key)
    if isinstance(kept, PartHeatFit) and kept.channel == temp.channel:
        return under_load(kept, temp, load)
    fit = fit_part_heat(temp, load, data.air_degC[0], load_basis="motor" if basis == "motor" else "input")
    data.memo[key] = fit
    return fit


def _winding(data: MatchData, motor: Motor, controller: Controller) -> list[Row]:
    current = data.get(f"{controller.id}_motor_current_A")
    if current is None or data.window is None or current.period_s > 0.25:
        return []
    try:
        load = bin_signal(current, data.settings.wire_bin_s, data.window.start_s, data.window.end_s)
        _, peak = winding_estimate(motor, load, data.air_degC[0], current_is=controller.motor_current_is)
    except OutsideValidity:
        return []  # motor_temperature stands in not_checked with what to log
    method = "from current alone: worth a factor of two, a thermometer beats it"
    return [_row("motor_winding_degC", motor.id, peak, "degC", method)]
