"""RECORDING: a live recording as a log. Each source is read as a file of its kind is, on the recording's one clock.

A source with a clock of its own keeps it and is placed by when its first row came; one without gets the times of
arrival. What a source's bytes mean is said by the reading that is given, else by the one that the recording carries.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from ingest.errors import AfterboutError, UnreadableLog
from ingest.formats import Format, ReadOptions
from ingest.log import Clock, Fault, LogReader, Provenance
from ingest.readings import Reading, parse_reading
from ingest.record.blocks import MAGIC, SourceNote
from ingest.record.faults import recording_faults

READER_VERSION: Final = "2"
_ARRIVAL_WHY: Final = "when each line came"


@dataclass
class _Part:
    """One source on its way into the log. offset_s: its own zero on the recording's clock; stream: "" for the only."""

    note: SourceNote
    reader: LogReader
    offset_s: float
    stream: str = ""


class RecordingReader:
    """Raises UnreadableLog where nothing of it can be read; a source that cannot be read is told as a fault."""

    def __init__(self, path: Path, options: ReadOptions) -> None:
        from ingest.record.recorded import Recording

        self._path, self._options = path, options
        self._recording = Recording(path)
        self._faults: list[Fault] = []
        self._parts: list[_Part] = []
        self._provenance: Provenance | None = None
        firsts = [first for first in self._recording.first_ns if first is not None]
        if not firsts:
            raise UnreadableLog("nothing came while it was recorded", file=path, mend="Record it again.")
        errors = []
        for number, note in enumerate(self._recording.notes):
            if self._recording.first_ns[number] is None:
                self._faults.append(Fault("source_silent", "doubtful", f"Nothing came from {note.name}."))
                continue
            try:
                self._parts.append(self._part(number, note))
            except AfterboutError as error:
                errors.append(error)
                self._faults.append(
                    Fault("source_unread", "dropped", f"{note.name} {error.what}. {error.mend}".strip())
                )
        if not self._parts:
            raise errors[0]
        if len(self._parts) > 1:
            for part in self._parts:
                part.stream = part.note.name
        zero_s = min(part.offset_s for part in self._parts)
        for part in self._parts:
            part.offset_s -= zero_s

    @property
    def provenance(self) -> Provenance:
        if self._provenance is None:
            raise RuntimeError("provenance is complete only after batches() is exhausted")
        return self._provenance

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """(stream name, rows), source by source; the provenance is complete afterwards."""
        for part in self._parts:
            for name, batch in part.reader.batches():
                stream = name if not part.stream else part.stream if name == "samples" else f"{part.stream}.{name}"
                yield stream, _shifted(batch, part.offset_s)
        self._finish()

    def _part(self, number: int, note: SourceNote) -> _Part:
        carried = parse_reading(note.reading, file=self._path) if note.reading else None
        given = self._options.reading
        reading = given if given is not None and (carried is None or given.kind == carried.kind) else carried
        options = replace(self._options, reading=reading, name=note.name)
        first_s = (self._recording.first_ns[number] or 0) / 1e9
        if note.kind == "can":
            return self._can(number, note, options, first_s)
        if reading is not None and reading.kind == "binary":
            return self._frames(number, note, options, reading, first_s)
        return self._text(number, note, options)

    def _can(self, number: int, note: SourceNote, options: ReadOptions, first_s: float) -> _Part:
        from ingest.can_bus import CanReader
        from ingest.record.can_recorded import RecordedTrace

        trace = RecordedTrace(self._recording, number)
        return _Part(note, CanReader(self._path, trace.kind, replace(options, reading=None), trace), first_s)

    def _frames(self, number: int, note: SourceNote, options: ReadOptions, reading: Reading, first_s: float) -> _Part:
        from ingest.binary.seamed import Seam
        from ingest.frames import FramesReader
        from ingest.record.one_source import OneSource

        recording = self._recording
        source = OneSource(recording, number)
        runs = recording.runs(number)
        seams = [Seam(run.offset, (run.first_ns - runs[0].first_ns) / 1e9 if run.placed else None) for run in runs[1:]]
        timed = [run for run in runs if run.last_ns > run.first_ns]
        rate_Hz = None
        if timed and reading.frame:
            span_s = sum(run.last_ns - run.first_ns for run in timed) / 1e9
            rate_Hz = sum(run.size for run in timed) / reading.frame.length_bytes / span_s
        if rate_Hz is not None and not (reading.time_column or reading.rate_Hz or options.rate_Hz):
            options = replace(options, rate_Hz=rate_Hz)
            text = f"{note.name}: its frames carry no time; {rate_Hz:.4g} a second is how they came on average."
            self._faults.append(Fault("clock_by_arrival", "doubtful", text))
        return _Part(note, FramesReader(self._path, options, reading, source, seams, rate_Hz), first_s)

    def _text(self, number: int, note: SourceNote, options: ReadOptions) -> _Part:
        from ingest.delimited.encoding import looks_like_text
        from ingest.delimited.reader import DelimitedReader
        from ingest.record.one_source import OneSource
        from ingest.record.seams import trim_lines
        from ingest.record.stamped_text import Stamping

        recording = self._recording
        torn = trim_lines(recording, number)
        if torn:
            text = f"{note.name}: {torn} bytes of lines that a gap has torn, or may have, are left out."
            self._faults.append(Fault("torn_line", "dropped", text))
        source = OneSource(recording, number)
        if not looks_like_text(source.peek(0, 1 << 16)):
            raise UnreadableLog(
                "is binary, and no reading declares its frames", file=self._path,
                mend="Write a reading file with kind = \"binary\" (docs/readings.md) and name it with --reading.",
            )  # fmt: skip
        reader = DelimitedReader(self._path, options, source)
        sniffed = reader.sniffed
        first_line = sniffed.layout.first_data_line
        if sniffed.clock is not None or sniffed.rate_Hz is not None:
            return _Part(note, reader, recording.line_came_s(number, first_line))
        names = sniffed.layout.header_line or sniffed.layout.units_line
        made = Stamping(recording, number, sniffed.plan.dialect.delimiter or " ", names, first_line)
        first = DelimitedReader(self._path, options, OneSource(recording, number, made))
        column = first.sniffed.evidence[0].source
        reading = replace(options.reading or Reading(name=""), time_column=column, time_unit="s")
        reader = DelimitedReader(self._path, replace(options, reading=reading), OneSource(recording, number, made))
        text = f"{note.name}: its lines carry no time; they are placed by when they came."
        self._faults.append(Fault("clock_by_arrival", "repaired", text))
        return _Part(note, reader, recording.line_came_s(number, first_line))

    def _finish(self) -> None:
        recording = self._recording
        recording.check_unchanged()
        made = [part.reader.provenance for part in self._parts]
        faults = [*self._faults, *(fault for one in made for fault in one.faults)]
        faults += recording_faults(recording)
        counts: dict[str, Any] = {}
        for one in made:
            counts |= one.counts
        self._provenance = Provenance(
            file=self._options.name or self._path.name,
            sha256=recording.sha256,
            format=RECORDING.name,
            reading=", ".join(dict.fromkeys(one.reading for one in made if one.reading)) or None,
            reader_version=READER_VERSION,
            dialect=made[0].dialect if len(made) == 1 else {},
            rows=max(one.rows for one in made),
            columns=tuple(
                replace(column, stream=part.stream or None)
                for part, one in zip(self._parts, made, strict=True)
                for column in one.columns
            ),
            clock=self._clock(made),
            faults=tuple(faults),
            counts=counts,
            note=", ".join(note.name for note in recording.notes),
        )

    def _clock(self, made: list[Provenance]) -> Clock | None:
        placed = [
            (part.offset_s, one.clock) for part, one in zip(self._parts, made, strict=True) if one.clock is not None
        ]
        if not placed:
            return None
        offset_s, best = max(placed, key=lambda item: item[1].rate_Hz or 0.0)
        ends = [offset + clock.duration_s for offset, clock in placed if clock.duration_s is not None]
        return replace(
            best,
            start_s=best.start_s if len(placed) == 1 else 0.0,
            duration_s=best.duration_s if len(placed) == 1 else max(ends, default=None),
            restarts=tuple(t + offset_s for t in best.restarts),
            gaps=tuple((a + offset_s, b + offset_s) for a, b in best.gaps),
            wall_start=self._recording.wall_start or best.wall_start,
        )


def _shifted(batch: pa.RecordBatch, offset_s: float) -> pa.RecordBatch:
    if not offset_s:
        return batch
    columns = list(batch.columns)
    columns[0] = pc.add(columns[0], offset_s)
    return pa.RecordBatch.from_arrays(columns, schema=batch.schema)


def _open(path: Path, options: ReadOptions) -> RecordingReader:
    return RecordingReader(path, options)


def _looks_like(head: bytes, path: Path) -> bool:
    return head.startswith(MAGIC)


RECORDING = Format(
    name="recording",
    description="what afterbout record wrote: the bytes of every source with their times of arrival",
    specification="docs/recording.md",
    looks_like=_looks_like,
    open=_open,
)
