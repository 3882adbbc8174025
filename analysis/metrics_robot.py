"""Metrics of the robot: currents, activity, wires in standard air, harness, radio, temperature rises."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.special import chdtri

from analysis import metrics_drives
from analysis.causes.drives import drives
from analysis.dropouts import losses
from analysis.envelope import Envelope, envelope
from analysis.findings import Review
from analysis.match_data import MatchData, Window
from analysis.metric_kinds import STANDARD_AIR_DEGC, Absent, Metric
from analysis.metrics_pack import Row
from analysis.pack_model import NotFitted, energy_used_Wh
from analysis.pack_model.common import jackknife_half_width
from analysis.ratings import OutsideValidity
from analysis.run_drops import Drop, drops, robust, solve
from analysis.run_loads import i2_band, loads
from analysis.signal import Measured
from analysis.wire_heat import wire_heat
from analysis.wire_run import WireRun, run_of_wire
from analysis.wiring import RunCurrent, currents_of, tree

RMS_S = (0.1, 1.0, 10.0, 60.0)
JACKKNIFE_BLOCKS = 18
MOST_HARNESS_REL = 0.5  # our choice: wider than half of itself it tells nothing over a season


def rows(data: MatchData, review: Review) -> list[Row]:
    """Metrics of the whole robot over the match: r.m.s. in A, times in s, rises in K, harness in mΩ, the link."""
    window = data.window
    if window is None:
        return [Absent("active_s", "", "no match window was found", "log a current")]
    found = [*_rms(data, window), *_activity(data, window), _time_over(review), *_link(data, window)]
    found += _rises(data, window)
    if data.build is None:
        return [*found, Absent("hottest_wire_standard_degC", "wiring", "no build is named", "name the build")]
    return [
        *found,
        *_wires(data),
        *_harness(data),
        *(row for drive in drives(data) for row in metrics_drives.rows(drive)),
    ]


def _rms(data: MatchData, window: Window) -> list[Row]:
    found: list[Row] = []
    parts = [("pack", "pack_current_A")]
    if data.build is not None:
        parts += [(c.id, f"{c.id}_input_current_A") for c in data.build.controllers]
    for part, channel in parts:
        signal = data.get(channel)
        if signal is None:
            found += [Absent(_rms_name(s), part, f"{channel} was not logged", f"log {channel}") for s in RMS_S]
            continue
        key = f"envelope:{channel}"
        env = data.memo.get(key) or envelope(signal, window.start_s, window.end_s)
        data.memo[key] = env
        for length in RMS_S:
            figure = env.at(length) if isinstance(env, Envelope) else env
            if isinstance(figure, NotFitted):
                found.append(Absent(_rms_name(length), part, figure.reason, figure.mend))
            else:
                found.append(
                    Metric(_rms_name(length), part, figure.value, figure.low, figure.high, "A", "", figure.basis)
                )
    return found


def _rms_name(length_s: float) -> str:
    return f"rms_{length_s:g}s_A"


def _activity(data: MatchData, window: Window) -> list[Row]:
    """Seconds in which the pack's current is over a share of its usual peak, and the energy of one of them."""
    names = ("active_s", "energy_per_active_second_J")
    current = data.inside("pack_current_A")
    if current is None or len(current) < 2:
        return [Absent(name, "pack", "pack_current_A was not logged", "log pack_current_A") for name in names]
    level = data.settings.activity_share * float(np.percentile(current.x, 99.5))
    step = np.minimum(np.diff(current.t_s), 5 * current.period_s)  # a gap is not activity
    on = current.x[:-1] > level
    active = float(step[on].sum())
    # What a level that is off by a tenth would have given (our choice).
    bounds = [float(step[current.x[:-1] > level * by].sum()) for by in (1.1, 0.9)]
    basis = f"pack current over {level:.3g} A"
    found: list[Row] = [Metric(names[0], "pack", active, bounds[0], bounds[1], "s", "", basis)]
    volts = data.get("pack_voltage_V")
    whole = data.get("pack_current_A")
    energy = (
        energy_used_Wh(whole, volts, window.start_s, window.end_s)
        if whole is not None and volts is not None and data.same_clock("pack_current_A", "pack_voltage_V")
        else NotFitted("pack current and voltage are not both known on one clock", "log both in one logger")
    )
    if isinstance(energy, NotFitted) or active <= 0 or bounds[0] <= 0:
        reason = energy.reason if isinstance(energy, NotFitted) else "the robot was never active"
        return [*found, Absent(names[1], "pack", reason, "log current and voltage of a whole match")]
    each = (3600 * energy.value / active, 3600 * energy.low / bounds[1], 3600 * energy.high / bounds[0])
    return [*found, Metric(names[1], "pack", *each, "J", "", f"energy of the match over its {basis} time")]


def _time_over(review: Review) -> Row:
    """Seconds in which anything was above its rating: the occurrences of every "over", each moment once."""
    name = "time_over_rating_s"
    held = [f for f in review.findings if f.limit is not None]
    if not held and not review.passed:
        return Absent(name, "", "nothing could be held against a rating", "state ratings in the build and pack files")
    over = sorted((o.start_s, o.end_s) for f in held if f.verdict == "over" for o in f.occurrences)
    total, reached = 0.0, -np.inf
    for start, end in over:
        total += max(end - max(start, reached), 0.0)
        reached = max(reached, end)
    return Metric(name, "", total, total, total, "s", "", f"{len(over)} stretches above a rating")


def _link(data: MatchData, window: Window) -> list[Row]:
    """Dropouts of 0.1 s and more per minute with Garwood's exact Poisson interval (1936), and the link's median."""
    found: list[Row] = []
    seen = losses(data)
    signal = None if seen is None else data.inside(seen[1])
    if seen is None or signal is None:
        found.append(
            Absent("dropouts_per_min", "link", "neither link nor failsafe was logged", "log the receiver's link")
        )
    elif signal.period_s > 3 * data.settings.dropout_s:
        reason = f"{seen[1]} every {signal.period_s:.2g} s misses shorter losses"
        found.append(Absent("dropouts_per_min", "link", reason, "log the link at 10 Hz"))
    else:
        count = sum(end - start >= data.settings.dropout_s for start, end in seen[0])
        minutes = window.length_s / 60
        low = 0.0 if count == 0 else float(chdtri(2 * count, 0.975)) / 2
        high = float(chdtri(2 * (count + 1), 0.025)) / 2
        basis = f"{count} in {minutes:.1f} min, exact Poisson interval"
        found.append(
            Metric("dropouts_per_min", "link", count / minutes, low / minutes, high / minutes, "1/min", "", basis)
        )
    quality = data.inside("link_quality_pct")
    if quality is None:
        found.append(Absent("link_quality_pct", "link", "link_quality_pct was not logged", "log link_quality_pct"))
    else:
        lower, middle, upper = (float(v) for v in np.percentile(quality.x, (25, 50, 75)))
        found.append(Metric("link_quality_pct", "link", middle, lower, upper, "pct", "", "median and quartiles"))
    return found


def _rises(data: MatchData, window: Window) -> list[Row]:
    """Kelvin per kJ from the start of the match to the hottest moment, by the energy that went in until then."""
    found: list[Row] = []
    parts = [("pack", "pack_current_A", "pack_voltage_V")]
    if data.build is not None:
        parts += [(c.id, f"{c.id}_input_current_A", f"{c.id}_voltage_V") for c in data.build.controllers]
    for part, current_name, volts_name in parts:
        name, channel = "temp_rise_per_kJ_K", f"{part}_temp_degC"
        temp, current, volts = data.inside(channel), data.get(current_name), data.get(volts_name)
        missing = [n for n, s in ((channel, temp), (current_name, current), (volts_name, volts)) if s is None]
        if missing or temp is None or current is None or volts is None:
            found.append(Absent(name, part, f"{missing[0]} was not logged", f"log {missing[0]}"))
            continue
        if not data.same_clock(channel, current_name, volts_name):
            found.append(Absent(name, part, "its logs share no clock", "log them in one logger"))
            continue
        early = temp.x[temp.t_s <= temp.t_s[0] + 2.0]
        top = int(temp.x.argmax())
        rise = float(temp.x[top] - np.median(early))
        energy = energy_used_Wh(current, volts, window.start_s, max(float(temp.t_s[top]), window.start_s + 1.0))
        if isinstance(energy, NotFitted) or energy.low <= 0:
            found.append(Absent(name, part, "the energy until then is not known", "log current and voltage"))
            continue
        # A sensor's step and noise: a kelvin (our choice).
        kJ = 3.6 * energy.value
        off = 1.0 + 2 * temp.noise
        low, high = max(rise - off, 0.0) / (3.6 * energy.high), (rise + off) / (3.6 * energy.low)
        found.append(Metric(name, part, max(rise, 0.0) / kJ, low, high, "K", "", f"{rise:.1f} K in {kJ:.1f} kJ"))
    return found


def _wires(data: MatchData) -> list[Row]:
    """Every run once more in air of 25 °C from cold, so that a hot hall does not count against a build."""
    assert data.build is not None
    wiring = tree(data.build)
    made, currents = loads(data, wiring), currents_of(data, wiring)
    models: list[WireRun] = []
    found: list[Row] = []
    name, at = "wire_peak_standard_degC", f"air {STANDARD_AIR_DEGC:.0f} °C"
    for run in wiring.runs.values():
        load = made[run.id]
        if not hasattr(load, "mean_i2"):
            found.append(Absent(name, run.id, load.reason, load.mend))
            continue
        try:
            models.append(run_of_wire(run.wire))
        except OutsideValidity as outside:
            found.append(Absent(name, run.id, str(outside), outside.mend))
    known: list[Metric] = []
    if models:
        signals = [c.signal for m in models if isinstance(c := currents[m.id], RunCurrent)]
        bands = [i2_band(s) for s in signals]
        unsure = [
            not (isinstance(c := currents[m.id], RunCurrent) and c.complete) or b[2]
            for m, b in zip(models, bands, strict=True)
        ]
        try:
            heated = wire_heat(
                models,
                [made[m.id] for m in models],  # type: ignore[misc]
                STANDARD_AIR_DEGC,
                air_uncertainty_K=0.0,
                i2_low_rel=[b[0] for b in bands],
                i2_high_rel=[b[1] for b in bands],
                at_least=unsure,
            )
        except OutsideValidity as outside:
            found += [Absent(name, m.id, str(outside), outside.mend) for m in models]
            heated = ()
        known = [
            Metric(name, h.run.id, h.peak.value, h.peak.low, h.peak.high, "degC", at, h.peak.basis) for h in heated
        ]
    whole = "hottest_wire_standard_degC"
    if not known:
        return [*found, Absent(whole, "wiring", "no run's current is known", "log the pack's current")]
    hot = max(known, key=lambda m: m.value)
    top = Metric(whole, "wiring", hot.value, hot.low, max(m.high for m in known), "degC", at, hot.part)
    return [*found, *known, top]


def harness_figures(data: MatchData) -> tuple[dict[str, Measured], tuple[str, ...]]:
    """mΩ of every run between taps, contacts included, by the tap that tells it best; the runs that none tells."""
    if "harness" in data.memo:
        kept: tuple[dict[str, Measured], tuple[str, ...]] = data.memo["harness"]
        return kept
    assert data.build is not None
    wiring = tree(data.build)
    best: dict[str, Measured] = {}
    for drop in drops(data, wiring, currents_of(data, wiring)):
        if drop.upstream is None:  # the pack is in it
            continue
        for run, figure in _run_mohm(drop).items():
            half = figure.high - figure.value
            if half > MOST_HARNESS_REL * abs(figure.value) or figure.value <= 0:
                continue
            if run not in best or half < best[run].high - best[run].value:
                best[run] = figure
    missing = tuple(run.id for run in wiring.runs.values() if run.id not in best and not run.is_motor_lead)
    data.memo["harness"] = (best, missing)
    return best, missing


def _harness(data: MatchData) -> list[Row]:
    name = "harness_resistance_mohm"
    best, missing = harness_figures(data)
    mend = "log the voltage at its far end and its current"
    absent: list[Row] = [Absent(name, run, "no two voltage taps tell its resistance apart", mend) for run in missing]
    known = [Metric(name, run, m.value, m.low, m.high, "mohm", "", m.basis) for run, m in best.items()]
    return [*known, *absent]


def _run_mohm(drop: Drop) -> dict[str, Measured]:
    x = drop.design()
    _, weights = robust(x, drop.y, drop.on)
    beta = solve(x, drop.y, weights)
    edges = np.linspace(0, len(drop.y), JACKKNIFE_BLOCKS + 1).astype(int)
    left = []
    for a, b in pairwise(edges):
        w = weights.copy()
        w[a:b] = 0.0
        left.append(solve(x, drop.y, w))
    replicates = np.array(left)
    found = {}
    for k, run in enumerate(drop.path):
        half = 1e3 * jackknife_half_width(replicates[:, k])
        value = 1e3 * float(beta[k])
        found[run] = Measured(value, value - half, value + half, f"{drop.upstream} less {drop.tap}, jackknife")
    return found
