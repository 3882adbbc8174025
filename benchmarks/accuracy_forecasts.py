"""How far the heat forecast and the replay lie from independent simulations: the cases of their tests, more seeds.

    python benchmarks/accuracy_forecasts.py [--parts 120] [--matches 12] [--only heat replay]

heat: random two-node parts with a whole-degree sensor, fitted on 180 s and forecast 60 s ahead with the load known
(tests/analysis/test_part_heat.py). replay: nine changes replayed from the log of each match and simulated again with
the changed robot, once with commands that are duties and once with controllers that make up for a sagging supply
(tests/analysis/replay_cases.py).
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from analysis.part_heat import forecast
from analysis.ratings import OutsideValidity

ROOT = Path(__file__).resolve().parents[1]
WIRE_K = 5.0


def cases_of(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "analysis" / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def heat(parts: int) -> None:
    cases = cases_of("test_part_heat")
    errors, inside, refused = [], [], 0
    for seed in range(parts):
        try:
            fit, future, t, truth = cases.fitted(seed, air_known=seed % 3 != 0)
        except OutsideValidity:
            refused += 1
            continue
        ahead = forecast(fit, future.edges_s, future.mean_i2)
        exact = float(np.interp(ahead.t_s[-1], t, truth))
        errors.append(abs(float(ahead.temp_degC[-1]) - exact))
        inside.append(ahead.low_degC[-1] <= exact <= ahead.high_degC[-1])
    print(
        f"heat 60 s ahead: median {np.median(errors):.2f} °C, 95 % {np.quantile(errors, 0.95):.2f} °C, "
        f"band covers {100 * np.mean(inside):.0f} % of {len(errors)}; {refused} declined",
        flush=True,
    )


def replayed(matches: int) -> None:
    cases = cases_of("replay_cases")
    start = time.perf_counter()
    for throttle, held_V in (("open", None), ("compensated", cases.HELD_V)):
        found: dict[str, list[Any]] = {case.name: [] for case in cases.CASES}
        for seed in range(3, 3 + matches):
            match = cases.made_match(seed, held_V)
            for case in cases.CASES:
                try:
                    found[case.name].append(cases.outcome(match, case))
                except (AssertionError, KeyError) as refused:
                    print(f"seed {seed}, {case.name}: no figure to compare ({refused})")
        print(f"replay, {throttle} throttle, {matches} matches")
        for name, outcomes in (*found.items(), ("all", [o for kind in found.values() for o in kind])):
            print(f"  {name:<15} {_row(outcomes)}", flush=True)
    print(f"({time.perf_counter() - start:.0f} s)")


def _row(outcomes: list[Any]) -> str:
    volts, pack = [o.volts for o in outcomes], [o.pack for o in outcomes]
    wires = [w for o in outcomes for w in o.wires.values()]
    held = [abs(w.error) <= WIRE_K or w.holds for w in wires]
    outside = [abs(w.error) for w, good in zip(wires, held, strict=True) if not good]
    return (
        f"V: {np.mean([abs(v.error) for v in volts]):.3f} mean, {max(abs(v.error) for v in volts):.2f} worst, band "
        f"{100 * np.mean([v.holds for v in volts]):.0f} % (width {np.mean([v.high - v.low for v in volts]):.2f} V) of "
        f"{len(volts)}; pack {max(abs(p.error) for p in pack):.1f} K worst; wires {100 * np.mean(held):.1f} % of "
        f"{len(wires)} within {WIRE_K:.0f} K or the interval, worst outside {max(outside, default=0.0):.1f} K"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", type=int, default=120)
    parser.add_argument("--matches", type=int, default=12)
    parser.add_argument("--only", nargs="+", choices=["heat", "replay"], default=["heat", "replay"])
    asked = parser.parse_args()
    if "heat" in asked.only:
        heat(asked.parts)
    if "replay" in asked.only:
        replayed(asked.matches)


if __name__ == "__main__":
    main()
