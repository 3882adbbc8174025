"""Errors of the pack, harness, envelope and alignment figures on packs of known truth: seeds × rates × sensors.

    python benchmarks/accuracy_pack.py [--seeds 30] [--only resistance harness envelope alignment]

Prints tables: error in percent (median, 95th percentile), share of intervals that hold the truth, half width of the
interval, milliseconds of a call. The truth has three relaxation branches, a resistance that moves with charge and
temperature, a published open-circuit curve and hits, pushes and ripple (tests/synthetic/pack_truth.py).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from analysis.envelope import Envelope, envelope, worst_rms
from analysis.pack_model import PackFit, fit_pack, harness_resistance, resistance_steps
from analysis.signal import Measured, Signal, signal
from ingest.align_numeric import align_pair
from tests.synthetic.pack_truth import GRADES, Logger, TrueMatch, match_current, play, random_pack

SCALES_S = (0.1, 1.0, 10.0)


def truth(seed: int) -> TrueMatch:
    rng = np.random.default_rng(seed)
    pack = random_pack(rng)
    return play(pack, *match_current(rng))


def logged(channel: str, logger: Logger, rng: np.random.Generator, t: np.ndarray, x: np.ndarray) -> Signal:
    step = (logger.high - logger.low) / 2**logger.bits if logger.bits else 0.0
    noise = float(np.hypot(logger.noise, step / np.sqrt(12)))
    return signal(channel, *logger.log(rng, t, x), noise=noise)


def summary(errors: list[float], inside: list[bool], half: list[float]) -> str:
    e = np.abs(errors)
    return (
        f"{np.median(e):6.2f} {np.quantile(e, 0.95):6.2f} {100 * np.mean(inside):5.0f} {np.median(half):6.2f}"
        if len(e)
        else "declined"
    )


def resistance(seeds: int) -> None:
    print("\nPack resistance: error % (median, 95 %), cover %, half width %")
    matches = [truth(seed) for seed in range(seeds)]
    variants: list[tuple[str, dict[str, object], dict[str, object]]] = [
        ("", {}, {}),
        (", voltage 4 ms late", {}, {"late_s": 0.004}),
        (", averaging", {"averages": True}, {"averages": True}),
    ]
    for grade, (a, v) in GRADES.items():
        for rate in (10.0, 20.0, 50.0, 100.0, 1000.0):
            for name, more_a, more_v in variants if rate == 50.0 else variants[:1]:
                table: dict[float, tuple[list[float], list[bool], list[float]]] = {s: ([], [], []) for s in SCALES_S}
                took = []
                for seed, match in enumerate(matches):
                    rng = np.random.default_rng(seed)
                    i = logged("pack_current_A", a.but(rate_Hz=rate, **more_a), rng, match.t_s, match.current_A)
                    u = logged("pack_voltage_V", v.but(rate_Hz=rate, **more_v), rng, match.t_s, match.voltage_V)
                    start = time.perf_counter()
                    fit = fit_pack(i, u, cells=6, capacity_Ah=3.3)
                    took.append(time.perf_counter() - start)
                    if not isinstance(fit, PackFit):
                        print("not fitted:", fit.reason)
                        continue
                    for scale, figure in fit.resistance_mohm.items():
                        exact = match.resistance_mohm(scale)
                        table[scale][0].append(100 * (figure.value / exact - 1))
                        table[scale][1].append(figure.low <= exact <= figure.high)
                        table[scale][2].append(50 * (figure.high - figure.low) / exact)
                cells = " | ".join(f"{scale:g} s {summary(*table[scale])}" for scale in SCALES_S)
                print(f"{grade}, {rate:.0f} Hz{name:22s} {cells} | {1e3 * np.median(took):.0f} ms", flush=True)


def harness(seeds: int) -> None:
    print("\nHarness of 5 mΩ, +9 mΩ at 80 s, taps up to 4 ms apart, 50 Hz")
    a, v = GRADES["usual 10-bit, 0.4 A noise"]
    late, size, level, inside, false = [], [], [], [], 0
    for seed in range(seeds):
        match = truth(seed)
        rng = np.random.default_rng(seed)
        for step in (0.0, 0.009):
            ohm = 0.005 + (match.t_s >= 80.0) * step
            shifts = rng.uniform(-0.004, 0.004, 3)
            i = logged("pack_current_A", a.but(late_s=shifts[0]), rng, match.t_s, match.current_A)
            up = logged("pack_voltage_V", v.but(late_s=shifts[1]), rng, match.t_s, match.voltage_V)
            low = match.voltage_V - ohm * match.current_A
            down = logged("distribution_voltage_V", v.but(late_s=shifts[2]), rng, match.t_s, low)
            found = resistance_steps(i, up, down)
            whole = harness_resistance(i, up, down)
            hit = getattr(found, "step", None)
            if step == 0.0:
                false += hit is not None
                if isinstance(whole, Measured):
                    level.append(100 * (whole.value / 5.0 - 1))
                    inside.append(whole.low <= 5.0 <= whole.high)
            elif hit is not None:
                late.append(abs(hit.at_s.value - 80.0))
                size.append(hit.change_mohm.value)
    print(f"level error median {np.median(np.abs(level)):.2f} %, cover {100 * np.mean(inside):.0f} %")
    print(
        f"found {len(late)} of {seeds}, false {false}; time error median {np.median(late):.2f} s, 95 % "
        f"{np.quantile(late, 0.95):.2f} s; size {np.mean(size):.2f} ± {np.std(size):.2f} mΩ"
    )


def envelopes(seeds: int) -> None:
    print("\nEnvelope: degraded logs against the 1 kHz log; error % (median, 95 %), cover %, half width %")
    windows = (0.1, 0.5, 1.0, 10.0, 60.0)
    kinds = ("instant", "average", "unknown")
    for rate in (10.0, 20.0, 50.0, 100.0):
        for kind in kinds:
            errors: list[float] = []
            inside: list[bool] = []
            half: list[float] = []
            for seed in range(seeds):
                rng = np.random.default_rng(seed)
                t, x = match_current(rng, 120.0)
                full = signal("pack_current_A", t, x, detector="instant")
                log = Logger(rate_Hz=rate, noise=0.3, averages=kind == "average", phase_s=rng.uniform(0, 1 / rate))
                s = signal("pack_current_A", *log.log(rng, t, x), detector=kind, noise=0.37)  # type: ignore[arg-type]
                for window in windows:
                    a, b = worst_rms(full, window), worst_rms(s, window)
                    if not isinstance(a, tuple) or not isinstance(b, tuple):
                        continue
                    errors.append(100 * (b[0].value / a[0].value - 1))
                    inside.append(b[0].low <= a[0].value <= b[0].high)
                    half.append(50 * (min(b[0].high, 10 * b[0].value) - b[0].low) / a[0].value)
            print(f"{rate:5.0f} Hz {kind:8s} {summary(errors, inside, half)}")
    t, x = match_current(np.random.default_rng(0), 168.0)
    s = signal("pack_current_A", t, np.round(x / 0.25) * 0.25, detector="instant")
    took = []
    for _ in range(7):
        start = time.perf_counter()
        assert isinstance(envelope(s, -np.inf, np.inf), Envelope)
        took.append(time.perf_counter() - start)
    print(f"{len(s)} samples: {1e3 * min(took):.1f} ms")


def alignment(seeds: int) -> None:
    print("\nAlignment: error in ms (median, 95 %) in the middle of the log, cover %, lowest peak; unrelated pairs")
    a, v = GRADES["usual 10-bit, 0.4 A noise"]
    worlds = []
    for seed in range(seeds):
        rng = np.random.default_rng(seed)
        pack = random_pack(rng)
        t, branch = match_current(rng, 150.0, peak_A=110.0)
        both = branch + match_current(rng, 150.0, peak_A=70.0)[1]
        worlds.append({"t": t, "current": both, "branch": branch, "voltage": play(pack, t, both).voltage_V})
    pairs = {
        "voltage to voltage 50/50": (v, "voltage", v, "voltage"),
        "voltage to voltage 20/20": (v.but(rate_Hz=20.0), "voltage", v.but(rate_Hz=20.0), "voltage"),
        "voltage to voltage 100/10": (v.but(rate_Hz=100.0), "voltage", v.but(rate_Hz=10.0), "voltage"),
        "the same, 10 Hz averages": (
            v.but(rate_Hz=100.0),
            "voltage",
            v.but(rate_Hz=10.0, averages=True),
            "voltage",
        ),
        "branch to pack 50/50": (a, "current", a, "branch"),
        "branch to pack 100/50": (a.but(rate_Hz=100.0), "current", a, "branch"),
        "current to voltage 50/50": (v, "voltage", a, "current"),
        "current to voltage 1000/50": (a.but(rate_Hz=1000.0), "current", v, "voltage"),
    }
    unrelated, accepted, highest = 0, 0, 0.0
    for name, (la, ka, lb, kb) in pairs.items():
        errors, inside, peaks, missed = [], [], [], 0
        for n, world in enumerate(worlds):
            rng = np.random.default_rng(1000 + n)
            offset, drift = rng.uniform(-60, 60), rng.uniform(-50e-6, 50e-6)
            t_a, x_a = la.log(rng, world["t"], world[ka])
            t_b, x_b = lb.but(phase_s=rng.uniform(0, 0.05)).log(rng, world["t"], world[kb])
            own = (t_b - offset) / (1 + drift)
            found = align_pair(t_a, x_a, own, x_b)
            peaks.append(found.correlation)
            if found.accepted:
                middle = float(np.median(own))
                placed = middle * (1 + 1e-6 * found.drift_ppm) + found.offset_s
                errors.append(1e3 * abs(placed - middle * (1 + drift) - offset))
                inside.append(errors[-1] <= 1e3 * found.offset_error_s)
            else:
                missed += 1
            other = worlds[(n + 1) % len(worlds)]
            stranger = align_pair(t_a, x_a, *lb.log(rng, other["t"], other[kb]))
            unrelated += 1
            accepted += stranger.accepted
            highest = max(highest, stranger.correlation)
        print(
            f"{name:28s} {np.median(errors):6.2f} {np.quantile(errors, 0.95):6.2f} {100 * np.mean(inside):5.0f} "
            f"{min(peaks):6.2f}  missed {missed}",
            flush=True,
        )
    print(f"unrelated pairs: {accepted} of {unrelated} accepted, highest peak {highest:.3f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parts = {"resistance": resistance, "harness": harness, "envelope": envelopes, "alignment": alignment}
    parser.add_argument("--seeds", type=int, default=30)
    parser.add_argument("--only", nargs="+", choices=sorted(parts), default=list(parts))
    asked = parser.parse_args()
    for name in asked.only:
        parts[name](asked.seeds)


if __name__ == "__main__":
    main()
