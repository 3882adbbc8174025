"""FRAMES: binary telemetry of fixed-length frames that a reading file declares, read with flat memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.binary.checksum import Bytes, Crc
from ingest.binary.framing import share_of_frames
from ingest.binary.layout import Layout, layout_of
from ingest.binary.seamed import Seam, SeamedFramer
from ingest.delimited.clock import UNIT_S, typical
from ingest.delimited.source import Source
from ingest.errors import ReadingError, UnreadableLog
from ingest.formats import Format, ReadOptions, read_head
from ingest.log import Clock, Column, Fault, Provenance
from ingest.readings import Reading
from ingest.stream_clock import StreamClock, no_clock
from ingest.stream_reader import Signal, Streams

READER_VERSION: Final = "1"
STREAM: Final = "samples"
BLOCK_BYTES: Final = 2 << 20
# Our choice: where less than a quarter of the bytes are good frames, the layout or the file is another one.
LEAST_SHARE: Final = 0.25
# A saved reading is taken for a file only where half of the first bytes are its frames (our choice).
LEAST_HEAD_SHARE: Final = 0.5


def reading_for(head: bytes, readings: Sequence[Reading], file_name: str) -> Reading | None:
    """The saved binary reading whose frames fill the first bytes, evenly spaced; None where none or several do."""
    fitting: list[tuple[float, Reading]] = []
    for reading in readings:
        if reading.kind != "binary":
            continue
        try:
            layout = layout_of(reading)
        except ReadingError:  # named with --reading it is told; here it is only no candidate
            continue
        sure = layout.checksum is not None or len(layout.sync) >= 2
        share = share_of_frames(layout, head) if sure and (layout.sync or isinstance(layout.checksum, Crc)) else 0.0
        if share >= LEAST_HEAD_SHARE:
            fitting.append((share, reading))
    stem = file_name.casefold()
    hinted = [f for f in fitting if f[1].file_name_hint and f[1].file_name_hint.casefold() in stem]
    best = hinted or fitting
    return best[0][1] if len(best) == 1 else None


class FramesReader:
    """One binary log. Raises ReadingError where the reading is wrong, UnreadableLog where the file does not fit it."""

    def __init__(
        self,
        path: Path,
        options: ReadOptions,
        reading: Reading,
        source: Source | None = None,
        seams: Sequence[Seam] = (),
        usual_rate_Hz: float | None = None,
    ) -> None:
        """source: the bytes, where they are not the file itself; seams: where they do not follow on.

        usual_rate_Hz: how often frames came, to know how many a seam has swallowed.
        """
        self._path = path
        self._name = options.name or path.name
        self._reading = reading
        self._layout = layout_of(reading)
        self._rate_Hz = None if self._layout.time is not None else (options.rate_Hz or reading.rate_Hz)
        self._source = source or Source(path)
        self._framer = SeamedFramer(self._layout, seams, self._rate_Hz or usual_rate_Hz)
        self._fields = [f for f in self._layout.fields if f is not self._layout.time]
        self._streams = Streams(self._name, options, reading)
        self._clock: StreamClock | None = None
        self._unwrap = _Unwrap(self._layout)
        self._ticks: tuple[float, float] | None = None
        self._provenance: Provenance | None = None

    @property
    def provenance(self) -> Provenance:
        if self._provenance is None:
            raise RuntimeError("provenance is complete only after batches() is exhausted")
        return self._provenance

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """("samples", rows) in order; the provenance is complete afterwards."""
        try:
            waiting: tuple[Bytes, NDArray[np.int64], NDArray[Any]] | None = None
            for raw, last in self._blocks():
                runs = self._framer.feed(raw, last)
                if not runs:
                    continue
                frames = runs[0][0] if len(runs) == 1 else np.concatenate([run for run, _ in runs])
                numbers = np.concatenate([number for _, number in runs])
                ticks = self._unwrap.feed(frames, numbers)
                if waiting is not None:
                    yield STREAM, self._batch(*waiting, ticks)
                waiting = (frames, numbers, ticks)
            if waiting is not None:
                yield STREAM, self._batch(*waiting, waiting[2][:0])
        finally:
            self._source.close()
        self._finish()

    def _blocks(self) -> Iterator[tuple[bytes, bool]]:
        held: bytes | None = None
        for raw in self._source.raw_blocks(BLOCK_BYTES):
            if held is not None:
                yield held, False
            held = raw
        yield held or b"", True

    def _batch(
        self, frames: Bytes, numbers: NDArray[np.int64], ticks: NDArray[Any], ahead: NDArray[Any]
    ) -> pa.RecordBatch:
        values = [self._layout.values(field, frames).astype(np.float64) for field in self._fields]
        time_s: NDArray[np.float64] | None
        recording = np.zeros(len(numbers), dtype=np.int16)
        if self._layout.time is not None and self._layout.time_unit is not None:
            if self._clock is None:
                self._clock = StreamClock(
                    self._layout.time.name, self._layout.time_unit, UNIT_S[self._layout.time_unit], ticks,
                    why="the reading says so",
                )  # fmt: skip
            time_s, recording, order = self._clock.feed(ticks, ahead, self._path)
            if order.size != len(numbers) or (order[1:] < order[:-1]).any():
                values = [column[order] for column in values]
        else:
            time_s = numbers / self._rate_Hz if self._rate_Hz is not None else None
            restarts = np.array([0, *self._framer.restarts])
            recording = (np.searchsorted(restarts, numbers, side="right") - 1).astype(np.int16)
            if time_s is not None and len(restarts) > 1:
                time_s = (numbers - restarts[recording]) / self._rate_Hz
        if STREAM not in self._streams:
            thin = slice(None, None, max(1, -(-len(numbers) // 20_000)))
            times = time_s if time_s is not None else numbers.astype(np.float64)
            signals = [Signal(field.name) for field in self._fields]
            forward = np.maximum.accumulate(times[thin]) if len(times) else times
            self._streams.add(STREAM, signals, forward, [column[thin] for column in values])
            self._streams.name()
        return self._streams.batch(STREAM, time_s, recording, values)

    def _finish(self) -> None:
        framer, layout = self._framer, self._layout
        size = self._source.size - layout.skip
        mend = "Check the sync bytes, the length and the checksum in the reading, or name another one with --reading."
        if framer.good == 0:
            raise UnreadableLog(
                f'holds no frame as the reading "{self._reading.name}" declares it', file=self._path, byte=layout.skip,
                mend=mend,
            )  # fmt: skip
        if framer.good * layout.length < LEAST_SHARE * size:
            raise UnreadableLog(
                f'only {framer.good * layout.length} of {size} bytes are frames as the reading "{self._reading.name}" '
                "declares them",
                file=self._path, byte=framer.first_bad_byte, mend=mend,
            )  # fmt: skip
        faults = [*self._damage(), *self._streams.faults()]
        clock: Clock | None = None
        if self._clock is not None:
            clock = self._clock.clock()
            faults += self._clock.faults(True, self._unwrap.wraps)
        elif self._rate_Hz is not None:
            rate_Hz = self._rate_Hz
            restarts = tuple(number / rate_Hz for number in framer.restarts)
            gaps = tuple((before / rate_Hz, behind / rate_Hz) for before, behind in framer.gaps)
            clock = Clock(
                None, "samples", "certain", 0.0, (framer.next_number - 1) / rate_Hz, rate_Hz, restarts, gaps
            )  # fmt: skip
        else:
            faults.append(no_clock())
        self._provenance = Provenance(
            file=self._name,
            sha256=self._source.sha256,
            format=FRAMES.name,
            reading=self._reading.name,
            reader_version=READER_VERSION,
            rows=self._streams.rows,
            columns=self._columns(clock),
            clock=clock,
            faults=tuple(faults),
        )

    def _columns(self, clock: Clock | None) -> tuple[Column, ...]:
        """In the order of the declared fields, the clock among them."""
        named = {column.source: column for column in self._streams.columns()}
        time = self._layout.time
        if time is not None and clock is not None:
            low, high = self._unwrap.low, self._unwrap.high
            tick_s = UNIT_S[clock.unit]
            named[time.name] = Column(
                time.name, "number", "time", None, "s", clock.unit, clock.sure, "the clock", source_min=low,
                source_max=high, min=low * tick_s, max=high * tick_s, samples=self._streams.rows,
            )  # fmt: skip
        return tuple(named[field.name] for field in self._layout.fields)

    def _damage(self) -> Iterator[Fault]:
        framer = self._framer
        code = "checksum" if self._layout.checksum is not None else "bad_frame"
        if framer.bad:
            note = f"{framer.bad} frames are damaged and left out, the first at byte {framer.first_bad_byte}."
            yield Fault(code, "dropped", note, count=framer.bad)
        elif framer.stray:
            note = f"{framer.stray} bytes belong to no frame, the first at byte {framer.first_bad_byte}."
            yield Fault("stray_bytes", "repaired", note)
        if framer.trailing:
            note = f"The last frame is cut short after {framer.trailing} of {self._layout.length} bytes."
            yield Fault("truncated", "dropped", note)


class _Unwrap:
    """The time field as a counter that never goes round: a step back that fits the bytes passed is a wrap."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._modulus = 1 << layout.time_bits if layout.time_bits is not None and layout.time_bits <= 48 else 0
        self._interval = 0.0
        self._shift = 0
        self._last: tuple[int, int] | None = None  # tick as written, frame number
        self.wraps = 0
        self.low, self.high = np.inf, -np.inf

    def feed(self, frames: Bytes, numbers: NDArray[np.int64]) -> NDArray[Any]:
        time = self._layout.time
        if time is None:
            return np.empty(0, dtype=np.int64)
        ticks = self._layout.values(time, frames)
        self.low, self.high = min(self.low, float(ticks.min())), max(self.high, float(ticks.max()))
        if ticks.dtype.kind == "f":
            wide = ticks.astype(np.float64)
            return np.where(np.isfinite(wide), wide, 0.0)
        ticks = ticks.astype(np.int64)
        if not self._modulus:
            return ticks
        before = self._last or (int(ticks[0]), int(numbers[0]))
        steps = np.diff(ticks, prepend=before[0])
        if self._interval == 0.0:
            self._interval = typical(np.where(steps < 0, steps + self._modulus, steps)[1:].astype(np.float64))[0]
        back = np.flatnonzero(steps < 0)
        self._last = (int(ticks[-1]), int(numbers[-1]))
        if back.size == 0:
            return ticks + self._shift if self._shift else ticks
        passed = numbers[back] - np.where(back > 0, numbers[back - 1], before[1])
        round_ = steps[back] + self._modulus
        # Five intervals for each frame that passed: our choice, as for text; more is a restart.
        wrapped = back[(round_ > 0) & (round_ <= 5.0 * self._interval * np.maximum(passed, 1))]
        self.wraps += wrapped.size
        shift = np.zeros(ticks.size, dtype=np.int64)
        shift[wrapped] = self._modulus
        shifted = ticks + self._shift + np.cumsum(shift)
        self._shift += self._modulus * wrapped.size
        # A restart begins from the counter's own zero again; the shift only keeps later wraps apart from it.
        return shifted


def _open(path: Path, options: ReadOptions) -> FramesReader:
    reading = options.reading
    if reading is None or reading.kind != "binary":
        reading = reading_for(read_head(path), options.readings, options.name or path.name)
    if reading is None:
        raise UnreadableLog(
            "is binary, and no reading declares its frames", file=path,
            mend="Write a reading file with kind = \"binary\" (docs/readings.md) and name it with --reading.",
        )  # fmt: skip
    return FramesReader(path, options, reading)


def _looks_like(head: bytes, path: Path) -> bool:
    """Never by itself: what the bytes mean only a reading says (see formats.detect)."""
    return False


FRAMES = Format(
    name="binary telemetry",
    description="frames of one fixed length that a reading file declares: sync bytes, fields, checksum",
    specification="the reading file; checksums as in the catalogue of parametrised CRC algorithms",
    looks_like=_looks_like,
    open=_open,
)
