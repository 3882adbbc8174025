"""afterbout compare: matches, builds or packs side by side."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

from dashboard.output import print_json, say, warn

if TYPE_CHECKING:
    from analysis.season_run import SeasonRun
    from ingest.season import Season


def run(args: argparse.Namespace) -> int:
    from analysis.compare import By, compare, grouped
    from analysis.metric_kinds import CATALOGUE
    from dashboard.cli import EXIT_DONE
    from ingest.errors import SeasonError, UsageError, nearest
    from ingest.season import Season

    season = Season(args.season)
    by: By = args.by or "match"
    names = list(dict.fromkeys(args.what))
    for metric in args.metric:
        if metric not in CATALOGUE:
            raise UsageError("there is no such metric", found=metric, mend=nearest(metric, CATALOGUE))
    if by == "match" and len(names) < 2:
        raise UsageError(
            "name two matches, or give --by build or --by pack",
            found=" ".join(names) or None,
            mend=nearest("", season.ids("matches")),
        )
    folder = {"match": "matches", "build": "builds", "pack": "packs"}[by]
    for name in names:
        known = _packs_fitted(season) if by == "pack" else season.ids(folder)
        if name not in known:
            raise UsageError(f"there is no {by} {name!r} in this season", mend=nearest(name, known))
    done = _reviewed(season, names if by == "match" else None)
    rows = [replace(row, findings=()) for row in done.rows()]  # nothing that is not compared is held
    groups = grouped(rows, by)
    missing = [name for name in names if name not in {g.id for g in groups}]
    if missing:
        raise SeasonError(
            f"no match of {by} {missing[0]} could be reviewed", file=season.root, mend="See the messages above."
        )
    if names:
        groups = sorted((g for g in groups if g.id in names), key=lambda g: names.index(g.id))
    if len(groups) < 2:
        have = ", ".join(f"{g.id} ({len(g.rows)} matches)" for g in groups) or "none"
        raise SeasonError(
            f"there are no two {folder} with matches to compare",
            file=season.root,
            found=have,
            mend="Add matches, or compare by something else.",
        )
    comparison = compare(groups, by, args.metric, everything=args.all)
    if args.json:
        print_json(comparison.to_dict())
    else:
        from dashboard.compare_page import compare_text

        say(compare_text(comparison.to_dict()))
    return EXIT_DONE


def _packs_fitted(season: Season) -> list[str]:
    """Packs by id, and those that were fitted together as one."""
    return list(
        dict.fromkeys([*season.ids("packs"), *("+".join(match.fitted_packs) for match in season.survey().matches)])
    )


def _reviewed(season: Season, matches: list[str] | None) -> SeasonRun:
    from analysis.season_run import run_season
    from dashboard.progress import Progress

    with Progress("reviewing") as show:
        done = run_season(season, matches=matches, progress=lambda n, of, match: show(n / of, match))
    for failure in done.failed:
        warn(f"afterbout: left out: {failure.reason}")
    for match in done.gone:
        warn(f"afterbout: {match} was removed meanwhile")
    return done
