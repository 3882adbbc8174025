"""Current against ratings by window length: controllers, pack, contacts, fuses, the receiver's supply."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.by_duration import by_duration, envelope_of
from analysis.covered import if_seen, unseen
from analysis.envelope import Envelope, worst_rms
from analysis.findings import Estimate, Finding, NotChecked, Passed
from analysis.fuses import body_of_fuse, fuse_load
from analysis.match_data import MatchData
from analysis.outcome import Held, Outcome, Row, joined, judge, not_logged, not_stated
from analysis.pack_model import NotFitted, charge_used_Ah
from analysis.ratings import OutsideValidity
from analysis.sampling import too_slow
from analysis.signal import Signal
from analysis.wiring import NoCurrent, RunCurrent, Tree, currents_of, tree
from ingest.builds import Controller, Fuse


def check(data: MatchData) -> Outcome:
    """Every check on a current: pack, controllers, contacts, fuses, the rail."""
    outcomes = [pack_current(data)]
    if data.build is not None:
        wiring = tree(data.build)
        outcomes += [controllers(data), contacts(data, wiring), fuses(data, wiring), rails(data)]
    return joined(outcomes)


def pack_current(data: MatchData) -> Outcome:
    """pack_current: C figures times capacity by duration. A label's C figure can fail a pack, never vouch for it."""
    rows: list[Row] = []
    signal = data.get("pack_current_A")
    if signal is None:
        return Outcome((not_logged("pack_current", "pack", "pack_current_A"),))
    inside = data.inside("pack_current_A")
    env = envelope_of(data, signal)
    curves = {} if isinstance(env, NotFitted) else {"envelope:pack": env}
    if inside is not None and not isinstance(env, NotFitted):
        rows += _pack_figures(inside, env, data)
    pack = data.pack
    if pack is None:
        rows.append(NotChecked("pack_current", "pack", "no pack is named", "name the pack, or give --pack"))
    elif pack.capacity_Ah is None:
        rows.append(not_stated("pack_current", "pack", "capacity_Ah", "the pack file"))
    elif pack.continuous_C is None and pack.burst_C is None:
        rows.append(not_stated("pack_current", "pack", "continuous_C and burst_C", "the pack file"))
    else:
        scale = pack.capacity_Ah
        burst = None if pack.burst_C is None else pack.burst_C * scale
        held = Held(
            "pack_current",
            "pack",
            0.0,
            0.0,
            "A",
            f"{pack.source_name or 'pack'} C figures of the label (no proof that it can)",
            "current_spike",
            "max",
            "pack_current_A",
        )
        continuous = None if pack.continuous_C is None else pack.continuous_C * scale
        rows.append(
            by_duration(
                data,
                signal,
                held,
                (burst, pack.burst_s, continuous),
                (data.settings.shortest_window_s, np.inf),
            )
        )
    return Outcome(tuple(rows), curves)


def _pack_figures(inside: Signal, env: Envelope, data: MatchData) -> list[Row]:
    """pack_peak_A and pack_mean_A over the match window."""
    rows: list[Row] = []
    at = int(np.argmax(inside.x))
    peak = worst_rms(inside, max(data.settings.shortest_window_s, inside.period_s))
    value = float(inside.x[at])
    high = float(env.rms_high[0]) if len(env.rms_high) else value
    low = value * (1 - 2 * inside.gain_rel) - 2 * inside.noise
    note = f"at {inside.t_s[at]:.1f} s"
    if not isinstance(peak, NotFitted):
        note += f"; {peak[0].value:.0f} A r.m.s. over {data.settings.shortest_window_s:g} s"
    rows.append(Estimate("pack_peak_A", "pack", value, low, max(high, value), "A", "highest sample", note))
    start, end = (
        (data.window.start_s, data.window.end_s) if data.window is not None else (inside.t_s[0], inside.t_s[-1])
    )
    used = charge_used_Ah(data.signals["pack_current_A"], float(start), float(end))
    if not isinstance(used, NotFitted) and end > start:
        # The mean is the charge over the time, and as sure as the charge is: gaps, sampling, gain and zero.
        mean, low_A, high_A = (3600.0 * ah / (end - start) for ah in (used.value, used.low, used.high))
        rows.append(
            Estimate("pack_mean_A", "pack", mean, low_A, high_A, "A", "charge over the match window", used.basis)
        )
    return rows


def controllers(data: MatchData) -> Outcome:
    """burst_current (0.1 s up to 60 s) and continuous_current (60 s), on the current that the rating is about."""
    assert data.build is not None
    rows: list[Row] = []
    curves: dict[str, object] = {}
    for controller in data.build.controllers:
        channel = f"{controller.id}_{'motor' if controller.rating_basis == 'motor' else 'input'}_current_A"
        signal = data.get(channel)
        for name, key, windows in (
            ("burst_current", "burst_A", (data.settings.shortest_window_s, data.settings.continuous_window_s)),
            ("continuous_current", "continuous_A", (data.settings.continuous_window_s, np.inf)),
        ):
            rows.append(_controller_row(data, controller, signal, channel, name, key, windows))
        if signal is not None:
            env = envelope_of(data, signal)
            if not isinstance(env, NotFitted):
                curves[f"envelope:{controller.id}"] = env
    return Outcome(tuple(rows), curves)


def _controller_row(
    data: MatchData,
    controller: Controller,
    signal: Signal | None,
    channel: str,
    name: str,
    key: str,
    windows: tuple[float, float],
) -> Row:
    assert data.build is not None
    file_name = data.build.source_name or "the build file"
    if getattr(controller, key) is None:
        return not_stated(name, controller.id, key, file_name)
    if signal is None:
        other = "input" if "motor_current" in channel else "motor"
        row = not_logged(name, controller.id, channel)
        if data.get(f"{controller.id}_{other}_current_A") is not None:
            reason = (
                f"its rating is about {channel}; only the {other} current was logged, which tells nothing of a stall"
            )
            row = NotChecked(name, controller.id, reason, row.mend)
        return row
    rating = (controller.burst_A, controller.burst_s, controller.continuous_A)
    if name == "burst_current":
        if controller.burst_s is None:
            return not_stated(name, controller.id, "burst_s", file_name)
        if controller.continuous_A is None:
            windows = (windows[0], min(windows[1], controller.burst_s * (1 + 1e-6)))
    held = Held(
        name,
        controller.id,
        0.0,
        0.0,
        "A",
        f"{file_name} {controller.id}.{key}",
        "current_spike",
        "max",
        channel,
    )
    return by_duration(data, signal, held, rating, windows)


def contacts(data: MatchData, wiring: Tree) -> Outcome:
    """contact_current: rated_A of a contact is its 60 s figure."""
    assert data.build is not None
    rows: list[Row] = []
    curves: dict[str, object] = {}
    file_name = data.build.source_name or "the build file"
    currents = currents_of(data, wiring)
    for run in wiring.runs.values():
        current = currents[run.id]
        if isinstance(current, RunCurrent) and not data.memo.get("rows only"):  # else no picture is wanted
            env = envelope_of(data, current.signal)
            if not isinstance(env, NotFitted):
                curves[f"envelope:{run.id}"] = env
        for contact in run.contacts:
            if contact.rated_A is None:
                rows.append(not_stated("contact_current", contact.id, "rated_A", file_name))
            elif isinstance(current, NoCurrent):
                rows.append(NotChecked("contact_current", contact.id, current.reason, current.mend))
            else:
                held = Held(
                    "contact_current",
                    contact.id,
                    contact.rated_A,
                    0.0,
                    "A",
                    f"{file_name} {contact.id}.rated_A",
                    "current_spike",
                    "max",
                    current.signal.channel,
                )
                windows = (data.settings.continuous_window_s, np.inf)
                rated = (None, None, contact.rated_A)
                rows.append(by_duration(data, current.signal, held, rated, windows, not current.complete))
    return Outcome(tuple(rows), curves)


def fuses(data: MatchData, wiring: Tree) -> Outcome:
    """fuse_curve: the real waveform against the time the fuse needs to open."""
    assert data.build is not None
    rows: list[Row] = []
    file_name = data.build.source_name or "the build file"
    currents = currents_of(data, wiring)
    for fuse in data.build.fuses:
        current = currents.get(fuse.wire)
        if fuse.rated_A is None:
            rows.append(not_stated("fuse_curve", fuse.id, "rated_A", file_name))
        elif fuse.curve is None:
            rows.append(not_stated("fuse_curve", fuse.id, "curve", file_name))
        elif current is None or isinstance(current, NoCurrent):
            reason = current.reason if isinstance(current, NoCurrent) else "its wire is not in the tree"
            rows.append(NotChecked("fuse_curve", fuse.id, reason, current.mend if current else "name its wire"))
        elif current.signal.period_s > 1.2 * data.settings.shortest_window_s:
            rows.append(too_slow("fuse_curve", fuse.id, current.signal, 1.0 / data.settings.shortest_window_s))
        else:
            rows.append(_fuse_row(data, fuse, current))
    return Outcome(tuple(rows))


def _fuse_row(data: MatchData, fuse: Fuse, current: RunCurrent) -> Row:
    """The share of its shortest opening time used; past 1 it may open, and only past its longest it must have."""
    assert data.build is not None
    inside = current.signal
    if data.window is not None:
        inside = inside.between(data.window.start_s, data.window.end_s)
    try:
        verdict = fuse_load(body_of_fuse(fuse), inside, at_least=not current.complete)
    except OutsideValidity as outside:
        return NotChecked("fuse_curve", fuse.id, str(outside), outside.mend)
    used = verdict.used_min
    held = Held(
        "fuse_curve",
        fuse.id,
        1.0,
        0.0,
        "1",
        f"{data.build.source_name} {fuse.id}.curve"
        if not isinstance(fuse.curve, str)
        else f"{fuse.curve}{' (gates from memory)' if verdict.rests_on_memory else ''}",
        "current_spike",
        "max",
        inside.channel,
        verdict.used_max < 1.0,  # within the band of its gates it may open: close, never over
    )
    row = judge(
        held,
        used,
        verdict.worst_window,
        data.settings,
        at_least=not current.complete,
        evidence=verdict.notes,
        note=f"{verdict.verdict}; up to {verdict.worst_multiple:.1f} times its rating",
    )
    # A hole adds no damage to the sum, so nothing bounds what a long one hides.
    row = if_seen(row, held, used, unseen(data, inside.good()) if isinstance(row, Passed) else "")
    if isinstance(row, Finding):
        row = replace(row, evidence=tuple(e for e in row.evidence if "from memory: state" not in e))
    return row


def rails(data: MatchData) -> Outcome:
    """rail_current: the regulator's load against its rating, over one second."""
    assert data.build is not None
    rows: list[Row] = []
    file_name = data.build.source_name or "the build file"
    for regulator in data.build.regulators:
        names = (f"{regulator.supplies}_rail_current_A", f"{regulator.id}_rail_current_A")
        signal = next((data.get(n) for n in names if data.get(n) is not None), None)
        if regulator.rated_A is None:
            rows.append(not_stated("rail_current", regulator.id, "rated_A", file_name))
        elif signal is None:
            rows.append(not_logged("rail_current", regulator.id, names[0]))
        elif signal.period_s > 1.2 * data.settings.shortest_window_s:
            rows.append(too_slow("rail_current", regulator.id, signal, 1.0 / data.settings.shortest_window_s))
        else:
            held = Held(
                "rail_current",
                regulator.id,
                regulator.rated_A,
                0.0,
                "A",
                f"{file_name} {regulator.id}.rated_A",
                "current_spike",
                "max",
                signal.channel,
                cause="regulator_overload",
            )
            # A regulator limits within milliseconds, so the shortest window counts, not the longest.
            rated = (regulator.rated_A, np.inf, None)
            rows.append(by_duration(data, signal, held, rated, (data.settings.shortest_window_s, np.inf)))
    return Outcome(tuple(rows))
