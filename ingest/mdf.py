"""MDF4: measurement files after ASAM MDF 4, through asammdf; each channel group is a stream with its own time."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa

from ingest.delimited.source import Source
from ingest.errors import MissingExtra, UnreadableLog
from ingest.formats import Format, ReadOptions, read_head
from ingest.log import Clock, Fault, Provenance
from ingest.mdf_blocks import check_links
from ingest.mdf_child import RECORDS
from ingest.mdf_parent import messages
from ingest.stream_clock import StreamClock
from ingest.stream_reader import Signal, Streams

READER_VERSION: Final = "1"
_RECORDS = RECORDS
_MOST_S: Final = 9e9  # what nanoseconds in 64 bits can hold, and no recording reaches
_Block = tuple[Any, list[Any]]


@dataclass(eq=False)
class _Group:
    """One channel group. channels: (index, name, unit) without the master."""

    number: int
    name: str
    records: int
    channels: list[tuple[int, str, str]]
    master: str | None
    timed: bool
    kinds: list[str] = field(default_factory=list)
    clock: StreamClock | None = None
    first_s: float = 0.0


class MdfReader:
    """One MDF 4 file. Raises MissingExtra and UnreadableLog."""

    def __init__(self, path: Path, options: ReadOptions) -> None:
        try:
            import asammdf  # noqa: F401
        except ImportError:
            raise MissingExtra("mdf", "an MDF file", path) from None
        head = read_head(path)
        if head[8:10] != b"4.":
            raise UnreadableLog(
                f"is of version {head[8:12].decode('latin-1').strip()} of MDF", file=path, byte=8, expected="version 4",
                mend="Convert it to MDF 4 with the recorder's software.",
            )  # fmt: skip
        self._path, self._options = path, options
        self._name = options.name or path.name
        self._reading = options.reading if options.reading is not None and options.reading.kind == "text" else None
        self._streams = Streams(self._name, options, self._reading)
        self._left_out: list[str] = []
        self._groups: list[_Group] = []
        self._version = ""
        self._began = ""
        self._provenance: Provenance | None = None
        self._unfinished = head.startswith(b"UnFinMF ")
        if not self._unfinished:
            check_links(path)

    @property
    def provenance(self) -> Provenance:
        if self._provenance is None:
            raise RuntimeError("provenance is complete only after batches() is exhausted")
        return self._provenance

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """(channel group, its samples) group by group; the provenance is complete afterwards."""
        source = Source(self._path)
        try:
            with ThreadPoolExecutor(1) as pool:
                hashing = pool.submit(lambda: [None for _ in source.raw_blocks()])
                yield from self._samples()
                hashing.result()
        finally:
            source.close()
        self._finish(source.sha256)

    def _samples(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        coming = messages(self._path, _RECORDS)
        try:
            _, about = next(coming)
            self._version, self._began = about["version"], about["began"]
            self._groups = _groups(about["groups"])
            firsts = [_samples_of(next(coming)) for _ in self._groups]
            self._name_all(firsts)
            by_number = {group.number: group for group in self._groups}
            held = {group.number: first for group, first in zip(self._groups, firsts, strict=True)}
            for _, (number, times, columns) in coming:
                # the first block of a group waits for the next one, which shows where its clock goes on
                yield from self._stored(by_number[number], held.pop(number), times)
                held[number] = times, columns
            for group in self._groups:
                yield from self._stored(group, held[group.number], np.empty(0))
        finally:
            coming.close()

    def _name_all(self, firsts: list[_Block]) -> None:
        both = list(zip(self._groups, firsts, strict=True))
        starts = [float(times[0]) for group, (times, _) in both if group.timed and times.size]
        origin = min(starts, default=0.0)
        for group, (times, columns) in both:
            group.kinds = [_kind(column) for column in columns]
            named = list(zip(group.channels, group.kinds, strict=True))
            self._left_out += [name for (_, name, _), kind in named if not kind]
            signals = [
                Signal(name, unit or None, kind="text" if kind == "text" else "number")
                for (_, name, unit), kind in named
                if kind
            ]
            group.first_s = float(times[0]) - origin if times.size and group.timed else 0.0
            shown = [_values(c, k) for c, k in zip(columns, group.kinds, strict=True) if k]
            ordered = np.maximum.accumulate(times) if times.size else times
            figures: list[Any] = [v if isinstance(v, np.ndarray) else [] for v in shown]
            self._streams.add(group.name, signals, ordered - origin, figures)
        self._streams.name()

    def _stored(self, group: _Group, block: _Block, following: Any) -> Iterator[tuple[str, pa.RecordBatch]]:
        times, columns = block
        if not any(group.kinds) or not times.size:
            return
        if [_kind(column) for column in columns] != group.kinds:
            raise UnreadableLog(f"its group {group.name} changes its channels midway", file=self._path)
        values = [_values(column, kind) for column, kind in zip(columns, group.kinds, strict=True) if kind]
        time_s = None
        recording = np.zeros(times.size, dtype=np.int16)
        if group.timed:
            if np.abs(times).max() >= _MOST_S:
                raise UnreadableLog(f"is a damaged MDF file: {group.name} lasts centuries", file=self._path)
            ticks = np.rint(times * 1e9).astype(np.int64)
            if group.clock is None:
                group.clock = StreamClock(group.master, "s", 1e-9, ticks, absolute=False, why="the group's master")
            ahead = np.rint(following[:16] * 1e9).astype(np.int64)
            time_s, recording, order = group.clock.feed(ticks, ahead, self._path)
            time_s = np.where(recording == 0, time_s + group.first_s, time_s)
            if order.size != times.size or (np.diff(order) < 0).any():
                values = [v.take(pa.array(order)) if isinstance(v, pa.Array) else v[order] for v in values]
        yield group.name, self._streams.batch(group.name, time_s, recording, values)

    def _finish(self, sha256: str) -> None:
        if self._streams.rows == 0:
            raise UnreadableLog("holds no samples", file=self._path, mend="Export it again with its samples.")
        faults: list[Fault] = []
        if self._left_out:
            names = ", ".join(self._left_out[:5])
            note = f"{len(self._left_out)} channels hold arrays or bytes and are left out: {names}."
            faults.append(Fault("array_channel", "dropped", note, count=len(self._left_out)))
        if self._unfinished:
            faults.append(Fault("truncated", "repaired", "The recorder did not finish the file; its samples are kept."))
        for group in self._groups:
            if group.clock is not None:
                faults += [replace(fault, note=f"{group.name}: {fault.note}") for fault in group.clock.faults(True)]
            elif any(group.kinds):
                faults.append(Fault("clock_missing", "doubtful", f"{group.name} has no time: its master is no clock."))
        self._provenance = Provenance(
            file=self._name,
            sha256=sha256,
            format=MDF4.name,
            reading=self._reading.name if self._reading is not None else None,
            reader_version=READER_VERSION,
            note=f"version {self._version}",
            rows=self._streams.rows,
            columns=self._streams.columns(),
            clock=self._clock(),
            faults=(*faults, *self._streams.faults()),
        )

    def _clock(self) -> Clock | None:
        """Of the longest raster; the duration reaches over all groups."""
        timed = [group for group in self._groups if group.clock is not None]
        if not timed:
            return None
        clocks = [(group, group.clock.clock()) for group in timed if group.clock is not None]
        _, clock = max(clocks, key=lambda pair: pair[0].records)
        start = min(c.start_s or 0.0 for _, c in clocks)
        wall = None
        if self._began and (began := datetime.fromisoformat(self._began)).year >= 2000:
            text = (began + timedelta(seconds=start)).isoformat(timespec="milliseconds")
            wall = text.replace("+00:00", "Z")
        until = max(group.first_s + (c.duration_s or 0.0) for group, c in clocks)
        return replace(clock, start_s=start, duration_s=until, wall_start=wall)


def _groups(described: list[dict[str, Any]]) -> list[_Group]:
    """With a name each of its own: that of the file where it is one, else the number."""
    made = []
    for one in described:
        name = one["name"] or f"group {one['number'] + 1}"
        if sum(other["name"] == one["name"] for other in described) > 1 and one["name"]:
            name = f"{name} {one['number'] + 1}"
        made.append(_Group(one["number"], name, one["records"], one["channels"], one["master"], one["timed"]))
    return made


def _samples_of(message: tuple[str, Any]) -> _Block:
    return message[1][1], message[1][2]


def _kind(samples: Any) -> str:
    """ "number", "text" or "" for what is not read."""
    if samples is None:
        return ""
    return "number" if samples.dtype.kind in "fiub" else "text"


def _values(samples: Any, kind: str) -> Any:
    if kind == "text":
        words = [x.decode("utf-8", "replace") if isinstance(x, bytes) else str(x) for x in samples.tolist()]
        return pa.array([word.rstrip("\0 ") or None for word in words], pa.string())
    return samples.astype(np.float64)


def _open(path: Path, options: ReadOptions) -> MdfReader:
    return MdfReader(path, options)


def _looks_like(head: bytes, path: Path) -> bool:
    return head.startswith((b"MDF     ", b"UnFinMF ")) and head[8:10] in (b"4.", b"3.", b"2.")


MDF4 = Format(
    name="ASAM MDF 4",
    description="measurement files (.mf4) with one or more rasters",
    specification="ASAM MDF 4 (asam.net/standards/detail/mdf)",
    looks_like=_looks_like,
    open=_open,
)
