"""The changes worth making after a match, the best ones replayed on it, ranked.

A row is proved where the changed match was replayed and every check run again. Before and after are those of the
gravest finding it is for. Ranked: what clears its findings without a new one, inside the mass and the minutes left,
then what it costs. A calm match has none. Where nothing clears the finding the nearest is said with what it falls
short by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from analysis import wording
from analysis.advice_tried import SERIOUS, Tried, weighed
from analysis.candidates import Candidate, candidates
from analysis.changes import Changes, changed
from analysis.findings import Advice, Finding, Review
from analysis.masses import room_g
from analysis.match_data import MatchData
from analysis.replay import Refused, replay_rows
from ingest.builds import Pack
from ingest.errors import DescriptionError

MOST_REPLAYED = 3  # our choice: what a builder reads in the pit, and what a review has time for
MOST_ROWS = 3
LONG_SAMPLES = 50_000  # our choice: a replay of this many samples takes a tenth of a second
# What weighs as much as what when two changes clear the same: our choice, ten grams are worth two minutes.
G_PER_MINUTE = 5.0


def advise(data: MatchData, found: Review, packs: Sequence[Pack] = ()) -> tuple[Advice, ...]:
    """The advice of one review: at most three rows, best first. packs: the others of the season."""
    if data.build is None:
        return ()
    serious = [f for f in found.findings if f.verdict in SERIOUS]
    options = candidates(data, found, packs) if serious else []
    if not options:
        return ()
    tried: list[Tried] = []
    refused = ""
    for candidate, changes in _chosen(data, [o for o in options if not o.unprovable], serious, packs):
        made = replay_rows(data, changes, found)
        if isinstance(made, Refused):
            refused = made.text
            break
        tried.append(weighed(data, found, candidate, changes, made[0].rows, made[1]))
        if _enough(data, serious, tried):
            break
    tried = [one for one in tried if one.clears] or tried[:1]
    tried.sort(key=lambda one: _order(data, one))
    rows = [_proved(data, found, one) for one in tried]
    rows += [_unproved(data, found, o) for o in options if o.unprovable]
    if refused:
        rows += [_unproved(data, found, replace(o, unprovable=refused)) for o in options[:1] if not o.unprovable]
    return tuple(replace(row, rank=rank) for rank, row in enumerate(rows[:MOST_ROWS], 1))


def _enough(data: MatchData, serious: list[Finding], tried: list[Tried]) -> bool:
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
    costed: list[tuple[bool, int, int, float, int, Candidate, Changes]] = []
    for option in options:
        try:
            changes = changed(data.build, data.pack, option.sets, {pack.id: pack for pack in packs})
        except DescriptionError:  # a size that no table holds
            continue
        first = min((grave[i] for i in option.clears if i in grave), default=len(grave))
        over = _over_mass(data, changes) or 0.0
        cost = (changes.adds_g or 0.0) / G_PER_MINUTE + option.minutes
        costed.append((over > 0, first, -len(option.clears), cost, len(costed), option, changes))
    costed.sort(key=lambda row: row[:5])
    picked: list[tuple[Candidate, Changes]] = []
    for row in costed:
        if all(row[5].action != other.action or row[5].parts != other.parts for other, _ in picked):
            picked.append((row[5], row[6]))
    return picked[:MOST_REPLAYED]


def _over_mass(data: MatchData, changes: Changes) -> float | None:
    """Grams beyond the limit with the change (negative: left); None where the mass is not stated."""
    room = room_g(data.build) if data.build is not None else None
    return None if room is None or changes.adds_g is None else changes.adds_g - room


def _order(data: MatchData, one: Tried) -> tuple[Any, ...]:
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


def _proved(data: MatchData, found: Review, one: Tried) -> Advice:
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
        margin_pct=one.worse_pct,
    )


def _cost(data: MatchData, candidate: Candidate, changes: Changes, one: Tried) -> str:
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
