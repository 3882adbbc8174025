"""How often the first suggestion for a random robot is true, when the robot is simulated again with it.

    python -m benchmarks.advice_claims [--robots 72] [--first 100] [--each]

The robots, matches and faults are random, from the demo's simulation (tests/analysis/advice_cases.py), which shares
nothing with the analysis. Counted: what a suggestion says it clears is past its limit
again, or close without a word that it may be; something else came close or
over that it did not name; the figure on the new robot lies outside the interval it gave.
"""

from __future__ import annotations

import argparse
from collections import Counter
from typing import Any

import numpy as np

from benchmarks.accuracy_forecasts import cases_of

STILL_OVER = (" over", " fault")


def told(first: int, robots: int, each: bool) -> tuple[list[Any], Counter[str]]:
    """(every suggestion that could be held against its robot, why the others could not)."""
    cases = cases_of("advice_cases")
    found: list[Any] = []
    others: Counter[str] = Counter()
    for seed in range(first, first + robots):
        one = cases.tried(cases.random_robot(seed))
        if isinstance(one, str):
            others[one.split(":")[0]] += 1
        else:
            found.append(one)
        if each:
            print(seed, one if isinstance(one, str) else _line(one), flush=True)
    return found, others


def _line(one: Any) -> str:
    after = one.row.after
    wrong = (f" STILL {one.still}" if one.still else "") + (f" NEW {one.new}" if one.new else "")
    figure = "" if one.real is None else f" {one.shown}: {after['low']} to {after['high']}, is {one.real}"
    return f"{one.row.change}: {one.verdicts[0]} -> {one.verdicts[1]}{wrong}{figure}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--robots", type=int, default=72)
    parser.add_argument("--first", type=int, default=100)
    parser.add_argument("--each", action="store_true", help="a line for each robot")
    asked = parser.parse_args()
    found, others = told(asked.first, asked.robots, asked.each)
    print(f"{asked.robots} robots: {len(found)} first suggestions tried; {dict(others)}")
    kinds = Counter(one.row.change.split(" = ")[0].split(".")[-1] for one in found)
    print(f"what was changed: {dict(kinds)}")
    claims = sum(len(one.cleared) for one in found)
    still = [text for one in found for text in one.still]
    over = [text for text in still if text.endswith(STILL_OVER)]
    print(
        f"findings said to be cleared: {claims}; past the limit again: {len(over)}, close again though the row did not "
        f"say that it may be: {len(still) - len(over)}"
    )
    print(f"suggestions that clear all they said: {sum(not one.still for one in found)} of {len(found)}")
    new = [text for one in found for text in one.new]
    print(f"suggestions with an unnamed new finding: {sum(bool(one.new) for one in found)}: {new}")
    brought = [one for one in found if one.said_new]
    print(f"said to bring something close or over: {len(brought)}, did: {sum(one.said_new_came for one in brought)}")
    for unit in ("V", "A", "degC"):
        held = [one for one in found if one.row.after["unit"] == unit and one.holds is not None]
        if held:
            widths = [one.row.after["high"] - one.row.after["low"] for one in held]
            error = [abs(one.real - one.row.after["measured"]) for one in held]
            print(
                f"figures in {unit}: {sum(one.holds for one in held)} of {len(held)} inside the interval given, "
                f"error {np.mean(error):.2f} mean, {max(error):.2f} worst, interval {np.mean(widths):.2f} wide"
            )


if __name__ == "__main__":
    main()
