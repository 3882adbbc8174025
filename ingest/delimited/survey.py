"""Which tables a file has: from its head, or from all of its lines where the head does not speak for the rest."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from ingest.delimited.dialect import Dialect, split_line
from ingest.delimited.sample import Sample
from ingest.delimited.source import Source
from ingest.delimited.table import Table, find_tables, is_row, main_table, row_classes
from ingest.errors import UnreadableLog

if TYPE_CHECKING:
    from ingest.readings import Reading


def tables_of(source: Source, sample: Sample, dialect: Dialect, reading: Reading | None) -> tuple[list[Table], Dialect]:
    """Tables of the head; of the whole file where the head has none or the rest does not look like it."""
    first = reading.first_data_line if reading is not None else None
    head = [(n, text) for n, text in sample.head if first is None or n >= first]
    dialect = replace(dialect, comment=_comment_mark(sample, dialect))
    tables = find_tables(head, dialect)
    table = main_table(tables)
    if sample.whole:
        return tables, dialect
    agreeing = 0 if table is None else sum(belongs(table, piece, dialect) for piece in sample.pieces)
    if table is None or agreeing < len(sample.pieces):
        # A table that the last stretches belong to, and half of all: what follows is more of it.
        tables = find_tables(
            all_lines(source, sample, first or 1),
            dialect,
            lambda t: (
                all(belongs(t, piece, dialect) for piece in sample.pieces[-3:])
                and sum(belongs(t, piece, dialect) for piece in sample.pieces) * 2 >= len(sample.pieces)
            ),
        )
        found = main_table(tables)
        if found is not None:
            sample.pieces = [piece for piece in sample.pieces if belongs(found, piece, dialect)]
    return tables, dialect


def belongs(table: Table, piece: Sequence[str], dialect: Dialect) -> bool:
    """Whether at least half of a stretch of lines are rows of this table; a stretch of NULs is no contradiction."""
    chosen = [text for text in piece[:: max(1, len(piece) // 12)] if text.strip("\0 ")]
    classes = [row_classes(split_line(text, dialect)) for text in chosen]
    return sum(table.fits(c) and is_row(c) for c in classes) * 2 >= len(classes)


def all_lines(source: Source, sample: Sample, first: int) -> Iterator[tuple[int, str]]:
    """Every line of the file, numbered, block by block."""
    for block in source.blocks(sample.encoding, sample.line_end, sample.nuls_inside):
        number = block.line
        text = block.data.decode("utf-8", errors="replace")
        for line in text.split("\n")[: None if not block.ended else -1]:
            if number >= first:
                yield number, line
            number += 1


def _comment_mark(sample: Sample, dialect: Dialect) -> str:
    for mark in ("#", "%", "//", "!"):
        if any(text.lstrip().startswith(mark) for _, text in sample.head[:400]):
            return mark
    return ";" if dialect.delimiter != ";" and any(t.startswith(";") for _, t in sample.head[:50]) else "#"


_NESTED = re.compile(r"""[\[\]{}]+,?$|"[^"]*"\s*:""")  # JSON written over many lines


def refuse_markup(source: Source, sample: Sample) -> None:
    """JSON, XML or HTML: text, but no rows of cells."""
    lines = [text.strip() for _, text in sample.head[:400] if text.strip()]
    marked = sum(text[0] in "{<" and text[-1] in "}>," for text in lines)
    nested = sum(_NESTED.match(text) is not None for text in lines) if lines and lines[0][0] in "{[" else 0
    if lines and max(marked, nested) > 0.5 * len(lines):
        raise UnreadableLog(
            "is markup (JSON, XML or HTML), not a table",
            file=source.path,
            line=1,
            found=lines[0][:60],
            mend="Export the log as delimited text: one row of measurements a line.",
        )


def no_table(source: Source, sample: Sample) -> UnreadableLog:
    named = next((n for n, text in sample.head if len(text.split()) > 0), 1)
    return UnreadableLog(
        "has no rows of numbers (no data rows)",
        file=source.path,
        line=named,
        found=next((t.strip()[:60] for _, t in sample.head if t.strip()), ""),
        expected="a table: one row of measurements a line",
        mend="Export it again with its samples, or write a reading that says where the table starts.",
    )
