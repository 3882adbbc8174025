"""Weight that can be taken out of wire that never gets near its limit: thinner runs, for the end of a review's advice.

Only where many matches of the build say so: every one of them by its kept figures, this one by a replay. From another
match's peak in standard air a bound follows for the thinner wire: with its copper down to a share a, resistance goes
with 1/a and heat capacity with no more than 1/a, and it cools no more slowly, so that at no moment its rise is more
than 1/a² times the old one, but for the copper's own resistance, which rises with it (held against the heat model over
random loads and sizes in the tests). Never a run that was not checked, that a finding names or lies below, that has no
fuse which would still protect it, or that the loads' own ratings could bring near its limit (`check`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

from analysis.build_check import check_build
from analysis.candidates.common import LOW_VOLTS, OPEN, WIRE, Candidate
from analysis.changes import changed
from analysis.findings import Finding, NotChecked, Passed, Review
from analysis.masses import wire_g
from analysis.match_data import MatchData
from analysis.metric_kinds import STANDARD_AIR_DEGC
from analysis.outcome import margin_pct
from analysis.ratings import OutsideValidity, value, weakest_limit
from analysis.replay.circuit import copper_mohm
from analysis.run_loads import loads
from analysis.search_sizes import protected
from analysis.signal import Measured
from analysis.wire_run import run_of_wire
from analysis.wiring import Run, RunCurrent, Tree, currents_of, tree
from ingest.builds import Build, Wire
from ingest.tables.gauges import awg_area_mm2, awg_name

SERIOUS = ("over", "fault", "close")
WARM_AIR_DEGC = 40.0  # our choice: a chassis in a hot hall; no row of another match says how warm its air was
STEPS = 4  # our choice: at most four gauge numbers thinner at a time, then look at the log again
THINNEST_AWG = 22  # our choice: thinner wire breaks by being handled
MOST_DROP_V = 0.1  # our choice: under the band of a replay, and a seventh of the close margin of a six-cell pack
LEAST_G = 1.0  # our choice: less is not worth opening a robot for
RMS = "rms_0.1s_A"
NEEDS = "wire of that size, and contacts that take it"


@dataclass(frozen=True)
class Past:
    """What another match of the same build tells: each run's peak from cold in standard air, °C; the worst r.m.s. over
    0.1 s of the pack and each controller's input, A; the parts that a serious finding of it is about or may be."""

    match: str
    wire_degC: Mapping[str, Measured]
    rms_A: Mapping[str, Measured]
    serious: frozenset[str]


@dataclass(frozen=True)
class Spare:
    """A change that only takes weight out.

    worst_degC: the warmest that any of its runs gets, by the bound, in any of the matches; limit_degC and margin_pct
    of that run; drop_V: the most volts that a load loses; matches: how many told, untold: how many did not.
    """

    candidate: Candidate
    worst_degC: float
    limit_degC: float
    margin_pct: float
    drop_V: float
    matches: int
    untold: int
    grams: float


@dataclass(frozen=True)
class _Thinner:
    run: str
    gauge: str
    grams: float
    worst_degC: float
    limit_degC: float
    margin_pct: float
    drop_V: float
    matches: int


def spare(data: MatchData, review: Review, past: Sequence[Past]) -> Spare | None:
    """The thinner runs that every match allows, as one change; None where there are too few matches or no such run."""
    build, s = data.build, data.settings
    if build is None or data.pack is None or len(past) + 1 < s.spare_matches:
        return None
    wiring = tree(build)
    found = [one for run in wiring.runs.values() if (one := _thinner(data, review, wiring, run, past)) is not None]
    found.sort(key=lambda one: one.grams, reverse=True)
    minutes = data.match.minutes_to_next if data.match is not None else None
    if minutes is not None and minutes >= OPEN + WIRE:
        found = found[: int((minutes - OPEN) // WIRE)]
    kept: list[_Thinner] = []
    for one in found:
        if _as_safe(build, data, _sets([*kept, one])):
            kept.append(one)
    grams = sum(one.grams for one in kept)
    if grams < LEAST_G:
        return None
    worst = min(kept, key=lambda one: one.margin_pct)
    parts = tuple(one.run for one in kept)
    takes = OPEN + WIRE * len(kept)
    candidate = Candidate(_sets(kept), "spare", parts, _figure(kept), takes, (), NEEDS)
    drop = sum(sorted((one.drop_V for one in kept), reverse=True)[:2])  # at most two of them lie on the way to a load
    matches = min(one.matches for one in kept)
    untold = len(past) + 1 - matches
    return Spare(candidate, worst.worst_degC, worst.limit_degC, worst.margin_pct, drop, matches, untold, grams)


def _sets(chosen: Sequence[_Thinner]) -> tuple[tuple[str, str], ...]:
    return tuple((f"wire.{one.run}.gauge", one.gauge) for one in chosen)


def _figure(chosen: Sequence[_Thinner]) -> str:
    """ "16 AWG in the left lead and right lead, 20 AWG in the supply lead"."""
    from analysis.wording.names import listed

    sizes: dict[str, list[str]] = {}
    for one in chosen:
        sizes.setdefault(one.gauge, []).append(one.run)
    return ", ".join(f"{gauge} in the {listed(tuple(runs))}" for gauge, runs in sizes.items())


def _thinner(data: MatchData, review: Review, wiring: Tree, run: Run, past: Sequence[Past]) -> _Thinner | None:
    """The thinnest size of one run that stays cool in every match; None where it stays as it is."""
    if run.is_motor_lead or not _sure(data, review, wiring, run):
        return None
    if any(_found_against(wiring, run, one) for one in past):
        return None
    told = [
        (r, a) for one in past if (r := _rise_K(run, one)) is not None and (a := _amps(wiring, run, one)) is not None
    ]
    if len(told) + 1 < data.settings.spare_matches:
        return None
    here = next((p for p in review.passed if (p.check, p.part) == ("wire_temperature", run.id)), None)
    if here is None or here.high is None:
        return None
    rises = [*(r for r, _ in told), here.high - data.air_degC[0]]
    most_A = max(a for _, a in told)
    wire = run.wire
    try:
        old_g, old_mohm = wire_g(wire), copper_mohm(wire)
        limit = weakest_limit(wire.insulation, stated_degC=wire.limit_degC)
    except OutsideValidity:
        return None
    assert data.build is not None
    need = data.settings.spare_margin_pct
    best: _Thinner | None = None
    for new in _sizes(wire):
        share = (new.copper_mm2 or 0.0) / (wire.copper_mm2 or 1.0)
        rise = max(thinner_rise_K(max(r, 0.0), share) for r in rises)
        margin = margin_pct(WARM_AIR_DEGC + rise, limit.value, WARM_AIR_DEGC, "max")
        drop = 1.5 * (copper_mohm(new) - old_mohm) / 1000.0 * most_A  # the copper of it as warm as 150 °C
        new_g = wire_g(new)
        if margin < need or drop > MOST_DROP_V or old_g is None or new_g is None:
            break
        if not protected(data, wiring, run.id, new):
            break
        best = _Thinner(
            run.id, new.gauge or "", old_g - new_g, WARM_AIR_DEGC + rise, limit.value, margin, drop, len(told) + 1
        )
    return best


def thinner_rise_K(rise_K: float, share: float) -> float:
    """The most that a run with this share of its copper rises, where it rose rise_K as it is; infinite where the bound
    runs away. 0 < share ≤ 1."""
    alpha = value("copper_temperature_coefficient", "20 degC")
    plain = rise_K / share**2
    feeds = alpha * plain  # its resistance grows with what it rises more
    return plain / (1.0 - feeds) if feeds < 0.5 else float("inf")


def _sizes(wire: Wire) -> list[Wire]:
    """The next even gauges below the run's, thicker first, one lead each; none where it is laid double."""
    area = wire.copper_mm2
    if area is None or wire.parallel != 1:
        return []
    numbers = [n for n in range(2, THINNEST_AWG + 1, 2) if awg_area_mm2(n) < 0.9 * area]
    found = []
    for number in numbers[: STEPS // 2]:
        new = wire.model_copy(update={"gauge": awg_name(number), "area_mm2": None, "resistance_mohm_per_m": None})
        try:
            run_of_wire(new)
        except OutsideValidity:
            break
        found.append(new)
    return found


def _sure(data: MatchData, review: Review, wiring: Tree, run: Run) -> bool:
    """Whether this match saw the run whole: its current complete, nothing of it unchecked, and no finding near it."""
    current = currents_of(data, wiring).get(run.id)
    if not isinstance(current, RunCurrent) or not current.complete:
        return False
    if isinstance(loads(data, wiring)[run.id], NotChecked):
        return False
    parts = _parts(wiring, run)
    unsure = {(row.check, row.part) for row in review.not_checked}
    if ("wire_temperature", run.id) in unsure or any(("contact_current", c.id) in unsure for c in run.contacts):
        return False
    below = {wiring.runs[r].wire.to for r in wiring.below(run.id)} | {run.wire.to}
    for f in review.findings:
        if f.verdict in SERIOUS and parts & {f.part, *f.could_be}:
            return False
        if f.verdict in SERIOUS and f.check in LOW_VOLTS and (f.part in below or f.part == "pack" or "cell" in f.part):
            return False
    return True


def _parts(wiring: Tree, run: Run) -> set[str]:
    return {run.id, *(c.id for c in run.contacts), *(f.id for f in run.fuses)}


def _found_against(wiring: Tree, run: Run, past: Past) -> bool:
    """Whether a serious finding of that match was about the run, a contact or fuse of it, or a load behind it."""
    ends = {wiring.runs[r].wire.to for r in wiring.below(run.id)} | {run.wire.to}
    return bool(past.serious & (_parts(wiring, run) | ends))


def _rise_K(run: Run, past: Past) -> float | None:
    """How far the run rose over its air at most; None where that match does not tell."""
    peak = past.wire_degC.get(run.id)
    return None if peak is None or not isfinite(peak.high) else peak.high - STANDARD_AIR_DEGC


def _amps(wiring: Tree, run: Run, past: Past) -> float | None:
    """The most that the run carried over a tenth of a second; None where that match does not tell."""
    found = None if run.id in wiring.roots else past.rms_A.get(run.wire.to)
    found = found or past.rms_A.get("pack")  # no run carries more than the pack gave
    return None if found is None or not isfinite(found.high) else found.high


def _as_safe(build: Build, data: MatchData, sets: tuple[tuple[str, str], ...]) -> bool:
    """Whether the build's own check finds nothing more against it, even with every load at its rating all the time."""
    after = changed(build, data.pack, sets).build
    return _against(after, data) <= _against(build, data)


def _against(build: Build, data: MatchData) -> set[tuple[str, str, str]]:
    rows = check_build(build, data.pack, data.settings).rows
    return {
        (row.check, row.part, row.verdict if isinstance(row, Finding) else "not checked")
        for row in rows
        if not isinstance(row, Passed) and hasattr(row, "check")
    }
