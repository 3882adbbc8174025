"""One change over several matches: each replayed by itself, and the worst of them said.

A match that cannot be replayed is named with its reason and never counted as good; nor is one whose verdict after the
change is anything but within, or of which something could not be checked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from analysis.changes import Changes
from analysis.findings import Finding, Passed, Review
from analysis.match_data import MatchData
from analysis.replay import replay

SERIOUS = ("over", "fault", "close")
Judged = Finding | Passed


@dataclass(frozen=True, eq=False)
class Case:
    """One match as it was. data and review None: it cannot be used, and refused says why."""

    match: str
    pack: str | None
    data: MatchData | None
    review: Review | None
    refused: str = ""


@dataclass(frozen=True)
class Moved:
    """One figure before and after. low and high carry the replay's band; margins in per cent of the room.

    margin_low_pct is the margin at the worse end of the band. None where there is no figure or no limit.
    """

    check: str
    part: str
    unit: str
    before: float | None
    measured: float
    low: float | None
    high: float | None
    limit: float | None
    margin_before_pct: float | None
    margin_pct: float | None
    margin_low_pct: float | None


@dataclass(frozen=True)
class MatchRow:
    """One match of the table. refused: why it was not replayed, None where it was.

    smallest is the smallest margin after the change; before_pct the smallest before, at before_part.
    gone, new, stays: serious findings as (check, part). blind: checks that could not run after the change.
    """

    match: str
    pack: str | None
    refused: str | None
    verdict_before: str | None = None
    verdict_after: str | None = None
    lowest: Moved | None = None
    hottest_wire: Moved | None = None
    hottest_contact: Moved | None = None
    smallest: Moved | None = None
    before_pct: float | None = None
    before_part: str | None = None
    gone: tuple[tuple[str, str], ...] = ()
    new: tuple[tuple[str, str], ...] = ()
    stays: tuple[tuple[str, str], ...] = ()
    blind: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Across:
    """Every match of a build with one change. worst: the match with the smallest margin after it."""

    rows: tuple[MatchRow, ...]
    worst: MatchRow | None

    @property
    def replayed(self) -> tuple[MatchRow, ...]:
        return tuple(row for row in self.rows if row.refused is None)

    @property
    def refused(self) -> tuple[MatchRow, ...]:
        return tuple(row for row in self.rows if row.refused is not None)

    @property
    def within(self) -> tuple[MatchRow, ...]:
        """Replayed matches with nothing past its rating in what was logged."""
        return tuple(row for row in self.replayed if row.verdict_after == "within")


def across(
    cases: Sequence[Case],
    change: Callable[[MatchData], Changes | str],
    told: Callable[[float, str], None] = lambda share, match: None,
) -> Across:
    """Replay every case. change: the change for one match, or why it cannot be; told: progress (share, match)."""
    rows = []
    for index, case in enumerate(cases):
        told(index / max(len(cases), 1), case.match)
        rows.append(_row(case, change))
    ranked = [row for row in rows if row.smallest is not None]
    worst = min(ranked, key=_rank, default=None)
    return Across(tuple(rows), worst)


def _rank(row: MatchRow) -> float:
    assert row.smallest is not None and row.smallest.margin_pct is not None
    return row.smallest.margin_pct


def _row(case: Case, change: Callable[[MatchData], Changes | str]) -> MatchRow:
    if case.data is None or case.review is None:
        return MatchRow(case.match, case.pack, case.refused or "it could not be reviewed")
    changes = change(case.data)
    if isinstance(changes, str):
        return MatchRow(case.match, case.pack, changes)
    found = replay(case.data, changes, case.review)
    if found.after is None:
        return MatchRow(case.match, case.pack, found.refused or "it could not be replayed")
    return summary(case, found.after, found.notes)


def summary(case: Case, after: Review, notes: tuple[str, ...] = ()) -> MatchRow:
    """The row of one replayed match. after carries the replay's band in low and high."""
    before = case.review
    assert before is not None
    old, new = _by_key(before), _by_key(after)
    was, now = _serious(before), _serious(after)
    margins = [row for row in new.values() if row.margin_pct is not None and row.measured is not None]
    least = min(margins, key=lambda row: row.margin_pct or 0.0, default=None)
    first = min((r for r in old.values() if r.margin_pct is not None), key=lambda r: r.margin_pct or 0.0, default=None)
    return MatchRow(
        case.match,
        case.pack,
        None,
        before.match.verdict,
        after.match.verdict,
        _lowest(before, after),
        _hottest("wire_temperature", old, new),
        _hottest("contact_temperature", old, new),
        None if least is None else _moved(old.get((least.check, least.part)), least),
        None if first is None else first.margin_pct,
        None if first is None else first.part,
        tuple(key for key in was if key not in now),
        tuple(key for key in now if key not in was),
        tuple(key for key in now if key in was),
        len(after.not_checked),
        notes,
    )


def _by_key(review: Review) -> dict[tuple[str, str], Judged]:
    rows: Iterable[Judged] = (*review.findings, *review.passed)
    return {(row.check, row.part): row for row in rows if row.check}


def _serious(review: Review) -> list[tuple[str, str]]:
    return [(f.check or f.kind, f.part) for f in review.findings if f.verdict in SERIOUS]


def _lowest(before: Review, after: Review) -> Moved | None:
    """The pack's lowest voltage; its limit, where one is known, belongs to the checks."""
    rows = {e.name: e for e in before.estimates if e.part == "pack"}
    name = "pack_minimum_V"
    new = next((e for e in after.estimates if e.name == name), None)
    if new is None:
        return None
    old = rows.get(name)
    return Moved(name, "pack", "V", old.value if old else None, new.value, new.low, new.high, None, None, None, None)


def _hottest(check: str, old: dict[tuple[str, str], Judged], new: dict[tuple[str, str], Judged]) -> Moved | None:
    mine = [row for (name, _), row in new.items() if name == check and row.measured is not None]
    hottest = max(mine, key=lambda row: row.measured or 0.0, default=None)
    return None if hottest is None else _moved(old.get((check, hottest.part)), hottest)


def _moved(old: Judged | None, new: Judged) -> Moved:
    assert new.measured is not None
    return Moved(
        new.check,
        new.part,
        new.unit,
        None if old is None else old.measured,
        new.measured,
        new.low,
        new.high,
        new.limit,
        None if old is None else old.margin_pct,
        new.margin_pct,
        _worse_margin(new),
    )


def _worse_margin(row: Judged) -> float | None:
    """The margin at the worse end of the interval: margins are straight in the figure and zero at the limit."""
    if row.limit is None or row.margin_pct is None or row.measured is None or row.limit == row.measured:
        return row.margin_pct
    per_unit = row.margin_pct / (row.limit - row.measured)
    ends = [per_unit * (row.limit - end) for end in (row.low, row.high, row.measured) if end is not None]
    return min(ends)
