"""A match's samples in one table on the match clock."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from analysis.match_data import gather
from ingest.align import PlacedLog


def aligned_table(placed: Sequence[PlacedLog]) -> pa.Table:
    """Every channel on the union of all stamps; null where a log has no sample at that stamp.

    Nothing is interpolated: a row holds what was logged at its time. Logs without a known place are left out.
    """
    data = gather([p for p in placed if p.placed], None, (), None)
    signals = [s for s in data.signals.values() if len(s)]
    if not signals:
        return pa.table({"time_s": pa.array([], pa.float64())})
    stamps = np.unique(np.concatenate([s.t_s for s in signals]))
    columns: dict[str, pa.Array] = {"time_s": pa.array(stamps)}
    for signal in sorted(signals, key=lambda s: s.channel):
        values = np.zeros(len(stamps))
        missing = np.ones(len(stamps), dtype=bool)
        at = np.searchsorted(stamps, signal.t_s)
        values[at] = signal.x
        missing[at] = ~signal.valid
        columns[signal.channel] = pa.array(values, mask=missing)
    return pa.table(columns)
