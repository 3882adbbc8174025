"""afterbout demo: the demo season from its raw logs to twelve verdicts and sheets."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import Any

from dashboard.output import print_json, say, warn


def run(args: argparse.Namespace) -> int:
    from dashboard.cli import EXIT_DONE
    from dashboard.commands.review import write_sheet
    from dashboard.progress import Progress
    from dashboard.reading_options import parts_of
    from dashboard.reviewing import review_match
    from ingest.align import align
    from ingest.errors import UsageError
    from ingest.season import Season
    from sample_data import write_demo

    folder = Path(args.folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError("is there already and not empty", file=folder, mend="Name another folder, or delete it.")
    folder.mkdir(parents=True, exist_ok=True)
    warn("Simulating twelve matches of an invented robot and writing its raw logs …")
    demo = write_demo(folder)
    season = Season(folder)
    documents = []
    with Progress("reviewing") as show:
        for index, planned in enumerate(demo):
            show(index / len(demo), planned.id)
            options = parts_of(season.build(planned.build))
            season.add(planned.files, planned.id, options=options, align=align)
            bench = review_match(season, planned.id)
            write_sheet(folder / "sheets" / f"{planned.id}.html", bench)
            document = bench.review.to_dict()
            documents.append(document)
            if not args.json:
                for line in match_lines(document):
                    say(line)
    if args.json:
        print_json({"schema": "afterbout.demo/1", "folder": str(folder), "reviews": documents})
        return EXIT_DONE
    worst = next((d["match"]["id"] for d in documents if d["match"]["verdict"] == "over"), documents[0]["match"]["id"])
    say("")
    say(f"Raw logs are in {folder / 'raw'}, one sheet a match in {folder / 'sheets'}.")
    say(f"Open next: {folder / 'sheets' / (worst + '.html')}")
    say(f"Then:      afterbout review {worst} --season {folder}")
    say(f"And:       afterbout serve --season {folder}")
    return EXIT_DONE


def match_lines(document: dict[str, Any]) -> list[str]:
    """The match's id, its verdict in a word and its three lines, wrapped for a terminal; ``document`` is a review."""
    from analysis.wording import VERDICT_WORDS

    match = document["match"]
    what, why, act = document["lines"]
    head = f"{match['id']}  {VERDICT_WORDS[match['verdict']].upper():<7} "
    lines = [what, why, act] if match["verdict"] != "within" or why != "Nothing in the log against it." else [what, act]
    wrapped = []
    for number, line in enumerate(lines):
        start = head if number == 0 else " " * len(head)
        wrapped += textwrap.wrap(line, 98, initial_indent=start, subsequent_indent=" " * len(head))
    return wrapped
