"""Made-up season rows for tests of comparisons and trends: plain numbers, nothing of the reviews."""

from __future__ import annotations

from collections.abc import Mapping

from analysis.metric_kinds import CATALOGUE, Absent, Metric
from analysis.season_rows import MatchRow


def row(
    match: str,
    values: Mapping[str | tuple[str, str], float],
    *,
    build: str = "a",
    pack: str = "p1",
    opponent: str = "Old Tuppence",
    half: float = 0.0,
    at: str = "",
    absent: tuple[Absent, ...] = (),
) -> MatchRow:
    """values: metric -> value, or (metric, part) -> value; half: the half width of every interval."""
    metrics = []
    for key, value in values.items():
        name, part = key if isinstance(key, tuple) else (key, "pack")
        metrics.append(Metric(name, part, value, value - half, value + half, CATALOGUE[name].unit, at, "made up"))
    return MatchRow(match, build, pack, "", opponent, "", "within", 150.0, tuple(metrics), absent, ())
