"""What the robot itself changed over a season: since which match, by how much, and what changed in the build then."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.change_point import ChangePoint, change_point
from analysis.metric_kinds import CATALOGUE, Metric
from analysis.season_rows import MatchRow
from analysis.statistics import LEVEL, MOST_VALUES, Trend, holm, theil_sen, thinned
from ingest.builds import Build

# Figures that a sound robot repeats match after match, whoever it meets.
WATCHED = ("no_load_A", "spin_up_s", "harness_resistance_mohm", "link_quality_pct")
LEAST_MATCHES = 6  # our choice: in five the smallest p of a change point is 0.17


@dataclass(frozen=True)
class Drift:
    """One figure over the season.

    verdict: "changed" (a step that chance does not make, after Holm over all that were looked at), "drifts" (the same
    for a trend, where no step is shown), "possible" (one of them would be shown had it been the only look: worth
    looking at, and no claim), "no change shown", or "too few". since: the first match after the step; where
    it drifts, after the largest one. build_changes: what differs between the builds before and from then on, in words,
    that of the part first; empty where the build did not change there.
    """

    metric: str
    part: str
    words: str
    unit: str
    better: str
    matches: tuple[str, ...]
    values: tuple[float, ...]
    verdict: str
    since: str | None
    before: float | None
    after: float | None
    shift: float | None
    low: float | None
    high: float | None
    achieved_pct: float | None
    p: float | None
    p_adjusted: float | None
    per_match: float | None
    trend_low: float | None
    trend_high: float | None
    trend_p: float | None
    builds: tuple[str, ...]
    build_changes: tuple[str, ...]


@dataclass(frozen=True)
class _Looked:
    metric: str
    part: str
    rows: tuple[MatchRow, ...]
    values: tuple[float, ...]
    change: ChangePoint | None
    trend: Trend | None


def drifts(rows: Sequence[MatchRow], builds: Mapping[str, Build], level: float = LEVEL) -> tuple[Drift, ...]:
    """Every watched figure of every part, in the order of the season (rows are). All of them share one chance of a
    false claim, steps and trends alike.
    """
    looked = [_look(name, part, rows, level) for name, part in _series(rows)]
    tests = [(i, "change", x.change.p) for i, x in enumerate(looked) if x.change is not None]
    tests += [(i, "trend", x.trend.p) for i, x in enumerate(looked) if x.trend is not None]
    adjusted = dict(zip([(i, kind) for i, kind, _ in tests], holm([p for _, _, p in tests]), strict=True))
    return tuple(
        _told(one, adjusted.get((i, "change")), adjusted.get((i, "trend")), builds, level)
        for i, one in enumerate(looked)
    )


def _series(rows: Sequence[MatchRow]) -> list[tuple[str, str]]:
    parts = dict.fromkeys((m.name, m.part) for row in rows for m in row.metrics if m.name in WATCHED)
    return sorted(parts, key=lambda key: WATCHED.index(key[0]))


def _look(name: str, part: str, rows: Sequence[MatchRow], level: float) -> _Looked:
    found: list[tuple[int, MatchRow, Metric]] = [
        (i, row, metric) for i, row in enumerate(rows) if (metric := row.metric(name, part)) is not None
    ]
    usual = Counter(m.at for _, _, m in found).most_common(1)[0][0]
    found = [one for one in found if one[2].at == usual]
    values = tuple(m.value for _, _, m in found)
    kept = tuple(row for _, row, _ in found)
    place = [i for i, _, _ in found]
    if len(values) < LEAST_MATCHES:
        return _Looked(name, part, kept, values, None, None)
    if len(kept) > MOST_VALUES:  # a step is then placed to the nearest of them
        chosen = thinned(np.arange(len(kept)))
        kept, values = tuple(kept[i] for i in chosen), tuple(values[i] for i in chosen)
        place = [place[i] for i in chosen]
    return _Looked(name, part, kept, values, change_point(values, level), theil_sen(place, values, level))


def _told(
    one: _Looked, change_p: float | None, trend_p: float | None, builds: Mapping[str, Build], level: float
) -> Drift:
    about = CATALOGUE[one.metric]
    base: dict[str, Any] = {
        "metric": one.metric, "part": one.part, "words": about.words, "unit": about.unit, "better": about.better,
        "matches": tuple(row.match for row in one.rows), "values": one.values, "since": None, "before": None,
        "after": None, "shift": None, "low": None, "high": None, "achieved_pct": None, "p": None, "p_adjusted": None,
        "per_match": None, "trend_low": None, "trend_high": None, "trend_p": None, "builds": (), "build_changes": (),
    }  # fmt: skip
    if one.change is None or one.trend is None or change_p is None or trend_p is None:
        return Drift(**base, verdict="too few")
    alpha = 1 - level + 1e-12
    step = one.change
    base |= {
        "per_match": one.trend.slope, "trend_low": one.trend.low, "trend_high": one.trend.high, "trend_p": trend_p,
        "p": step.p, "p_adjusted": change_p,
    }  # fmt: skip
    shown = "changed" if change_p <= alpha else "drifts" if trend_p <= alpha else "possible"
    if shown == "possible" and min(step.p, one.trend.p) > alpha:
        return Drift(**base, verdict="no change shown")
    before, after = one.rows[step.first - 1], one.rows[step.first]
    values = sorted(one.values[: step.first]), sorted(one.values[step.first :])
    base |= {
        "since": after.match, "before": _median(values[0]), "after": _median(values[1]), "shift": step.shift.value,
        "low": step.shift.low, "high": step.shift.high, "achieved_pct": 100 * step.shift.achieved,
    }  # fmt: skip
    if before.build != after.build:
        base["builds"] = (before.build, after.build)
        if before.build in builds and after.build in builds:
            listed = build_changes(builds[before.build], builds[after.build])
            base["build_changes"] = tuple(sorted(listed, key=lambda text: one.part not in text.split(":")[0].split()))
    return Drift(**base, verdict=shown)


def _median(ordered: list[float]) -> float:
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


_LISTS = ("wires", "contacts", "fuses", "controllers", "motors", "regulators")
_KEYS = {"from_": "from"}


def build_changes(before: Build, after: Build) -> tuple[str, ...]:
    """What differs between two builds as a person would list it: "wire battery_lead: gauge 14 AWG -> 12 AWG"."""
    found: list[str] = []
    for name in _LISTS:
        word = name.removesuffix("s")
        old, new = ({part.id: part for part in getattr(build, name)} for build in (before, after))
        found += [f"{word} {part_id} removed" for part_id in old if part_id not in new]
        found += [f"{word} {part_id} added" for part_id in new if part_id not in old]
        for part_id in old:
            if part_id in new:
                a, b = (side[part_id].model_dump() for side in (old, new))
                found += [
                    f"{word} {part_id}: {_KEYS.get(key, key)} {_value(a[key])} -> {_value(b[key])}"
                    for key in a
                    if a[key] != b[key]
                ]
    a, b = before.receiver.model_dump(), after.receiver.model_dump()
    found += [f"receiver: {key} {_value(a[key])} -> {_value(b[key])}" for key in a if a[key] != b[key]]
    if before.build.mass_kg != after.build.mass_kg:
        found.append(f"mass_kg {_value(before.build.mass_kg)} -> {_value(after.build.mass_kg)}")
    return tuple(found)


def _value(value: Any) -> str:
    if value is None:
        return "not stated"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        return ", ".join(_value(v) for v in value) or "none"
    return str(value)
