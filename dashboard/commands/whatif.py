"""afterbout whatif: the recorded match with a changed wiring, pack or limit; several matches: whatif_all."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.output import print_json, say


def run(args: argparse.Namespace) -> int:
    from analysis.change_notes import change_notes
    from analysis.changes import changed
    from analysis.replay import replay
    from dashboard.cli import EXIT_DONE, EXIT_INPUT
    from dashboard.progress import Progress
    from dashboard.reviewing import review_files, review_match
    from ingest.errors import DescriptionError, UsageError
    from ingest.season import Season

    if not args.set and not args.lightest:
        raise UsageError(
            "nothing is to be changed",
            mend='Give --set "wire.battery_lead.gauge=10 AWG", or --lightest to look for the lightest wiring.',
        )
    if args.lightest or args.all or (args.season is not None and not args.what):
        from dashboard.commands.whatif_all import run_all

        return run_all(args)
    if not args.what:
        raise UsageError(
            "name a match with --season, or log files", mend="For example: afterbout whatif m01 --season S"
        )
    packs = {}
    with Progress("replaying") as show:
        show(0.0, args.what[0])
        if args.season is not None:
            if len(args.what) != 1:
                raise UsageError("with --season, name one match", found=" ".join(args.what))
            if args.build is not None:
                raise UsageError(
                    f"match {args.what[0]} names its own build",
                    found=f"--build {args.build}",
                    mend="Leave out --build, or leave out the match to replay every match of that build.",
                )
            season = Season(args.season)
            bench = review_match(season, args.what[0], with_advice=False)
            packs = {pack.id: pack for pack in season.packs()}
        else:
            bench = review_files(
                args.what, args.build, args.pack, args.cells, reading=args.reading, rate_Hz=args.rate, dbc=args.dbc
            )
        if bench.build is None:
            raise DescriptionError(
                "no build is named for this match: there is nothing to change",
                file=args.what[0],
                mend="Give --build B.toml, or name the build in the match file.",
            )
        changes = changed(bench.build, bench.pack, args.set, packs)
        show(0.4, changes.text)
        found = replay(bench.data, changes, bench.review)
    document = whatif_document(changes, found, change_notes(bench.build, bench.pack, changes))
    if args.json:
        print_json(document)
    else:
        from dashboard.whatif_page import whatif_text

        say(whatif_text(document))
    return EXIT_INPUT if found.refused is not None else EXIT_DONE


def whatif_document(changes: Any, found: Any, notes: tuple[str, ...] = ()) -> dict[str, Any]:
    """The contract's document of a replay. notes: of the change itself, which no replay shows."""
    from analysis.findings import plain
    from analysis.masses import room_g

    return plain(
        {
            "schema": "afterbout.whatif/1",
            "changes": changes.as_dict(),
            "before": found.before.to_dict(),
            "after": None if found.after is None else found.after.to_dict(),
            "adds_g": found.adds_g,
            "unweighed": list(changes.unweighed),
            "room_g": room_g(changes.build),
            "notes": [*notes, *found.notes],
            "refused": found.refused,
        }
    )
