"""afterbout add: log files into a season as one match."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from dashboard.output import print_json, say, warn

if TYPE_CHECKING:
    from ingest.season_add import AddResult

WORDS = {"added": "added", "unchanged": "was there already", "again": "read again with another reading"}


def run(args: argparse.Namespace) -> int:
    from dashboard.cli import EXIT_DONE

    result = added(args)
    for text in (*result.warnings, *(result.notes if args.json else ())):
        warn(text)
    if args.json:
        print_json(add_document(result))
    else:
        tell(result, args.season)
    return EXIT_DONE


def added(args: argparse.Namespace) -> AddResult:
    """Put args.files into the season as args.match. Raises AfterboutError."""
    from dashboard.progress import Progress
    from dashboard.reading_options import read_options
    from ingest.align import align
    from ingest.season import Season

    season = Season(args.season)
    build = _build_of(season, args)
    options = read_options(build, season, args.reading, args.rate, args.dbc)
    about: dict[str, Any] = {k: v for k in ("event", "opponent") if (v := getattr(args, k)) is not None}
    with Progress("adding") as show:
        return season.add(
            args.files,
            args.match,
            build=args.build,
            pack=args.pack,
            options=options,
            progress=lambda name, step, done: show(0.0, f"{name}: {step} {done:,}"),
            align=align,
            **about,
        )


def add_document(result: AddResult) -> dict[str, Any]:
    return {
        "schema": "afterbout.add/1",
        "match": result.match.id,
        "created": result.created,
        "changed": result.changed,
        "logs": [
            {"name": log.name, "sha256": log.sha256, "status": log.status, "rows": log.provenance.rows}
            for log in result.logs
        ],
        "warnings": list(result.warnings),
        "notes": list(result.notes),
    }


def tell(result: AddResult, season: str) -> None:
    """What was added, in words, and the next command."""
    for log in result.logs:
        say(f"{log.name}: {WORDS.get(log.status, log.status)}, {log.provenance.rows:,} rows")
    for entry in result.match.logs[1:]:
        if entry.clock_offset_s is None:
            say(f"{entry.name}: its place on the match clock is not known: {entry.clock_by or 'not aligned'}")
        else:
            say(f"{entry.name}: starts {entry.clock_offset_s:+.3f} s on the match clock ({entry.clock_by})")
    for text in result.notes:
        say(text)
    say(f"Next: afterbout review {result.match.id} --season {season}")


def _build_of(season: Any, args: argparse.Namespace) -> Any:
    """The build that names the parts: the one given, else the one that the match file states."""
    if args.build is not None:
        return season.build(args.build)
    if args.match in season.ids("matches"):
        stated = season.match(args.match).build
        return season.build(stated) if stated else None
    return None
