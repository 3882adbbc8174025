"""Heat of fifty runs through a match, against one run solved tightly by SciPy in the same process.

    python benchmarks/wire_heat.py [--runs 50] [--rate 1000] [--repeat 5]

Prints one JSON document: milliseconds to bin the log, to heat all runs, to judge a fuse on the full log, and for
one run by solve_ivp (LSODA, 1e-8, on the binned current); and how far that run's peak lies from ours in °C.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

from analysis.binned import Binned, bin_square
from analysis.cooling import convection_W_m2K, radiation_W_m2K
from analysis.fuse_curves import named_curve
from analysis.fuses import FuseBody, fuse_load
from analysis.signal import signal
from analysis.wire_heat import WireRun, wire_heat
from analysis.wire_run import network
from ingest.tables.gauges import parse_gauge

AIR_DEGC = 25.0


def best_ms(call: Callable[[], object], repeat: int) -> float:
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return round(1e3 * min(times), 2)


def solved_peak_degC(run: WireRun, load: Binned) -> float:
    """The hottest of the run by a general solver, bin by bin of the current."""
    net = network(run)
    ohm = run.mohm_per_m * 1e-3
    state = np.full(net.capacity_J_mK.shape[0], AIR_DEGC)
    peak = AIR_DEGC
    for start, end, i2 in zip(load.edges_s[:-1], load.edges_s[1:], load.mean_i2, strict=True):

        def slope(_: float, temp: np.ndarray, i2: float = float(i2)) -> np.ndarray:
            flow = net.conductance_W_mK * (temp[:-1] - temp[1:])
            h = float(convection_W_m2K(net.diameter_m, temp[-1], AIR_DEGC) + radiation_W_m2K(0.9, temp[-1], AIR_DEGC))
            heat = np.zeros_like(temp)
            heat[0] = i2 * ohm * (1 + 0.00393 * (temp[0] - 20))
            heat[:-1] -= flow
            heat[1:] += flow
            heat[-1] -= math.pi * net.diameter_m * h * (temp[-1] - AIR_DEGC)
            return heat / net.capacity_J_mK

        state = solve_ivp(slope, (start, end), state, method="LSODA", rtol=1e-8, atol=1e-8).y[:, -1]
        peak = max(peak, float(state[0]))
    return peak


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--rate", type=float, default=1000.0, help="samples per second of the current")
    parser.add_argument("--repeat", type=int, default=5)
    args = parser.parse_args()

    t = np.arange(0.0, 180.0, 1 / args.rate)
    random = np.random.default_rng(5)
    levels = np.repeat(random.choice([5.0, 20.0, 45.0, 90.0, 160.0], size=180, p=[0.3, 0.3, 0.2, 0.15, 0.05]), 1)
    current = np.round(levels[t.astype(int)] + random.normal(0, 0.5, t.shape[0]), 1)
    load = bin_square(t, current)
    runs = [WireRun(f"run_{k}", parse_gauge(f"{8 + 2 * (k % 5)} AWG")) for k in range(args.runs)]
    loads = [load.scaled(0.3 + 0.6 * k / args.runs) for k in range(args.runs)]
    fuse = FuseBody("fuse", 60.0, named_curve("ISO 8820-3"))
    logged = signal("current_A", t, current)
    one = WireRun("one", parse_gauge("12 AWG"))
    start = time.perf_counter()
    truth = solved_peak_degC(one, load.scaled(0.6))
    solver_ms = 1e3 * (time.perf_counter() - start)
    ours = wire_heat([one], [load.scaled(0.6)], AIR_DEGC)[0].peak.value
    result = {
        "samples": int(t.shape[0]),
        "runs": args.runs,
        "bins": int(load.mean_i2.shape[0]),
        "bin_ms": best_ms(lambda: bin_square(t, current), args.repeat),
        "heat_all_runs_ms": best_ms(lambda: wire_heat(runs, loads, AIR_DEGC), args.repeat),
        "fuse_ms": best_ms(lambda: fuse_load(fuse, logged), args.repeat),
        "solver_one_run_ms": round(solver_ms, 1),
        "peak_degC": round(truth, 2),
        "peak_difference_degC": round(ours - truth, 4),
    }
    print(json.dumps(result, indent=2))


if __name__ == "__main__":
    main()
