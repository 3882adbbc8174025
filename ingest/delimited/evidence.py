"""What the columns of a table show in its sampled rows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.delimited.channel_names import channel_names
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.columns import decimals
from ingest.delimited.layout import Layout, unit_of_column
from ingest.delimited.numbers import decimals_of, says_no_mark, tidy
from ingest.delimited.plan import Parsed, Plan
from ingest.delimited.sample import Sample
from ingest.delimited.source import Source
from ingest.delimited.ways import are_letters, ways_of


def evidence_of(plan: Plan, layout: Layout, parsed: Parsed, rows: Sequence[Sequence[str]]) -> list[ColumnEvidence]:
    """What each column shows in the sampled rows. rows: their cells as written."""
    evidence = []
    called = channel_names(layout)
    for column, values in zip(plan.columns, parsed.columns, strict=True):
        if column.kind in ("number", "flag"):
            array: NDArray[np.float64] = values.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False)
        else:
            array = np.full(parsed.rows, np.nan)
        unit, note = unit_of_column(layout, column.index)
        if unit is None and (column.unit or column.unit_of_column):
            unit, note = column.unit or column.unit_of_column, "cells"
        cells = [row[column.index] for row in rows]
        unclear = column.marked and not column.style.thousands and says_no_mark([tidy(cell) for cell in cells])
        places = decimals(column, cells)
        own = (column.index, column.source, unit, note, column.kind, array, places, False, unclear)
        ways = ways_of(column.source, values) if column.kind == "text" else None
        letters = ways is not None and are_letters(column.source, [c for c in cells if c.strip()])
        evidence.append(ColumnEvidence(*own, ways, letters, called.get(column.source, ""), layout.shifted))
    return evidence


def fixed_decimals(plan: Plan, rows: Sequence[Sequence[str]]) -> dict[int, int]:
    """Columns that always show the same number of decimals, and how many; the last row does not count."""
    fixed = {}
    for column in plan.columns:
        if column.kind == "number":
            cells = [tidy(row[column.index]) for row in rows[:-1]]
            shown = {decimals_of(c, column.style) for c in cells if any(d.isdigit() for d in c)}
            if len(shown) == 1:
                fixed[column.index] = shown.pop()
    return fixed


def row_estimate(source: Source, sample: Sample, parsed: Parsed) -> int:
    """About how many rows the file has."""
    if sample.whole:
        return parsed.rows
    chars = sum(len(text) + 1 for _, text in sample.head[-200:])
    return int(source.size / sample.encoding.unit / max(1.0, chars / 200))
