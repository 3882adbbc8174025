"""The same match with another wiring, pack, limit or gear: changed signals, and every check run again on them.

Demand I' = I·(V'/V)^n with n = 0.5, band from n = 2 to n = -1 (the latter only where the voltage rises); V' from the
fitted pack and the resistance of the runs, as a difference to what was measured, so that whatever the model does not
know stays as it was. Measured against the demo's simulation run again with the changed robot (tests): lowest voltage
within 0.15 V on average. Holds for a match whose pack could be fitted; everything else is refused with the reason.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis import sag
from analysis.changes import Changes
from analysis.checks import run_checks
from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.outcome import Outcome
from analysis.replay.banded import End, ends, with_band
from analysis.replay.circuit import Circuit, Refused, circuit_of, thinned
from analysis.replay.demand import BAND, MIDDLE, Cap, PackChange, Solved, caps_at, solve
from analysis.replay.levers import Levers, levers
from analysis.replay.signals import changed_data
from analysis.review import review_data
from analysis.separate import put_back, separate
from analysis.signal import Floats
from ingest.builds import Build, Pack

# Our choice: the ends of the band are solved on block means of this many samples (100 Hz of a three-minute match).
END_SAMPLES = 20_000
LEAST_V = 1.0  # our choice: a supply that stands under it stands at nothing

__all__ = ["Changes", "Refused", "Replay", "Replayed", "replay", "replay_rows", "replayed"]


@dataclass(frozen=True, eq=False)
class Replay:
    """data: the changed match; before and after: reviews; after carries the band in every low and high.

    refused says why there is no after. adds_g: grams added, None where a mass is not known. notes: what was taken
    for granted.
    """

    data: MatchData | None
    before: Review
    after: Review | None
    adds_g: float | None
    refused: str | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Replayed:
    """What the replay gives before a review is made of it: the middle and the two ends."""

    data: MatchData
    ends: tuple[End, ...]
    notes: tuple[str, ...]


def replay(data: MatchData, changes: Changes, before: Review | None = None) -> Replay:
    """Replay one match with the changes. data: prepared (analysis.review.prepare); before: its review, if made."""
    if data.build is None:
        raise ValueError("a match without a build cannot be replayed")
    first = before if before is not None else review_data(data, with_advice=False)
    with np.errstate(over="ignore", invalid="ignore"):  # a supply that collapses is refused below
        made = replayed(data, changes, first)
    if isinstance(made, Refused):
        return Replay(None, first, None, changes.adds_g, made.text)
    if _collapsed(data, made.data):
        why = "the volts would fall to nothing: no match can be driven with this, so there is none to replay"
        return Replay(None, first, None, changes.adds_g, f"{why}. Look at the figure and its unit.")
    made.data.memo["rows only"] = True
    after = review_data(made.data, with_advice=False)
    return Replay(made.data, first, with_band(after, made.ends), changes.adds_g, None, made.notes)


def _collapsed(before: MatchData, after: MatchData) -> bool:
    """Whether a voltage that stood all through the match would stand at nothing, or the equations found none."""
    for name in after.signals:
        was, now = before.inside(name), after.inside(name)
        if not name.endswith("_voltage_V") or "rail" in name or was is None or now is None or not len(now):
            continue
        stood = float(np.min(was.x)) > LEAST_V
        if stood and (bool((~np.isfinite(now.x)).any()) or float(np.min(now.x)) < LEAST_V):
            return True
    return False


def replay_rows(data: MatchData, changes: Changes, before: Review) -> tuple[Outcome, Replayed] | Refused:
    """Only the checks' rows on the changed match, for the advice: no causes, no words."""
    made = replayed(data, changes, before)
    if isinstance(made, Refused):
        return made
    made.data.memo["rows only"] = True
    return run_checks(made.data, estimates_too=False), made


def replayed(data: MatchData, changes: Changes, before: Review) -> Replayed | Refused:
    """The changed match and what the ends of the band give; unchanged signals where nothing electrical changed."""
    if not electrical(data, changes):
        memo = {k: v for k, v in data.memo.items() if k in ("pack_fit", "joints", "power_gone", "cell_fits")}
        return Replayed(replace(data, build=changes.build, _inside={}, memo=memo), (), ())
    if separate(data):
        return _apart(data, changes, before)
    made = circuit_of(data, changes, before.curves)
    if isinstance(made, Refused):
        return made
    moved = levers(data, changes, made.fit)
    if isinstance(moved, Refused):
        return moved
    middle = solve(made, MIDDLE, moved.pack, moved.caps, moved.gears)
    main = changed_data(data, changes, made, middle, moved)
    others = []
    coarse = thinned(made, END_SAMPLES)
    rough = middle if coarse is made else solve(coarse, MIDDLE, moved.pack, moved.caps, moved.gears)
    for n, pack, caps in _ends_of(moved):
        end = solve(coarse, n, pack, caps, moved.gears)
        at_end = changed_data(data, changes, coarse, end, replace(moved, pack=pack, caps=caps), volts_only=True)
        shares, heat = _shares(data, rough, end, coarse)
        others.append(End(ends(sag.check(at_end).rows), shares, heat, data.air_degC[0]))
    return Replayed(main, tuple(others), moved.notes)


def _apart(data: MatchData, changes: Changes, before: Review) -> Replayed | Refused:
    """A robot of several packs, each with a tree of its own: every tree that the change touches is replayed alone."""
    if changes.pack != data.pack or changes.other or changes.start_pct is not None:
        return Refused(
            "several packs feed this robot: a change of the wiring, a limit or a gear is replayed, another pack is not",
            "leave the packs as they are",
        )
    now = separate(replace(data, build=changes.build))
    whole = replace(data, build=changes.build, _inside={}, memo={})
    others: list[End] = []
    notes: list[str] = []
    for slot, (name, old), (_, new) in zip(data.build.packs if data.build else (), separate(data), now, strict=True):
        assert new.build is not None
        mine = replace(changes, build=new.build, pack=old.pack)
        if not electrical(old, replace(mine, remade=tuple(run for run in mine.remade if _has(old, run)))):
            continue
        made = replayed(old, mine, before)
        if isinstance(made, Refused):
            return made
        whole = replace(whole, signals=put_back(whole, name, made.data, slot.id), _inside={}, memo={})
        others += [end.named(name) for end in made.ends]
        notes += made.notes
    return Replayed(whole, tuple(others), tuple(notes))


def _has(data: MatchData, run: str) -> bool:
    return data.build is not None and any(wire.id == run for wire in data.build.wires)


def _ends_of(moved: Levers) -> list[tuple[float, PackChange, dict[str, Cap]]]:
    """Exponent, pack and limits at both ends: what each does to the voltage goes the same way at one end."""
    low, high = moved.pack_low or moved.pack, moved.pack_high or moved.pack
    if moved.pack.resistance > 1.0:  # more volts are lost: the steep demand is then the mild end
        return [(BAND[0], high, caps_at(moved.caps, True)), (BAND[1], low, caps_at(moved.caps, False))]
    return [(BAND[0], low, caps_at(moved.caps, False)), (BAND[1], high, caps_at(moved.caps, True))]


def electrical(data: MatchData, changes: Changes) -> bool:
    """Whether any voltage or current would have been another."""
    return data.build is not None and (
        _figures(data.build, data.pack) != _figures(changes.build, changes.pack)
        or bool(changes.remade or changes.removed or changes.other or changes.start_pct is not None)
    )


def _figures(build: Build, pack: Pack | None) -> tuple[object, ...]:
    wires = [(w.gauge, w.area_mm2, w.length_mm, w.parallel, w.resistance_mohm_per_m) for w in build.wires]
    contacts = [(c.id, c.resistance_mohm, c.pole_count) for c in build.contacts]
    controllers = [(c.current_limit_A, c.rating_basis, c.ramp_s) for c in build.controllers]
    gears = [m.gear_ratio for m in build.motors]
    cells = None
    if pack is not None:
        cells = (pack.cells, pack.parallel, pack.capacity_Ah, pack.resistance_mohm, pack.mass_g)
    return (wires, contacts, controllers, gears, cells)


def _shares(data: MatchData, middle: Solved, end: Solved, c: Circuit) -> tuple[dict[str, float], dict[str, float]]:
    """By part: its peak current and its ∫i² at an end, as shares of the middle's."""
    peak = {b.id: _share(middle.input_A[b.id], end.input_A[b.id], np.max) for b in c.branches}
    heat = {b.id: _share(middle.input_A[b.id], end.input_A[b.id], _square) for b in c.branches}
    for found, of in ((peak, np.max), (heat, _square)):
        found["pack"] = _share(middle.pack_A, end.pack_A, of)
        for run in c.wiring.runs.values():
            through = [found[b.id] for b in c.branches if run.id in b.path]
            if run.is_motor_lead:
                through = [found[run.wire.from_]] if run.wire.from_ in found else []
            if not through:
                continue
            share = found["pack"] if run.id in c.wiring.roots else max(through, key=lambda s: abs(s - 1.0))
            for part in (run.id, *(contact.id for contact in run.contacts), *(fuse.id for fuse in run.fuses)):
                found.setdefault(part, share)
        for motor in data.build.motors if data.build is not None else ():
            if motor.controller in found:
                found.setdefault(motor.id, found[motor.controller])
    return peak, heat


def _square(x: Floats) -> float:
    return float(np.sum(np.square(x)))


def _share(middle: Floats, end: Floats, of: Callable[[Floats], float]) -> float:
    before = float(of(middle))
    return float(of(end)) / before if before > 0 else 1.0
