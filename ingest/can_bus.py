"""CAN_BUS: CAN traces (candump text, ASC, BLF), decoded by the user's own CAN database."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.can_files import needs_can
from ingest.can_signals import MessagePlan, load_dbc
from ingest.can_traces import FrameBlock, Trace, trace_kind
from ingest.errors import UnreadableLog
from ingest.formats import Format, ReadOptions, read_head
from ingest.log import Clock, Fault, Provenance
from ingest.stream_clock import StreamClock, no_clock
from ingest.stream_reader import Signal, Streams

READER_VERSION: Final = "1"
_WORDS: Final = {"candump": "candump text", "asc": "ASC", "blf": "BLF", "recording": "frames of a recording"}
# Our choice: where more than half of the frames of known ids are too short, the database is another network's.
MOST_SHORT: Final = 0.5


class FrameCounts:
    """What `inspect` says of the frames of a trace."""

    def __init__(self) -> None:
        self.total = self.error = self.remote = self.fd = self.extended = self.decoded = 0
        self.ids: set[int] = set()

    def take(self, block: FrameBlock) -> None:
        self.total += block.size
        for name in ("error", "remote", "fd", "extended"):
            setattr(self, name, getattr(self, name) + int(np.count_nonzero(getattr(block, name))))
        keys = block.ids | (block.extended.astype(np.int64) << 32)
        self.ids.update(np.unique(keys[~block.error]).tolist())

    def document(self) -> dict[str, int]:
        return {
            "total": self.total, "data": self.total - self.error - self.remote, "error": self.error,
            "remote": self.remote, "fd": self.fd, "extended": self.extended, "ids": len(self.ids),
            "decoded": self.decoded,
        }  # fmt: skip


def trace_faults(trace: Trace, counts: FrameCounts) -> list[Fault]:
    """What was damaged in the trace itself. Raises UnreadableLog where that is most of it."""
    line = trace.first_damaged if trace.kind != "blf" else None
    if counts.total == 0 or trace.damaged > counts.total:
        what = (
            "holds no CAN frames"
            if counts.total == 0
            else f"more lines are damaged ({trace.damaged}) than good ({counts.total})"
        )
        mend = "Record it again, or save it in another form (candump -L, ASC or BLF)."
        byte = trace.first_damaged if trace.kind == "blf" else None
        raise UnreadableLog(
            f"{what}{f' ({trace.cut})' if trace.cut else ''}", file=trace.path, line=line, byte=byte, mend=mend
        )
    faults = []
    if trace.damaged:
        note = f"{trace.damaged} lines are no whole frames and are left out."
        faults.append(Fault("bad_frame", "dropped", note, line, count=trace.damaged))
    if trace.other_lines:
        note = f"{trace.other_lines} lines are events or comments, not frames."
        faults.append(Fault("note_line", "repaired", note, count=trace.other_lines))
    if trace.cut:
        note = f"It cannot be read beyond byte {trace.first_damaged} ({trace.cut}); what stands before is kept."
        faults.append(Fault("truncated", "dropped", note))
    return faults


class CanReader:
    """One CAN trace. Raises MissingExtra, ReadingError (the database) and UnreadableLog, located."""

    def __init__(self, path: Path, kind: str, options: ReadOptions, trace: Trace | None = None) -> None:
        """trace: the frames, where they are not the file itself."""
        needs_can(path)
        self._path, self._options = path, options
        self._name = options.name or path.name
        if options.dbc is None and not options.counts_only:
            raise UnreadableLog(
                "is a CAN trace, and no CAN database says what its frames mean", file=path,
                mend="Name the database of this network with --dbc FILE. Its frames are counted by: afterbout inspect",
            )  # fmt: skip
        self._plans = load_dbc(options.dbc) if options.dbc is not None else {}
        self._trace = trace or Trace(path, kind)
        self._counts = FrameCounts()
        reading = options.reading if options.reading is not None and options.reading.kind == "text" else None
        self._streams = Streams(self._name, options, reading)
        self._clock: StreamClock | None = None
        self._rate_Hz: float | None = None
        self._unknown: Counter[int] = Counter()
        self._short: Counter[str] = Counter()
        self._other_form: Counter[str] = Counter()
        self._other_bus: Counter[str] = Counter()
        self._home: dict[int, int] = {}
        self._provenance: Provenance | None = None

    @property
    def provenance(self) -> Provenance:
        if self._provenance is None:
            raise RuntimeError("provenance is complete only after batches() is exhausted")
        return self._provenance

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """(message name, its samples) in order; the provenance is complete afterwards."""
        waiting: FrameBlock | None = None
        for block in self._trace.blocks():
            self._counts.take(block)
            if waiting is not None:
                yield from self._decoded(waiting, block.ticks)
            waiting = block
        if waiting is not None:
            yield from self._decoded(waiting, None)
        self._finish()

    def _decoded(self, block: FrameBlock, ahead: NDArray[np.int64] | None) -> Iterator[tuple[str, pa.RecordBatch]]:
        time_s: NDArray[np.float64] | None = None
        recording = np.zeros(block.size, dtype=np.int16)
        order = np.arange(block.size)
        if block.ticks is not None:
            if self._clock is None:
                interval = self._fastest(block)
                self._clock = StreamClock(None, "us", 1e-6, block.ticks, interval=interval, why="stamps of the trace")
            time_s, recording, order = self._clock.feed(
                block.ticks, ahead if ahead is not None else block.ticks[:0], self._path
            )
        if not self._plans:
            return
        groups = list(self._groups(block, order))
        decoded: list[tuple[MessagePlan, NDArray[np.intp], list[NDArray[np.float64]]]] = []
        for plan, rows in groups:
            columns = plan.decode(block.data[order[rows]])
            decoded.append((plan, rows, columns))
            if plan.name not in self._streams:
                times = time_s[rows] if time_s is not None else rows.astype(np.float64)
                signals = [Signal(s, u) for s, u in zip(plan.sources, plan.units, strict=True)]
                self._streams.add(plan.name, signals, np.maximum.accumulate(times), columns)
        self._streams.name()
        for plan, rows, columns in decoded:
            self._counts.decoded += rows.size
            times_s = time_s[rows] if time_s is not None else None
            yield plan.name, self._streams.batch(plan.name, times_s, recording[rows], columns)

    def _groups(self, block: FrameBlock, order: NDArray[np.intp]) -> Iterator[tuple[MessagePlan, NDArray[np.intp]]]:
        """Places (in `order`) of the frames of each known message that are long enough."""
        if order.size == 0:  # none had a place in time, or all were damaged
            return
        keys = (block.ids | (block.extended.astype(np.int64) << 32))[order]
        usable = ~(block.error | block.remote)[order]
        sorted_places = np.argsort(keys, kind="stable")
        sorted_keys = keys[sorted_places]
        edges = np.flatnonzero(np.diff(sorted_keys, prepend=sorted_keys[:1] - 1))
        found: dict[str, list[NDArray[np.intp]]] = {}
        plans: dict[str, MessagePlan] = {}
        for first, end in zip(edges, [*edges[1:], keys.size], strict=True):
            places = sorted_places[first:end]
            places = places[usable[places]]
            if places.size == 0:
                continue
            key = int(sorted_keys[first])
            number, extended = key & 0xFFFFFFFF, bool(key >> 32)
            plan = self._plans.get((number, extended))
            if plan is None and (plan := self._plans.get((number, not extended))) is not None:
                self._other_form[plan.name] += places.size
            if plan is None:
                self._unknown[key] += places.size
                continue
            buses = block.bus[order[places]]
            home = self._home.setdefault(key, int(buses[0]))
            if (buses != home).any():
                self._other_bus[plan.name] += int(np.count_nonzero(buses != home))
                places = places[buses == home]
            long = block.lengths[order[places]] >= plan.length
            if not long.all():
                self._short[plan.name] += int(np.count_nonzero(~long))
                places = places[long]
            if places.size and plan.sources:
                plans[plan.name] = plan
                found.setdefault(plan.name, []).append(places)
        for name, parts in found.items():
            yield plans[name], parts[0] if len(parts) == 1 else np.sort(np.concatenate(parts))

    def _fastest(self, block: FrameBlock) -> float | None:
        """Ticks between two frames of the id that comes most often; also the rate that is shown."""
        assert block.ticks is not None
        keys = (block.ids | (block.extended.astype(np.int64) << 32))[~block.error]
        if keys.size < 3:
            return None
        values, counts = np.unique(keys, return_counts=True)
        ticks = block.ticks[~block.error][keys == values[int(np.argmax(counts))]]
        steps = np.diff(ticks)
        steps = steps[steps > 0]
        if steps.size == 0:
            return None
        self._rate_Hz = float(f"{1e6 / float(np.median(steps)):.6g}")
        return float(np.median(steps))

    def _finish(self) -> None:
        counts, trace = self._counts, self._trace
        faults = trace_faults(trace, counts)
        if self._plans:
            faults += self._database_faults()
        else:
            note = "No CAN database was named, so the frames are only counted. Name it with --dbc FILE."
            faults.append(Fault("database_missing", "doubtful", note))
        clock: Clock | None = None
        if self._clock is not None:
            clock = self._clock.clock(self._rate_Hz, trace.wall_start)
            faults += self._clock.faults(False)
        else:
            faults.append(no_clock())
        self._provenance = Provenance(
            file=self._name,
            sha256=trace.sha256,
            format=CAN_BUS.name,
            reading=self._options.reading.name if self._options.reading is not None else None,
            reader_version=READER_VERSION,
            note=f"{_WORDS[trace.kind]}, {self._options.dbc.name if self._options.dbc else 'no database'}",
            rows=counts.decoded,
            columns=self._streams.columns(),
            clock=clock,
            faults=(*faults, *self._streams.faults()),
            counts={"frames": counts.document()},
        )

    def _database_faults(self) -> list[Fault]:
        counts, dbc = self._counts, self._options.dbc
        assert dbc is not None
        known = counts.decoded + self._short.total()
        ids = ", ".join(_id_text(key) for key, _ in self._unknown.most_common(5))
        if counts.decoded == 0 and not self._short:
            raise UnreadableLog(
                f"holds no frame that {dbc.name} describes", file=self._path,
                found=f"ids {ids}" if ids else None, mend="Name the database of this very network with --dbc.",
            )  # fmt: skip
        if self._short.total() > MOST_SHORT * known:
            name, count = self._short.most_common(1)[0]
            raise UnreadableLog(
                f"its frames are shorter than {dbc.name} describes them ({count} of {name})", file=self._path,
                mend="Name the database of this very network with --dbc.",
            )  # fmt: skip
        faults = []

        def tell(code: str, severity: str, of: Counter[str], note: str) -> None:
            if of:
                names = ", ".join(name for name, _ in of.most_common(5))
                faults.append(Fault(code, severity, f"{of.total()} {note}: {names}.", count=of.total()))  # type: ignore[arg-type]

        if self._unknown:
            note = f"{self._unknown.total()} frames of {len(self._unknown)} ids are not in {dbc.name}: {ids}."
            faults.append(Fault("unknown_id", "dropped", note, count=self._unknown.total()))
        tell("short_frame", "dropped", self._short, "frames are shorter than the database describes them")
        tell("id_form", "repaired", self._other_form, "frames have the other form of their id (11 or 29 bits)")
        tell("second_bus", "dropped", self._other_bus, "frames came over a second interface too; the first is read")
        return faults


def _id_text(key: int) -> str:
    return f"{key & 0xFFFFFFFF:08X}" if key >> 32 else f"{key:03X}"


def _open(path: Path, options: ReadOptions) -> CanReader:
    return CanReader(path, trace_kind(read_head(path)) or "candump", options)


def _looks_like(head: bytes, path: Path) -> bool:
    return trace_kind(head) is not None


CAN_BUS = Format(
    name="CAN trace",
    description="frames of a CAN bus as candump text, ASC or BLF, decoded by the user's CAN database (DBC)",
    specification="ISO 11898-1 frames; candump as can-utils writes it; ASC and BLF as python-can reads them",
    looks_like=_looks_like,
    open=_open,
)
