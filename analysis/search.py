"""The lightest wiring that keeps every margin of a match: gauges × packs × limits, run by run.

Every run in every size is heated on the match's binned i² in one call; the voltage at each load comes from the drop
over its path at its lowest moment. What is found is then replayed, and only that counts as proved. A size is left out
where the fuse above it would not protect it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.changes import changed
from analysis.findings import Finding, Review
from analysis.masses import room_g, wire_g
from analysis.match_data import MatchData
from analysis.pack_check import pack_fit
from analysis.pack_model import PackFit
from analysis.replay import Refused, replay_rows
from analysis.replay.circuit import copper_mohm
from analysis.search_sizes import SPARE_PCT, Sized, sized_runs
from analysis.signal import Floats
from analysis.wiring import RunCurrent, Tree, currents_of, tree
from ingest.builds import Pack

LIMIT_SHARES = (1.0, 0.85, 0.7)  # of the highest current that the largest load drew


@dataclass(frozen=True)
class RunChoice:
    """One run of the answer: its size, what it weighs, how warm it gets and what it may."""

    run: str
    gauge: str
    grams: float
    was: str
    was_grams: float | None
    peak_degC: float
    limit_degC: float


@dataclass(frozen=True)
class Option:
    """One combination. adds_g against the build as it is, pack included; margin_pct the smallest of all."""

    sets: tuple[tuple[str, str], ...]
    runs: tuple[RunChoice, ...]
    pack: str | None
    limit_A: float | None
    adds_g: float
    margin_pct: float


@dataclass(frozen=True)
class Found:
    """best: the lightest that keeps every margin (None: none does, and why); pareto: grams against margin.

    tried: combinations held against the margins; proved: the best was replayed and brought nothing new.
    """

    best: Option | None
    pareto: tuple[Option, ...]
    tried: int
    proved: bool
    note: str


def search(data: MatchData, review: Review, packs: Sequence[Pack] = ()) -> Found:
    """The lightest wiring for this match. packs: others that may be fitted (of as many cells)."""
    if data.build is None:
        return Found(None, (), 0, False, "no build is named")
    wiring = tree(data.build)
    currents = {k: c for k, c in currents_of(data, wiring).items() if isinstance(c, RunCurrent) and c.complete}
    supply = [r.id for r in wiring.runs.values() if not r.is_motor_lead and r.id in currents]
    if not supply or data.window is None:
        return Found(None, (), 0, False, "no run's current is known")
    biggest = _biggest(data)
    options: list[Option] = []
    tried = 0
    for share in LIMIT_SHARES if biggest is not None else (1.0,):
        limit = None if share == 1.0 or biggest is None else float(np.floor(share * biggest[1]))
        cap = None if limit is None or biggest is None else (biggest[0], limit)
        sized = sized_runs(data, wiring, currents, supply, cap)
        if any(not sizes for sizes in sized.values()):
            continue
        for pack in (None, *(p for p in packs if data.pack is None or p.cells == data.pack.cells)):
            found, count = _combined(data, wiring, sized, pack, cap)
            options += found
            tried += count
    room = room_g(data.build)
    light = sorted((o for o in options if room is None or o.adds_g <= max(room, 0.0)), key=lambda o: o.adds_g)
    if not light:
        why = "none keeps every margin" if not options else f"the lightest is {min(o.adds_g for o in options):+.0f} g"
        return Found(None, _pareto(options), tried, False, f"{why}; {_room_words(room)}")
    best, proved, note = _proved(data, review, light, {p.id: p for p in packs})
    if room is not None and room < 0:
        note = f"{_room_words(room)}; {note}".rstrip("; ")
    return Found(best, _pareto(options), tried, proved, note)


def _room_words(room: float | None) -> str:
    if room is None:
        return "the mass limit is not stated"
    return (
        f"{room:.0f} g are left to the mass limit"
        if room >= 0
        else f"the build is {-room:.0f} g over its limit already"
    )


def _biggest(data: MatchData) -> tuple[str, float] | None:
    """The controller that drew most, if its limit is about the input current, and how much."""
    assert data.build is not None
    peaks = [
        (c.id, float(np.max(s.x)))
        for c in data.build.controllers
        if c.rating_basis == "input" and (s := data.inside(f"{c.id}_input_current_A")) is not None
    ]
    return max(peaks, key=lambda pair: pair[1], default=None)


@dataclass(frozen=True)
class _Low:
    """A load at its lowest moment: volts, the limit it is held against, the current in each run, what it drew."""

    branch: str
    volts: float
    floor: float
    full: float
    amps: dict[str, float]
    pack_A: float
    own_A: float


def _lows(data: MatchData, wiring: Tree) -> list[_Low]:
    assert data.build is not None
    found = []
    currents = currents_of(data, wiring)
    pack = data.inside("pack_current_A")
    full = ((data.pack.full_cell_V if data.pack else None) or 4.2) * (data.cells or 1)
    for controller in data.build.controllers:
        volts = data.inside(f"{controller.id}_voltage_V")
        floors = [v for v in (controller.cutoff_V, controller.minimum_V) if v is not None]
        path = wiring.path_to(controller.id)
        if volts is None or not floors or not path or pack is None:
            continue
        at = float(volts.t_s[int(np.argmin(volts.x))])
        amps = {
            run: float(np.interp(at, c.signal.t_s, c.signal.x))
            for run in path
            if isinstance(c := currents[run], RunCurrent)
        }
        own = data.inside(f"{controller.id}_input_current_A")
        drawn = 0.0 if own is None else float(np.interp(at, own.t_s, own.x))
        total = float(np.interp(at, pack.t_s, pack.x))
        found.append(_Low(path[-1], float(volts.x.min()), max(floors), full, amps, total, drawn))
    return found


def _combined(
    data: MatchData,
    wiring: Tree,
    sized: Mapping[str, list[Sized]],
    pack: Pack | None,
    cap: tuple[str, float] | None,
) -> tuple[list[Option], int]:
    """For every size of the root runs the lightest branches that keep their volts: all sizes against all at once."""
    root = next((r for r in wiring.roots if r in sized), None)
    if root is None:
        return [], 0
    lows = {low.branch: low for low in _lows(data, wiring)}
    gain = _pack_gain_ohm(data, pack)
    if gain is None:
        return [], 0
    found: list[Option] = []
    tried = 0
    for base in sized[root]:
        chosen: list[Sized] = [base]
        margins = [base.margin_pct]
        for run, sizes in sized.items():
            if run == root:
                continue
            grams = np.array([s.grams for s in sizes])
            margin = np.array([s.margin_pct for s in sizes])
            tried += len(sizes)
            if run in lows:
                margin = np.minimum(margin, _volt_margins(data, wiring, lows[run], base, sizes, gain, cap))
            good = margin >= data.settings.close_margin_pct + SPARE_PCT
            if not good.any():
                break
            pick = int(np.argmin(np.where(good, grams, np.inf)))
            chosen.append(sizes[pick])
            margins.append(float(margin[pick]))
        else:
            found.append(_option(data, wiring, chosen, min(margins), pack, cap))
    return found, tried


def _volt_margins(
    data: MatchData,
    wiring: Tree,
    low: _Low,
    base: Sized,
    sizes: list[Sized],
    gain_ohm: float,
    cap: tuple[str, float] | None,
) -> Floats:
    """(sizes,) margin of the lowest voltage of one load with this root size and each of its own."""
    old_root = copper_mohm(wiring.runs[base.run].wire)
    old_own = copper_mohm(wiring.runs[low.branch].wire)
    held = cap is not None and wiring.runs[low.branch].wire.to == cap[0]
    taken = max(low.own_A - cap[1], 0.0) if held and cap is not None else 0.0
    fit = pack_fit(data)
    source = fit.step_ohm(0.3) if isinstance(fit, PackFit) else 0.0
    own = np.array([s.mohm for s in sizes])
    above = low.volts + gain_ohm * low.pack_A + low.amps.get(base.run, 0.0) * (old_root - base.mohm) / 1000.0
    volts = (
        above + low.amps.get(low.branch, 0.0) * (old_own - own) / 1000.0 + taken * (source + (base.mohm + own) / 1000.0)
    )
    return np.asarray(100.0 * (volts - low.floor) / max(low.full - low.floor, 1e-9))


def _pack_gain_ohm(data: MatchData, pack: Pack | None) -> float | None:
    """Ohm that another pack saves against the one that was fitted; None where that is not known."""
    if pack is None:
        return 0.0
    fit = pack_fit(data)
    one = fit.at(1.0) if isinstance(fit, PackFit) else None
    if one is None or pack.resistance_mohm is None or data.pack is None or pack.id == data.pack.id:
        return None
    return (one.value - pack.resistance_mohm) / 1000.0


def _option(
    data: MatchData, wiring: Tree, chosen: list[Sized], margin: float, pack: Pack | None, cap: tuple[str, float] | None
) -> Option:
    sets: list[tuple[str, str]] = []
    rows = []
    adds = 0.0
    for one in chosen:
        old = wiring.runs[one.run].wire
        was = wire_g(old)
        rows.append(RunChoice(one.run, one.gauge, one.grams, old.gauge or "", was, one.peak_degC, one.limit_degC))
        adds += one.grams - (was or 0.0)
        if abs((one.wire.copper_mm2 or 0.0) - (old.copper_mm2 or 0.0)) > 0.01 * (old.copper_mm2 or 1.0):
            sets.append((f"wire.{one.run}.gauge", one.gauge))
            if old.parallel != 1:
                sets.append((f"wire.{one.run}.parallel", "1"))
    if pack is not None:
        sets.append(("pack", pack.id))
        if pack.mass_g is not None and data.pack is not None and data.pack.mass_g is not None:
            adds += pack.mass_g - data.pack.mass_g
    if cap is not None:
        sets.append((f"controller.{cap[0]}.current_limit_A", f"{cap[1]:g}"))
    return Option(
        tuple(sets), tuple(rows), None if pack is None else pack.id, None if cap is None else cap[1], adds, margin
    )


def _pareto(options: Sequence[Option]) -> tuple[Option, ...]:
    """What no other option beats in both grams and margin, lightest first."""
    kept: list[Option] = []
    for option in sorted(options, key=lambda o: (o.adds_g, -o.margin_pct)):
        if not kept or option.margin_pct > kept[-1].margin_pct + 1e-9:
            kept.append(option)
    return tuple(kept)


def _proved(
    data: MatchData, review: Review, light: list[Option], packs: Mapping[str, Pack]
) -> tuple[Option | None, bool, str]:
    """The lightest that the replay confirms; at most three are tried (the screening is close)."""
    assert data.build is not None
    known = {(f.check, f.part) for f in review.findings if f.verdict in ("over", "fault", "close")}
    for option in light[:3]:
        if not option.sets:
            return option, True, "the wiring as it is"
        made = replay_rows(data, changed(data.build, data.pack, option.sets, packs), review)
        if isinstance(made, Refused):
            return option, False, f"not replayed: {made.text}"
        rows = [r for r in made[0].rows if isinstance(r, Finding) and r.verdict in ("over", "close")]
        if not [r for r in rows if (r.check, r.part) not in known or r.check == "wire_temperature"]:
            return option, True, ""
    return None, False, "the lightest three bring something close or over when replayed"
