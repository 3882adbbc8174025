"""Every run of a build in every size that stays cool, for the search: one call heats them all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.binned import Binned, bin_signal
from analysis.fuse_wire import FuseWire, fuse_against_wire
from analysis.fuses import body_of_fuse
from analysis.masses import wire_g
from analysis.match_data import MatchData
from analysis.ratings import OutsideValidity, weakest_limit
from analysis.replay.circuit import copper_mohm
from analysis.signal import Signal
from analysis.stated_path import path_mohm
from analysis.wire_heat import wire_heat
from analysis.wire_run import run_of_wire
from analysis.wiring import RunCurrent, Tree
from ingest.builds import Wire
from ingest.tables.gauges import awg_name

SIZES_AWG = tuple(range(2, 25, 2))  # our choice: what builders stock; even sizes
# Our choice: a margin that the search leaves beyond "close", so that the replay's band does not reach back.
SPARE_PCT = 5.0


@dataclass(frozen=True)
class Sized:
    run: str
    wire: Wire
    gauge: str
    grams: float
    mohm: float
    peak_degC: float
    limit_degC: float
    margin_pct: float


def sized_runs(
    data: MatchData, wiring: Tree, currents: Mapping[str, RunCurrent], supply: list[str], cap: tuple[str, float] | None
) -> dict[str, list[Sized]]:
    """Every run in every size that keeps its temperature margin, lightest first; all heated in one call."""
    loads = _loads(data, wiring, currents, supply, cap)
    models, binned, meta = [], [], []
    for run, load in loads.items():
        old = wiring.runs[run].wire
        for number in SIZES_AWG:
            wire = old.model_copy(
                update={"gauge": awg_name(number), "area_mm2": None, "resistance_mohm_per_m": None, "parallel": 1}
            )
            try:
                model, ohm = run_of_wire(wire), copper_mohm(wire)
                limit = weakest_limit(wire.insulation, stated_degC=wire.limit_degC)
            except OutsideValidity:
                continue
            grams = wire_g(wire)
            if grams is not None:
                models.append(model)
                binned.append(load)
                meta.append((run, wire, grams, ohm, limit.value))
    if not models:
        return {}
    heats = wire_heat(models, binned, data.air_degC[0], air_uncertainty_K=data.air_degC[1])
    need = data.settings.close_margin_pct + SPARE_PCT
    found: dict[str, list[Sized]] = {run: [] for run in loads}
    for (run, wire, grams, ohm, most), heat in zip(meta, heats, strict=True):
        room = most - data.air_degC[0]
        margin = 100.0 * (most - heat.peak.value) / room if room > 0 else -100.0
        if margin >= need and heat.peak.high < most:
            gauge = wire.gauge or ""
            found[run].append(Sized(run, wire, gauge, grams, ohm, heat.peak.value, most, margin))
    return {run: [s for s in sizes if protected(data, wiring, run, s.wire)] for run, sizes in found.items()}


def _loads(
    data: MatchData, wiring: Tree, currents: Mapping[str, RunCurrent], supply: list[str], cap: tuple[str, float] | None
) -> dict[str, Binned]:
    assert data.window is not None
    found: dict[str, Binned] = {}
    taken = None if cap is None else _taken(data, cap)
    for run in supply:
        signal = currents[run].signal
        ends = {wiring.runs[r].wire.to for r in wiring.below(run)}
        if cap is not None and taken is not None and cap[0] in ends:
            signal = signal.with_values(np.maximum(signal.x - np.interp(signal.t_s, taken.t_s, taken.x), 0.0))
        try:
            found[run] = bin_signal(signal, data.settings.wire_bin_s, data.window.start_s, data.window.end_s)
        except OutsideValidity:
            continue
    return found


def _taken(data: MatchData, cap: tuple[str, float]) -> Signal:
    signal = data.signals[f"{cap[0]}_input_current_A"].good()
    return signal.with_values(np.maximum(signal.x - cap[1], 0.0))


def protected(data: MatchData, wiring: Tree, run: str, wire: Wire) -> bool:
    """Whether this wire may take the run's place: no thinner than what the fuse above it protects; a run without one
    stays at least as thick as it is.

    Currents that the fuse leaves uncovered must lie above all that the loads' own limits let through: these matches
    did not draw it, a stall in the next one may. Raises OutsideValidity where gauge or length are not known.
    """
    old = wiring.runs[run].wire
    if not (wire.copper_mm2 or 0.0) < (old.copper_mm2 or 0.0) * 0.99:
        return True
    found = _fuse_over(data, wiring, wire, copper_mohm(wire) - copper_mohm(old))
    if found is None or found.protection not in ("protects", "short only"):
        return False
    most = _may_draw(data, wiring, run)
    return found.uncovered_A is None or (most is not None and found.uncovered_A[0] > most)


# The input of a bridge carries no more than its motor leads do (duty ≤ 1); of three-phase currents stated as an
# amplitude 0.87 at most, as an r.m.s. value 1.22: P = 3/2·V·I with at most V = U/√3 (space vectors, textbook).
INPUT_SHARE = {"phase_rms": 1.23}


def _may_draw(data: MatchData, wiring: Tree, run: str) -> float | None:
    """The most that the controllers behind a run let through, A at the input; None where one has no limiter of its
    own: what it is rated for holds nothing back."""
    assert data.build is not None
    ends = {wiring.runs[r].wire.to for r in wiring.below(run)} | {wiring.runs[run].wire.to}
    controllers = [c for c in data.build.controllers if c.id in ends]
    total = 0.0
    for c in controllers:
        if c.current_limit_A is None:
            return None
        share = 1.0 if c.rating_basis == "input" else INPUT_SHARE.get(c.motor_current_is or "", 1.0)
        total += share * c.current_limit_A
    return total if controllers else None


def uncovered(data: MatchData, wiring: Tree, runs: Sequence[str]) -> tuple[str, ...]:
    """In words, the overloads of these runs that the fuse above them does not cover. wiring: as it would be."""
    found = [_fuse_over(data, wiring, wiring.runs[run].wire, 0.0) for run in runs]
    told = []
    for one in found:
        if one is not None and one.uncovered_A is not None:
            low, high = one.uncovered_A
            told.append(f"{one.fuse} does not cover overloads of {one.run} from {low:.0f} to {high:.0f} A")
    return tuple(told)


def _fuse_over(data: MatchData, wiring: Tree, wire: Wire, more_mohm: float) -> FuseWire | None:
    """The fuse above a run against one wire there, which adds so much to the loop; None where it cannot be told."""
    fuse = next((f for r in reversed(wiring.path_to(wire.to)) for f in wiring.runs[r].fuses), None)
    loop, pack = path_mohm(wiring, wire.to), data.pack
    if fuse is None or loop is None or pack is None or pack.resistance_mohm is None:
        return None
    short = 1000.0 * (pack.full_cell_V or 4.2) * pack.cells / (pack.resistance_mohm + loop + more_mohm)
    try:
        limit = weakest_limit(wire.insulation, stated_degC=wire.limit_degC)
        body, model = body_of_fuse(fuse), run_of_wire(wire)
        return fuse_against_wire(body, model, limit, prospective_A=short, air_degC=data.air_degC[0])
    except OutsideValidity:
        return None
