"""Looking into a long log: server time and bytes of a first view and of zooms, and the memory over many of them.

    python benchmarks/zoom.py [--samples 10000000] [--zooms 500] [--json]

The log is made here: 8 channels, quantised as loggers write, with spikes and gaps. Times are this process's own
processor time, so that what else the machine does does not count. The bytes are those of the answer after gzip.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from analysis.findings import MatchFacts, Review
from analysis.signal import Signal, signal
from dashboard.compressing import compressed
from dashboard.figure_view import View
from dashboard.figures import trace_data, traces_figure
from dashboard.pyramid import keep
from dashboard.traces import Panel, Trace

CHANNELS = 8
GOAL_ZOOM_MS, GOAL_FIRST_MS, GOAL_BYTES = 100.0, 50.0, 200_000


def made_up(samples: int) -> dict[str, Signal]:
    """CHANNELS signals at 1 kHz with a gap and spikes of one sample, in steps of 0.1."""
    rng = np.random.default_rng(7)
    step = np.full(samples, 0.001)
    step[samples // 3] = 20.0
    t = np.cumsum(step)
    out = {}
    for i in range(CHANNELS):
        x = 20 * np.sin(t * (0.05 + 0.01 * i)) + rng.normal(0, 3, samples)
        x[rng.integers(0, samples, 50)] += 150
        out[f"c{i}_current_A"] = signal(f"c{i}_current_A", t, np.round(x, 1))
    return out


def panels(signals: dict[str, Signal]) -> list[Panel]:
    lines = [Trace(name, one, "blue") for name, one in signals.items()]
    return [Panel(f"Panel {i}", "A", "A", tuple(lines[2 * i : 2 * i + 2])) for i in range(CHANNELS // 2)]


def zoom(shown: list[Panel], window: tuple[float, float]) -> bytes:
    """What the server sends for one zoom: the visible part of every trace."""
    tones = View().tones
    data = [d for p in shown for trace in p.traces for d in trace_data(trace, "y", tones, *window)]
    return json.dumps([[d["x"], d["y"]] for d in data]).encode()


def memory_MB() -> float:
    """Of this process now."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return pages * resource.getpagesize() / 1e6


def run(samples: int, zooms: int) -> dict[str, Any]:
    signals = made_up(samples)
    facts = MatchFacts("long", None, None, 0.0, samples / 1000, "unknown")
    review = Review(facts, (), (), (), (), ())
    with tempfile.TemporaryDirectory() as folder:
        begun = time.process_time()
        keep(Path(folder), "long", signals)
        build_s = time.process_time() - begun
        file_MB = sum(p.stat().st_size for p in Path(folder).rglob("*.npz")) / 1e6
        again = {name: signal(name, s.t_s, s.x) for name, s in signals.items()}
        begun = time.process_time()
        keep(Path(folder), "long", again)
        open_s = time.process_time() - begun
    shown = panels(again)
    begun = time.process_time()
    first = traces_figure(shown, review, View())
    first_ms = 1000 * (time.process_time() - begun)
    first_bytes = len(compressed(json.dumps(first).encode()))
    rng = np.random.default_rng(1)
    whole = float(next(iter(again.values())).t_s[-1])
    times, sizes, memory = [], [], []
    for i in range(zooms):
        wide = whole * 10.0 ** rng.uniform(-5, 0)
        start = float(rng.uniform(0, whole - wide))
        begun = time.process_time()
        sent = compressed(zoom(shown, (start, start + wide)))
        times.append(1000 * (time.process_time() - begun))
        sizes.append(len(sent))
        if i >= min(20, zooms // 5):
            memory.append(memory_MB())
    return {
        "samples": samples, "channels": CHANNELS, "zooms": zooms, "build_s": round(build_s, 2),
        "open_s": round(open_s, 3), "file_MB": round(file_MB, 1), "first_view_ms": round(first_ms, 1),
        "first_view_bytes": first_bytes, "zoom_ms_median": round(float(np.median(times)), 1),
        "zoom_ms_95": round(float(np.percentile(times, 95)), 1), "zoom_ms_most": round(max(times), 1),
        "zoom_bytes_most": max(sizes), "memory_growth_MB": round(memory[-1] - memory[0], 1),
    }  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--samples", type=int, default=10_000_000)
    parser.add_argument("--zooms", type=int, default=500)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    found = run(asked.samples, asked.zooms)
    print(json.dumps(found) if asked.json else "\n".join(f"{name:>18} {value}" for name, value in found.items()))
    good = (found["zoom_ms_95"] <= GOAL_ZOOM_MS and found["first_view_ms"] <= GOAL_FIRST_MS
            and found["zoom_bytes_most"] <= GOAL_BYTES)  # fmt: skip
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
