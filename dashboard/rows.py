"""What the tables and pictures show of a review: one row per judged figure, and the worst of each part."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.findings import Finding, NotChecked, Passed, Review
from dashboard.page_words import KIND_NAMES, check_name, part_name

_RANK = {"over": 0, "fault": 1, "close": 2, "note": 3, "within": 4, "unknown": 5}


@dataclass(frozen=True)
class Row:
    """One figure against its rating. used is 1 at the rating; low_used and high_used bound it, None where unknown."""

    part: str
    check: str
    measured: float
    low: float | None
    high: float | None
    limit: float
    unit: str
    margin_pct: float
    verdict: str
    source: str
    could_be: tuple[str, ...] = ()
    finding: str = ""

    @property
    def name(self) -> str:
        return part_name(self.part)

    @property
    def is_floor(self) -> bool:
        """Whether the rating is a least value: the margin is above it."""
        return (self.measured - self.limit) * self.margin_pct > 0

    @property
    def used(self) -> float:
        return 1.0 - self.margin_pct / 100.0

    def used_at(self, value: float | None) -> float | None:
        """Where another value of the same figure stands; the reference follows from measured, limit and margin."""
        if value is None or math.isnan(value):
            return None
        if value == self.measured:
            return self.used
        if self.margin_pct == 0 or self.limit == self.measured:
            return None
        if math.isinf(value):
            towards_limit = (value > 0) == ((self.limit - self.measured) * self.margin_pct > 0)
            return math.inf if towards_limit else -math.inf
        span = (self.limit - self.measured) / (self.margin_pct / 100.0)
        return 1.0 - (self.limit - value) / span

    @property
    def whisker(self) -> tuple[float, float] | None:
        ends = [self.used_at(self.low), self.used_at(self.high)]
        if ends[0] is None or ends[1] is None or ends[0] == ends[1]:
            return None
        return min(ends[0], ends[1]), max(ends[0], ends[1])


def _from_finding(finding: Finding) -> Row | None:
    if finding.limit is None or finding.margin_pct is None or finding.measured is None:
        return None
    check = finding.check or KIND_NAMES.get(finding.kind, finding.kind)
    return Row(
        finding.part, check, finding.measured, finding.low, finding.high, finding.limit, finding.unit,
        finding.margin_pct, finding.verdict, finding.rating_source, finding.could_be, finding.id,
    )  # fmt: skip


def _from_passed(passed: Passed) -> Row:
    return Row(
        passed.part, passed.check, passed.measured, passed.low, passed.high, passed.limit, passed.unit,
        passed.margin_pct, "within", passed.rating_source,
    )  # fmt: skip


def margin_rows(review: Review) -> list[Row]:
    """Every figure that was held against a rating, the smallest margin first."""
    rows = [row for finding in review.findings if (row := _from_finding(finding)) is not None]
    rows += [_from_passed(passed) for passed in review.passed]
    return sorted(rows, key=lambda r: (r.margin_pct, _RANK.get(r.verdict, 9), r.part, r.check))


def row_label(row: Row) -> str:
    return check_name(row.check)


@dataclass(frozen=True)
class PartStatus:
    """What a review says of one part: its rows (worst first), its faults, and what could not be checked."""

    rows: tuple[Row, ...] = ()
    faults: tuple[Finding, ...] = ()
    not_checked: tuple[NotChecked, ...] = ()

    def row(self, *checks: str) -> Row | None:
        return next((row for row in self.rows if row.check in checks), None)

    @property
    def worst(self) -> Row | None:
        return self.rows[0] if self.rows else None

    @property
    def verdict(self) -> str:
        verdicts = [row.verdict for row in self.rows] + ["fault" for _ in self.faults]
        return min(verdicts, key=lambda v: _RANK.get(v, 9), default="unknown")


def statuses(review: Review | None) -> dict[str, PartStatus]:
    """PartStatus by part id. A finding with candidates stands under the part it names, and under each candidate."""
    if review is None:
        return {}
    rows: dict[str, list[Row]] = {}
    faults: dict[str, list[Finding]] = {}
    unable: dict[str, list[NotChecked]] = {}
    for row in margin_rows(review):
        for part in dict.fromkeys((row.part, *row.could_be)):
            rows.setdefault(part, []).append(row)
    for finding in review.findings:
        if finding.verdict == "fault":
            for part in dict.fromkeys((finding.part, *finding.could_be)):
                faults.setdefault(part, []).append(finding)
    for item in review.not_checked:
        unable.setdefault(item.part, []).append(item)
    parts = dict.fromkeys([*rows, *faults, *unable])
    return {
        part: PartStatus(tuple(rows.get(part, ())), tuple(faults.get(part, ())), tuple(unable.get(part, ())))
        for part in parts
    }
