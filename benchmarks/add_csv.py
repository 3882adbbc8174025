"""Adding a clean CSV against pyarrow's own read and Parquet write of the same file, side by side in one run.

    python benchmarks/add_csv.py [--rows 2000000] [--columns 16] [--repeat 3]

Prints one JSON document: seconds of each, their ratio (the promise: at most 1.5), and the reader's peak memory.
The values are quantised as a logger writes them. Our side reads, hashes, converts and writes Parquet.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from pyarrow import csv as pacsv

from ingest.formats import open_log

_NAMES = ("voltage_V", "input_current_A", "motor_current_A", "temp_degC", "duty_pct", "speed_rpm")


def make(path: Path, rows: int, columns: int) -> None:
    """A log of `columns` columns at 1 kHz, values quantised to 0.01."""
    random = np.random.default_rng(7)
    names = ["time_s"] + [f"part{k // 6}_{_NAMES[k % 6]}" for k in range(columns - 1)]
    with path.open("w", encoding="ascii") as stream:
        stream.write(",".join(names) + "\n")
        for start in range(0, rows, 100_000):
            count = min(100_000, rows - start)
            table = {names[0]: np.round(np.arange(start, start + count) * 0.001, 3)}
            for name in names[1:]:
                table[name] = np.round(np.cumsum(random.normal(0, 0.05, count)) + 20.0, 2)
            sink = pa.BufferOutputStream()
            pacsv.write_csv(pa.table(table), sink, pacsv.WriteOptions(include_header=False))
            stream.write(sink.getvalue().to_pybytes().decode())


def write_options() -> dict[str, object]:
    return {"compression": "zstd", "compression_level": 1, "use_dictionary": True}


def theirs(path: Path, out: Path) -> float:
    """Seconds for read_csv and write_table."""
    start = time.perf_counter()
    table = pacsv.read_csv(path)
    pq.write_table(table, out, **write_options())
    return time.perf_counter() - start


def ours(path: Path, out: Path) -> float:
    """Seconds for sniffing, reading, hashing, converting and writing row groups of 100,000 and more."""
    start = time.perf_counter()
    reader = open_log(path)
    writer: pq.ParquetWriter | None = None
    held: list[pa.RecordBatch] = []
    rows = 0
    for _, batch in reader.batches():
        if writer is None:
            writer = pq.ParquetWriter(out, batch.schema, **write_options())
        held.append(batch)
        rows += batch.num_rows
        if rows >= 100_000:
            writer.write_table(pa.Table.from_batches(held))
            held, rows = [], 0
    if writer is not None:
        if held:
            writer.write_table(pa.Table.from_batches(held))
        writer.close()
    assert reader.provenance.sha256
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=2_000_000)
    parser.add_argument("--columns", type=int, default=16)
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        make(path, options.rows, options.columns)
        mine = [ours(path, Path(folder) / "a.parquet") for _ in range(options.repeat)]
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        other = [theirs(path, Path(folder) / "b.parquet") for _ in range(options.repeat)]
        result = {
            "rows": options.rows, "columns": options.columns, "megabytes": round(path.stat().st_size / 1e6, 1),
            "ours_s": round(min(mine), 3), "pyarrow_s": round(min(other), 3),
            "ratio": round(min(mine) / min(other), 3), "ours_peak_MB": round(peak),
        }  # fmt: skip
        json.dump(result, sys.stdout)
        print()


if __name__ == "__main__":
    main()
