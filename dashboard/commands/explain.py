"""afterbout explain: what a word means, in one sentence."""

from __future__ import annotations

import argparse

from dashboard.output import say


def run(args: argparse.Namespace) -> int:
    from analysis.glossary import GLOSSARY, look_up
    from dashboard.cli import EXIT_DONE
    from ingest.errors import UsageError, nearest

    if not args.term:
        say("Words: " + ", ".join(sorted(GLOSSARY)))
        return EXIT_DONE
    term = " ".join(args.term)
    found = look_up(term)
    if found is None:
        raise UsageError(f"no such word here: {term!r}", mend=nearest(term.lower(), GLOSSARY))
    name, text = found
    say(f"{name}: {text}")
    return EXIT_DONE
