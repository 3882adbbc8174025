"""What sniffing decided: everything that is needed to turn a block of lines into columns."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.delimited.column import Kind
from ingest.delimited.dialect import Dialect
from ingest.delimited.numbers import PLAIN, NumberStyle
from ingest.delimited.stamps import StampStyle


@dataclass
class ColumnPlan:
    """index: place among the cells of a row. unit: the one glued to its cells, to which they are all brought."""

    index: int
    source: str
    kind: Kind
    style: NumberStyle = PLAIN
    stamp: StampStyle | None = None
    unit: str | None = None
    exact: bool = False  # whole numbers beyond 2**53: kept as int64 until the first is subtracted
    few_words: bool = False
    empty: bool = False
    unit_column: int | None = None  # where a column beside it holds the unit of each figure
    unit_of_column: str | None = None
    unit_varies: bool = False
    marked: bool = False  # some cell shows the decimal mark
    way_column: int | None = None  # where the words of a column say which way this current flows
    way_letters: bool = False  # those words are C and D


@dataclass
class Plan:
    """width: cells in a row; names and units: the header's cells, to know them when they are repeated."""

    dialect: Dialect
    columns: list[ColumnPlan]
    width: int
    header: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    first_data_line: int = 1
    stop_line: int | None = None
    fast: bool = False
    decimal: str = "."
    clock_columns: tuple[int, ...] = ()
    guard: int | None = None  # without a clock: a column that every row fills; a word there makes it no row
    fallback_codec: str = "cp1252"
    keep_blank: bool = False
    pairs: bool = False
    pad_short: bool = False  # many rows leave out their last, empty cells, down to least_width
    least_width: int = 0
    file: str = ""  # for messages


@dataclass
class OddLine:
    """A line that is no good row. kind: short, long, text, repeat, units, new_header, nul, comment."""

    line: int
    kind: str
    cells: int
    text: str
    position: int  # how many good rows of the block stand before it
    bare: bool = False  # the last line of the file, without a line end


@dataclass
class Parsed:
    """A block as columns (float64, int64 or string arrays). lines: the line number of each row."""

    columns: list[pa.Array]
    rows: int
    lines: NDArray[np.int64]
    odd: list[OddLine] = field(default_factory=list)
    cells: dict[tuple[str, int], list[Any]] = field(default_factory=dict)  # (code, column) -> [count, line, example]
    encoding_faults: int = 0
    rough: bool = False

    def count_cell(self, code: str, column: int, line: int, example: str) -> None:
        entry = self.cells.setdefault((code, column), [0, line, example])
        entry[0] += 1
