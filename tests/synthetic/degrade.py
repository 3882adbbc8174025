"""A good log made worse as loggers make it worse: slower, averaged, clipped, off its zero, with gaps.

Nothing here knows the analysis; each function takes and gives plain columns by channel on one clock.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyarrow as pa

from ingest.log import Log, Stream

WAYS = ("decimated", "averaged", "clipped", "offset", "masked")


def degraded(log: Log, way: str, rng: np.random.Generator) -> Log:
    """The log, worse in one way. Only currents clip and drift from zero; everything else is kept as it was."""
    stream = log.streams[0]
    names = stream.table.column_names
    columns = {n: stream.table.column(n).to_numpy(zero_copy_only=False) for n in names}
    if way in ("decimated", "averaged"):
        columns = _slower(columns, float(rng.choice([10.0, 20.0, 50.0])), averaged=way == "averaged")
    elif way == "clipped":
        for name, x in columns.items():
            if name.endswith("current_A"):
                top = float(np.nanmax(x)) * rng.uniform(0.6, 0.9)
                columns[name] = np.minimum(x, round(top, 1))
    elif way == "offset":
        for name, x in columns.items():
            if name.endswith("pack_current_A"):
                columns[name] = x + rng.uniform(2.5, 5.0)
    else:
        columns = _masked(columns, rng)
    arrays = [
        pa.array(columns[n].astype(np.int16)) if n == "recording" else pa.array(columns[n], from_pandas=True)
        for n in names
    ]
    table = pa.Table.from_arrays(arrays, schema=stream.table.schema)
    return replace(log, streams=(Stream(stream.name, table),))


def _slower(columns: dict[str, np.ndarray], rate_Hz: float, *, averaged: bool) -> dict[str, np.ndarray]:
    t = columns["time_s"]
    step = max(1, round(1.0 / rate_Hz / float(np.median(np.diff(t)))))
    if step == 1:
        return columns
    n = len(t) // step * step
    made = {}
    for name, x in columns.items():
        blocks = x[:n].reshape(-1, step)
        # An averaging logger stamps the end of what it averaged.
        made[name] = blocks.mean(axis=1) if averaged and name not in ("time_s", "recording") else blocks[:, -1]
    made["time_s"] = made["time_s"] - made["time_s"][0]
    return made


def _masked(columns: dict[str, np.ndarray], rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Rows that were never written: up to 4 % of the match in stretches of 0.2 to 2 s."""
    t = columns["time_s"]
    keep = np.ones(len(t), dtype=bool)
    keep_until = 0.04 * (t[-1] - t[0])
    while keep_until > 0:
        length = float(rng.uniform(0.2, 2.0))
        start = float(rng.uniform(t[0] + 1.0, t[-1] - 3.0))
        keep &= (t < start) | (t > start + length)
        keep_until -= length
    return {name: x[keep] for name, x in columns.items()}
