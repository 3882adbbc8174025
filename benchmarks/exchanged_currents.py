"""How many exchanges of current channels are told, and how often currents under their own names are called exchanged.

    python -m benchmarks.exchanged_currents [--season FOLDER]

Over the labelled matches that the tests use (tests/synthetic/scenarios), and those of a season such as the demo's; in
each, every two controllers' currents are put under each other's names, once those of the supplies and once those of
the motors.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from analysis.current_mixup import TAILS, mixed_up
from analysis.match_data import MatchData
from analysis.review import prepare
from analysis.season_review import review_match
from ingest.season import Season
from tests.synthetic.scenarios.catalogue import ci_subset, made


@dataclass
class Counts:
    """matches: with two currents or more. told: exchanges that name both channels, of those that were tried."""

    matches: int = 0
    called_exchanged: int = 0
    tried: int = 0
    told: int = 0

    def add(self, data: MatchData) -> None:
        before = self.tried
        for x, y in pairs(data):
            signals = data.signals | {x: data.signals[y], y: data.signals[x]}
            found = mixed_up(replace(data, signals=signals, _inside={}, memo={}))
            self.tried, self.told = self.tried + 1, self.told + ({x, y} <= set(found))
        if self.tried > before:
            self.matches += 1
            self.called_exchanged += bool(mixed_up(data))


def pairs(data: MatchData) -> Iterator[tuple[str, str]]:
    parts = [c.id for c in data.build.controllers] if data.build is not None else []
    for tail in TAILS:
        yield from combinations([f"{p}_{tail}" for p in parts if f"{p}_{tail}" in data.signals], 2)


def labelled(every: int = 1) -> Counts:
    counts = Counts()
    for scenario in made(ci_subset()[::every]):
        counts.add(prepare(scenario.logs, scenario.build, scenario.pack, scenario.match))
    return counts


def of_season(folder: str) -> Counts:
    counts, season = Counts(), Season(folder)
    for match_id in season.ids("matches"):
        counts.add(review_match(season, match_id, with_advice=False).data)
    return counts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--season", metavar="FOLDER", help="instead of the labelled matches")
    season = parser.parse_args().season
    found = of_season(season) if season else labelled()
    print(f"{found.matches} matches with two currents or more, {found.called_exchanged} called exchanged")
    print(f"of {found.tried} exchanges {found.told} told")


if __name__ == "__main__":
    main()
