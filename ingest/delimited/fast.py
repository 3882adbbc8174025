"""Clean blocks through the compiled reader; anything it cannot take goes line by line."""

from __future__ import annotations

import math
import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as pacsv

from ingest.delimited.plan import Parsed, Plan
from ingest.delimited.rough import merge, parse_rough
from ingest.delimited.source import Block, whole_lines
from ingest.delimited.unit_columns import apply_unit_columns
from ingest.delimited.ways import apply_ways

# Spellings of "no value" that need no report beyond being counted as missing; all are in numbers.MISSING.
NOTHING = ["", "NaN", "nan", "NAN", "NA", "N/A", "n/a", "null", "NULL", "None", "none", "-", "--", "---", "-nan"]
PIECE_BYTES = 64 << 10
_RUNS = re.compile(rb"[ \t]+")
_EDGES = re.compile(rb"(?m)^ | $")


def can_be_fast(plan: Plan) -> bool:
    """Whether the plain rows of this table are within the compiled reader's grammar."""
    if (
        plan.dialect.wrapped
        or plan.dialect.cuts
        or plan.dialect.stamped
        or plan.dialect.labels
        or plan.pairs
        or plan.keep_blank
        or plan.pad_short
    ):
        return False
    if len(plan.dialect.delimiter) > 1:
        return False
    numbers = [c for c in plan.columns if c.kind == "number"]
    if any(c.unit is not None or c.style.thousands or c.kind == "flag" for c in plan.columns):
        return False
    marks = {c.style.decimal for c in numbers if not c.exact}
    return len(marks) <= 1


def parse_block(block: Block, plan: Plan) -> Parsed:
    """The rows of a block, fast where it is clean, with the same result as line by line."""
    parsed = _parse(block, plan)
    apply_unit_columns(parsed, plan)
    apply_ways(parsed, plan)
    return parsed


def _parse(block: Block, plan: Plan) -> Parsed:
    if plan.fast and b"\0" not in block.data:
        stop = plan.stop_line
        count = block.data.count(b"\n") + (not block.ended)
        if block.line >= plan.first_data_line and (stop is None or block.line + count <= stop):
            parsed = _parse_fast(block, plan, count)
            if parsed is not None:
                return parsed
            if len(block.data) > PIECE_BYTES:
                cut = whole_lines(block.data[: len(block.data) // 2])
                if 0 < cut < len(block.data):
                    # One bad line must not slow the whole block down: halve it until the trouble is in a small piece.
                    line = block.line + block.data.count(b"\n", 0, cut)
                    first = Block(block.data[:cut], block.line, False, True)
                    return merge(
                        [_parse(first, plan), _parse(Block(block.data[cut:], line, block.last, block.ended), plan)]
                    )
        elif block.line + count > plan.first_data_line:
            head, rest = _split_at(block, plan.first_data_line)
            if rest.data and head.data and (stop is None or rest.line + rest.data.count(b"\n") < stop):
                return _parse(rest, plan)
    return parse_rough(block, plan)


def _split_at(block: Block, line: int) -> tuple[Block, Block]:
    """The block before and from a line."""
    place = 0
    for _ in range(line - block.line):
        place = block.data.find(b"\n", place) + 1
        if place == 0:
            return block, Block(b"", line, block.last, block.ended)
    return (
        Block(block.data[:place], block.line, False, True),
        Block(block.data[place:], max(line, block.line), block.last, block.ended),
    )


def _parse_fast(block: Block, plan: Plan, count: int) -> Parsed | None:
    data = block.data
    if not data:
        return None
    if block.last and not block.ended:
        return None  # the last line may be cut short: it is judged line by line
    if plan.dialect.delimiter == " ":
        data = _EDGES.sub(b"", _RUNS.sub(b" ", data.replace(b"\r", b"")))
    names = [str(k) for k in range(plan.width)]
    types: dict[str, pa.DataType] = dict.fromkeys(names, pa.string())
    for column in plan.columns:
        if column.kind == "number":
            types[str(column.index)] = pa.int64() if column.exact else pa.float64()
    try:
        table = pacsv.read_csv(
            pa.BufferReader(data),
            read_options=pacsv.ReadOptions(use_threads=False, block_size=len(data) + 1, column_names=names),
            parse_options=pacsv.ParseOptions(
                delimiter=plan.dialect.delimiter or "\x1f",
                quote_char='"' if b'"' in data else False,
                newlines_in_values=False,
                ignore_empty_lines=True,
            ),
            convert_options=pacsv.ConvertOptions(
                column_types=types,
                null_values=NOTHING,
                strings_can_be_null=True,
                quoted_strings_can_be_null=True,
                decimal_point=plan.decimal,
            ),
        )
    except pa.ArrowInvalid:
        return None
    if table.num_rows != count:
        return None  # blank lines, or quotes over a line end: counted line by line
    columns = [_one(table.column(column.index)) for column in plan.columns]
    for column, values in zip(plan.columns, columns, strict=True):
        if (column.index in plan.clock_columns or column.index == plan.guard) and values.null_count:
            return None
        if column.kind == "number" and not column.exact:
            total = pc.sum(values).as_py()
            if total is not None and not math.isfinite(total):
                return None  # spelled-out infinities and not-a-numbers are counted cell by cell
    lines = np.arange(block.line, block.line + count, dtype=np.int64)
    return Parsed(columns, table.num_rows, lines)


def _one(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()
