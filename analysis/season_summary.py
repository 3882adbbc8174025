"""A season in one document: its matches, builds, packs and what drifted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from analysis.drift import WATCHED, drifts
from analysis.findings import plain
from analysis.metric_kinds import CATALOGUE, Metric
from analysis.pack_life import OF_PACKS, pack_lives
from analysis.pack_pairs import pairs
from analysis.season_rows import MatchRow
from analysis.season_run import SeasonRun
from analysis.season_tables import FINDINGS_FILE, METRICS_FILE
from analysis.statistics import LEVEL, theil_sen
from ingest.season import Season

SCHEMA = "afterbout.season/1"
WHOLE = ("pack", "wiring", "link", "")
SUMMED = {name for name, about in CATALOGUE.items() if about.headline} | {*WATCHED, *OF_PACKS}
LEAST_TREND = 4  # our choice: three points make a line of anything


@dataclass(frozen=True)
class BuildTrend:
    """One headline metric of one build: its median, and its course from match to match with Kendall's p.

    The p of a build's trends are not adjusted: they point at what to look at and claim nothing.
    """

    build: str
    metric: str
    part: str
    words: str
    unit: str
    matches: int
    median: float
    per_match: float | None
    low: float | None
    high: float | None
    achieved_pct: float | None
    p: float | None


def slim_rows(run: SeasonRun) -> list[MatchRow]:
    """The rows with what a summary is made of: without findings, and without the metrics that only the tables hold.

    Some kilobytes a match; what many matches say in the same words is held once.
    """
    words: dict[str, str] = {}

    def once(text: str) -> str:
        return words.setdefault(text, text)

    return [
        replace(
            row,
            metrics=tuple(
                replace(m, name=once(m.name), part=once(m.part), unit=once(m.unit), at=once(m.at), basis=once(m.basis))
                for m in row.metrics
                if m.name in SUMMED
            ),
            absent=(),
            findings=(),
        )
        for row in run.rows()
    ]


def headline(row: MatchRow) -> dict[str, Metric]:
    """Each headline metric once: of the whole, else of the first part that has it."""
    found: dict[str, Metric] = {}
    for metric in row.metrics:
        if CATALOGUE[metric.name].headline and (metric.name not in found or metric.part in WHOLE):
            found[metric.name] = metric
    return found


def build_trends(rows: Sequence[MatchRow]) -> tuple[BuildTrend, ...]:
    """Every headline metric of every build, in the order of the season."""
    found = []
    for build in dict.fromkeys(row.build for row in rows if row.build):
        own = [headline(row) for row in rows if row.build == build]
        for name, about in CATALOGUE.items():
            series = [(n, here[name]) for n, here in enumerate(own, start=1) if name in here]
            if not series:
                continue
            values = [m.value for _, m in series]
            t = theil_sen([n for n, _ in series], values, LEVEL) if len(series) >= LEAST_TREND else None
            found.append(
                BuildTrend(
                    build, name, series[0][1].part, about.words, about.unit, len(series), float(np.median(values)),
                    *((None,) * 5 if t is None else (t.slope, t.low, t.high, 100 * t.achieved, t.p)),
                )
            )  # fmt: skip
    return tuple(found)


def summary(season: Season, run: SeasonRun) -> dict[str, Any]:
    """The document of `afterbout season --json`. Descriptions that cannot be read are left out and named."""
    rows = slim_rows(run)
    survey = season.survey()
    packs = {pack.id: pack for pack in survey.packs}
    builds = {build.id: build for build in survey.builds}
    lives = pack_lives(rows, packs)
    return plain(
        {
            "schema": SCHEMA,
            **head(season, run, rows),
            "matches": [
                {
                    "id": row.match,
                    "build": row.build or None,
                    "pack": row.pack or None,
                    "event": row.event,
                    "opponent": row.opponent,
                    "start": row.start or None,
                    "verdict": row.verdict,
                    "length_s": row.length_s,
                    "metrics": [asdict(metric) for metric in headline(row).values()],
                }
                for row in rows
            ],
            "builds": [asdict(trend) for trend in build_trends(rows)],
            "packs": [asdict(life) for life in lives],
            "pairs": [asdict(pair) for pair in pairs(lives, packs)],
            "drifts": [asdict(drift) for drift in drifts(rows, builds)],
            "problems": [str(error) for error in survey.problems],
        }
    )


def head(season: Season, run: SeasonRun, rows: Iterable[MatchRow]) -> dict[str, Any]:
    """Whose season it is, what the run did, and how many matches have which verdict. Rows are looked at one by one."""
    tables = [str(season.results_path / name) for name in (METRICS_FILE, FINDINGS_FILE)] if run.saved else []
    return {
        "season": {"name": season.name, "robot": season.robot, "folder": str(season.root)},
        "run": {
            "matches": len(run.matches),
            "made": run.made,
            "reused": run.reused,
            "failed": [asdict(failure) for failure in run.failed],
            "gone": list(run.gone),
            "tables": tables,
        },
        "verdicts": dict(Counter(row.verdict for row in rows)),
    }
