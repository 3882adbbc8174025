"""afterbout new: a season folder, valid at once; on a terminal it asks ten short questions first."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from dashboard.output import say


def run(args: argparse.Namespace) -> int:
    from dashboard.cli import EXIT_DONE
    from dashboard.reviewing import threshold_settings
    from ingest.errors import UsageError
    from ingest.places import place
    from ingest.season import Season
    from ingest.templates import parse_weight_class, season_files

    given: dict[str, Any] = {}
    try:
        if args.weight_class is not None:
            given["weight_class"] = parse_weight_class(args.weight_class)
        if args.robot is not None:
            given["robot"] = args.robot
        if sys.stdin.isatty() and not args.yes:
            given |= _ask(given)
        files = season_files(given)
    except ValueError as error:
        raise UsageError(str(error)) from None
    if sys.stdin.isatty() and not args.yes:
        say("")
        say(_drawing(files["builds/b.toml"]))
        if input("Write this season? [Y/n] ").strip().lower() in ("n", "no"):
            say("Nothing was written.")
            return EXIT_DONE
    folder = place(args.folder)
    Season.create(folder, folder.resolve().name, given.get("robot") or "", threshold_settings(), files)
    say(f"The season is in {folder}. What is marked as typical in builds/b.toml is a guess: correct it.")
    say(f"Next: afterbout check {folder / 'builds' / 'b.toml'} --pack {folder / 'packs' / 'p1.toml'}")
    say(f"Then: afterbout add LOGS --season {folder} --match m01 --build b --pack p1")
    return EXIT_DONE


def _ask(given: dict[str, Any]) -> dict[str, Any]:
    """The questions that are still open. Enter: don't know."""
    from ingest.templates import questions

    say('Enter means "don\'t know": what needs that figure will then say "not checked".')
    answers: dict[str, Any] = {}
    for question in questions():
        if question.key in given:
            continue
        while True:
            text = input(f"{question.text}: ").strip()
            if not text:
                break
            try:
                answers[question.key] = question.parse(text)
                break
            except ValueError as error:
                say(f"  {error}")
    return answers


def _drawing(build_text: str) -> str:
    """The wiring as an indented tree, so that a wrong answer shows before anything is written."""
    import tomllib

    build = tomllib.loads(build_text)
    wires = build.get("wire", [])

    def under(node: str, depth: int) -> list[str]:
        lines = []
        for wire in wires:
            if wire["from"] == node:
                gauge = wire.get("gauge", "gauge unknown")
                through = "".join(f" [{part}]" for part in wire.get("through", []))
                lines.append(f"{'    ' * depth}{node} --{through} {gauge} --> {wire['to']}")
                lines += under(wire["to"], depth + 1)
        lines += [
            f"{'    ' * depth}{node} --> {r['id']} --> {r.get('supplies', 'receiver')}"
            for r in build.get("regulator", [])
            if r["from"] == node
        ]
        return lines

    return "\n".join(["The wiring that this makes:", *under("pack", 1)])
