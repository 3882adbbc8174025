"""Metrics of one review: the figures that make matches comparable. Pure; the season run stores them."""

from __future__ import annotations

import math

from analysis import metrics_pack, metrics_robot
from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.metric_kinds import CATALOGUE, About, Absent, Better, Metric, Touched
from analysis.metrics_pack import standard_load_A

__all__ = ["CATALOGUE", "About", "Absent", "Better", "Metric", "Touched", "metrics_of", "standard_load_A"]


def metrics_of(data: MatchData, review: Review) -> tuple[tuple[Metric, ...], tuple[Absent, ...]]:
    """(metrics, what this match cannot tell and why). data: as prepared for that review."""
    rows = [*metrics_pack.rows(data, review), *metrics_robot.rows(data, review)]
    metrics = tuple(row for row in rows if isinstance(row, Metric) and math.isfinite(row.value))
    lost = tuple(
        Absent(row.name, row.part, "its figure is not finite", "log faster")
        for row in rows
        if isinstance(row, Metric) and not math.isfinite(row.value)
    )
    return metrics, (*(row for row in rows if isinstance(row, Absent)), *lost)
