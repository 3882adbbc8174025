"""afterbout note: a figure read off by hand."""

from __future__ import annotations

import argparse

from dashboard.output import say


def run(args: argparse.Namespace) -> int:
    from pydantic import ValidationError

    from dashboard.cli import EXIT_DONE
    from ingest.errors import UsageError
    from ingest.matches import Noted
    from ingest.season import Season

    season = Season(args.season)
    try:
        noted = Noted(
            part=args.part,
            quantity=args.quantity,
            value=args.value,
            unit=args.unit,
            when=args.when,
            by=args.by,
        )
    except ValidationError as error:
        first = error.errors()[0]
        raise UsageError(f"{first['loc'][0]}: {first['msg']}", mend="See afterbout note --help.") from None
    season.note(args.match, noted)
    by = f" by {args.by}" if args.by else ""
    say(f"{args.match}: {args.part} {args.quantity} {args.value:g} {args.unit}, {args.when}{by}.")
    return EXIT_DONE
