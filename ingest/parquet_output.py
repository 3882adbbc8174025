"""Samples as one Parquet file: zstd, dictionaries for values (loggers write quantised figures), split bytes for time.

It opens nothing itself: store.py hands it a file that is already open.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

if TYPE_CHECKING:
    from ingest.store_output import Output

ROW_GROUP_ROWS = 100_000  # our choice: a zoom reads few of them, and their statistics stay small

Guard = Callable[[Path], AbstractContextManager[None]]


class ParquetOutput:
    """One Parquet file, written batch by batch in flat memory. finish(), then commit(); or discard().

    guard: turns what the disk says into a StoreError about a path.
    """

    def __init__(self, output: Output, schema: pa.Schema, guard: Guard) -> None:
        self._output = output
        self._guard = guard
        self.rows = 0
        self._finished = False
        self._schema = schema
        self._waiting: list[pa.RecordBatch] = []
        self._waiting_rows = 0
        splits = {"time_s": "BYTE_STREAM_SPLIT"} if "time_s" in schema.names else None
        self._writer = pq.ParquetWriter(
            output,
            schema,
            compression="zstd",
            use_dictionary=[name for name in schema.names if name != "time_s"],
            column_encoding=splits,
            write_statistics=True,
            write_page_checksum=True,
        )

    def write(self, batch: pa.RecordBatch) -> None:
        """NaN becomes null: the source gave no value."""
        self._waiting.append(_without_nan(batch))
        self._waiting_rows += batch.num_rows
        self.rows += batch.num_rows
        if self._waiting_rows >= ROW_GROUP_ROWS:
            self._write_groups(self._waiting_rows // ROW_GROUP_ROWS * ROW_GROUP_ROWS)

    def finish(self, metadata: Mapping[str, str]) -> None:
        """The rest, and `metadata` in the file's own; everything on the disk, under its hidden name."""
        if self._waiting_rows or not self.rows:
            self._write_groups(self._waiting_rows)
        with self._guard(self._output.path):
            self._writer.add_key_value_metadata(dict(metadata))
            self._writer.close()
        self._finished = True
        self._output.finish()

    @property
    def temp(self) -> Path:
        """Where the samples are until commit()."""
        return self._output.temp

    def commit(self, path: Path | None = None) -> None:
        """Rename to the file's name, or to another one in its folder, replacing what stood there."""
        self._output.path = path or self._output.path
        self._output.commit()

    def discard(self) -> None:
        """Take it away; harmless after commit()."""
        self._output.discard()  # first, so that what the writer still sends while it closes goes nowhere
        if not self._finished:
            self._finished = True
            self._writer.close()

    def _write_groups(self, rows: int) -> None:
        table = pa.Table.from_batches(self._waiting, self._schema)
        with self._guard(self._output.path):
            self._writer.write_table(table.slice(0, rows), row_group_size=ROW_GROUP_ROWS)
        rest = table.slice(rows)
        self._waiting = rest.to_batches()
        self._waiting_rows = rest.num_rows


def _without_nan(batch: pa.RecordBatch) -> pa.RecordBatch:
    columns = list(batch.columns)
    changed = False
    for i, column in enumerate(columns):
        if pa.types.is_floating(column.type):
            nan = pc.is_nan(column)
            if pc.any(nan).as_py():
                columns[i] = pc.if_else(nan, pa.scalar(None, column.type), column)
                changed = True
    return pa.RecordBatch.from_arrays(columns, schema=batch.schema) if changed else batch
