"""Limits, ramps and gears of controllers and motors."""

from __future__ import annotations

import numpy as np

from analysis.candidates.common import AIM, GEARS, SETTING, Candidate
from analysis.envelope import Envelope, rated_limit_A
from analysis.findings import Finding, Review
from analysis.match_data import MatchData
from analysis.signal import Signal
from analysis.wiring import Tree
from ingest.builds import Controller


def limit_changes(data: MatchData, review: Review, f: Finding, serious: list[Finding]) -> list[Candidate]:
    """The current limit that keeps every row of this controller inside its rating; for a drive also its gears."""
    assert data.build is not None
    motor = next((m for m in data.build.motors if f.part in (m.id, m.controller)), None)
    name = motor.controller if motor is not None else f.part
    controller = next((c for c in data.build.controllers if c.id == name), None)
    if controller is None:
        return []
    mine = [o for o in serious if o.part in (name, motor.id if motor is not None else name)]
    share = min((_share_needed(data, o) for o in mine if o.limit is not None), default=1.0)
    found = []
    limit = _lowered(data, controller, share)
    inside = _inside_its_rating(data, review, controller, limit)
    limit = inside if inside is not None and limit is not None else limit
    ids = tuple(o.id for o in mine if o.limit is not None)
    stalled = any(o.cause == "stall" for o in mine)
    if limit is not None:
        sets = ((f"controller.{name}.current_limit_A", f"{limit:g}"),)
        action = "free_and_limit" if stalled else "limit"
        found.append(Candidate(sets, action, (name,), f"{limit:g} A", SETTING, ids, "the controller's programmer"))
    if motor is not None and motor.gear_ratio is not None and controller.motor_type == "brushed" and not stalled:
        ratio = float(f"{motor.gear_ratio / share:.2g}")
        sets = ((f"motor.{motor.id}.gear_ratio", f"{ratio:g}"),)
        found.append(Candidate(sets, "gears", (motor.id,), f"{ratio:g}", GEARS, ids, "the other gears"))
    if controller.motor_type == "brushless" and not stalled:
        ramp = max(2.0 * (controller.ramp_s or 0.0), 1.5 / max(share, 0.3))
        sets = ((f"controller.{name}.ramp_s", f"{ramp:.2g}"),)
        found.append(Candidate(sets, "ramp", (name,), f"{ramp:.2g} s", SETTING, ids, "the controller's programmer"))
    return found


def _share_needed(data: MatchData, f: Finding) -> float:
    """By what share of its current a part comes back inside with room to spare."""
    assert f.measured is not None and f.limit is not None
    room = 1.0 - AIM * data.settings.close_margin_pct / 100.0
    if f.unit == "degC":
        air = data.air_degC[0]
        return float(np.sqrt(max(room * (f.limit - air), 1.0) / max(f.measured - air, 1.0)))
    return room * f.limit / max(f.measured, 1e-9)


def _lowered(data: MatchData, controller: Controller, share: float) -> float | None:
    """A lower limit in whole amperes; None where nothing was drawn or it would not be lower."""
    basis = "motor" if controller.rating_basis == "motor" else "input"
    signal = data.inside(f"{controller.id}_{basis}_current_A")
    if signal is None or share >= 1.0:
        return None
    peak = float(np.percentile(np.abs(signal.x), 99.9))
    top = min(peak, controller.current_limit_A or peak)
    limit = float(np.floor(share * top))
    return limit if 1.0 <= limit < top else None


def _inside_its_rating(data: MatchData, review: Review, controller: Controller, start_A: float | None) -> float | None:
    """The highest limit up to start_A that keeps every window of the rating inside; None where nothing tells."""
    env = review.curves.get(f"envelope:{controller.id}")
    basis = "motor" if controller.rating_basis == "motor" else "input"
    signal = data.inside(f"{controller.id}_{basis}_current_A")
    if not isinstance(env, Envelope) or signal is None or start_A is None:
        return None
    room = 1.0 - AIM * data.settings.close_margin_pct / 100.0
    rated = [
        (float(w), float(at), rated_limit_A(float(w), controller.burst_A, controller.burst_s, controller.continuous_A))
        for w, at in zip(env.window_s, env.at_s, strict=True)
        if w >= data.settings.shortest_window_s
    ]
    square = np.square(signal.x)
    for limit in np.arange(start_A, 0.4 * start_A, -1.0):
        capped = np.minimum(square, limit**2)
        worst = max(
            (float(np.mean(capped[_slice(signal, at, w)])) / (room * most) ** 2 for w, at, most in rated if most),
            default=0.0,
        )
        if worst <= 1.0:
            return float(limit)
    return None


def _slice(signal: Signal, at: float, window: float) -> slice:
    a, b = np.searchsorted(signal.t_s, [at, at + window])
    return slice(int(a), max(int(b), int(a) + 1))


def limit_on_run(data: MatchData, wiring: Tree, f: Finding, serious: list[Finding]) -> list[Candidate]:
    """The largest load below a run, held lower."""
    assert data.build is not None
    run = f.part if f.part in wiring.runs else wiring.run_of_contact(f.part)
    run = run or next((r.id for r in wiring.runs.values() if any(x.id == f.part for x in r.fuses)), None)
    if run is None or f.limit is None or f.measured is None:
        return []
    ends = {wiring.runs[r].wire.to for r in wiring.below(run)} | {wiring.runs[run].wire.from_}
    peaks = {
        c.id: float(np.abs(s.x).max())
        for c in data.build.controllers
        if c.id in ends and (s := data.inside(f"{c.id}_input_current_A")) is not None
    }
    if not peaks:
        return []
    biggest = max(peaks, key=lambda name: peaks[name])
    controller = next(c for c in data.build.controllers if c.id == biggest)
    share = 0.7 if f.unit == "1" else _share_needed(data, f)  # a fuse's time goes with a high power of the current
    limit = _lowered(data, controller, share)
    if limit is None:
        return []
    sets = ((f"controller.{biggest}.current_limit_A", f"{limit:g}"),)
    return [Candidate(sets, "limit", (biggest,), f"{limit:g} A", SETTING, (f.id,), "the controller's programmer")]
