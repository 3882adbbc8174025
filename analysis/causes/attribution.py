"""Which happening a rating finding is named after.

For a short window it is what happened at that moment, the rarer before the usual. For a long one it is what put most
i²·t into that window, for that is what the rating is about.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.causes.drives import Drive, Happening, drives
from analysis.findings import Confidence, Finding
from analysis.match_data import MatchData
from analysis.spans import overlap_s
from analysis.wiring import Tree

NEAR_S = 1.0
LONG_S = 3.0  # our choice: longer than any hit or spin-up
LIMITER_ABOVE = 1.1  # our choice: a limiter lets through a tenth more than it is set to
NAMED_SHARE = 0.25  # our choice: of the i²·t of a long window; less explains nothing
# A limiter never explains why a rating was passed, and what a cutoff or trip did came after it.
_RANK = {
    "short": 7, "stall": 6, "start_failure": 5, "sync_loss": 4, "winding_short": 3, "drag": 3, "hit": 2, "spin_up": 2,
    "push": 1,
}  # fmt: skip
_POWER = ("undervoltage_restart", "disconnect_opened", "disconnect_bounce", "fuse_opened", "joint_intermittent",
          "terminal_loose")  # fmt: skip
_WEAK = ("unknown", "pack_resistance", "low_voltage_cutoff", "contact_heating")


def with_cause(
    data: MatchData, finding: Finding, wiring: Tree | None, detected: list[Finding], happened: list[Happening]
) -> Finding:
    """A rating exceeded, named after what the motors, joints or the pack did at that time."""
    if finding.cause not in _WEAK:
        return finding
    for other in detected:
        if finding.check == "cell_minimum" and other.cause == "weak_cell" and finding.part == other.part:
            return replace(finding, cause="weak_cell", evidence=(*finding.evidence, *other.evidence[:1]))
        if finding.check in ("pack_sag", "cell_minimum") and other.check == "pack_resistance":
            return replace(finding, cause=other.cause, could_be=other.could_be)
    if finding.cause == "low_voltage_cutoff":
        return _cutoff(data, finding, wiring, detected, happened)
    if finding.cause == "contact_heating":
        return _heated(data, finding, wiring, detected, happened)
    if finding.cause == "unknown" and finding.kind in ("current_spike", "thermal_buildup"):
        best = _best(data, finding, wiring, happened)
        finding = _bounded(data, finding)
        if best is not None:
            return _named(finding, best, detected)
    return finding


def _named(finding: Finding, best: Happening, detected: list[Finding]) -> Finding:
    """The finding with its cause; a short elsewhere on the same current says where to look."""
    places = finding.could_be
    if best.cause == "short":
        short = next((f for f in detected if f.cause == "short" and f.part == best.part), None)
        places = tuple(dict.fromkeys((best.part, *(short.could_be if short is not None else ()))))
    evidence = (*finding.evidence, _told(finding, best))
    return replace(finding, cause=best.cause, could_be=places, evidence=evidence)


def _told(finding: Finding, happening: Happening) -> str:
    """What happened, with the part it happened to where that is another than the finding's."""
    other = happening.part not in ("", "chassis", finding.part)
    return f"{happening.part.replace('_', ' ')}: {happening.detail}" if other else happening.detail


def _bounded(data: MatchData, finding: Finding) -> Finding:
    """Close only by what a slow log may hide, where the controller's own limiter does not let through that much."""
    drive = next((d for d in drives(data) if d.id == finding.part), None) if data.build is not None else None
    if drive is None or drive.limit_A is None or drive.rated_A is None or finding.verdict != "close":
        return finding
    if (
        finding.limit is None
        or finding.measured is None
        or (finding.margin_pct or 0.0) < data.settings.close_margin_pct
    ):
        return finding
    most = LIMITER_ABOVE * drive.limit_A
    if finding.check != "burst_current" or most > (1.0 - data.settings.close_margin_pct / 100.0) * finding.limit:
        return finding
    if float(np.abs(drive.rated_A).max()) > most:
        return finding
    why = (
        f"a slow log may hide more, but its controller is set to {drive.limit_A:g} A and never showed over {most:.0f} A"
    )
    return replace(finding, verdict="note", evidence=(*finding.evidence, why))


def _cutoff(
    data: MatchData, finding: Finding, wiring: Tree | None, detected: list[Finding], happened: list[Happening]
) -> Finding:
    """An input under cutoff_V is a cutoff only where the output was cut; else it is what pulled the input down."""
    span = (finding.start_s - NEAR_S, finding.end_s + NEAR_S)
    lost = next((f for f in detected if f.cause in _POWER and _near(f, span)), None)
    if lost is not None:
        why = f"its supply was lost ({lost.evidence[0]})" if lost.evidence else "its supply was lost"
        places = () if lost.part == finding.part else tuple(dict.fromkeys((lost.part, *lost.could_be)))
        named = replace(finding, cause=lost.cause, could_be=places, evidence=(*finding.evidence, why))
        return _doubted(named)
    if any(f.cause == "low_voltage_cutoff" and f.part == finding.part and _near(f, span) for f in detected):
        return finding
    drive = next((d for d in drives(data) if d.id == finding.part), None) if data.build is not None else None
    went_on = drive is not None and drive.command_pct is not None
    if not went_on:
        return _doubted(finding)
    best = _best(data, finding, None, [h for h in happened if h.cause in _RANK])
    why = "its output went on: the dip was too short or too shallow for its cutoff"
    cause = best.cause if best is not None else "unknown"
    more = (_told(finding, best),) if best is not None else ()
    return _doubted(replace(finding, cause=cause, evidence=(*finding.evidence, why, *more)))


def _near(finding: Finding, span: tuple[float, float]) -> bool:
    places = [(o.start_s, o.end_s) for o in finding.occurrences] or [(finding.start_s, finding.end_s)]
    return any(overlap_s(place, span) >= 0 for place in places)


def _doubted(finding: Finding) -> Finding:
    """The figure may be certain; the cause is not."""
    sure: Confidence = "likely" if finding.confidence == "certain" else finding.confidence
    return replace(finding, confidence=sure)


def _heated(
    data: MatchData, finding: Finding, wiring: Tree | None, detected: list[Finding], happened: list[Happening]
) -> Finding:
    """A sound contact that gets hot carries too much: named after the load where that load is a fault."""
    if any(f.check == "joint" for f in detected):
        return finding
    faults = [h for h in happened if h.cause in ("short", "stall", "winding_short", "drag", "start_failure")]
    best = _best(data, finding, wiring, faults)
    if best is None:
        return finding
    return replace(finding, cause=best.cause, evidence=(*finding.evidence, _told(finding, best)))


def _best(data: MatchData, finding: Finding, wiring: Tree | None, happened: list[Happening]) -> Happening | None:
    parts = loads_below(finding.part, wiring)
    span = (finding.start_s - NEAR_S, finding.end_s + NEAR_S)
    near = [
        h
        for h in happened
        if h.cause in _RANK and (not parts or h.part in parts or h.part == "chassis") and overlap_s(span, h.span) > 0
    ]
    own = [h for h in near if h.part != "chassis"]
    if not own:
        return near[0] if near else None
    window = finding.facts.get("window_s")
    length = float(window) if isinstance(window, int | float) else finding.end_s - finding.start_s
    if length < LONG_S and finding.kind != "thermal_buildup":
        return max(own, key=lambda h: (_RANK[h.cause], h.length_s))
    return _hottest(data, own, span)


def _hottest(data: MatchData, happened: list[Happening], span: tuple[float, float]) -> Happening | None:
    """The happening whose kind put the most i²·t into the span; None where that is little of the whole."""
    by_id: dict[str, Drive] = {drive.id: drive for drive in drives(data)} if data.build is not None else {}
    whole = sum(_heat(drive, *span) for drive in by_id.values() if drive.id in {h.part for h in happened})
    share: dict[str, float] = {}
    for one in happened:
        drive = by_id.get(one.part)
        if drive is not None:
            start, end = max(one.start_s, span[0]), min(one.end_s, span[1])
            share[one.cause] = share.get(one.cause, 0.0) + _heat(drive, start, end)
    if not share:
        return max(happened, key=lambda h: (_RANK[h.cause], h.length_s))
    # A standing fault (drag) spans the hits within it: it is named where it holds the larger part by itself.
    cause = max(share, key=lambda name: (share[name] > 0.5 * max(share.values()), _RANK[name], share[name]))
    if share[cause] < NAMED_SHARE * whole:
        return None
    return max((h for h in happened if h.cause == cause), key=lambda h: overlap_s(h.span, span))


def _heat(drive: Drive, start: float, end: float) -> float:
    inside = (drive.t_s >= start) & (drive.t_s <= end)
    return float(np.square(drive.current_A[inside]).sum()) * drive.period_s


def loads_below(part: str, wiring: Tree | None) -> set[str]:
    """Controllers whose current flows through a part; empty: all."""
    if wiring is None or part in ("pack",):
        return set()
    run = part if part in wiring.runs else wiring.run_of_contact(part)
    if run is None:
        run = next((r.id for r in wiring.runs.values() if any(f.id == part for f in r.fuses)), None)
    if run is None:
        return {part}
    return {wiring.runs[below].wire.to for below in wiring.below(run)} | {part}
