"""What a season run costs: a share of the ideal (matches × one warm review ÷ cores), a second run, a query.

    python -m benchmarks.season [--matches 60] [--query 10000]

Prints figures and ratios, never passes or fails by time: machines differ. The matches are made: 30 s at 100 Hz, pack
current and voltage and one controller, quantised as loggers write.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import tempfile
import time
from dataclasses import replace
from itertools import islice
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

from analysis.season_review import review_match
from analysis.season_rows import METRICS_SCHEMA, MatchRow, batches, row_of
from analysis.season_run import cores, default_executor, run_season
from ingest.season import Season

BUILD = """
[build]
id = "a"
[pack]
cells = 6
[[wire]]
id = "battery_lead"
from = "pack"
to = "weapon"
gauge = "12 AWG"
length_mm = 250
insulation = "silicone"
[[controller]]
id = "weapon"
motor_type = "brushless"
continuous_A = 80
burst_A = 160
burst_s = 10
"""
PACK = """
[pack]
id = "p1"
cells = 6
capacity_Ah = 3.3
resistance_mohm = 20
minimum_cell_V = 3.3
"""


def make(folder: Path, matches: int) -> Season:
    season = Season.create(folder, files={"builds/a.toml": BUILD, "packs/p1.toml": PACK})
    t = np.arange(0.0, 30.0, 0.01)
    for number in range(matches):
        rng = np.random.default_rng(number)
        level = np.repeat(rng.uniform(3, 90, 60), 50)
        current = np.where((t > 3) & (t < 27), level, 0.0).round(1)
        pack = (25.0 - 0.02 * current + rng.normal(0, 0.01, len(t))).round(2)
        weapon = (pack - 0.004 * current).round(2)
        file = folder.parent / f"{number:05d}.csv"
        rows = np.column_stack([t, current, pack, current, weapon])
        head = "time_s,pack_current_A,pack_voltage_V,weapon_input_current_A,weapon_voltage_V"
        np.savetxt(file, rows, "%.2f", ",", header=head, comments="")
        season.add([file], f"m{number:05d}", build="a", pack="p1")
        file.unlink()
    return season


def warm_up(root: str, match_id: str) -> int:
    return len(row_of(review_match(Season(root), match_id, with_advice=False)).metrics)


def workers_cpu_s() -> float:
    """Processor time of the processes that have ended: what other work on the machine does not move."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def peak_MB() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def many(row: MatchRow, count: int) -> list[MatchRow]:
    return [replace(row, match=f"m{n:05d}") for n in range(count)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--matches", type=int, default=60)
    parser.add_argument("--query", type=int, default=10_000)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        season = make(Path(folder) / "season", args.matches)
        print(f"made and added: {(time.perf_counter() - began) / args.matches * 1e3:.0f} ms a match")
        one = []
        row = row_of(review_match(season, "m00000", with_advice=False))
        for match_id in islice(season.ids("matches"), 1, 12):
            began = time.perf_counter()
            row = row_of(review_match(season, match_id, with_advice=False))
            one.append(time.perf_counter() - began)
        warm = statistics.median(one)
        began = time.perf_counter()
        with default_executor(args.matches) as pool:  # what the workers' start costs, whatever they then do
            list(pool.map(warm_up, [str(season.root)] * 4 * cores(), ["m00000"] * 4 * cores()))
        start_up = time.perf_counter() - began - 4 * warm
        before = peak_MB()
        spent = workers_cpu_s()
        began = time.perf_counter()
        first = run_season(season)
        took = time.perf_counter() - began
        spent = workers_cpu_s() - spent
        began = time.perf_counter()
        second = run_season(season)
        again = time.perf_counter() - began
        ideal = args.matches * warm / cores()
        kept = sum(p.stat().st_size for p in (season.results_path / "season_match").glob("*.json"))
        tables = sum(p.stat().st_size for p in season.results_path.glob("*.parquet"))
        print(f"one warm review with its metrics: {warm * 1e3:.0f} ms")
        print(f"first run: {took:.2f} s for {first.made} matches on {cores()} cores; ideal {ideal:.2f} s: "
              f"{100 * ideal / took:.0f} %")  # fmt: skip
        print(f"of which the workers' start {start_up:.2f} s; without it {100 * ideal / (took - start_up):.0f} %")
        each = spent / args.matches * 1e3
        print(f"processor time of the workers: {spent:.2f} s, {each:.0f} ms a match with their start")
        print(f"second run: {again * 1e3:.0f} ms, {100 * again / took:.1f} % of the first; made {second.made}")
        print(f"peak memory of the parent: {before:.0f} MB before, {peak_MB():.0f} MB after")
        print(f"kept: {kept / args.matches / 1e3:.1f} kB a match, tables {tables / args.matches / 1e3:.2f} kB a match")
        path = Path(folder) / "metrics.parquet"
        with pq.ParquetWriter(path, METRICS_SCHEMA, compression="zstd") as writer:
            for metrics, _ in batches(many(row, args.query)):
                writer.write_batch(metrics)
        times = []
        for _ in range(5):
            began = time.perf_counter()
            found = pq.read_table(path, columns=["match", "value"], filters=[("metric", "=", "rms_10s_A")])
            float(np.median(found.column("value").to_numpy()))
            times.append(time.perf_counter() - began)
        count = pq.read_metadata(path).num_rows
        print(f"one metric of {args.query:,} matches ({count:,} rows): {statistics.median(times) * 1e3:.0f} ms")


if __name__ == "__main__":
    main()
