"""A unit in a column of its own beside the figure, as meters with automatic ranges write: 998.2;mV then 1.002;V."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

import pyarrow as pa
import pyarrow.compute as pc

from ingest.delimited.numbers import is_missing, tidy
from ingest.delimited.plan import ColumnPlan, Parsed, Plan
from ingest.delimited.units import unit_of

_NO_MEASURE = ("clock", "samples", "1")


def pair_units(columns: Sequence[ColumnPlan], rows: Sequence[Sequence[str]], has_unit: Callable[[int], bool]) -> None:
    """Give each number column the unit column beside it: the nearest on its left that states no unit, else right."""
    for column in columns:
        if column.kind != "text":
            continue
        words = Counter(w for row in rows if not is_missing(w := tidy(row[column.index])))
        if not words or any((u := unit_of(w)) is None or u[0] in _NO_MEASURE for w in words):
            continue
        free = [c for c in columns if c.kind == "number" and c.unit_column is None and not has_unit(c.index)]
        left = [c for c in free if c.index < column.index]
        near = left[-1] if left else (free[0] if free else None)
        if near is None or abs(near.index - column.index) > 2:
            continue
        near.unit_column = column.index
        near.unit_of_column = words.most_common(1)[0][0]


def apply_unit_columns(parsed: Parsed, plan: Plan) -> None:
    """Bring every figure to the unit its column has in most rows; without a usable unit it is missing."""
    place = {column.index: k for k, column in enumerate(plan.columns)}
    for k, column in enumerate(plan.columns):
        if column.unit_column is None or column.unit_of_column is None or not parsed.rows:
            continue
        words = parsed.columns[place[column.unit_column]]
        kinds = pc.unique(words)
        if len(kinds) == 1 and kinds[0].as_py() == column.unit_of_column:
            continue
        base = unit_of(column.unit_of_column)
        if base is None:
            continue
        factors: dict[str | None, float | None] = {}
        for word in kinds.to_pylist():
            unit = unit_of(word) if word else None
            factors[word] = unit[1] / base[1] if unit is not None and unit[0] == base[0] else None
        rows = [factors[word] for word in words.to_pylist()]
        lost = sum(factor is None for factor in rows)
        if lost:
            first = int(parsed.lines[rows.index(None)])
            parsed.count_cell("bad_unit", column.index, first, str(words[rows.index(None)].as_py()))
            parsed.cells[("bad_unit", column.index)][0] = lost
        values = parsed.columns[k].cast(pa.float64(), safe=False)
        parsed.columns[k] = pc.multiply(values, pa.array(rows, pa.float64()))
        column.unit_varies = True
