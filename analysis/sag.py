"""Voltage checks: the pack and its cells, each controller's cutoff and limits, the receiver's rail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.covered import judge_seen, unseen
from analysis.findings import Estimate, NotChecked, Occurrence, Passed
from analysis.match_data import MatchData
from analysis.outcome import Held, Outcome, Row, joined, not_logged, not_stated
from analysis.sampling import too_slow, unseen_share
from analysis.signal import Measured, Signal

# Our choice: a mean over 1 s from fewer samples than this says little about the second.
SAMPLES_PER_MEAN = 4
# The worst dip may lie in a gap: it is then taken to be deeper than the deepest seen by this share (our choice: what
# 10 Hz hides at worst).
GAP_SHARE = 0.14


def lowest_mean(signal: Signal, window_s: float) -> tuple[float, float, float]:
    """The lowest mean over any window of that length, and its span.

    The signal holds valid samples only; windows that span a gap of the log are left out. A signal shorter than
    the window gives its own mean.
    """
    t, x = signal.t_s, signal.x
    if len(t) < 2 or t[-1] - t[0] <= window_s:
        return float(np.mean(x)), float(t[0]), float(t[-1])
    steps = np.diff(t)
    area = np.concatenate(([0.0], np.cumsum(0.5 * (x[1:] + x[:-1]) * steps)))
    ends = np.searchsorted(t, t + window_s, side="right") - 1
    starts = np.arange(len(t))
    span = t[ends] - t[starts]
    whole = (t + window_s <= t[-1] + 1e-9) & (span >= 0.5 * window_s)
    if signal.period_s > 0:
        broken = np.concatenate(([0], np.cumsum(steps > 5.0 * signal.period_s)))
        whole &= broken[ends] == broken[starts]
    if not whole.any():
        return float(np.mean(x)), float(t[0]), float(t[-1])
    mean = np.where(whole, (area[ends] - area[starts]) / np.maximum(span, 1e-12), np.inf)
    at = int(np.argmin(mean))
    return float(mean[at]), float(t[at]), float(t[ends[at]])


def sensor_spread(signal: Signal, value: float) -> float:
    """How far a sample may be off by its sensor, in its unit: noise and gain of two sigma, and the zero error."""
    return 2.0 * signal.noise + 2.0 * signal.gain_rel * abs(value) + abs(signal.offset)


def hidden_share(signal: Signal) -> float:
    """How much of a swing its deepest sample may hide, as a share of what was seen of it.

    Twice what instants at its rate miss, unless they are known to be instants: a mean over the period hides the
    dip inside it as well (our choice; a simulated dip at 10 Hz needed 1.8 times).
    """
    share = max(unseen_share(signal), GAP_SHARE if _has_gaps(signal) else 0.0)
    return share if signal.detector == "instant" else 2.0 * share


def lowest(signal: Signal) -> tuple[Measured, float]:
    """The lowest sample with what the rate may have hidden, and its time."""
    at = int(np.argmin(signal.x))
    value = float(signal.x[at])
    usual = float(np.median(signal.x))
    hidden = hidden_share(signal) * max(usual - value, 0.0)
    basis = f"lowest sample at {1.0 / signal.period_s:.3g} Hz" if signal.period_s > 0 else "one sample"
    spread = sensor_spread(signal, value)
    return Measured(value, value - hidden - spread, value + spread, basis), float(signal.t_s[at])


def _has_gaps(signal: Signal) -> bool:
    return len(signal) > 1 and bool((np.diff(signal.t_s) > 5.0 * signal.period_s).any())


def highest(signal: Signal) -> tuple[Measured, float]:
    """(the highest sample with its interval, in the signal's unit; its time in s). What is unseen widens it upward."""
    at = int(np.argmax(signal.x))
    value = float(signal.x[at])
    hidden = hidden_share(signal) * max(value - float(np.median(signal.x)), 0.0)
    spread = sensor_spread(signal, value)
    return Measured(value, value - spread, value + hidden + spread, "highest sample"), float(signal.t_s[at])


def dips(signal: Signal, limit: float) -> tuple[Occurrence, ...]:
    """Every stretch under the limit with its lowest value."""
    under = signal.x < limit
    if not under.any():
        return ()
    edges = np.flatnonzero(np.diff(np.concatenate(([False], under, [False])).astype(np.int8)))
    found = []
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        found.append(Occurrence(float(signal.t_s[start]), float(signal.t_s[end - 1]), float(signal.x[start:end].min())))
    merged: list[Occurrence] = []
    for one in found:
        if merged and one.start_s - merged[-1].end_s < 0.5 and merged[-1].measured is not None:
            lower = min(merged[-1].measured, one.measured if one.measured is not None else merged[-1].measured)
            merged[-1] = Occurrence(merged[-1].start_s, one.end_s, lower)
        else:
            merged.append(one)
    return tuple(merged)


def pack_checks(data: MatchData) -> Outcome:
    """pack_sag on the pack's voltage, cell_minimum on the cells: both on the lowest mean over one second."""
    rows: list[Row] = []
    pack, cells = data.pack, data.cells
    minimum = pack.cell_minimum_V if pack is not None else None
    full = (pack.full_cell_V if pack is not None else None) or 4.2
    source = f"{pack.source_name or 'pack'} minimum_cell_V" if pack and pack.minimum_cell_V else ""
    memory = bool(pack is not None and pack.minimum_cell_V is None and minimum is not None)
    if memory:
        source = "default for lithium-polymer (common practice, no source)"
    volts = data.inside("pack_voltage_V")
    if volts is not None:
        figure, at = lowest(volts)
        rows.append(
            Estimate(
                "pack_minimum_V",
                "pack",
                figure.value,
                figure.low,
                figure.high,
                "V",
                "lowest sample",
                f"at {at:.1f} s",
            )
        )
    if minimum is None:
        why = not_stated("pack_sag", "pack", "minimum_cell_V", "the pack file")
        if pack is None:
            why = NotChecked(
                "pack_sag", "pack", "no pack is named", "name the pack of this match, or give --pack or --cells"
            )
        rows += [why, replace(why, check="cell_minimum")]
        return Outcome(tuple(rows))
    if volts is None:
        rows.append(not_logged("pack_sag", "pack", "pack_voltage_V"))
    elif cells is None:
        rows.append(not_stated("pack_sag", "pack", "cells", "the pack file"))
    else:
        held = Held(
            "pack_sag",
            "pack",
            minimum * cells,
            full * cells,
            "V",
            source,
            "voltage_sag",
            "min",
            "pack_voltage_V",
            cause="pack_resistance",
        )
        rows.append(_mean_check(data, held, volts))
    rows += _cell_rows(data, minimum, full, source)
    return Outcome(tuple(rows))


def _cell_rows(data: MatchData, minimum: float, full: float, source: str) -> list[Row]:
    names = [n for n in data.signals if n.startswith("cell") and n.endswith("_voltage_V")]
    if data.get("cell_min_V") is not None:
        names.append("cell_min_V")
    rows: list[Row] = []
    worst: tuple[float, str, Signal] | None = None
    for name in names:
        signal = data.inside(name)
        if signal is None:
            continue
        value = lowest_mean(signal, data.settings.cell_mean_s)[0]
        if worst is None or value < worst[0]:
            worst = (value, name, signal)
    if worst is None:
        mend = "measure each cell now; log the balance lead next time"
        return [NotChecked("cell_minimum", "pack", "the log holds no cell voltages", mend)]
    value, name, signal = worst
    part = "pack" if name == "cell_min_V" else name.removesuffix("_voltage_V")
    held = Held("cell_minimum", part, minimum, full, "V", source, "voltage_sag", "min", name, cause="pack_resistance")
    row = _mean_check(data, held, signal)
    cells = [s for n in names if (s := data.inside(n)) is not None and not unseen(data, s)]
    blind = (data.cells or 0) - len(cells)
    if isinstance(row, Passed) and name != "cell_min_V" and blind > 0:
        reason = f"{blind} of {data.cells} cells were not seen; of the others the lowest had {row.measured:.2f} V"
        row = NotChecked("cell_minimum", part, reason, "measure each cell now; log every cell next time")
    rows.append(row)
    low, at = lowest(signal)
    rows.append(Estimate("cell_minimum_V", part, low.value, low.low, low.high, "V", "lowest sample", f"at {at:.1f} s"))
    return rows


def _mean_check(data: MatchData, held: Held, signal: Signal) -> Row:
    window = data.settings.cell_mean_s
    if signal.period_s * SAMPLES_PER_MEAN > window:
        return too_slow(held.check, held.part, signal, SAMPLES_PER_MEAN / window)
    value, start, end = lowest_mean(signal, window)
    spread = sensor_spread(signal, value)
    figure = Measured(value, value - spread, value + spread, f"lowest mean over {window:g} s")
    return judge_seen(data, held, signal, figure, (start, end))


def controller_checks(data: MatchData) -> Outcome:
    """controller_cutoff (its low-voltage cutoff) and controller_voltage (restart and trip limits)."""
    rows: list[Row] = []
    assert data.build is not None
    name = data.build.source_name or "the build file"
    cells = data.cells
    full_V = 4.2 * cells if cells else None
    for controller in data.build.controllers:
        channel = f"{controller.id}_voltage_V"
        signal = data.inside(channel)
        for check, limit, key in (
            ("controller_cutoff", controller.cutoff_V, "cutoff_V"),
            ("controller_voltage", controller.minimum_V, "minimum_V"),
        ):
            if limit is None:
                rows.append(not_stated(check, controller.id, key, name))
            elif signal is None:
                rows.append(not_logged(check, controller.id, channel))
            elif signal.period_s > 1.2 * data.settings.shortest_window_s:
                rows.append(too_slow(check, controller.id, signal, 1.0 / data.settings.shortest_window_s))
            else:
                figure, at = lowest(signal)
                ref = full_V or float(np.percentile(signal.x, 99))
                cause = "undervoltage_restart" if key == "minimum_V" else "low_voltage_cutoff"
                held = Held(
                    check,
                    controller.id,
                    limit,
                    ref,
                    "V",
                    f"{name} {controller.id}.{key}",
                    "voltage_sag",
                    "min",
                    channel,
                    cause=cause,
                )
                rows.append(judge_seen(data, held, signal, figure, (at, at), occurrences=dips(signal, limit)))
        if controller.maximum_V is not None and signal is not None and signal.period_s <= 0.12:
            figure, at = highest(signal)
            ref = float(np.median(signal.x))
            held = Held(
                "controller_overvoltage",
                controller.id,
                controller.maximum_V,
                ref,
                "V",
                f"{name} {controller.id}.maximum_V",
                "voltage_sag",
                "max",
                channel,
                cause="regeneration_trip",
            )
            rows.append(judge_seen(data, held, signal, figure, (at, at)))
        elif controller.maximum_V is None:
            rows.append(not_stated("controller_overvoltage", controller.id, "maximum_V", name))
        else:
            rows.append(not_logged("controller_overvoltage", controller.id, f"{channel} at 10 Hz or more"))
    return Outcome(tuple(rows))


def rail_checks(data: MatchData) -> Outcome:
    """rail_voltage: the receiver's supply against the receiver's minimum."""
    assert data.build is not None
    rows: list[Row] = []
    name = data.build.source_name or "the build file"
    for regulator in data.build.regulators:
        supplied = regulator.supplies
        names = (f"{supplied}_rail_voltage_V", f"{regulator.id}_rail_voltage_V", f"{supplied}_voltage_V")
        channel = next((c for c in names if c in data.signals), names[0])
        signal = data.inside(channel)
        minimum = data.build.receiver.minimum_V
        if minimum is None:
            rows.append(not_stated("rail_voltage", supplied, "receiver.minimum_V", name))
        elif signal is None:
            rows.append(not_logged("rail_voltage", supplied, channel))
        elif signal.period_s > 1.2 * data.settings.shortest_window_s:
            rows.append(too_slow("rail_voltage", supplied, signal, 1.0 / data.settings.shortest_window_s))
        else:
            figure, at = lowest(signal)
            ref = regulator.output_V or float(np.median(signal.x))
            held = Held(
                "rail_voltage",
                supplied,
                minimum,
                ref,
                "V",
                f"{name} receiver.minimum_V",
                "voltage_sag",
                "min",
                channel,
                cause="brown_out",
            )
            under = dips(signal, minimum)
            deepest = min(under, key=lambda o: o.measured or 0.0) if under else None
            span = (deepest.start_s, deepest.end_s) if deepest else (at, at)
            rows.append(judge_seen(data, held, signal, figure, span, occurrences=under))
    return Outcome(tuple(rows))


def check(data: MatchData) -> Outcome:
    """Every check on a voltage: pack and cells, controllers, the rail."""
    outcomes = [pack_checks(data)]
    if data.build is not None:
        outcomes += [controller_checks(data), rail_checks(data)]
    return joined(outcomes)
