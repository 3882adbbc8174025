"""How many causes a review finds in matches whose truth is known, as a Markdown table.

    python -m benchmarks.causes                     every labelled match (about ten minutes)
    python -m benchmarks.causes --subset ci         the 120 that the tests use
    python -m benchmarks.causes --cause joint_step  one cause
    python -m benchmarks.causes --labels            only what there is to find, no review

Run from the root of the checkout. The table goes to --out (default: standard output), the failures to standard error.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.synthetic.scenarios.catalogue import all_recipes, ci_subset, made
from tests.synthetic.scenarios.model import Recipe
from tests.synthetic.scenarios.score import Outcome, score

WANTED_RECALL = 0.95
WANTED_RECALL_EACH = 0.85
WANTED_FALSE_ALARMS = 0.1


def labels(recipes: list[Recipe]) -> str:
    """What there is to find: per scenario its event, loggers and whether it is visible."""
    rows = [
        f"# What there is to find in {len(recipes)} labelled matches",
        "",
        "Made by `python -m benchmarks.causes --labels`. Visible: every channel that the signature needs is logged,",
        "and at least three samples lie inside it. Times are on the match clock.",
        "",
        "| match | cause | parts | start s | end s | rate Hz | sensors | visible | never certain |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for one in made(recipes):
        seen = "yes" if one.visible else f"no: {one.why_hidden}"
        event = f"{one.start_s:.2f} | {one.end_s:.2f}" if one.cause else " | "
        rows.append(
            f"| {one.name} | {one.cause or 'healthy'} | {', '.join(one.parts)} | {event} | {one.rate_Hz:.0f} "
            f"| {one.grade} | {seen} | {', '.join(one.forbidden)} |"
        )
    return "\n".join(rows) + "\n"


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.causes", description=__doc__.splitlines()[0])
    parser.add_argument("--subset", choices=("all", "ci"), default="all", help="which matches (default: all)")
    parser.add_argument("--cause", help="only this cause; 'healthy' for the healthy matches")
    parser.add_argument("--labels", action="store_true", help="list the labels instead of reviewing")
    parser.add_argument("--out", type=Path, help="where the table is written (default: standard output)")
    given = parser.parse_args(arguments)
    recipes = ci_subset() if given.subset == "ci" else all_recipes()
    if given.cause:
        wanted = "" if given.cause == "healthy" else given.cause
        recipes = [recipe for recipe in recipes if recipe.cause == wanted]
        if not recipes:
            print(f"no match is labelled {given.cause}", file=sys.stderr)
            return 2
    if given.labels:
        _write(labels(recipes), given.out)
        return 0
    from analysis.review import review

    started = time.perf_counter()

    def progress(outcome: Outcome) -> None:
        print(f"{outcome.name}: {outcome.state}, {outcome.review_s:.2f} s", file=sys.stderr)

    table = score(recipes, review, progress)
    spent = time.perf_counter() - started
    text = f"# Causes found in {len(recipes)} labelled matches\n\n{table.to_markdown()}\n{spent:.0f} s in all.\n"
    _write(text, given.out)
    for line in table.failures():
        print(line, file=sys.stderr)
    good = (
        table.recall() >= WANTED_RECALL
        and table.worst[1] >= WANTED_RECALL_EACH
        and table.false_alarms_per_match <= WANTED_FALSE_ALARMS
        and table.twins == 0
    )
    return 0 if good or not table.causes else 1


def _write(text: str, out: Path | None) -> None:
    if out is None:
        print(text, end="")
    else:
        out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
