"""How far the heat forecast and the replay lie from independent simulations: the cases of their tests, more seeds.

    python benchmarks/accuracy_forecasts.py [--parts 120] [--matches 6] [--only heat replay]

heat: random two-node parts with a whole-degree sensor, fitted on 180 s and forecast 60 s ahead with the load known
(tests/analysis/test_part_heat.py). replay: nine changes replayed from the log of one match and simulated again with
the changed robot (tests/analysis/test_replay.py).
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
import time
from pathlib import Path
from types import ModuleType

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from analysis.part_heat import forecast
from analysis.ratings import OutsideValidity
from analysis.review import review_data

ROOT = Path(__file__).resolve().parents[1]


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
    cases = cases_of("test_replay")
    rs, errors, inside, degC = cases.rs, [], [], []
    start = time.perf_counter()
    for seed in range(3, 3 + matches):
        build, script = rs.BUILDS["abc"[seed % 3]], rs.script(seed)
        both = []
        for plants in (cases.Plants(), cases.Plants(joint_step=cases.JointStep(42.0, "pack_plug", 9.0))):
            data = rs.logged(rs.run(build, cases.P1, script, plants))
            both.append((data, review_data(data, with_advice=False)))
        match = cases.Match(build, script, both[0], both[1], {"p3": rs.described(build, cases.P3)[1]})
        for case in cases.CASES:
            try:
                one = cases._outcome(match, case)
            except (AssertionError, KeyError) as refused:
                print(f"seed {seed}, {case.name}: no figure to compare ({type(refused).__name__})")
                continue
            errors.append(abs(one.replayed_V[0] - one.real_V))
            inside.append(one.replayed_V[1] <= one.real_V <= one.replayed_V[2])
            degC.append(abs(one.pack_degC - one.real_pack_degC))
    print(
        f"replay: lowest weapon voltage off by {np.mean(errors):.3f} V on average, {np.max(errors):.2f} V at worst; "
        f"band covers {100 * np.mean(inside):.0f} % of {len(errors)}; pack {np.max(degC):.1f} °C at worst "
        f"({time.perf_counter() - start:.0f} s)"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", type=int, default=120)
    parser.add_argument("--matches", type=int, default=6)
    parser.add_argument("--only", nargs="+", choices=["heat", "replay"], default=["heat", "replay"])
    asked = parser.parse_args()
    if "heat" in asked.only:
        heat(asked.parts)
    if "replay" in asked.only:
        replayed(asked.matches)


if __name__ == "__main__":
    main()
