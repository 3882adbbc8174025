"""What a season run costs: a share of the ideal (matches × one warm review ÷ cores), a second run, a query.

    python -m benchmarks.season [--matches 60] [--query 10000] [--cluster] [--keep FOLDER]

`--matches 1000 --cluster` prints the whole table of docs/scale.md, some three minutes on two cores with nothing else to
do. Figures and ratios beside what is asked of them; never passes or fails by time: machines differ. Where others use
the cores, go by processor time. The matches are made: 30 s at 100 Hz, pack current and voltage and one controller,
quantised as loggers write.
"""

from __future__ import annotations

import argparse
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from analysis.season_query import query
from analysis.season_review import review_match
from analysis.season_rows import FINDINGS_SCHEMA, METRICS_SCHEMA, batches, row_of
from analysis.season_run import cores, default_executor, run_season
from analysis.season_tables import FINDINGS_FILE, METRICS_FILE, forget, read_metrics
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


def told(what: str, figure: str, asked: str = "") -> None:
    """One row of the table."""
    print(f"{what:<58} {figure:<38} {asked}".rstrip(), flush=True)


def cpu_of(pid: int) -> float:
    """Processor time of a running process, s (Linux)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def one_warm_review(season: Season) -> tuple[float, float]:
    """(wall, processor) s of one review with its metrics, in one process that has done some before."""
    wall, cpu = [], []
    for match_id in season.ids("matches")[:60]:
        began, used = time.perf_counter(), time.process_time()
        row_of(review_match(season, match_id, with_advice=False))
        wall.append(time.perf_counter() - began)
        cpu.append(time.process_time() - used)
    return statistics.median(wall[3:] or wall), statistics.median(cpu[3:] or cpu)


def timed(season: Season, executor: Executor | None, pids: Callable[[], list[int]], **options: Any) -> tuple[Any, ...]:
    """(run, wall s, processor s of this process, of the others)."""
    before = {pid: cpu_of(pid) for pid in pids()}
    began, used = time.perf_counter(), time.process_time()
    run = run_season(season, executor=executor, **options)
    wall, own = time.perf_counter() - began, time.process_time() - used
    return run, wall, own, sum(cpu_of(pid) - before.get(pid, 0.0) for pid in pids())


def local(season: Season) -> tuple[float, float]:
    """(wall, processor) s of the first run."""
    from multiprocessing import forkserver

    count = len(season.ids("matches"))
    before = one_warm_review(season)
    with default_executor(count) as pool:

        def pids() -> list[int]:
            maker = forkserver._forkserver._forkserver_pid  # type: ignore[attr-defined]
            return [*(getattr(pool, "_processes", None) or ()), *([maker] if maker else [])]

        first, wall, own, others = timed(season, pool, pids)
    after = one_warm_review(season)  # a busy machine changes from minute to minute
    warm = [(a + b) / 2 for a, b in zip(before, after, strict=True)]
    told("one warm review with its metrics", f"{warm[0] * 1e3:.1f} ms, processor {warm[1] * 1e3:.1f} ms")
    told(f"first run of {first.made} matches on {cores()} cores", f"{wall:.2f} s, processor {own + others:.2f} s")
    told("  the process that hands out the work, processor", f"{own:.2f} s")
    told("  of the ideal, wall", f"{100 * count * warm[0] / cores() / wall:.1f} %", "90 % and more")
    told("  of the ideal, processor", f"{100 * count * warm[1] / (own + others):.1f} %", "90 % and more")
    _, again, cpu, _ = timed(season, None, list)
    told("second run, nothing changed", f"{again * 1e3:.0f} ms, processor {cpu * 1e3:.0f} ms")
    told("  of the first, wall", f"{100 * again / wall:.2f} %", "2 % and less")
    kept = sum(p.stat().st_size for p in (season.results_path / "season_match").glob("*.json"))
    tables = sum(p.stat().st_size for p in season.results_path.glob("*.parquet"))
    told("kept for each match", f"{kept / count / 1e3:.2f} kB, in the tables {tables / count / 1e3:.2f} kB")
    return wall, own + others


def memory(season: Season, folder: Path) -> None:
    """Peak memory of `afterbout season --rebuild` on a tenth of the season and on all of it."""
    ids = season.ids("matches")
    tenth = folder / "tenth"
    for kind in ("builds", "packs"):
        shutil.copytree(season.root / kind, tenth / kind)
    shutil.copy(season.root / "season.toml", tenth)
    (tenth / "matches").mkdir()
    for match_id in ids[: max(len(ids) // 10, 1)]:
        shutil.copy(season.root / "matches" / f"{match_id}.toml", tenth / "matches")
        shutil.copytree(season.root / "telemetry" / f"match={match_id}", tenth / "telemetry" / f"match={match_id}")
    for path, count in ((tenth, max(len(ids) // 10, 1)), (season.root, len(ids))):
        words = [sys.executable, "-m", "dashboard.cli", "season", "--season", str(path), "--rebuild", "--json"]
        child = subprocess.Popen(words, stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        told(f"memory of `afterbout season` on {count} matches", f"{usage.ru_maxrss / 1024:.0f} MB", "flat")


def clustered(season: Season, before: tuple[float, float]) -> None:
    """A scheduler and two workers on loopback, started here; each has imported what it needs before the clock runs.

    before: (wall, processor) s of the local run, whose tables are there.
    """
    from analysis.cluster import cluster_executor

    paths = [season.results_path / name for name in (METRICS_FILE, FINDINGS_FILE)]
    tables = [pq.read_table(path) for path in paths]

    def start(*words: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen([sys.executable, "-m", *words], stderr=subprocess.DEVNULL)

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    there = [start("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard")]
    more = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--preload", "analysis.season_preload")
    try:
        time.sleep(3)
        there += [start("distributed.cli.dask_worker", f"tcp://127.0.0.1:{port}", *more) for _ in range(2)]
        time.sleep(8)
        with cluster_executor(f"tcp://127.0.0.1:{port}") as executor:
            run, wall, own, others = timed(season, executor, lambda: [p.pid for p in there], rebuild=True)
        same = [pq.read_table(path) for path in paths] == tables
        told(f"the same {run.made} through a scheduler, 2 workers", f"{wall:.2f} s, processor {own + others:.2f} s")
        told("  of the local run, wall", f"{wall / before[0]:.2f} ×", "1.15 × and less")
        told("  of the local run, processor", f"{(own + others) / before[1]:.2f} ×", "1.15 × and less")
        told("  its tables", "identical" if same else "DIFFER", "identical")
    finally:
        for process in there:
            process.kill()
            process.wait()


def asked(season: Season, folder: Path, matches: int) -> None:
    """Two questions to the metrics of that many matches."""
    row = row_of(review_match(season, season.ids("matches")[0], with_advice=False))
    large = Season.create(folder / "large")
    large.results_path.mkdir(exist_ok=True)
    files = (large.results_path / METRICS_FILE, large.results_path / FINDINGS_FILE)
    made = zip(*batches(replace(row, match=f"m{n:05d}") for n in range(matches)), strict=True)
    for path, schema, parts in zip(files, (METRICS_SCHEMA, FINDINGS_SCHEMA), made, strict=True):
        pq.write_table(pa.Table.from_batches(parts, schema), path, compression="zstd")
    rows = pq.read_metadata(files[0]).num_rows
    for what, ask in (
        ("DuckDB", lambda: query([("", large)], "select metric, count(*), median(value) from metrics group by metric")),
        ("pyarrow", lambda: float(np.median(read_metrics(large, ["rms_10s_A"]).column("value").to_numpy()))),
    ):
        times = []
        for _ in range(7):
            began = time.perf_counter()
            ask()
            times.append(time.perf_counter() - began)
        shown = f"first {times[0] * 1e3:.0f} ms, then {statistics.median(times[1:]) * 1e3:.0f} ms"
        told(f"a question to {matches:,} matches ({rows:,} rows), {what}", shown, "200 ms and less")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--matches", type=int, default=60)
    parser.add_argument("--query", type=int, default=10_000)
    parser.add_argument("--keep", metavar="FOLDER", help="make the season there, or use that of an earlier time again")
    parser.add_argument("--cluster", action="store_true", help="also through a scheduler and two workers")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if args.keep and (Path(args.keep) / "season.toml").is_file():
            season = Season(args.keep)
            forget(season)
        else:
            began = time.process_time()
            season = make(Path(args.keep or Path(folder) / "season"), args.matches)
            told("made and added, processor", f"{(time.process_time() - began) / args.matches * 1e3:.0f} ms a match")
        run = local(season)
        if args.cluster:
            clustered(season, run)
        memory(season, Path(folder))
        asked(season, Path(folder), args.query)


if __name__ == "__main__":
    main()
