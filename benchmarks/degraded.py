"""Whether the intervals hold when a log is worse: slower, averaged, clipped, off its zero, with gaps.

    python -m benchmarks.degraded SEASON [--cases 200]

SEASON is a demo season (`afterbout demo`). Each case reviews a match with its pack and weapon logs degraded in one way
and asks whether every interval contains the figure of the whole log, and whether anything over became passed.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from analysis.findings import Review
from analysis.review import review
from ingest.season import Season
from tests.synthetic.degrade import WAYS, degraded

MATCHES = ("m01", "m02", "m04", "m06", "m09")
WORSE = ("pack_logger.csv", "weapon.csv")
FIGURES = (
    "pack_peak_A", "pack_mean_A", "charge_used_Ah", "energy_used_Wh", "pack_resistance_1s_mohm", "wire_peak_degC",
    "contact_peak_degC", "pack_minimum_V", "charge_state_start_pct",
)  # fmt: skip


@dataclass
class Held:
    """inside and asked by (figure, way); over that became passed; what missed, in words."""

    inside: Counter[tuple[str, str]] = field(default_factory=Counter)
    asked: Counter[tuple[str, str]] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    unseen: list[str] = field(
        default_factory=list
    )  # a loose joint the worse log does not show: its parts pass as sound
    missed: list[str] = field(default_factory=list)

    @property
    def share(self) -> float:
        return sum(self.inside.values()) / max(1, sum(self.asked.values()))


def held(season: Season, cases: int, seed: int = 1) -> Held:
    """Run that many cases over MATCHES and WAYS in turn."""
    rng = np.random.default_rng(seed)
    found = Held()
    whole: dict[str, Review] = {}
    for case in range(cases):
        name, way = MATCHES[case % len(MATCHES)], WAYS[case // len(MATCHES) % len(WAYS)]
        match = season.match(name)
        build, pack = season.build(str(match.build)), season.pack(str(match.pack))
        logs = season.log(match)
        if name not in whole:
            whole[name] = review(logs, build, pack, match, with_advice=False)
        worse = [degraded(log, way, rng) if log.name in WORSE else log for log in logs]
        _hold(found, whole[name], review(worse, build, pack, match, with_advice=False), f"{name} {way}", way)
    return found


def _hold(found: Held, good: Review, poor: Review, what: str, way: str) -> None:
    known = {(row.name, row.part): row.value for row in good.estimates if row.name in FIGURES}
    for row in poor.estimates:
        value = known.get((row.name, row.part))
        if value is None:
            continue
        found.asked[row.name, way] += 1
        slack = 1e-6 * (1.0 + abs(value))
        if row.low - slack <= value <= row.high + slack:
            found.inside[row.name, way] += 1
        else:
            found.missed.append(f"{what}: {row.name} of {row.part} {value:.4g}, not in {row.low:.4g} to {row.high:.4g}")
    passed = {(row.check, row.part) for row in poor.passed}
    for finding in (f for f in good.findings if f.verdict == "over"):
        told = f"{what}: {finding.check} of {finding.part}"
        if (finding.check, finding.part) in passed:
            found.lost.append(told)
        elif any((finding.check, part) in passed for part in finding.could_be):
            found.unseen.append(told)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("season")
    parser.add_argument("--cases", type=int, default=200)
    given = parser.parse_args()
    found = held(Season(given.season), given.cases)
    print("| figure | " + " | ".join(WAYS) + " |\n|---|" + "---|" * len(WAYS))
    for name in FIGURES:
        cells = [f"{found.inside[name, way]}/{found.asked[name, way]}" for way in WAYS]
        print(f"| `{name}` | " + " | ".join(cells) + " |")
    asked = sum(found.asked.values())
    print(f"\n{100 * found.share:.1f} % of {asked} intervals hold; {len(found.lost)} over became passed.")
    print(f"{len(found.unseen)} loose joints unseen, their contacts passed as sound.")
    print("\n".join((*found.lost, *found.unseen, *found.missed)))


if __name__ == "__main__":
    main()
