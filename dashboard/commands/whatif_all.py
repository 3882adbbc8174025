"""afterbout whatif over several matches: one change on every match of a build, and the lightest wiring."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from dashboard.output import print_json, say

if TYPE_CHECKING:
    from analysis.across import Across, Case
    from analysis.changes import Changes
    from analysis.match_data import MatchData
    from analysis.search import Found
    from dashboard.progress import Progress
    from ingest.season import Season


def run_all(args: argparse.Namespace) -> int:
    """`--all`, `--build` without a match, and `--lightest`."""
    from dashboard.progress import Progress
    from ingest.errors import UsageError

    if args.lightest and args.set:
        raise UsageError("--lightest looks for the change itself", found="--set", mend="Leave out --set.")
    with Progress("replaying") as show:
        cases, build_id, packs = _cases(args, show)
        return (
            _lightest(args, cases, build_id, packs, show) if args.lightest else _all(args, cases, build_id, packs, show)
        )


def _cases(args: argparse.Namespace, show: Progress) -> tuple[list[Case], str, dict[str, Any]]:
    from analysis.across import Case
    from dashboard.reviewing import review_files
    from ingest.errors import DescriptionError, UsageError
    from ingest.season import Season

    if args.season is None:
        if args.all or not args.what:
            raise UsageError("several matches are those of a season", mend="Give --season S.")
        bench = review_files(
            args.what, args.build, args.pack, args.cells, reading=args.reading, rate_Hz=args.rate, dbc=args.dbc
        )
        if bench.build is None:
            raise DescriptionError(
                "no build is named: there is nothing to change", file=args.what[0], mend="Give --build."
            )
        pack = bench.pack
        return [Case("log files", None if pack is None else pack.id, bench.data, bench.review)], bench.build.id, {}
    season = Season(args.season)
    packs = {pack.id: pack for pack in season.packs()}
    if len(args.what) > 1:
        raise UsageError("with --season, name one match or none", found=" ".join(args.what))
    if args.what and args.build is not None:
        raise UsageError(
            f"match {args.what[0]} names its own build", found=f"--build {args.build}", mend="Leave out one of the two."
        )
    if args.what and not args.all:
        wanted, build_id = [args.what[0]], _build_of(season, args.what[0])
    else:
        if not args.what and args.build is None:
            known = ", ".join(build.id for build in season.builds())
            raise UsageError("of which build?", mend=f"Name a match, or give --build: {known}.")
        build_id = args.build if args.build is not None else _build_of(season, args.what[0])
        season.build(build_id)
        wanted = [m.id for m in season.matches() if m.build == build_id]
    if not wanted:
        raise UsageError(f"no match of this season has build {build_id}", mend="Name another build.")
    return [_case(season, name, show, i / len(wanted)) for i, name in enumerate(wanted)], build_id, packs


def _build_of(season: Season, match_id: str) -> str:
    from ingest.errors import DescriptionError

    build = season.match(match_id).build
    if build is None:
        raise DescriptionError(
            "no build is named for this match: there is nothing to change",
            file=season.root / "matches" / f"{match_id}.toml",
            mend="Name the build in the match file.",
        )
    return build


def _case(season: Season, match_id: str, show: Progress, share: float) -> Case:
    """One match reviewed; what is wrong with its files is a reason, so that the others are still replayed."""
    from analysis.across import Case
    from dashboard.reviewing import review_match
    from ingest.errors import AfterboutError

    show(0.4 * share, match_id)
    try:
        bench = review_match(season, match_id, with_advice=False)
    except AfterboutError as error:
        return Case(
            match_id, None, None, None, ". ".join(x.rstrip(".") for x in (str(error.what), error.mend) if x) + "."
        )
    return Case(match_id, None if bench.pack is None else bench.pack.id, bench.data, bench.review)


def _all(args: argparse.Namespace, cases: list[Case], build_id: str, packs: dict[str, Any], show: Progress) -> int:
    from analysis.across import across
    from analysis.changes import changed
    from dashboard.cli import EXIT_DONE, EXIT_INPUT
    from dashboard.whatif_all_page import across_text
    from ingest.errors import DescriptionError

    made: list[Changes] = []
    errors: list[DescriptionError] = []

    def change(data: MatchData) -> Changes | str:
        assert data.build is not None
        try:
            changes = changed(data.build, data.pack, args.set, packs)
        except DescriptionError as error:
            errors.append(error)
            return ". ".join(x.rstrip(".") for x in (f"{error.column} {error.what}", error.mend) if x) + "."
        made.append(changes)
        return changes

    found = across(cases, change, lambda share, match: show(0.4 + 0.6 * share, match))
    if errors and not made:  # a wrong key or value is wrong for every match
        raise errors[0]
    document = across_document(build_id, args.set, made, found)
    if args.json:
        print_json(document)
    else:
        say(across_text(document))
    return EXIT_DONE if found.replayed else EXIT_INPUT


def across_document(build_id: str, sets: list[str], made: list[Changes], found: Across) -> dict[str, Any]:
    """The document of one change over several matches. made: the change of each match it could be made for."""
    from dataclasses import asdict

    from analysis.changes import parse_pair
    from analysis.findings import plain
    from analysis.wording import across_sentence

    grams = [one.adds_g for one in made]
    return plain(
        {
            "schema": "afterbout.whatif_all/1",
            "build": build_id,
            "changes": made[0].as_dict() if made else dict(parse_pair(text) for text in sets),
            "adds_g": None if not grams or any(g is None for g in grams) else max(g for g in grams if g is not None),
            "unweighed": sorted({part for one in made for part in one.unweighed}),
            "matches": [asdict(row) for row in found.rows],
            "worst": None if found.worst is None else found.worst.match,
            "replayed": len(found.replayed),
            "within": len(found.within),
            "sentence": across_sentence(found),
        }
    )


def _lightest(args: argparse.Namespace, cases: list[Case], build_id: str, packs: dict[str, Any], show: Progress) -> int:
    from analysis.across import across
    from analysis.changes import changed
    from analysis.search import remade_sets, search_all
    from dashboard.cli import EXIT_DONE, EXIT_INPUT
    from dashboard.whatif_all_page import lightest_text

    found = search_all(cases, list(packs.values()), lambda share, what: show(0.4 + 0.4 * share, what))
    table = None
    used = [case for case in cases if case.match not in {match for match, _ in found.refused}]
    if found.best is not None and found.best.sets and found.proved:
        sets = found.best.sets
        table = across(
            used,
            lambda data: (
                "no build" if data.build is None else changed(data.build, data.pack, (*remade_sets(data), *sets), packs)
            ),
            lambda share, match: show(0.8 + 0.2 * share, match),
        )
    document = lightest_document(build_id, cases, found, table)
    if args.json:
        print_json(document)
    else:
        say(lightest_text(document))
    return EXIT_DONE if used else EXIT_INPUT


def lightest_document(build_id: str, cases: list[Case], found: Found, table: Across | None) -> dict[str, Any]:
    """The document of the search. table: the best, replayed on every match."""
    from dataclasses import asdict

    from analysis.findings import plain
    from analysis.masses import room_g
    from analysis.wording import across_sentence

    build = next((c.data.build for c in cases if c.data is not None and c.data.build is not None), None)
    refused = {match for match, _ in found.refused}

    def option(one: Any) -> dict[str, Any]:
        row = asdict(one)
        row["sets"] = dict(one.sets)
        return row

    return plain(
        {
            "schema": "afterbout.lightest/1",
            "build": build_id,
            "matches": [case.match for case in cases if case.match not in refused],
            "refused": [{"match": match, "reason": why} for match, why in found.refused],
            "room_g": None if build is None else room_g(build),
            "need_pct": found.need_pct,
            "tried": found.tried,
            "best": None if found.best is None else option(found.best),
            "proved": found.proved,
            "note": found.note,
            "overloads": list(found.overloads),
            "pareto": [option(one) for one in found.pareto],
            "joints_remade": list(found.remade),
            "left": list(found.left),
            "broken_before": [{"match": m, "check": c, "part": p} for m, c, p in found.broken],
            "replayed": [] if table is None else [asdict(row) for row in table.rows],
            "sentence": "" if table is None else across_sentence(table),
        }
    )
