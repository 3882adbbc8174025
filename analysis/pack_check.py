"""What the pack did: resistance, charge, energy, temperature, and the checks that rest on them."""

from __future__ import annotations

from analysis.covered import judge_seen
from analysis.findings import Estimate, Finding, NotChecked, Occurrence, Passed
from analysis.match_data import MatchData
from analysis.outcome import Held, Outcome, Row, judge, not_logged, not_stated
from analysis.pack_model import (
    ChargeState,
    NotFitted,
    PackFit,
    charge_state,
    charge_used_Ah,
    energy_used_Wh,
    fit_pack,
)
from analysis.signal import Measured

# A pack is used up for robots at about twice its first resistance (common practice, no source).
RETIRE_RATIO = 2.0
# An interval wider than this share of the figure cannot tell a good pack from a spent one (our choice).
TOO_WIDE = 0.5


def pack_fit(data: MatchData) -> PackFit | NotFitted:
    """The fitted pack of this match, made once. The whole log serves: rest before and after carries the volts.

    NotFitted, with the mend, where a channel or the pack is missing or the load tells nothing.
    """
    if "pack_fit" not in data.memo:
        data.memo["pack_fit"] = _fit(data)
    found = data.memo["pack_fit"]
    assert isinstance(found, PackFit | NotFitted)
    return found


def _fit(data: MatchData) -> PackFit | NotFitted:
    current, volts = data.get("pack_current_A"), data.get("pack_voltage_V")
    if current is None or volts is None:
        missing = "pack_current_A" if current is None else "pack_voltage_V"
        return NotFitted(f"{missing} was not logged", f"log {missing} next time")
    if not data.same_clock("pack_current_A", "pack_voltage_V"):
        return NotFitted("pack current and voltage share no clock", "log both in one logger")
    if data.pack is None:
        return NotFitted("no pack is named", "name the pack, or give --pack or --cells")
    temp = data.inside("pack_temp_degC")
    return fit_pack(
        current.good(),
        volts.good(),
        cells=data.pack.cells,
        capacity_Ah=capacity_Ah(data),
        chemistry=data.pack.chemistry,
        temp_degC=float(temp.x.mean()) if temp is not None else None,
    )


def capacity_Ah(data: MatchData) -> float:
    """The stated capacity; for a pack of which only the cells are known, half as much again as was drawn.

    It only scales the fit's charge terms: the resistance moves by less than its interval between 1 and 3 times.
    """
    if data.pack is not None and data.pack.capacity_Ah is not None:
        return data.pack.capacity_Ah
    current = data.get("pack_current_A")
    drawn = None if current is None or not len(current) else charge_used_Ah(current, current.t_s[0], current.t_s[-1])
    return max(1.5 * drawn.value, 0.1) if isinstance(drawn, Measured) else 1.0


def check(data: MatchData) -> Outcome:
    """Estimates of the pack, charge_used, pack_temperature and pack_resistance."""
    rows: list[Row] = []
    fit = pack_fit(data)
    if isinstance(fit, PackFit):
        rows += _resistance_rows(data, fit)
    else:
        rows.append(NotChecked("pack_resistance", "pack", fit.reason, fit.mend))
    rows += _charge_rows(data)
    rows.append(_temperature(data))
    return Outcome(tuple(rows), {"pack_fit": fit})


def _resistance_rows(data: MatchData, fit: PackFit) -> list[Row]:
    rows: list[Row] = []
    for scale, figure in fit.resistance_mohm.items():
        rows.append(
            Estimate(
                f"pack_resistance_{scale:g}s_mohm" if scale < 1 else f"pack_resistance_{scale:.0f}s_mohm",
                "pack",
                figure.value,
                figure.low,
                figure.high,
                "mohm",
                "variable projection on current and voltage; at the pack's voltage tap",
                figure.basis,
            )
        )
    for scale, reason in fit.declined.items():
        rows.append(NotChecked("pack_resistance", "pack", f"at {scale:g} s: {reason}", "log faster"))
    one = fit.at(1.0)
    stated = data.pack.resistance_mohm if data.pack is not None else None
    if one is None:
        return rows
    if stated is None:
        rows.append(not_stated("pack_resistance", "pack", "resistance_mohm", "the pack file (measured when new)"))
        return rows
    limit = RETIRE_RATIO * stated
    if one.high - one.low > TOO_WIDE * one.value:
        reason = f"{one.value:.0f} mΩ at 1 s is known only from {one.low:.0f} to {one.high:.0f} mΩ"
        rows.append(NotChecked("pack_resistance", "pack", reason, "log pack current and voltage at 10 Hz or more"))
        return rows
    held = Held(
        "pack_resistance",
        "pack",
        limit,
        stated,
        "mohm",
        f"twice {data.pack.source_name or 'pack'} resistance_mohm (common practice, no source)",  # type: ignore[union-attr]
        "voltage_sag",
        "max",
        "pack_voltage_V",
        from_memory=True,
    )
    span = (data.window.start_s, data.window.end_s) if data.window is not None else (0.0, 0.0)
    result = judge(held, one, span, data.settings)
    if isinstance(result, Passed | Finding):
        rows.append(result)
    return rows


def _charge_rows(data: MatchData) -> list[Row]:
    rows: list[Row] = []
    current, volts, window = data.get("pack_current_A"), data.get("pack_voltage_V"), data.window
    if current is None or window is None:
        return [not_logged("charge_used", "pack", "pack_current_A")]
    used = charge_used_Ah(current, window.start_s, window.end_s)
    capacity = data.pack.capacity_Ah if data.pack is not None else None
    if isinstance(used, NotFitted):
        rows.append(NotChecked("charge_used", "pack", used.reason, used.mend))
    else:
        rows.append(Estimate("charge_used_Ah", "pack", used.value, used.low, used.high, "Ah", used.basis))
        if capacity is None:
            rows.append(not_stated("charge_used", "pack", "capacity_Ah", "the pack file"))
        else:
            held = Held(
                "charge_used",
                "pack",
                capacity,
                0.0,
                "Ah",
                f"{data.pack.source_name or 'pack'} capacity_Ah",  # type: ignore[union-attr]
                "voltage_sag",
                "max",
                "pack_current_A",
                cause="pack_empty",
            )
            rows.append(judge(held, used, (window.start_s, window.end_s), data.settings))
    if volts is not None and data.same_clock("pack_current_A", "pack_voltage_V"):
        energy = energy_used_Wh(current, volts, window.start_s, window.end_s)
        if isinstance(energy, Measured):
            rows.append(Estimate("energy_used_Wh", "pack", energy.value, energy.low, energy.high, "Wh", energy.basis))
        state = _state(data)
        for name, figure, how in (
            ("charge_state_start_pct", state.start_pct, "from the rest voltage before the match"),
            ("charge_state_end_pct", state.end_counted_pct, "counted from the start"),
            ("charge_state_end_rest_pct", state.end_rest_pct, "from the rest voltage after the match"),
        ) if state is not None else ():  # fmt: skip
            if isinstance(figure, Measured):
                rows.append(Estimate(name, "pack", figure.value, figure.low, figure.high, "pct", how, figure.basis))
    return rows


def _state(data: MatchData) -> ChargeState | None:
    pack, window = data.pack, data.window
    current, volts = data.get("pack_current_A"), data.get("pack_voltage_V")
    if pack is None or window is None or current is None or volts is None or pack.chemistry != "lithium-polymer":
        return None
    if pack.capacity_Ah is None:
        return None
    if "charge_state" not in data.memo:
        fit = pack_fit(data)
        data.memo["charge_state"] = charge_state(
            current,
            volts,
            cells=pack.cells,
            capacity_Ah=capacity_Ah(data),
            chemistry=pack.chemistry,
            start_s=window.start_s,
            end_s=window.end_s,
            fit=fit if isinstance(fit, PackFit) else None,
        )
    found = data.memo["charge_state"]
    assert isinstance(found, ChargeState)
    return found


def _temperature(data: MatchData) -> Row:
    temp = data.inside("pack_temp_degC")
    limit = data.pack.limit_degC if data.pack is not None else None
    if temp is None:
        return not_logged("pack_temperature", "pack", "pack_temp_degC")
    source = f"{data.pack.source_name or 'pack'} limit_degC" if data.pack is not None else ""
    memory = False
    if limit is None:
        limit, memory, source = 60.0, True, "60 °C at the cell surface (memory)"
    at = int(temp.x.argmax())
    value = float(temp.x[at])
    spread = 1.0 + 2.0 * temp.noise  # our choice: a taped sensor reads a kelvin off
    figure = Measured(value, value - spread, value + spread, "hottest sample; the cells inside are hotter")
    held = Held(
        "pack_temperature",
        "pack",
        limit,
        data.air_degC[0],
        "degC",
        source,
        "thermal_buildup",
        "max",
        "pack_temp_degC",
        memory,
    )
    when = float(temp.t_s[at])
    return judge_seen(data, held, temp, figure, (when, when), occurrences=(Occurrence(when, when, value),))
