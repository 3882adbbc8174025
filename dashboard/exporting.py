"""Tables to .csv, .parquet and .xlsx; text that a spreadsheet would run as a formula is escaped."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

from ingest.errors import MissingExtra, UsageError
from ingest.store import Store

SHEET_ROWS = 1_048_576  # of a spreadsheet, header included (ISO/IEC 29500 workbooks as programs open them)
# With the wide forms, which some programs take for the plain ones.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def escaped(value: Any) -> Any:
    """Text with a leading apostrophe where a spreadsheet would take it for a formula."""
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        return "'" + value
    return value


def write_table(table: pa.Table, target: Path) -> None:
    """Write by the target's ending, whole or not at all. Raises UsageError, MissingExtra, StoreError."""
    kind = target.suffix.lower()
    if kind == ".csv":
        data = csv_bytes(table)
    elif kind == ".parquet":
        sink = io.BytesIO()
        pq.write_table(table, sink, compression="zstd")
        data = sink.getvalue()
    elif kind == ".xlsx":
        data = _workbook(table, target)
    else:
        raise UsageError("the file's ending is not known", file=target, mend="Use .csv, .parquet or .xlsx.")
    Store().write_bytes(target, data)


def csv_bytes(table: pa.Table) -> bytes:
    """With a header, in UTF-8."""
    sink = io.BytesIO()
    safe = [column if pa.types.is_primitive(column.type) else _texts(column) for column in table.columns]
    pa_csv.write_csv(pa.Table.from_arrays(safe, names=[escaped(name) for name in table.column_names]), sink)
    return sink.getvalue()


def _texts(column: pa.ChunkedArray) -> pa.Array:
    """As text that no spreadsheet runs."""
    return pa.array([None if v is None else escaped(str(v)) for v in column.to_pylist()], pa.string())


def _workbook(table: pa.Table, target: Path) -> bytes:
    try:
        from openpyxl import Workbook
    except ImportError:
        raise MissingExtra("xlsx", "a spreadsheet", target) from None
    if table.num_rows + 1 > SHEET_ROWS:
        raise UsageError(
            f"{table.num_rows:,} rows do not fit a spreadsheet ({SHEET_ROWS:,})",
            file=target,
            mend="Export to .csv or .parquet.",
        )
    book = Workbook(write_only=True)
    page = book.create_sheet("samples")
    page.append([escaped(name) for name in table.column_names])
    for batch in table.to_batches(max_chunksize=10_000):
        for row in zip(*(column.to_pylist() for column in batch.columns), strict=True):
            page.append([escaped(value) for value in row])
    sink = io.BytesIO()
    book.save(sink)
    return sink.getvalue()
