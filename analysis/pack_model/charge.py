"""Charge and energy used, charge state at rest and by counting, heat made in the pack."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.pack_model.common import GAP_PERIODS, NotFitted, resample_pair
from analysis.pack_model.open_circuit import charge_from_rest
from analysis.pack_model.result import PackFit
from analysis.signal import Bools, Floats, Measured, Signal

CAPACITY_REL = 0.05  # 1 sigma; our choice: label capacity against a pack in use
REST_S = 1.0  # our choice: the median of one second is quiet enough to read a rest voltage
REST_MEAN_S = 0.2  # our choice: shorter than any start, long enough for a noisy sensor
REST_C = 0.2  # our choice: below a fifth of the capacity per hour the drop is a millivolt or two a cell
REST_OFFSET_V = 0.010  # our choice: what a cell still recovers after minutes of rest, per cell
OFFSET_SHARE = 0.25  # our choice: a zero error that was found and taken off is known to a quarter of itself
CP_J_KGK = Measured(1000.0, 800.0, 1100.0, "literature range of lithium cells; adiabatic")


@dataclass(frozen=True)
class ChargeState:
    """State of charge in percent: start and end_rest from voltages, end_counted from the start and the charge."""

    start_pct: Measured | NotFitted
    end_counted_pct: Measured | NotFitted
    end_rest_pct: Measured | NotFitted
    start_cell_V: Measured | None
    end_cell_V: Measured | None


def charge_used_Ah(current: Signal, start_s: float, end_s: float) -> Measured | NotFitted:
    """Ah by the trapezoid over valid samples. A gap counts as the mean of its ends, 0 to the peak as interval.

    No figure where the pack would have been charged by its match: braking gives back less than driving took.
    """
    found = _integral(current, start_s, end_s)
    if isinstance(found, NotFitted):
        return found
    if found.high < 0.0:
        return NotFitted(
            f"{current.channel} says that the match charged the pack: its sign or its zero is not to be trusted",
            "say in a reading which way is discharge (scale = -1), and look at the zero of the sensor",
        )
    return _scaled(found, 1 / 3600.0)


def energy_used_Wh(current: Signal, voltage: Signal, start_s: float, end_s: float) -> Measured | NotFitted:
    """Wh: the integral of volts times amperes on the slower one's stamps, both sensors' gains in the interval.

    NotFitted where the two share too few samples.
    """
    pair = resample_pair(current.between(start_s, end_s), voltage.between(start_s, end_s))
    if isinstance(pair, NotFitted):
        return pair
    ok = (pair.usable | np.isfinite(pair.x_floor)) & pair.y_known
    mean_V = float(pair.y[ok].mean()) if bool(ok.any()) else 0.0
    power = Signal(
        "pack_power_W",
        pair.t_s,
        pair.x * pair.y,
        ok,
        np.isfinite(pair.x_floor),
        pair.period_s,
        current.detector,
        float(np.hypot(current.gain_rel, voltage.gain_rel)),
        current.offset * mean_V,
        current.noise * mean_V,
    )
    found = _integral(power, start_s, end_s)
    return found if isinstance(found, NotFitted) else _scaled(found, 1 / 3600.0)


def _scaled(m: Measured, by: float) -> Measured:
    return Measured(m.value * by, m.low * by, m.high * by, m.basis)


def _integral(s: Signal, start_s: float, end_s: float) -> Measured | NotFitted:
    good = s.good()
    cut = good.between(start_s, end_s)
    if len(cut) < 2 or end_s <= start_s:
        return NotFitted(f"{s.channel} holds fewer than two samples in the match", f"log {s.channel}")
    t, x = cut.t_s, cut.x
    # The match rarely starts on a sample: the ends are held, or interpolated where the log goes on beyond them.
    period = cut.period_s
    head, tail = max(start_s, t[0] - period), min(end_s, t[-1] + period)
    t = np.concatenate([[head], t, [tail]])
    x = np.concatenate([np.interp([head], good.t_s, good.x), x, np.interp([tail], good.t_s, good.x)])
    step = np.diff(t)
    gap = step > GAP_PERIODS * period
    area = 0.5 * (x[1:] + x[:-1]) * step
    value = float(area.sum())
    missing = float(step[gap].sum()) + max(end_s - start_s - (tail - head), 0.0)
    peak = max(float(x.max()), 0.0)
    low = value - float(area[gap].sum())
    high = low + missing * peak
    half = np.sqrt(
        _sampling_error(x, period) ** 2
        + (s.gain_rel * value) ** 2
        + (max(OFFSET_SHARE * abs(s.offset), s.noise / np.sqrt(50.0)) * float(step[~gap].sum())) ** 2
    )
    half = 1.96 * float(half)
    basis = f"sensor gain {100 * s.gain_rel:.2g} %" if s.gain_rel else "sensor gain taken as exact"
    if missing > 2 * period:
        basis += f", {missing:.2f} s of the match not logged"
    if bool(cut.clipped.any()):
        return Measured(value, low - half, np.inf, basis + ", sensor clipped: at least")
    return Measured(value, min(low, value) - half, max(high, value) + half, basis)


def _sampling_error(x: Floats, period_s: float) -> float:
    """1 sigma of the sum × period, from the difference between its odd and even samples in 18 blocks."""
    n = (x.shape[0] // 36) * 36
    if n == 0:
        return float(np.ptp(x)) * period_s * x.shape[0] / 2
    blocks = x[:n].reshape(18, -1)
    differs = (blocks[:, ::2].sum(axis=1) - blocks[:, 1::2].sum(axis=1)) * period_s
    return float(np.sqrt(np.sum(differs**2)) / 2)


def lowest_mean_V(
    voltage: Signal, start_s: float, end_s: float, window_s: float = 1.0
) -> tuple[Measured, float] | NotFitted:
    """Lowest mean over `window_s` and where it starts. Windows with a gap or fewer than two samples do not count.

    NotFitted where no window is whole.
    """
    s = voltage.good().between(start_s, end_s)
    if len(s) < 2 or s.t_s[-1] - s.t_s[0] < window_s:
        return NotFitted(f"{voltage.channel} is logged for less than {window_s:g} s", f"log {voltage.channel}")
    step = np.diff(s.t_s)
    area = np.concatenate([[0.0], np.cumsum(0.5 * (s.x[1:] + s.x[:-1]) * step)])
    broken = np.concatenate([[0.0], np.cumsum(step > GAP_PERIODS * s.period_s)])
    starts = s.t_s[: int(np.searchsorted(s.t_s, s.t_s[-1] - window_s, side="right"))]
    end = starts + window_s
    mean = (np.interp(end, s.t_s, area) - area[: starts.shape[0]]) / window_s
    last = np.minimum(np.searchsorted(s.t_s, end, side="left"), len(s) - 1)
    whole = (broken[last] == broken[: starts.shape[0]]) & (last > np.arange(starts.shape[0]))
    if not bool(whole.any()):
        return NotFitted(f"no unbroken {window_s:g} s of {voltage.channel}", "log without dropped samples")
    k = int(np.argmin(np.where(whole, mean, np.inf)))
    inside = s.x[k : last[k] + 1]
    error = s.noise / np.sqrt(inside.shape[0])
    if inside.shape[0] > 2:  # what instants miss between them
        error = float(np.hypot(error, np.sqrt(np.mean(np.diff(inside) ** 2) / 12 / inside.shape[0])))
    half = 1.96 * float(np.hypot(error, s.gain_rel * mean[k]))
    return Measured(float(mean[k]), float(mean[k]) - half, float(mean[k]) + half, f"mean of {window_s:g} s"), float(
        starts[k]
    )


def _rest(current: Signal, limit_A: float, since_s: float, until_s: float) -> Bools:
    """Samples at rest: means over REST_MEAN_S stay under the limit, so that a sensor's noise is no load."""
    n = max(1, round(REST_MEAN_S / current.period_s)) if current.period_s > 0 else 1
    x = np.where(current.valid, current.x, 0.0)
    smooth = np.convolve(x, np.ones(n) / n, mode="same") if 1 < n < len(x) else x
    return np.asarray(current.valid & (np.abs(smooth) <= limit_A) & (current.t_s >= since_s) & (current.t_s <= until_s))


def charge_state(
    current: Signal,
    voltage: Signal,
    *,
    cells: int,
    capacity_Ah: float,
    chemistry: str,
    start_s: float,
    end_s: float,
    fit: PackFit | None = None,
) -> ChargeState:
    """Charge at the start and the end of the match, from rest voltage and by counting; both are stated.

    Rest before the match: the last second with under REST_C·capacity of current before start_s. Without one the
    fitted open-circuit voltage stands in. At the end a pack is still recovering, so only the fitted one is used.
    """
    at_start = _rest_voltage(current, voltage, cells, capacity_Ah, start_s, fit)
    start = charge_from_rest(at_start, chemistry) if isinstance(at_start, Measured) else at_start
    used = charge_used_Ah(current, start_s, end_s)
    counted: Measured | NotFitted
    if isinstance(start, NotFitted):
        counted = start
    elif isinstance(used, NotFitted):
        counted = used
    elif not capacity_Ah > 0:
        counted = NotFitted("the pack's capacity is not known", "state capacity_Ah in the pack's file")
    else:
        # A pack that no longer holds its label capacity has come down further, one above it less far.
        share = 100 * used.value / capacity_Ah
        down = 100 * used.high / capacity_Ah / (1 - 2 * CAPACITY_REL)
        least = 100 * used.low / capacity_Ah / (1 + 2 * CAPACITY_REL)
        low, high = max(start.low - down, 0.0), max(start.high - least, 0.0)
        value = max(start.value - share, 0.0)
        counted = Measured(
            value, min(low, value), max(high, value), f"start less charge used, capacity ±{200 * CAPACITY_REL:.0f} %"
        )
    at_end: Measured | None = None
    if fit is not None and fit.t_s[0] <= end_s <= fit.t_s[-1] + 2 * fit.period_s:
        volts = float(fit.open_circuit_V(np.interp(end_s, fit.t_s, fit.used_Ah))) / cells
        slow = fit.at(10.0)
        error = REST_OFFSET_V + 0.02 + (0.0 if slow is None else 0.5e-3 * (slow.high - slow.low) * _mean(fit) / cells)
        error = float(np.hypot(error, 1.96 * voltage.gain_rel * volts))
        at_end = Measured(volts, volts - error, volts + error, "fitted open-circuit voltage")
    end = (
        charge_from_rest(at_end, chemistry)
        if at_end is not None
        else NotFitted("no fitted pack to tell the open-circuit voltage at the end", "log current and voltage")
    )
    return ChargeState(start, counted, end, at_start if isinstance(at_start, Measured) else None, at_end)


def _mean(fit: PackFit) -> float:
    return float(np.mean(fit.current_A))


def _rest_voltage(
    current: Signal, voltage: Signal, cells: int, capacity_Ah: float, start_s: float, fit: PackFit | None
) -> Measured | NotFitted:
    resting = _rest(current, REST_C * capacity_Ah if capacity_Ah > 0 else 0.5, -np.inf, start_s)
    t = current.t_s
    busy = np.flatnonzero(~resting & current.valid & (t < start_s))
    since = float(t[busy[-1]]) if busy.size else -np.inf
    quiet = voltage.valid & ~voltage.clipped & (voltage.t_s > since) & (voltage.t_s < start_s)
    covered = (t > since) & (t < start_s) & resting
    if bool(covered.any()):
        quiet &= (voltage.t_s >= t[covered][0]) & (voltage.t_s <= t[covered][-1])
        chosen = np.flatnonzero(quiet)
        if chosen.size and voltage.t_s[chosen[-1]] - voltage.t_s[chosen[0]] >= REST_S - 2 * voltage.period_s:
            last = chosen[voltage.t_s[chosen] >= voltage.t_s[chosen[-1]] - REST_S]
            volts = float(np.mean(voltage.x[last])) / cells
            if fit is not None:
                volts += float(np.mean(current.x[covered])) * fit.step_ohm(10.0) / cells
            # A pack that worked shortly before has not come to rest: the drop may still be recovering.
            recovering = 0.0 if not busy.size else 0.03
            half = float(np.hypot(1.96 * voltage.gain_rel * volts, REST_OFFSET_V)) + recovering
            return Measured(volts, volts - half, volts + half + recovering, "rest voltage before the match")
    if fit is not None:
        volts = float(fit.open_circuit_V(np.interp(start_s, fit.t_s, fit.used_Ah))) / cells
        half = float(np.hypot(1.96 * voltage.gain_rel * volts, 0.04))
        return Measured(volts, volts - half, volts + half, "fitted open-circuit voltage, no rest in the log")
    return NotFitted("no second of rest before the match", "start the log a few seconds before the match")


def adiabatic_rise_K(power_W: float, time_s: float, mass_kg: float, cp_J_kgK: float = CP_J_KGK.value) -> float:
    """Kelvin by which a mass warms when nothing is lost: P·t/(m·cp)."""
    return power_W * time_s / (mass_kg * cp_J_kgK)


def pack_temperature_rise_K(fit: PackFit, mass_g: float, start_s: float, end_s: float) -> Measured | NotFitted:
    """Mean warming of the pack over the match from the losses inside it, nothing lost to the air (so at most).

    Losses: current times the fitted drop below open circuit; cp 800 to 1100 J/(kg K). Where the voltage was tapped
    after the lead the lead's losses are in it. The middle of a pack is warmer than the mean.
    NotFitted without a mass, or where the fitted log does not cover the match.
    """
    if not mass_g > 0:
        return NotFitted("the pack's mass is not known", "state mass_g in the pack's file")
    inside = (fit.t_s >= start_s) & (fit.t_s <= end_s)
    if int(inside.sum()) < 2:
        return NotFitted("the fitted log does not cover the match", "log the whole match")
    t = fit.t_s[inside]
    power = fit.current_A[inside] * (fit.open_circuit_V(fit.used_Ah) - fit.predict_V(fit.t_s, fit.current_A))[inside]
    energy = max(float(np.sum(0.5 * (power[1:] + power[:-1]) * np.diff(t))), 0.0)
    r = fit.at(10.0) or fit.at(1.0)
    rel = 0.1 if r is None else max(0.5 * (r.high - r.low) / r.value, 0.02)
    # Gain of the current sensor counts again in I·U.
    rel = float(np.hypot(rel, 1.96 * fit.gain_rel))
    value = adiabatic_rise_K(energy, 1.0, mass_g / 1e3)
    low = adiabatic_rise_K(energy * max(1 - rel, 0.0), 1.0, mass_g / 1e3, CP_J_KGK.high)
    return Measured(value, low, adiabatic_rise_K(energy * (1 + rel), 1.0, mass_g / 1e3, CP_J_KGK.low), CP_J_KGK.basis)
