"""Rows of the table in the sample, and what their edges tell about the names above them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from ingest.delimited.dialect import Dialect, cell_class, split_line, strip_comment
from ingest.delimited.layout import Layout
from ingest.delimited.sample import MOST_ROWS, Sample
from ingest.delimited.stamps import shape_of
from ingest.delimited.table import Table, is_row, row_classes

_MOST_DIGITS = 18  # a row count has fewer, and 64 bits hold it


def with_short_rows(tables: list[Table], table: Table) -> tuple[Table, int]:
    """(table, least width): the wider table whose rows alternate with this one's, where short rows only lack cells.

    A writer that leaves out empty cells at the end of a row: the names are as many as the longest rows, and the
    short rows are like the beginning of the long ones. Least width 0 where that is not so.
    """
    for other in tables:
        interleaved = other.first_line < table.last_line and table.first_line < other.last_line
        if other is table or not interleaved or other.width <= table.width or other.header is None:
            continue
        pairs = zip(table.mask, other.mask, strict=False)
        if all(a == b or "E" in (a, b) for a, b in pairs):
            first = min(other.first_line, table.first_line)
            other.rows += table.rows
            other.first_line, other.last_line = first, max(other.last_line, table.last_line)
            tables.remove(table)
            return other, table.width
    return table, 0


def stretches(sample: Sample, table: Table, tables: Sequence[Table]) -> list[list[str]]:
    """Lines of the main table, in runs of neighbours, about 20,000 in all; no rows of a table between its parts."""
    others = [t for t in tables if t is not table and t.header is not None and t.width == table.width]
    others = [t for t in others if table.first_line < t.first_line and t.last_line < table.last_line]
    inside = [
        text
        for n, text in sample.head
        if table.first_line <= n <= table.last_line and not any(t.first_line <= n <= t.last_line for t in others)
    ]
    if not sample.pieces:
        if len(inside) <= MOST_ROWS:
            return [inside]
        size = MOST_ROWS // 5
        step = (len(inside) - size) // 4
        return [inside[k * step : k * step + size] for k in range(5)]
    stretches = [inside[: MOST_ROWS // 2]] if inside else []
    each = MOST_ROWS // 2 // max(1, len(sample.pieces))
    return stretches + [piece[:each] for piece in sample.pieces]


def some_rows(stretches: Sequence[Sequence[str]], dialect: Dialect, width: int, wanted: int) -> list[list[str]]:
    """Cells of rows spread over the stretches; only rows of the right width that have a number."""
    total = sum(map(len, stretches))
    step = max(1, total // wanted)
    rows = []
    for stretch in stretches:
        for text in stretch[::step]:
            if not text.strip() or "\0" in text or strip_comment(text)[1]:
                continue
            cells = split_line(text.rstrip("\r"), dialect)
            if len(cells) > width and not any(c.strip() for c in cells[width:]):
                cells = cells[:width]
            if len(cells) == width and is_row(row_classes(cells)):
                rows.append(cells)
    return rows


def edge_empty(rows: Sequence[Sequence[str]]) -> int:
    """How many of the last columns are empty in every row: delimiters at the line's end."""
    filled = (max((k + 1 for k, cell in enumerate(row) if cell.strip()), default=0) for row in rows)
    return len(rows[0]) - max(filled) if rows else 0


def split_stamp(rows: Sequence[Sequence[str]]) -> bool:
    return all(len(r) > 2 and shape_of(r[0].strip()) == "date" and shape_of(r[1].strip()) == "time" for r in rows)


def keys_beside(layout: Layout, rows: Sequence[Sequence[str]], dialect: Dialect) -> None:
    """Keys and values in the first two columns beside the first rows of a table without names."""
    if any(n.strip() for n in layout.names) or layout.width < 4:
        return
    filled = [row for row in rows if row[0].strip()]
    if len(filled) < len(rows) and all(cell_class(row[0]) == "X" for row in filled):
        for row in filled:
            layout.preamble.setdefault(row[0].strip(), row[1].strip())


def counts(rows: Sequence[Sequence[str]]) -> bool:
    first = [row[0].strip().strip('"') for row in rows]
    if not all(c.isdecimal() and len(c) < _MOST_DIGITS for c in first) or int(first[0]) not in (0, 1):
        return False
    values = [int(c) for c in first]
    return all(b > a for a, b in pairwise(values))
