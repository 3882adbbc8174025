"""Metrics of the pack: resistance at matched charge and temperature, sag at a standard load, cells, capacity."""

from __future__ import annotations

import math
import re

import numpy as np

from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.metric_kinds import STANDARD_CHARGE_PCT, STANDARD_PACK_DEGC, Absent, Metric
from analysis.pack_check import capacity_Ah, pack_fit
from analysis.pack_model import CellFits, NotFitted, PackFit, charge_state, charge_used_Ah, cold_factor
from analysis.signal import Measured, Signal

Row = Metric | Absent

# Sag is given at the largest of 1, 2, 5, 10, 20 … A that is no more than ten times the capacity per hour, so that
# packs of about one size are held against each other at one load (our choice: about what a match asks for).
LOAD_C = 10.0
# A capacity between two rest voltages is worth a figure from this drop of charge on (our choice: below it the
# published cells' own spread is over half of the figure).
LEAST_DROP_PCT = 20.0
FROM_REVIEW = ("pack_minimum_V", "cell_minimum_V", "pack_peak_A", "charge_used_Ah", "energy_used_Wh")


def rows(data: MatchData, review: Review) -> list[Row]:
    """Metrics of the pack: resistance in mΩ at matched charge and heat, sag in V, cells; what is missing says why."""
    found: list[Row] = list(_from_review(review))
    fit = pack_fit(data)
    found += _context(data, fit if isinstance(fit, PackFit) else None)
    if isinstance(fit, NotFitted):
        names = ("pack_resistance_matched_mohm", "pack_resistance_charge_mohm", "sag_standard_V")
        return [*found, *(Absent(name, "pack", fit.reason, fit.mend) for name in names)]
    found += _matched(data, fit)
    found += _cells(data)
    found.append(_capacity(data, fit))
    found += _cell_capacities(data)
    return found


def _from_review(review: Review) -> list[Row]:
    found: list[Row] = []
    for row in review.estimates:
        if row.part == "pack" and (row.name in FROM_REVIEW or re.fullmatch(r"pack_resistance_[\d.]+s_mohm", row.name)):
            at = "at the pack's own charge and temperature" if "resistance" in row.name else ""
            found.append(Metric(row.name, "pack", row.value, row.low, row.high, row.unit, at, row.method))
        elif row.name == "cell_minimum_V":
            # Which cell was lowest changes from match to match: the figure is the pack's.
            found.append(Metric(row.name, "pack", row.value, row.low, row.high, row.unit, "", row.part))
    have = {row.name for row in found}
    mend = {
        "pack_minimum_V": "log pack_voltage_V",
        "cell_minimum_V": "log each cell's voltage",
        "pack_peak_A": "log pack_current_A",
        "charge_used_Ah": "log pack_current_A",
        "energy_used_Wh": "log pack_current_A and pack_voltage_V",
    }
    found += [
        Absent(name, "pack", "the review has no such figure", mend[name]) for name in FROM_REVIEW if name not in have
    ]
    return found


def _context(data: MatchData, fit: PackFit | None) -> list[Row]:
    """Figures that are compared only to see what else differs."""
    found: list[Row] = []
    air, off, source = data.air_degC
    if not source.startswith("default"):
        found.append(Metric("air_degC", "", air, air - off, air + off, "degC", "", source))
    else:
        found.append(Absent("air_degC", "", "nothing states it", "state air_degC of the match"))
    temp = _mean_temp(data)
    if isinstance(temp, Measured):
        found.append(Metric("pack_temp_mean_degC", "pack", temp.value, temp.low, temp.high, "degC", "", temp.basis))
    else:
        found.append(Absent("pack_temp_mean_degC", "pack", temp.reason, temp.mend))
    start = _start_pct(data, fit)
    if isinstance(start, Measured):
        found.append(
            Metric("charge_state_start_pct", "pack", start.value, start.low, start.high, "pct", "", start.basis)
        )
    else:
        found.append(Absent("charge_state_start_pct", "pack", start.reason, start.mend))
    return found


def _mean_temp(data: MatchData) -> Measured | NotFitted:
    temp = data.inside("pack_temp_degC")
    if temp is None:
        return NotFitted("pack_temp_degC was not logged", "log pack_temp_degC")
    mean = float(temp.x.mean())
    # The sensor reads the skin; inside the cells are warmer by up to a few kelvin (our choice).
    return Measured(mean, mean - 1.0, mean + 3.0, "mean of the match at the pack's skin")


def _start_pct(data: MatchData, fit: PackFit | None) -> Measured | NotFitted:
    current, volts, pack = data.get("pack_current_A"), data.get("pack_voltage_V"), data.pack
    if current is None or volts is None or pack is None or data.window is None:
        return NotFitted("current, voltage, pack or match window is not known", "log both and name the pack")
    if pack.capacity_Ah is None:
        return NotFitted("capacity_Ah is not stated", "state capacity_Ah in the pack file")
    state = charge_state(
        current,
        volts,
        cells=pack.cells,
        capacity_Ah=pack.capacity_Ah,
        chemistry=pack.chemistry,
        start_s=data.window.start_s,
        end_s=data.window.end_s,
        fit=fit,
    )
    return state.start_pct


def _matched(data: MatchData, fit: PackFit) -> list[Row]:
    """Resistance at 1 s brought to 80 % charge, then to 25 °C, and the sag that follows at a standard load."""
    names = ("pack_resistance_charge_mohm", "pack_resistance_matched_mohm", "sag_standard_V")

    def absent(names: tuple[str, ...], reason: str, mend: str) -> list[Row]:
        return [Absent(name, "pack", reason, mend) for name in names]

    one = fit.at(1.0)
    if one is None:
        return absent(names, fit.declined.get(1.0, "no figure at 1 s"), "log faster and longer")
    start = _start_pct(data, fit)
    if isinstance(start, NotFitted):
        return absent(names, f"the charge is not known: {start.reason}", start.mend)
    assert data.window is not None
    at_start = float(np.interp(data.window.start_s, fit.t_s, fit.used_Ah))
    used = [
        at_start + (pct - STANDARD_CHARGE_PCT) / 100 * capacity_Ah(data) for pct in (start.value, start.low, start.high)
    ]
    first, last = float(fit.used_Ah.min()), float(fit.used_Ah.max())
    if not first <= used[0] <= last:
        reason = f"the match did not pass {STANDARD_CHARGE_PCT:.0f} % charge"
        return absent(names, reason, "start full, and use a fifth of the charge")
    factors = [float(fit.loss_factor(ah)) for ah in used]
    value = one.value * factors[0]
    low, high = one.low * min(factors), one.high * max(factors)
    charge = Measured(value, low, high, f"{one.basis}, charge from {start.basis}")
    at = f"1 s, {STANDARD_CHARGE_PCT:.0f} % charge"
    found: list[Row] = [Metric(names[0], "pack", value, low, high, "mohm", at, charge.basis)]
    temp = _mean_temp(data)
    factor = cold_factor(temp.value) if isinstance(temp, Measured) else temp
    if isinstance(factor, NotFitted):
        return [*found, *absent(names[1:], f"its temperature is not known: {factor.reason}", factor.mend)]
    matched = Measured(value / factor.value, low / factor.high, high / factor.low, f"{charge.basis}, {factor.basis}")
    at += f", {STANDARD_PACK_DEGC:.0f} °C"
    found.append(Metric(names[1], "pack", matched.value, matched.low, matched.high, "mohm", at, matched.basis))
    load = standard_load_A(capacity_Ah(data))
    sag = [load * r / 1e3 for r in (matched.value, matched.low, matched.high)]
    found.append(Metric(names[2], "pack", sag[0], sag[1], sag[2], "V", f"{load:g} A for {at}", matched.basis))
    return found


def standard_load_A(capacity_Ah: float) -> float:
    """The largest of 1, 2, 5, 10, 20 … A up to ten times the capacity per hour."""
    most = LOAD_C * capacity_Ah
    decade = 10.0 ** math.floor(math.log10(most))
    return max(step * decade for step in (1.0, 2.0, 5.0) if step * decade <= most * (1 + 1e-9))


def _cells(data: MatchData) -> list[Row]:
    """Each cell's resistance, where the review fitted them (three cells or more on the current's clock)."""
    fits = data.memo.get("cell_fits")
    if not isinstance(fits, CellFits):
        return []
    at = "at the pack's own charge and temperature"
    return [
        Metric("cell_resistance_1s_mohm", name, m.value, m.low, m.high, "mohm", at, m.basis)
        for name, m in fits.mohm.items()
    ]


def _capacity(data: MatchData, fit: PackFit) -> Row:
    """Charge used over the drop of charge between the two ends: wide, because rest voltages tell charge to ±5 %."""
    name, mend = "pack_capacity_Ah", "rest a minute before and after, and use half of the charge"
    volts, pack = data.get("pack_voltage_V"), data.pack
    if volts is None or pack is None:
        return Absent(name, "pack", "voltage or pack is not known", "log the pack's voltage, name the pack")
    return _between_rests(data, fit, volts, pack.cells, name, "pack", mend)


def _cell_capacities(data: MatchData) -> list[Row]:
    """The same for each cell, by its own voltage and fit. A cell that cannot tell is left out: its pack says why."""
    fits = data.memo.get("cell_fits")
    if not isinstance(fits, CellFits):
        return []
    found: list[Row] = []
    for cell, fit in fits.fits.items():
        volts = data.get(f"{cell}_voltage_V")
        if volts is not None:
            row = _between_rests(data, fit, volts, 1, "cell_capacity_Ah", cell, "")
            found += [row] if isinstance(row, Metric) else []
    return found


def _between_rests(data: MatchData, fit: PackFit, volts: Signal, cells: int, name: str, part: str, mend: str) -> Row:
    current, pack, window = data.get("pack_current_A"), data.pack, data.window
    if current is None or pack is None or window is None:
        return Absent(name, part, "current, pack or match window is not known", "log both, name the pack")
    state = charge_state(
        current,
        volts,
        cells=cells,
        capacity_Ah=capacity_Ah(data),
        chemistry=pack.chemistry,
        start_s=window.start_s,
        end_s=window.end_s,
        fit=fit,
    )
    start, end = state.start_pct, state.end_rest_pct
    used = charge_used_Ah(current, window.start_s, window.end_s)
    for figure in (start, end, used):
        if isinstance(figure, NotFitted):
            return Absent(name, part, figure.reason, figure.mend)
    assert isinstance(start, Measured) and isinstance(end, Measured) and isinstance(used, Measured)
    drop, least, most = start.value - end.value, start.low - end.high, start.high - end.low
    if least < LEAST_DROP_PCT:
        return Absent(name, part, f"the charge fell by {drop:.0f} % (at least {max(least, 0):.0f} %)", mend)
    return Metric(
        name,
        part,
        100 * used.value / drop,
        100 * used.low / most,
        100 * used.high / least,
        "Ah",
        "",
        "charge used over the fall of charge between two rest voltages",
    )
