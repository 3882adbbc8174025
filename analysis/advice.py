"""The changes worth making after a match, the best ones replayed on it, ranked.

A row is proved where the changed match was replayed and every check run again. Before and after are those of the
gravest finding it is for. Ranked: what clears its findings without a new one, inside the mass and the minutes left,
then what it costs. A calm match has none. Where nothing clears the finding the nearest is said with what it falls
short by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis import wording
from analysis.candidates import Candidate, candidates
from analysis.changes import Changes, changed
from analysis.findings import Advice, Finding, Passed, Review
from analysis.masses import room_g
from analysis.match_data import MatchData
from analysis.outcome import Row
from analysis.replay import Refused, Replayed, replay_rows
from analysis.replay.banded import Judged, judged, measured_with_band, reaches_limit, worse_margin_pct
from analysis.replay.signals import fresh_cells
from analysis.taps import joints
from ingest.builds import Pack
from ingest.errors import DescriptionError

MOST_REPLAYED = 3  # our choice: what a builder reads in the pit, and what a review has time for
MOST_ROWS = 3
LONG_SAMPLES = 50_000  # our choice: a replay of this many samples takes a tenth of a second
SERIOUS = ("over", "fault", "close")
# What weighs as much as what when two changes clear the same: our choice, ten grams are worth two minutes.
G_PER_MINUTE = 5.0
WORSE_PCT = 1.0  # our choice: a margin that loses less than this was not moved by the change


@dataclass(frozen=True)
class _Tried:
    """A candidate replayed: what it clears, what it makes anew, what an end of the band leaves close, the row to show.

    stays: of what it clears; comes: of what was not close before.
    """

    candidate: Candidate
    changes: Changes
    clears: tuple[str, ...]
    new: tuple[str, ...]
    stays: tuple[str, ...]
    comes: tuple[str, ...]
    before: dict[str, Any]
    after: dict[str, Any]
    margin: float


def advise(data: MatchData, found: Review, packs: Sequence[Pack] = ()) -> tuple[Advice, ...]:
    """The advice of one review: at most three rows, best first. packs: the others of the season."""
    if data.build is None:
        return ()
    serious = [f for f in found.findings if f.verdict in SERIOUS]
    options = candidates(data, found, packs) if serious else []
    if not options:
        return ()
    tried: list[_Tried] = []
    refused = ""
    for candidate, changes in _chosen(data, [o for o in options if not o.unprovable], serious, packs):
        made = replay_rows(data, changes, found)
        if isinstance(made, Refused):
            refused = made.text
            break
        tried.append(_weighed(data, found, candidate, changes, made[0].rows, made[1]))
        if _enough(data, serious, tried):
            break
    tried = [one for one in tried if one.clears] or tried[:1]
    tried.sort(key=lambda one: _order(data, one))
    rows = [_proved(data, found, one) for one in tried]
    rows += [_unproved(data, found, o) for o in options if o.unprovable]
    if refused:
        rows += [_unproved(data, found, replace(o, unprovable=refused)) for o in options[:1] if not o.unprovable]
    return tuple(replace(row, rank=rank) for rank, row in enumerate(rows[:MOST_ROWS], 1))


def _enough(data: MatchData, serious: list[Finding], tried: list[_Tried]) -> bool:
    """One clears everything and a second is at hand to compare with; a very long log pays for one only."""
    rated = {f.id for f in serious if f.limit is not None or f.check == "joint"}
    clean = any(rated <= set(one.clears) and not one.new for one in tried)
    long = any(len(s) > LONG_SAMPLES for s in data.signals.values())
    return clean and (long or len(tried) > 1)


def _chosen(
    data: MatchData, options: list[Candidate], serious: list[Finding], packs: Sequence[Pack]
) -> list[tuple[Candidate, Changes]]:
    """The three worth a replay: the gravest finding first, different actions, cheap ones first."""
    grave = {f.id: i for i, f in enumerate(serious)}
    assert data.build is not None
    weighed: list[tuple[bool, int, int, float, int, Candidate, Changes]] = []
    for option in options:
        try:
            changes = changed(data.build, data.pack, option.sets, {pack.id: pack for pack in packs})
        except DescriptionError:  # a size that no table holds
            continue
        first = min((grave[i] for i in option.clears if i in grave), default=len(grave))
        over = _over_mass(data, changes) or 0.0
        cost = (changes.adds_g or 0.0) / G_PER_MINUTE + option.minutes
        weighed.append((over > 0, first, -len(option.clears), cost, len(weighed), option, changes))
    weighed.sort(key=lambda row: row[:5])
    picked: list[tuple[Candidate, Changes]] = []
    for row in weighed:
        if all(row[5].action != other.action or row[5].parts != other.parts for other, _ in picked):
            picked.append((row[5], row[6]))
    return picked[:MOST_REPLAYED]


def _weighed(
    data: MatchData, found: Review, candidate: Candidate, changes: Changes, rows: tuple[Row, ...], made: Replayed
) -> _Tried:
    after = judged(rows)
    serious = [f for f in found.findings if f.verdict in SERIOUS]
    clears = tuple(f.id for f in serious if _cleared(data, changes, made, f, after))
    known = {(f.check, f.part) for f in serious} | {("cell_minimum", row.part) for row in after.values()}
    new = tuple(
        _named(row)
        for key, row in after.items()
        if isinstance(row, Finding) and row.verdict in SERIOUS and key not in known
        and (not clears or row.verdict != "close" or key not in _near(found))
    )  # fmt: skip
    stays, comes = _near_after(data, found, clears, made, after, known)
    shown = _shown(serious, clears, candidate, after)
    before: dict[str, Any] = {"measured": None, "unit": ""}
    later: dict[str, Any] = {"measured": None, "low": None, "high": None, "unit": ""}
    margin = 0.0
    if shown is not None:
        before = {"measured": shown.measured, "unit": shown.unit}
        row = _after_row(shown, after)
        if row is not None and row.measured is not None:
            low, high = measured_with_band(row, made.ends)
            later = {"measured": row.measured, "low": low, "high": high, "unit": row.unit}
            margin = (row.margin_pct or 0.0) - (shown.margin_pct or 0.0)
        else:
            later = {"measured": 0.0 if shown.check == "joint" and shown.id in clears else None,
                     "low": None, "high": None, "unit": shown.unit}  # fmt: skip
    return _Tried(candidate, changes, clears, new, stays, comes, before, later, margin)


def _named(row: Judged) -> str:
    return f"{wording.name_of(row.part)}, {wording.CHECK_WORDS.get(row.check, row.check)}"


def _near_after(
    data: MatchData,
    found: Review,
    clears: tuple[str, ...],
    made: Replayed,
    after: dict[tuple[str, str], Judged],
    known: set[tuple[str, str]],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(What is cleared, but close at the worse end of the band; what is made worse, and brought close by an end)."""
    close = data.settings.close_margin_pct
    was = {(p.check, p.part): p.margin_pct for p in found.passed}

    def near(row: Judged | None) -> bool:
        margin = None if row is None else worse_margin_pct(row, made.ends)
        return margin is not None and margin < close

    cleared = [f for f in found.findings if f.id in clears]
    stays = [_named(row) for f in cleared if (row := _same(f, after)) is not None and near(row)]
    comes = [
        _named(row)
        for key, row in after.items()
        if isinstance(row, Passed) and key not in known and near(row) and row.margin_pct < was.get(key, 0.0) - WORSE_PCT
    ]
    return tuple(dict.fromkeys(stays)), tuple(dict.fromkeys(comes))


def _near(found: Review) -> set[tuple[str, str]]:
    """Checks that were nearly close before: that a replay's band makes them close is not the change's doing."""
    return {(p.check, p.part) for p in found.passed if p.margin_pct < 15.0}


def _cleared(
    data: MatchData,
    changes: Changes,
    made: Replayed,
    f: Finding,
    after: dict[tuple[str, str], Judged],
) -> bool:
    row = _same(f, after)
    if row is not None:
        return not (isinstance(row, Finding) and row.verdict in SERIOUS) and not reaches_limit(row, made.ends)
    if f.check == "joint":
        return not any(f.part in step.runs for step in joints(made.data).steps)
    if f.check == "contact_temperature" and changes.remade:
        return not any(f.part in step.runs for step in joints(made.data).steps)
    if f.check in ("cell_resistance", "pack_resistance"):
        return fresh_cells(data, changes)
    return False


def _shown(
    serious: list[Finding], clears: tuple[str, ...], candidate: Candidate, after: dict[tuple[str, str], Judged]
) -> Finding | None:
    """The gravest finding with a figure that the change is for and that stands on both sides."""
    wanted = [f for f in serious if f.id in clears] or [f for f in serious if f.id in candidate.clears]
    both = [f for f in wanted if f.measured is not None and _same(f, after) is not None and f.margin_pct is not None]
    hot = [f for f in wanted if f.measured is not None and f.check == "contact_temperature"]
    return next(iter(hot or both or [f for f in wanted if f.measured is not None]), None)


def _after_row(shown: Finding, after: dict[tuple[str, str], Judged]) -> Judged | None:
    """The row after; where the run's bad joint is gone, the hottest of its contacts stands for it."""
    row = _same(shown, after)
    if row is None and shown.check == "contact_temperature":
        mine = [r for (check, part), r in after.items() if check == shown.check and part in shown.could_be]
        return max(mine, key=lambda r: r.measured or 0.0, default=None)
    return row


def _same(f: Finding, after: dict[tuple[str, str], Judged]) -> Judged | None:
    """The row after of the same check and part; the lowest cell may be another one."""
    if f.check == "cell_minimum":
        return next((row for (check, _), row in after.items() if check == f.check), None)
    return after.get((f.check, f.part))


def _over_mass(data: MatchData, changes: Changes) -> float | None:
    """Grams beyond the limit with the change (negative: left); None where the mass is not stated."""
    room = room_g(data.build) if data.build is not None else None
    return None if room is None or changes.adds_g is None else changes.adds_g - room


def _order(data: MatchData, one: _Tried) -> tuple[Any, ...]:
    over = _over_mass(data, one.changes)
    minutes = data.match.minutes_to_next if data.match is not None else None
    late = minutes is not None and one.candidate.minutes > minutes
    cost = (one.changes.adds_g or 0.0) / G_PER_MINUTE + one.candidate.minutes
    return (
        not one.clears,
        bool(one.new),
        over is not None and over > 0 and (one.changes.adds_g or 0.0) > 0,
        late,
        -len(one.clears),
        cost,
        -one.margin,
    )


def _proved(data: MatchData, found: Review, one: _Tried) -> Advice:
    return Advice(
        rank=0,
        change=one.candidate.change,
        clears=one.clears,
        before=one.before,
        after=one.after,
        adds_g=one.changes.adds_g,
        minutes=one.candidate.minutes,
        proved=True,
        cost_note=_cost(data, one.candidate, one.changes, one),
        sentence=wording.advice_sentence(
            one.candidate.action,
            one.candidate.parts,
            one.candidate.figure,
            one.candidate.minutes,
            found.match.minutes_to_next,
            one.changes.adds_g,
            clears=bool(one.clears),
        ),
    )


def _cost(data: MatchData, candidate: Candidate, changes: Changes, one: _Tried) -> str:
    """What it needs, and in plain words where it goes past the mass or the minutes."""
    notes = []
    over = _over_mass(data, changes)
    if over is not None and over > 0 and (changes.adds_g or 0.0) > 0:
        assert data.build is not None
        limit = data.build.build.mass_limit_kg
        notes.append(f"{over:.0f} g over the limit of {limit:g} kg")
    elif changes.adds_g is None:
        notes.append(f"grams not known: {', '.join(changes.unweighed)} states no mass")
    minutes = data.match.minutes_to_next if data.match is not None else None
    if minutes is not None and candidate.minutes > minutes:
        notes.append(f"{candidate.minutes:.0f} minutes do not fit in {minutes:g}")
    if one.new:
        notes.append(f"brings {_some(one.new)} close or over")
    if one.stays:
        notes.append(f"may leave {_some(one.stays)} close")
    if one.comes:
        notes.append(f"may bring {_some(one.comes)} close")
    if candidate.action in ("limit", "free_and_limit"):
        notes.append("gives less torque")
    if candidate.needs:
        notes.append(f"needs {candidate.needs}")
    return wording.capital("; ".join(notes)) + "." if notes else ""


def _some(names: tuple[str, ...]) -> str:
    more = len(names) - 2
    return "; ".join(names[:2]) + (f" and {more} more" if more > 0 else "")


def _unproved(data: MatchData, found: Review, o: Candidate) -> Advice:
    first = next((f for f in found.findings if f.id in o.clears), None)
    figure = {"measured": first.measured if first else None, "unit": first.unit if first else ""}
    return Advice(
        rank=0,
        change=o.change,
        clears=(),
        before=figure,
        after={"measured": None, "low": None, "high": None, "unit": figure["unit"]},
        adds_g=o.adds_g,
        minutes=o.minutes,
        proved=False,
        cost_note=wording.capital(f"Not proved: {o.unprovable}") + ("" if o.unprovable.endswith(".") else "."),
        sentence=wording.advice_sentence(
            o.action, o.parts, o.figure, o.minutes, found.match.minutes_to_next, o.adds_g, clears=True
        ),
    )
