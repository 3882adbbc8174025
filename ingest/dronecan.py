"""DRONECAN: motor controllers and batteries on a DroneCAN bus, out of a CAN trace, by the library's own DSDL."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa

from ingest.can_bus import CAN_BUS, FrameCounts, trace_faults
from ingest.can_files import needs_can
from ingest.can_traces import FrameBlock, Trace, trace_kind
from ingest.channels import channel_name
from ingest.errors import MissingExtra, UnreadableLog
from ingest.formats import Format, ReadOptions, read_head
from ingest.log import Fault, LogReader, Provenance
from ingest.stream_clock import StreamClock, no_clock
from ingest.stream_reader import Signal, Streams, asked, numbered_controller, said

READER_VERSION: Final = "1"
# data type -> the field that tells one instance from another, and (field -> quantity, unit)
_TYPES: Final[dict[str, tuple[str | None, dict[str, tuple[str, str]]]]] = {
    "uavcan.equipment.esc.Status": (
        "esc_index",
        {
            "voltage": ("voltage_V", "V"),
            "current": ("input_current_A", "A"),
            "temperature": ("temp_degC", "K"),
            "rpm": ("speed_rpm", "rpm"),
        },
    ),
    "uavcan.equipment.power.BatteryInfo": (
        "battery_id",
        {"voltage": ("voltage_V", "V"), "current": ("current_A", "A"), "temperature": ("temp_degC", "K")},
    ),
    "uavcan.equipment.power.CircuitStatus": ("circuit_id", {}),
    "uavcan.equipment.device.Temperature": ("device_id", {}),
    "uavcan.protocol.NodeStatus": (None, {}),
}
_UNITS: Final = {"uavcan.equipment.power.CircuitStatus": {"voltage": "V", "current": "A"}}
_IDS: Final = {1034: 3, 1092: 3, 341: 1}  # ESC status, battery info, node status: id -> least frames of a transfer
_Key = tuple[str, int, int]  # data type, node, instance


def looks_like_transfers(frames: Iterable[tuple[int, bytes]]) -> bool:
    """Whether 29-bit frames are DroneCAN: known data types whose transfer numbers count on, one by one.

    Tail byte of a frame: start, end, toggle, transfer number of five bits (DroneCAN specification, CAN transport).
    """
    last: dict[int, int] = {}
    steps = right = 0
    for number, data in frames:
        if number & 0x80 or not number & 0x7F or not data or (number >> 8) & 0xFFFF not in _IDS:
            continue
        tail = data[-1]
        if not tail & 0x80:
            continue
        single = _IDS[(number >> 8) & 0xFFFF] == 1
        if number in last:
            steps += 1
            fits = tail & 0xE0 == (0xC0 if single else 0x80) and (last[number] + 1) % 32 == tail & 0x1F
            right += fits
        last[number] = tail & 0x1F
    return steps >= 3 and right >= 0.8 * steps


@dataclass(eq=False)
class _Samples:
    """Decoded messages of one sender: where their first frame stands in the block, and their fields."""

    places: list[int] = field(default_factory=list)
    rows: list[list[float]] = field(default_factory=list)


class DroneCanReader:
    """One trace. Raises MissingExtra and UnreadableLog."""

    def __init__(self, path: Path, kind: str, options: ReadOptions) -> None:
        needs_can(path)
        try:
            import dronecan  # type: ignore[import-untyped]
        except ImportError:
            raise MissingExtra("dronecan", "a trace of a DroneCAN bus", path) from None
        self._library = dronecan
        self._path, self._options = path, options
        self._name = options.name or path.name
        self._trace, self._counts = Trace(path, kind), FrameCounts()
        self._reading = options.reading if options.reading is not None and options.reading.kind == "text" else None
        self._streams = Streams(self._name, options, self._reading)
        self._open: dict[tuple[int, int], list[tuple[int, bytes]]] = {}
        self._names = {number: kind.full_name for (number, sort), kind in dronecan.DATATYPES.items() if sort == 1}
        self._fields: dict[str, list[str]] = {
            name: [f.name for f in dronecan.TYPENAMES[name].fields if "<=" not in str(f.type)]
            for name in _TYPES
        }  # fmt: skip
        self._labels: dict[_Key, str] = {}
        self._messages: Counter[str] = Counter()
        self._bad: Counter[str] = Counter()
        self._live: set[int] | None = None
        self._batteries: set[_Key] = set()
        self._clock: StreamClock | None = None
        self._rate_Hz: float | None = None
        self._provenance: Provenance | None = None

    @property
    def provenance(self) -> Provenance:
        if self._provenance is None:
            raise RuntimeError("provenance is complete only after batches() is exhausted")
        return self._provenance

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """(data type, its samples) in order; the provenance is complete afterwards."""
        waiting: FrameBlock | None = None
        for block in self._trace.blocks():
            self._counts.take(block)
            if waiting is not None:
                yield from self._decoded(waiting, block)
            waiting = block
        if waiting is not None:
            yield from self._decoded(waiting, None)
        self._finish()

    def _decoded(self, block: FrameBlock, following: FrameBlock | None) -> Iterator[tuple[str, pa.RecordBatch]]:
        found = self._transfers(block)
        time_s = None
        recording = np.zeros(block.size, dtype=np.int16)
        row = np.arange(block.size)
        if block.ticks is not None:
            if self._clock is None:
                self._clock = StreamClock(None, "us", 1e-6, block.ticks, interval=2e5, why="stamps of the trace")
            ahead = following.ticks if following is not None and following.ticks is not None else block.ticks[:0]
            time_s, recording, order = self._clock.feed(block.ticks, ahead, self._path)
            row = np.full(block.size, -1)
            row[order] = np.arange(order.size)
            if self._rate_Hz is None and found:
                most = max(found.values(), key=lambda some: len(some.places))
                steps = np.diff(block.ticks[np.array(most.places)])
                self._rate_Hz = float(f"{1e6 / np.median(steps[steps > 0]):.6g}") if (steps > 0).any() else None
        if self._live is None and found:
            self._live = {key[2] + 1 for key in found if key[0] == "uavcan.equipment.esc.Status"}
            self._batteries = {key for key in found if key[0] == "uavcan.equipment.power.BatteryInfo"}
        decoded = []
        for key, some in found.items():
            rows = row[np.array(some.places)]
            order = np.argsort(rows, kind="stable")
            order = order[rows[order] >= 0]
            rows = rows[order]
            values = list(np.array(some.rows, dtype=np.float64)[order].T)
            label = self._label(key)
            if label not in self._streams:
                times = time_s[rows] if time_s is not None else rows.astype(np.float64)
                self._streams.add(label, self._signals(key, label, values), np.maximum.accumulate(times), values)
            decoded.append((label, rows, values))
        self._streams.name()
        for label, rows, values in decoded:
            if rows.size:
                yield (
                    label,
                    self._streams.batch(label, time_s[rows] if time_s is not None else None, recording[rows], values),
                )

    def _transfers(self, block: FrameBlock) -> dict[_Key, _Samples]:
        """Whole messages of the block, put together from their frames."""
        found: dict[_Key, _Samples] = {}
        usable = block.extended & ~block.remote & (block.lengths > 0)
        for place in np.flatnonzero(usable).tolist():
            number, length = int(block.ids[place]), int(block.lengths[place])
            if number & 0x80 or not number & 0x7F:
                continue  # services and nodes without a number say nothing of the robot
            name = self._names.get((number >> 8) & 0xFFFF)
            data = block.data[place, :length].tobytes()
            tail = data[-1]
            if name not in _TYPES:
                if tail & 0x80 and name is not None:
                    self._messages[name] += 1
                continue
            key = (number, tail & 0x1F)
            if tail & 0x80:
                if key in self._open:
                    self._bad[name] += 1
                self._open[key] = []
            if key not in self._open:
                self._bad[name] += 1
                continue
            self._open[key].append((place, data))
            if tail & 0x40:
                self._take(found, name, number, self._open.pop(key))
        # what is open runs on in the next block, before its first frame
        self._open = {key: [(0, data) for _, data in frames] for key, frames in self._open.items()}
        return found

    def _take(self, found: dict[_Key, _Samples], name: str, number: int, frames: list[tuple[int, bytes]]) -> None:
        transport = self._library.transport
        transfer = transport.Transfer()
        try:
            transfer.from_frames([transport.Frame(number, data, canfd=len(data) > 8) for _, data in frames])
        except (transport.TransferError, ValueError, IndexError):
            self._bad[name] += 1
            return
        payload = transfer.payload
        chooser = _TYPES[name][0]
        instance = int(getattr(payload, chooser)) if chooser else -1
        some = found.setdefault((name, number & 0x7F, instance), _Samples())
        some.places.append(frames[0][0])
        some.rows.append([float(getattr(payload, part)) for part in self._fields[name]])
        self._messages[name] += 1
        self._counts.decoded += len(frames)

    def _label(self, key: _Key) -> str:
        """The data type's name; with node and instance for all but the first that sent it."""
        if key not in self._labels:
            apart = ".".join(str(part) for part in key[1:] if part >= 0)
            taken = key[0] in self._labels.values()
            self._labels[key] = f"{key[0]}[{apart}]" if taken else key[0]
        return self._labels[key]

    def _signals(self, key: _Key, label: str, values: list[Any]) -> list[Signal]:
        name, _, instance = key
        table = _TYPES[name][1]
        fields = self._fields[name]
        made = []
        for part in fields:
            source = f"{label}.{part}"
            quantity, unit = table.get(part, ("", _UNITS.get(name, {}).get(part, "")))
            if not quantity:
                made.append(Signal(source, unit or None, plain=True))
            elif "esc" in name:
                owner = numbered_controller(
                    self._options, self._reading.part if self._reading else None, self._live or set(), instance + 1
                )
                if owner is None:
                    first = next(known for known, kind in self._options.parts.items() if kind == "controller")
                    which = f"Which controller of the build is number {instance + 1}"
                    made.append(asked(source, unit, which, channel_name(first, quantity), unit))
                else:
                    made.append(
                        said(
                            source,
                            unit,
                            channel_name(owner, quantity),
                            unit,
                            f"the data type says {unit}",
                            sure="likely",
                        )
                    )
            elif len(self._batteries) > 1 or key not in self._batteries:
                made.append(asked(source, unit, "Which pack", channel_name("pack", quantity), unit))
            else:
                made.append(self._pack(source, part, quantity, unit, dict(zip(fields, values, strict=True))))
        return made

    def _pack(self, source: str, part: str, quantity: str, unit: str, values: dict[str, Any]) -> Signal:
        channel = channel_name("pack", quantity)
        if part != "current":
            return said(source, unit, channel, unit, f"the data type says {unit}")
        # The data type does not say which sign a discharge has: the voltage falls under it.
        turned = _rises_together(values["voltage"], values["current"])
        why = "negative while the voltage sags: turned round" if turned else "discharge taken as positive"
        return said(source, unit, channel, unit, why, scale=-1.0 if turned else None, sure="likely")

    def _finish(self) -> None:
        faults = trace_faults(self._trace, self._counts)
        if self._counts.decoded == 0:
            raise UnreadableLog(
                "looks like a DroneCAN bus, but none of its messages is whole", file=self._path,
                mend="If it is another network, name its database with --dbc.",
            )  # fmt: skip
        if self._bad:
            names = ", ".join(self._bad)
            note = f"{self._bad.total()} transfers are damaged or not whole and are left out: {names}."
            faults.append(Fault("checksum", "dropped", note, count=self._bad.total()))
        clock = None
        if self._clock is not None:
            clock = self._clock.clock(self._rate_Hz, self._trace.wall_start)
            faults += self._clock.faults(False)
        else:
            faults.append(no_clock())
        self._provenance = Provenance(
            file=self._name,
            sha256=self._trace.sha256,
            format=DRONECAN.name,
            reading=self._reading.name if self._reading is not None else None,
            reader_version=READER_VERSION,
            rows=self._counts.decoded,
            columns=self._streams.columns(),
            clock=clock,
            faults=(*faults, *self._streams.faults()),
            counts={"frames": self._counts.document(), "messages": dict(sorted(self._messages.items()))},
        )


def _rises_together(volts: Any, amps: Any) -> bool:
    good = np.isfinite(volts) & np.isfinite(amps)
    if np.count_nonzero(good) < 8 or np.ptp(volts[good]) == 0 or np.ptp(amps[good]) == 0:
        return False
    return bool(np.corrcoef(volts[good], amps[good])[0, 1] > 0.3 and np.median(amps[good]) < 0)


def _head_frames(head: bytes, kind: str, path: Path) -> Iterator[tuple[int, bytes]]:
    """29-bit frames of the first bytes of a trace."""
    trace = Trace(path, kind)
    if kind == "candump":
        blocks = trace.of_text(head[: head.rfind(b"\n") + 1] or head)
    else:
        try:
            blocks = trace.of_head(head)
        except ImportError:  # the CAN format says which extra is missing
            return
    for block in blocks:
        for place in np.flatnonzero(block.extended & ~block.remote).tolist():
            yield int(block.ids[place]), block.data[place, : int(block.lengths[place])].tobytes()


def _open(path: Path, options: ReadOptions) -> LogReader:
    if options.dbc is not None:  # the user says what the frames mean
        return CAN_BUS.open(path, options)
    return DroneCanReader(path, trace_kind(read_head(path)) or "candump", options)


def _looks_like(head: bytes, path: Path) -> bool:
    kind = trace_kind(head)
    return kind is not None and looks_like_transfers(_head_frames(head, kind, path))


DRONECAN = Format(
    name="DroneCAN trace",
    description="a CAN trace of a DroneCAN bus: motor controllers and batteries by their standard data types",
    specification="DroneCAN specification and its standard data types (dronecan.github.io)",
    looks_like=_looks_like,
    open=_open,
)
