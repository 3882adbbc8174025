"""One candidate replayed: what it clears, what it makes anew, what an end of the band leaves close, the row to show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis import wording
from analysis.candidates import Candidate
from analysis.changes import Changes
from analysis.findings import Finding, Passed, Review
from analysis.match_data import MatchData
from analysis.outcome import Row
from analysis.replay import Replayed
from analysis.replay.banded import Judged, judged, measured_with_band, reaches_limit, worse_margin_pct
from analysis.replay.signals import fresh_cells
from analysis.taps import joints

SERIOUS = ("over", "fault", "close")
WORSE_PCT = 1.0  # our choice: a margin that loses less than this was not moved by the change


@dataclass(frozen=True)
class Tried:
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
    worse_pct: float | None


def weighed(
    data: MatchData, found: Review, candidate: Candidate, changes: Changes, rows: tuple[Row, ...], made: Replayed
) -> Tried:
    """What a replayed candidate came to. rows: of the checks on the changed match; made: its ends of the band."""
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
    margin, worse = 0.0, None
    if shown is not None:
        before = {"measured": shown.measured, "unit": shown.unit}
        row = _after_row(shown, after)
        if row is not None and row.measured is not None:
            low, high = measured_with_band(row, made.ends)
            later = {"measured": row.measured, "low": low, "high": high, "unit": row.unit}
            margin = (row.margin_pct or 0.0) - (shown.margin_pct or 0.0)
            worse = worse_margin_pct(row, made.ends)
        else:
            later = {"measured": 0.0 if shown.check == "joint" and shown.id in clears else None,
                     "low": None, "high": None, "unit": shown.unit}  # fmt: skip
    return Tried(candidate, changes, clears, new, stays, comes, before, later, margin, worse)


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
