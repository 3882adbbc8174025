"""The frozen Log: one or more streams of samples with everything known about where they came from.

A Log is what every format gives and the only thing the analysis takes. Absent column: never logged.
Null: the source gave no value. NaN is never stored.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol

import pyarrow as pa

if TYPE_CHECKING:
    import pandas as pd

Severity = Literal["repaired", "dropped", "doubtful"]
Sure = Literal["certain", "likely", "guess", "unknown"]

METADATA_KEY = b"afterbout"


@dataclass(frozen=True)
class Fault:
    """Something about the file that was repaired, dropped or is not to be trusted (contract, section 5)."""

    code: str
    severity: Severity
    note: str
    line: int | None = None
    column: str | None = None
    count: int = 1


@dataclass(frozen=True)
class Column:
    """How one source column is read. Units and ranges as in the contract's inspect document.

    stream: which source of a recording of several it came from.
    """

    source: str
    kind: Literal["number", "text", "flag", "time"]
    quantity: str
    channel: str | None
    unit: str | None
    source_unit: str | None
    sure: Sure
    why: str
    scale: float = 1.0
    offset: float = 0.0
    min: float | None = None
    max: float | None = None
    source_min: float | str | None = None
    source_max: float | str | None = None
    missing: int = 0
    alternatives: tuple[str, ...] = ()
    samples: int | None = None
    question: str = ""
    stream: str | None = None


@dataclass(frozen=True)
class Clock:
    """The file's clock. duration_s is last − first, added over recordings; None where the unit is unknown.

    leftovers_from: the first recording that is perhaps an older one, left over behind the end of this one; None: none.
    """

    column: str | None
    unit: str
    sure: Sure
    start_s: float | None
    duration_s: float | None
    rate_Hz: float | None
    restarts: tuple[float, ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    wall_start: str | None = None
    origin: str = ""
    leftovers_from: int | None = None


@dataclass(frozen=True)
class Provenance:
    """Where a Log came from and what was done to it; stored in the Parquet file's metadata."""

    file: str
    sha256: str
    format: str
    reading: str | None = None
    reader_version: str = ""
    dialect: dict[str, Any] = field(default_factory=dict)
    rows: int = 0
    columns: tuple[Column, ...] = ()
    clock: Clock | None = None
    faults: tuple[Fault, ...] = ()
    counts: dict[str, Any] = field(default_factory=dict)
    note: str = ""

    def to_json(self) -> str:
        return json.dumps(asdict(self), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Provenance:
        raw = json.loads(text)
        clock = raw["clock"]
        if clock is not None:
            clock["restarts"] = tuple(clock["restarts"])
            clock["gaps"] = tuple(tuple(gap) for gap in clock["gaps"])
        raw["clock"] = None if clock is None else Clock(**clock)
        raw["columns"] = tuple(
            Column(**{**column, "alternatives": tuple(column["alternatives"])}) for column in raw["columns"]
        )
        raw["faults"] = tuple(Fault(**fault) for fault in raw["faults"])
        return cls(**raw)


@dataclass(frozen=True, eq=False)
class Stream:
    """Samples that share one clock and rate.

    table: time_s float64 (seconds from the log's first sample), recording int16, then one float64 column per
    channel (nullable), its field metadata holding part, quantity, unit, source name and unit, scale, offset.
    Columns that are no channel of the vocabulary are kept under their source name, prefixed `other:`.
    """

    name: str
    table: pa.Table

    @property
    def channels(self) -> tuple[str, ...]:
        skip = ("time_s", "recording")
        return tuple(c for c in self.table.column_names if c not in skip and not c.startswith("other:"))


@dataclass(frozen=True, eq=False)
class Log:
    """One file, read: its streams and its provenance."""

    streams: tuple[Stream, ...]
    provenance: Provenance

    @property
    def name(self) -> str:
        return Path(self.provenance.file).name

    @property
    def channels(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(c for s in self.streams for c in s.channels))

    @property
    def samples(self) -> int:
        return max((s.table.num_rows for s in self.streams), default=0)

    def to_pandas(self) -> pd.DataFrame:
        """The longest stream as a DataFrame indexed by time_s (one stream is the usual case)."""
        stream = max(self.streams, key=lambda s: s.table.num_rows)
        frame = stream.table.to_pandas()
        return frame.set_index("time_s")


class LogReader(Protocol):
    """A file being read piece by piece, so that memory stays flat.

    batches() may be run once; `provenance` is complete only when it is exhausted.
    """

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """(stream name, samples), in time order within a stream; every batch of a stream has one schema."""

    @property
    def provenance(self) -> Provenance: ...


def collect(reader: LogReader) -> Log:
    """Read a file whole."""
    parts: dict[str, list[pa.RecordBatch]] = {}
    for name, batch in reader.batches():
        parts.setdefault(name, []).append(batch)
    streams = tuple(Stream(name, pa.Table.from_batches(batches)) for name, batches in parts.items())
    return Log(streams, reader.provenance)


def channel_field(
    channel: str,
    *,
    part: str,
    quantity: str,
    unit: str,
    source: str,
    source_unit: str,
    scale: float = 1.0,
    offset: float = 0.0,
) -> pa.Field:
    """The Parquet field of one channel, with what the contract asks for in its metadata."""
    about = {
        "part": part,
        "quantity": quantity,
        "unit": unit,
        "source": source,
        "source_unit": source_unit,
        "scale": repr(scale),
        "offset": repr(offset),
    }
    return pa.field(channel, pa.float64(), nullable=True, metadata={k: str(v) for k, v in about.items()})
