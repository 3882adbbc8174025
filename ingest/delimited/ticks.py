"""The clock's columns as one array of ticks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ingest.delimited.plan import Plan
from ingest.delimited.stamp_columns import stamps_ns
from ingest.delimited.stamps import DAY_NS, MISSING_NS, NS

_ROLE_NS = {"days": DAY_NS, "hours": 3600 * NS, "minutes": 60 * NS, "seconds": NS, "hundredths": NS // 100,
            "ms": NS // 1000, "us": NS // 1_000_000, "ns": 1}  # fmt: skip


@dataclass
class Ticks:
    """ticks: float64 in the source's own unit, or int64 (nanoseconds, or whole numbers beyond 2**53)."""

    ticks: NDArray[np.float64] | NDArray[np.int64]
    valid: NDArray[np.bool_]


def clock_ticks(parts: Sequence[tuple[int, str]], plan: Plan, columns: Sequence[pa.Array]) -> Ticks | None:
    """The sum of the clock's parts; None where a column is missing."""
    place = {column.index: k for k, column in enumerate(plan.columns)}
    if len(parts) == 1 and parts[0][1] == "number":
        values = columns[place[parts[0][0]]]
        if values.null_count == 0:
            ticks = values.to_numpy(zero_copy_only=False)
            return Ticks(ticks, np.ones(ticks.size, dtype=bool))
        valid = pc.is_valid(values).to_numpy(zero_copy_only=False)
        return Ticks(pc.fill_null(values, 0).to_numpy(zero_copy_only=False), valid)
    total: NDArray[np.int64] | None = None
    valid = np.ones(0, dtype=bool)
    for index, role in parts:
        if index not in place:
            return None
        column = plan.columns[place[index]]
        values = columns[place[index]]
        if role in ("stamp", "date"):
            if column.stamp is None:
                return None
            part = stamps_ns(values, column.stamp)
            good = part != MISSING_NS
        else:
            good = pc.is_valid(values).to_numpy(zero_copy_only=False)
            number = pc.fill_null(values, 0).to_numpy(zero_copy_only=False)
            part = np.rint(number * _ROLE_NS[role]).astype(np.int64)
        part = np.where(good, part, 0)
        total = part if total is None else total + part
        valid = good if valid.size == 0 else valid & good
    if total is None:
        return None
    return Ticks(total, valid if valid.size else np.ones(total.size, dtype=bool))
