"""How often a season's claims are wrong, and how often a real change is found: simulated seasons with a known truth.

    python -m benchmarks.season_statistics [--repeats 500]

Seasons of 3, 6 and 12 matches (a side, for comparisons). Values are normal about their truth, which the ranks do not
know; packs and steps are drawn anew for every season. Prints rates beside what is claimed; passes and fails nothing.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable

import numpy as np

from analysis.compare import compare, grouped
from analysis.drift import drifts
from analysis.metric_kinds import CATALOGUE
from analysis.pack_life import PackLife, pack_lives
from analysis.season_rows import MatchRow
from ingest.packs import Pack
from tests.analysis.made_rows import row

MATCHES = (3, 6, 12)
HEADLINE = [name for name, about in CATALOGUE.items() if about.headline]
OHM, LEAD = "pack_resistance_charge_mohm", ("harness_resistance_mohm", "battery_lead")
WATCHED = (LEAD, ("no_load_A", "weapon"), ("spin_up_s", "weapon"), ("link_quality_pct", "link"))
NEW = Pack(id="p1", cells=6, capacity_Ah=3.3, resistance_mohm=20.0)  # retired at 40 mΩ
NOISE = 0.03  # our choice: of a pack's resistance from match to match, at one temperature


def shares(repeats: int, once: Callable[[np.random.Generator], dict[str, bool | None]]) -> dict[str, tuple[float, int]]:
    """For each name the share of True among the answers, and their number; None is no answer."""
    found: dict[str, list[bool]] = {}
    for seed in range(repeats):
        for name, answer in once(np.random.default_rng(seed)).items():
            if answer is not None:
                found.setdefault(name, []).append(answer)
    return {name: (float(np.mean(answers)), len(answers)) for name, answers in found.items()}


def two_builds(rng: np.random.Generator, n: int, apart: float, names: list[str]) -> list[MatchRow]:
    """n matches a side; every metric of the second build lies `apart` sigma higher."""
    return [
        row(
            f"m{i}",
            dict(zip(names, rng.normal(50 + (5 * apart if i >= n else 0), 5, len(names)), strict=True)),
            build="a" if i < n else "b",
        )
        for i in range(2 * n)
    ]


def comparison(n: int, apart: float) -> Callable[[np.random.Generator], dict[str, bool | None]]:
    def once(rng: np.random.Generator) -> dict[str, bool | None]:
        one = compare(grouped(two_builds(rng, n, apart, ["rms_10s_A"]), "build"), "build", ["rms_10s_A"]).rows[0]
        ten = compare(grouped(two_builds(rng, n, apart, HEADLINE), "build"), "build", HEADLINE)
        assert one.low is not None and one.high is not None and one.achieved_pct is not None
        return {
            "one metric: differs": one.verdict == "differs",
            f"its interval ({one.achieved_pct:.0f} %) holds the truth": one.low <= 5 * apart <= one.high,
            "ten metrics: any differs": any(r.verdict == "differs" for r in ten.rows),
        }

    return once


def robot(n: int, step: float) -> Callable[[np.random.Generator], dict[str, bool | None]]:
    """Four watched figures; the battery lead steps by `step` sigma at a match drawn anew."""

    def once(rng: np.random.Generator) -> dict[str, bool | None]:
        at = int(rng.integers(2, max(n - 1, 3)))
        rows = []
        for i in range(n):
            values = dict(zip(WATCHED, rng.normal(50, 2, len(WATCHED)), strict=True))
            values[LEAD] += 2 * step * (i >= at)
            rows.append(row(f"m{i}", values))
        told = {(d.metric, d.part): d for d in drifts(rows, {})}
        claimed = [d for d in told.values() if d.verdict in ("changed", "drifts")]
        lead = told[LEAD]
        shown = lead.verdict in ("changed", "drifts")
        return {
            "a figure that stayed is claimed": any((d.metric, d.part) != LEAD or not step for d in claimed),
            "the step is found": shown if step else None,
            "and at its match": lead.since == f"m{at}" if step and shown else None,
            "and to a match": abs(int(str(lead.since)[1:]) - at) <= 1 if step and shown else None,
        }

    return once


def lives(rng: np.random.Generator, n: int, gain: float, degC: float | None) -> PackLife:
    """A pack that gains `gain` of its new resistance a match; degC: it runs at there to 25 °C (None: at 25 °C)."""
    true = 20.0 * (1 + gain * np.arange(n))
    temps = np.full(n, 25.0) if degC is None else rng.uniform(degC, 25.0, n)
    cold = np.ones(n) if degC is None else np.exp(COLD_PER_K * (25.0 - temps))
    seen = true * cold * rng.normal(1, NOISE, n)
    rows = [
        row(f"m{i}", {OHM: float(seen[i]), "pack_temp_mean_degC": float(temps[i])}, at="80 % charge") for i in range(n)
    ]
    return pack_lives(rows, {"p1": NEW})[0]


COLD_PER_K = 0.02  # our choice: about what cold does to a lithium-polymer cell (2 % a kelvin), from memory


def pack(n: int, gain: float, degC: float | None) -> Callable[[np.random.Generator], dict[str, bool | None]]:
    crossing = 1 + 1.0 / gain if gain else math.inf  # the use at which 20 mΩ have become 40

    def once(rng: np.random.Generator) -> dict[str, bool | None]:
        life = lives(rng, n, gain, degC)
        held: bool | None = None
        if life.early is not None:
            late = math.inf if life.late is None else life.late
            over = life.at_use == life.early == late  # its last figure lies over the line: retire it now
            # No forecast goes back behind the last match.
            held = crossing <= n if over else life.early <= max(crossing, n) <= late
        return {
            "it is said to rise": life.trend == "rises",
            "confounded": life.trend == "confounded" if degC is not None else None,
            "the slope's interval holds the truth": (
                life.low <= 20 * gain <= life.high if life.low is not None and life.high is not None else None
            ),
            "the forecast holds the truth": held,
        }

    return once


def show(title: str, found: dict[str, tuple[float, int]]) -> None:
    told = "; ".join(f"{name} {100 * rate:.1f} % of {count}" for name, (rate, count) in found.items())
    print(f"{title}: {told}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=500)
    repeats = parser.parse_args().repeats
    print("Two builds (claimed: at most 5 % where nothing differs)")
    for n in MATCHES:
        for apart in (0.0, 1.0, 2.0, 3.0):
            show(f"  {n} against {n}, {apart:.0f} sigma apart", shares(repeats, comparison(n, apart)))
    print("The robot over a season (claimed: at most 5 % where nothing changed)")
    for n in MATCHES:
        for step in (0.0, 2.0, 4.0):
            show(f"  {n} matches, a step of {step:.0f} sigma", shares(repeats, robot(n, step)))
    print("A pack (claimed: at most 2.5 % rise where nothing ages; 95 % of intervals hold)")
    for n in MATCHES:
        for gain in (0.0, 0.02, 0.05, 0.10):
            for degC in (None, 15.0):
                where = "at 25 °C" if degC is None else f"at {degC:.0f} to 25 °C"
                show(f"  {n} matches {where}, {100 * gain:.0f} % a match", shares(repeats, pack(n, gain, degC)))


if __name__ == "__main__":
    main()
