"""afterbout review: the main job."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.output import print_json, say, warn

STRICT = {"over", "fault", "unknown"}


def run(args: argparse.Namespace) -> int:
    from dashboard.cli import EXIT_DONE, EXIT_STRICT
    from dashboard.progress import Progress
    from dashboard.reviewing import Bench, review_files, review_match
    from ingest.errors import UsageError
    from ingest.season import Season

    with Progress("reviewing") as show:
        show(0.0, args.what[0])
        bench: Bench
        if args.season is not None:
            if len(args.what) != 1:
                raise UsageError("with --season, name one match", found=" ".join(args.what))
            bench = review_match(Season(args.season), args.what[0])
        else:
            bench = review_files(
                args.what,
                args.build,
                args.pack,
                args.cells,
                reading=args.reading,
                rate_Hz=args.rate,
                dbc=args.dbc,
            )
    document = bench.review.to_dict()
    if args.sheet:
        write_sheet(Path(args.sheet), bench, share=args.share)
        warn(f"The sheet is in {args.sheet}: open it in a browser and print it.")
    if args.json:
        print_json(document)
    else:
        from dashboard.review_page import review_text

        say(review_text(document, everything=args.all))
    if args.strict and document["match"]["verdict"] in STRICT:
        return EXIT_STRICT
    return EXIT_DONE


def write_sheet(path: Path, bench: object, *, share: bool = False) -> None:
    """The one-page sheet, whole or not at all."""
    from dashboard.reviewing import Bench
    from dashboard.sheet import sheet_html
    from ingest.store import Store

    assert isinstance(bench, Bench)
    html = sheet_html(bench.review, bench.build, bench.pack, bench.match, share=share)
    Store().write_text(path, html)
