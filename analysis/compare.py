"""Matches, builds and packs side by side: the shift, how sure, what else differs, and how many matches would tell.

Two groups are compared by ranks (they hold three to a dozen matches); two single matches by the intervals of their
own figures. All comparisons of one call share the chance of a false claim (Holm). What is not shown is called "no
difference shown", never "the same".
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from itertools import combinations
from typing import Any, Literal

import numpy as np
from scipy.special import ndtr, ndtri

from analysis.compare_words import sentence, summary
from analysis.confounding import confounders
from analysis.findings import plain
from analysis.metric_kinds import CATALOGUE, About, Metric
from analysis.season_rows import MatchRow
from analysis.statistics import (
    LEVEL,
    Shift,
    holm,
    mann_whitney,
    matches_to_tell,
    paired_shift,
    shift,
    spread_of,
    wilcoxon,
)

SCHEMA = "afterbout.compare/1"
By = Literal["match", "build", "pack"]
Verdict = Literal["differs", "no difference shown", "not compared"]
# Our choice: a figure whose interval is wider than half of itself says too little about its match to be ranked.
TOO_WIDE = 0.5
# Where a metric stands for several parts, the one that is compared unless others are asked for.
WHOLE = ("pack", "wiring", "link", "")


@dataclass(frozen=True)
class Group:
    """The matches of one build, one pack, or one match alone."""

    id: str
    rows: tuple[MatchRow, ...]


@dataclass(frozen=True)
class Figure:
    match: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Paired:
    """The same difference with what was fitted to both: by the packs (or builds) that both groups ran."""

    by: str
    ids: tuple[str, ...]
    shift: float
    low: float
    high: float
    achieved_pct: float
    p: float
    least_p: float


@dataclass(frozen=True)
class Compared:
    """One metric in two groups. shift: second less first, with its interval and the level that it really reaches;
    p_adjusted: after Holm over every comparison of the call; needed: matches a side that would tell this difference.
    """

    metric: str
    part: str
    words: str
    unit: str
    better: str
    at: str
    first: str
    second: str
    first_figures: tuple[Figure, ...]
    second_figures: tuple[Figure, ...]
    first_median: float | None
    second_median: float | None
    shift: float | None = None
    low: float | None = None
    high: float | None = None
    achieved_pct: float | None = None
    p: float | None = None
    least_p: float | None = None
    p_adjusted: float | None = None
    paired: Paired | None = None
    confounded: tuple[str, ...] = ()
    needed: int | None = None
    verdict: Verdict = "not compared"
    reason: str = ""
    sentence: str = ""


@dataclass(frozen=True)
class Comparison:
    by: By
    groups: tuple[Group, ...]
    rows: tuple[Compared, ...]
    comparisons: int
    level: float
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The document of `afterbout compare --json`."""
        return plain(
            {
                "schema": SCHEMA,
                "by": self.by,
                "level_pct": 100 * self.level,
                "comparisons": self.comparisons,
                "groups": [
                    {
                        "id": group.id,
                        "matches": [row.match for row in group.rows],
                        "builds": _each(row.build for row in group.rows),
                        "packs": _each(row.pack for row in group.rows),
                        "opponents": _each(row.opponent for row in group.rows),
                    }
                    for group in self.groups
                ],
                "rows": [asdict(row) for row in self.rows],
                "notes": list(self.notes),
            }
        )


def _each(values: Any) -> list[str]:
    return list(dict.fromkeys(v for v in values if v))


def grouped(rows: Sequence[MatchRow], by: By, ids: Sequence[str] = ()) -> list[Group]:
    """The groups in the order asked for (none named: in the order of the season). A match without a build or pack is
    in no group. Raises KeyError for an id without a match.
    """
    found: dict[str, list[MatchRow]] = {}
    for row in rows:
        name = {"match": row.match, "build": row.build, "pack": row.pack}[by]
        if name:
            found.setdefault(name, []).append(row)
    return [Group(name, tuple(found[name])) for name in (ids or found)]


def compare(
    groups: Sequence[Group], by: By, metrics: Sequence[str] = (), level: float = LEVEL, everything: bool = False
) -> Comparison:
    """Every pair of groups on the headline metrics, or on those named, or on all.

    Raises ValueError with fewer than two groups, KeyError for an unknown metric.
    """
    if len(groups) < 2:
        raise ValueError("a comparison needs two groups")
    names = list(metrics) or [name for name, about in CATALOGUE.items() if about.headline or everything]
    for name in names:
        if name not in CATALOGUE:
            raise KeyError(name)
    one_part = not (metrics or everything)
    rows = [
        made
        for first, second in combinations(groups, 2)
        for name in names
        for made in _pair(first, second, name, CATALOGUE[name], by, level, one_part)
    ]
    tested = [i for i, row in enumerate(rows) if row.p is not None]
    adjusted = holm([rows[i].p or 0.0 for i in tested])
    for i, p in zip(tested, adjusted, strict=True):
        rows[i] = _judged(rows[i], p, len(tested), level, by)
    finished = tuple(replace(row, sentence=sentence(row, by)) for row in rows)
    notes = summary(finished, [(g.id, len(g.rows)) for g in groups], len(tested), level, by)
    return Comparison(by, tuple(groups), finished, len(tested), level, notes)


def _pair(first: Group, second: Group, name: str, about: About, by: By, level: float, one_part: bool) -> list[Compared]:
    parts = _parts(first, second, name)
    if one_part:
        parts = [p for p in parts if p in WHOLE][:1] or parts[:1]
    return [_one(first, second, name, part, about, by, level) for part in parts] or [
        Compared(
            name, "", about.words, about.unit, about.better, "", first.id, second.id, (), (), None, None,
            reason=_why_absent(first, second, name),
        )
    ]  # fmt: skip


def _parts(first: Group, second: Group, name: str) -> list[str]:
    """Parts of which both groups have a figure, in the order of the reviews."""
    in_first, in_second = (
        dict.fromkeys(m.part for row in group.rows for m in row.metrics if m.name == name) for group in (first, second)
    )
    return [part for part in in_first if part in in_second]


def _why_absent(first: Group, second: Group, name: str) -> str:
    for group in (first, second):
        if any(m.name == name for row in group.rows for m in row.metrics):
            continue
        why = Counter(a.reason for row in group.rows for a in row.absent if a.name == name).most_common(1)
        return f"not known for {group.id}: {why[0][0] if why else 'no such figure'}"
    return "not known for the same part of both"


def _one(first: Group, second: Group, name: str, part: str, about: About, by: By, level: float) -> Compared:
    every = [[(row, m) for row in g.rows if (m := row.metric(name, part)) is not None] for g in (first, second)]
    at = Counter(m.at for side in every for _, m in side).most_common(1)[0][0]
    kept = [[(row, m) for row, m in side if m.at == at and (by == "match" or _sharp(m))] for side in every]
    figures = [tuple(Figure(row.match, m.value, m.low, m.high) for row, m in side) for side in kept]
    medians = [float(np.median([f.value for f in side])) if side else None for side in figures]
    base = Compared(
        name, part, about.words, about.unit, about.better, at, first.id, second.id, figures[0], figures[1],
        medians[0], medians[1],
    )  # fmt: skip
    for group, side, all_of_it in zip((first, second), kept, every, strict=True):
        if not side:
            why = "at other conditions or too loosely" if all_of_it else "not at all"
            return replace(base, reason=f"known for {group.id} only {why}" if all_of_it else f"{why} for {group.id}")
    others = confounders(tuple(r for r, _ in kept[0]), tuple(r for r, _ in kept[1]), about, by)
    if by == "match":
        return _two_matches(replace(base, confounded=others), level)
    x, y = (np.array([f.value for f in side]) for side in figures)
    moved: Shift = shift(y, x, level)
    test = mann_whitney(y, x)
    return replace(
        base,
        shift=moved.value,
        low=moved.low,
        high=moved.high,
        achieved_pct=100 * moved.achieved,
        p=test.p,
        least_p=test.least_p,
        paired=_paired(kept[0], kept[1], by, level),
        confounded=others,
    )


def _sharp(metric: Metric) -> bool:
    """Counts and shares may be loose (no dropout in three minutes is 0 to 1.3 a minute); measured figures may not."""
    if metric.unit in ("1/min", "pct", "s", "K"):
        return True
    return metric.high - metric.low <= TOO_WIDE * abs(metric.value) or metric.high == metric.low


def _two_matches(row: Compared, level: float) -> Compared:
    """Two single figures by their own intervals: says whether these two matches differ, not why."""
    a, b = row.first_figures[0], row.second_figures[0]
    moved = b.value - a.value
    low = moved - math.hypot(b.value - b.low, a.high - a.value)
    high = moved + math.hypot(b.high - b.value, a.value - a.low)
    toward = moved - low if moved > 0 else high - moved  # the half width on the side of zero
    if not math.isfinite(toward):
        p = None
        reason = "one of the two is only a bound"
    else:
        p = (1.0 if moved == 0 else 0.0) if toward == 0 else 2 * float(ndtr(-abs(moved) / (toward / ndtri(0.975))))
        reason = ""
    return replace(row, shift=moved, low=low, high=high, achieved_pct=100 * level, p=p, reason=reason)


def _paired(
    first: list[tuple[MatchRow, Metric]], second: list[tuple[MatchRow, Metric]], by: By, level: float
) -> Paired | None:
    """The difference within each pack (comparing builds) or build (comparing packs) that both groups ran."""
    other = "pack" if by == "build" else "build"

    def medians(side: list[tuple[MatchRow, Metric]]) -> dict[str, float]:
        found: dict[str, list[float]] = {}
        for row, metric in side:
            if getattr(row, other):
                found.setdefault(getattr(row, other), []).append(metric.value)
        return {key: float(np.median(values)) for key, values in found.items()}

    a, b = medians(first), medians(second)
    shared = [key for key in a if key in b]
    if not shared:
        return None
    differences = np.array([b[key] - a[key] for key in shared])
    moved, test = paired_shift(differences, level), wilcoxon(differences)
    return Paired(other, tuple(shared), moved.value, moved.low, moved.high, 100 * moved.achieved, test.p, test.least_p)


def _judged(row: Compared, p: float, comparisons: int, level: float, by: By) -> Compared:
    differs = p <= 1 - level + 1e-12
    needed = None
    if not differs and by != "match" and row.shift is not None:
        spread = spread_of([f.value for f in row.first_figures], [f.value for f in row.second_figures])
        if spread is not None:
            needed = matches_to_tell(row.shift, spread, level=level, comparisons=comparisons)
    return replace(row, p_adjusted=p, needed=needed, verdict="differs" if differs else "no difference shown")
