"""afterbout season: every match of a season, or of every season in a folder."""

from __future__ import annotations

import argparse
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.output import print_json, say, warn

if TYPE_CHECKING:
    from analysis.season_run import SeasonRun
    from ingest.season import Season


def run(args: argparse.Namespace) -> int:
    from analysis.cluster import cluster_executor
    from dashboard.cli import EXIT_DONE, EXIT_INPUT
    from ingest.errors import UsageError
    from ingest.season import Season

    if args.csv and not args.query:
        raise UsageError("--csv is how the answer of --query is printed", mend="Give --query, or leave --csv out.")
    if args.seasons is not None:
        return _several(args)
    season = Season(args.season)
    if args.verify:
        return _verify(season, args.json)
    with cluster_executor(args.cluster) if args.cluster else nullcontext() as executor:
        done = _run(season, args.rebuild, executor)
    if args.query:
        _warn(done)
        _answer(args, [(season.name, season)])
        return EXIT_INPUT if done.failed else EXIT_DONE
    from analysis.season_summary import summary

    document = summary(season, done)
    if args.share:
        _share(Path(args.share), [(season, done)])
    if args.json:
        print_json(document)
    else:
        from dashboard.season_page import season_text

        say(season_text(document))
    return EXIT_INPUT if done.failed else EXIT_DONE


def _run(season: Season, rebuild: bool, executor: Any) -> SeasonRun:
    from analysis.season_run import run_season
    from dashboard.progress import Progress

    with Progress("reviewing") as show:
        return run_season(
            season,
            executor=executor,
            rebuild=rebuild,
            progress=lambda n, of, match: show(n / of, f"{match}, {n} of {of}"),
        )


def _verify(season: Season, as_json: bool) -> int:
    from dashboard.cli import EXIT_DONE, EXIT_INPUT

    problems = season.verify()
    if as_json:
        rows = [{"file": p.file, "what": p.what, "mend": p.mend, "harmless": p.harmless} for p in problems]
        print_json({"schema": "afterbout.season_verify/1", "folder": str(season.root), "problems": rows})
    elif not problems:
        say(f"{season.root}: nothing damaged, missing or left over.")
    else:
        for problem in problems:
            word = "harmless" if problem.harmless else "damaged"
            say(f"{word:<9} {problem.file}: {problem.what}\n          {problem.mend}")
    return EXIT_INPUT if any(not problem.harmless for problem in problems) else EXIT_DONE


def _several(args: argparse.Namespace) -> int:
    """One after the other; a season that cannot be read does not stop the rest."""
    from analysis.cluster import cluster_executor
    from analysis.season_summary import head
    from dashboard.cli import EXIT_DONE, EXIT_INPUT
    from ingest.errors import AfterboutError, SeasonError
    from ingest.places import place
    from ingest.season import Season

    folder = place(args.seasons)
    found = sorted(path.parent for path in folder.glob("*/season.toml")) if folder.is_dir() else []
    if not found:
        raise SeasonError(
            "holds no season", file=folder, mend="Name the folder in which the season folders stand side by side."
        )
    code = EXIT_DONE
    heads: list[dict[str, Any]] = []
    errors: list[str] = []
    runs: list[tuple[Season, SeasonRun]] = []
    with cluster_executor(args.cluster) if args.cluster else nullcontext() as executor:
        for path in found:
            try:
                season = Season(path)
                if args.verify:
                    code = max(code, _verify(season, False)) if not args.json else code
                    continue
                done = _run(season, args.rebuild, executor)
                _warn(done)
                heads.append(head(season, done, done.rows()))
                runs.append((season, done))
                code = EXIT_INPUT if done.failed else code
            except AfterboutError as error:
                errors.append(str(error))
                code = EXIT_INPUT
    for text in errors:
        warn(f"afterbout: left out: {text}")
    if args.query:
        if runs:
            _answer(args, [(season.root.name, season) for season, _ in runs])
        return code
    if args.share and runs:
        _share(Path(args.share), runs)
    if args.json:
        print_json({"schema": "afterbout.seasons/1", "folder": str(folder), "seasons": heads, "errors": errors})
    elif not args.verify:
        from dashboard.season_page import seasons_text

        say(seasons_text(heads))
    return code


def _warn(done: SeasonRun) -> None:
    for failure in done.failed:
        warn(f"afterbout: left out: {failure.reason}")
    for match in done.gone:
        warn(f"afterbout: {match} was removed meanwhile")


def _answer(args: argparse.Namespace, seasons: list[tuple[str, Season]]) -> None:
    """What --query asks, of tables that are up to date."""
    import sys

    from analysis.season_query import plain_rows, query
    from dashboard.exporting import csv_bytes
    from dashboard.season_page import query_text

    table = query(seasons, args.query)
    if args.json:
        columns = [{"name": field.name, "type": str(field.type)} for field in table.schema]
        print_json({"schema": "afterbout.season_query/1", "columns": columns, "rows": plain_rows(table)})
    elif args.csv:
        sys.stdout.write(csv_bytes(table).decode("utf-8"))
    else:
        say(query_text(table.column_names, plain_rows(table)))


def _share(target: Path, runs: list[tuple[Season, SeasonRun]]) -> None:
    from analysis.sharing import anonymous
    from dashboard.exporting import write_table

    table = anonymous(
        (list(done.rows()), {build.id: build for build in season.survey().builds}) for season, done in runs
    )
    write_table(table, target)
    warn(
        f"{target}: {table.num_rows:,} metrics without names. Look through it before you pass it on: whoever has a log "
        "or a sheet of one of the matches knows its figures again."
    )
