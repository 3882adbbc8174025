"""MAVLINK: telemetry logs (.tlog) by the dialect that pymavlink brings along; it downloads and writes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa

from ingest.delimited.source import Source
from ingest.errors import MissingExtra, UnreadableLog
from ingest.formats import Format, ReadOptions
from ingest.log import Fault, Provenance
from ingest.mavlink_channels import Standard
from ingest.mavlink_messages import Field, fields_of
from ingest.mavlink_packets import Packets, Splitter, looks_like_records, split_by
from ingest.stream_clock import StreamClock
from ingest.stream_reader import Signal, Streams

READER_VERSION: Final = "1"
_Key = tuple[int, int, int, int]  # message id, system, component, instance (-1: it has none)


class MavlinkReader:
    """One telemetry log. Raises MissingExtra and UnreadableLog."""

    def __init__(self, path: Path, options: ReadOptions) -> None:
        try:
            from pymavlink.dialects.v20 import ardupilotmega as dialect  # type: ignore[import-untyped]
        except ImportError:
            raise MissingExtra("mavlink", "a MAVLink telemetry log", path) from None
        self._path, self._options = path, options
        self._name = options.name or path.name
        self._splitter = Splitter(dialect)
        self._source = Source(path)
        self._reading = options.reading if options.reading is not None and options.reading.kind == "text" else None
        self._streams = Streams(self._name, options, self._reading)
        self._fields: dict[int, tuple[Field, ...]] = {}
        self._labels: dict[_Key, str] = {}
        self._named: Counter[str] = Counter()
        self._messages: Counter[str] = Counter()
        self._standard: Standard | None = None
        self._clock: StreamClock | None = None
        self._rate_Hz: float | None = None
        self._provenance: Provenance | None = None

    @property
    def provenance(self) -> Provenance:
        if self._provenance is None:
            raise RuntimeError("provenance is complete only after batches() is exhausted")
        return self._provenance

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """(message name, its samples) in order; the provenance is complete afterwards."""
        try:
            held: bytes | None = None
            waiting: dict[_Key, Packets] | None = None
            for raw in self._source.raw_blocks():
                if held is not None:
                    found = self._instances(self._splitter.feed(held, False))
                    if waiting:
                        yield from self._stored(waiting, found)
                        waiting = None
                    waiting = found or waiting
                held = raw
            found = self._instances(self._splitter.feed(held or b"", True))
            if waiting:
                yield from self._stored(waiting, found)
            if found:
                yield from self._stored(found, {})
        finally:
            self._source.close()
        self._finish()

    def _instances(self, found: dict[tuple[int, int, int], Packets]) -> dict[_Key, Packets]:
        apart: dict[_Key, Packets] = {}
        for (number, system, component), some in found.items():
            message = self._splitter.map[number]
            fields = self._fields.setdefault(number, fields_of(message))
            self._messages[message.msgname] += some.stamps.size
            chooser = next((f for f in fields if f.name == message.instance_field and f.kind != "char"), None)
            if chooser is None:
                apart[number, system, component, -1] = some
                continue
            for value, part in split_by(some, chooser.values(some)):
                apart[number, system, component, value] = part
        return apart

    def _stored(
        self, found: dict[_Key, Packets], following: dict[_Key, Packets]
    ) -> Iterator[tuple[str, pa.RecordBatch]]:
        places = np.concatenate([some.places for some in found.values()])
        in_order = np.argsort(places, kind="stable")
        ticks = np.concatenate([some.stamps for some in found.values()])[in_order]
        ahead = np.sort(np.concatenate([s.stamps[:16] for s in following.values()])) if following else ticks[:0]
        if self._clock is None:
            interval = self._fastest(found)
            self._clock = StreamClock(None, "us", 1e-6, ticks, interval=interval, why="the logger's stamps")
        time_s, recording, order = self._clock.feed(ticks, ahead, self._path)
        # the row of each packet in what the clock kept, -1 where its stamp was left out
        row = np.full(ticks.size, -1)
        row[in_order[order]] = np.arange(order.size)
        decoded: list[tuple[str, np.ndarray, list[Any]]] = []
        if self._standard is None:
            self._standard = Standard(self._options, self._reading, self._splitter.map, self._fields, found)
        first = 0
        for key, some in found.items():
            rows = row[first : first + some.stamps.size]
            first += some.stamps.size
            order_here = np.argsort(rows, kind="stable")
            order_here = order_here[rows[order_here] >= 0]
            values = [
                column if isinstance(column, np.ndarray) else column.take(pa.array(order_here))
                for column in self._values(key, some)
            ]
            values = [v[order_here] if isinstance(v, np.ndarray) else v for v in values]
            label = self._label(key)
            rows = rows[order_here]
            if label not in self._streams:
                self._streams.add(label, self._signals(key, label), np.maximum.accumulate(time_s[rows]), values)
            decoded.append((label, rows, values))
        self._streams.name()
        for label, rows, values in decoded:
            if rows.size:
                yield label, self._streams.batch(label, time_s[rows], recording[rows], values)

    def _label(self, key: _Key) -> str:
        """The message's name; with sender and instance for all but the first that sent it."""
        if key not in self._labels:
            name = str(self._splitter.map[key[0]].msgname)
            self._named[name] += 1
            apart = ".".join(str(part) for part in key[1:] if part >= 0)
            self._labels[key] = name if self._named[name] == 1 else f"{name}[{apart}]"
        return self._labels[key]

    def _signals(self, key: _Key, label: str) -> list[Signal]:
        assert self._standard is not None
        made = []
        for field in self._fields[key[0]]:
            if field.kind == "char":
                made.append(Signal(f"{label}.{field.name}", kind="text"))
                continue
            for k in range(max(field.count, 1)):
                source = f"{label}.{field.name}[{k}]" if field.count else f"{label}.{field.name}"
                made.append(self._standard.signal(key, field, k, source))
        return made

    def _values(self, key: _Key, some: Packets) -> list[Any]:
        columns: list[Any] = []
        for field in self._fields[key[0]]:
            if field.kind == "char":
                columns.append(pa.array(field.texts(some), pa.string()))
            else:
                columns += [field.values(some, k) for k in range(max(field.count, 1))]
        return columns

    def _fastest(self, found: dict[_Key, Packets]) -> float | None:
        steps = np.diff(max(found.values(), key=lambda some: some.stamps.size).stamps)
        steps = steps[steps > 0]
        if steps.size == 0:
            return None
        self._rate_Hz = float(f"{1e6 / float(np.median(steps)):.6g}")
        return float(np.median(steps))

    def _finish(self) -> None:
        splitter, total = self._splitter, self._messages.total()
        if self._clock is None or splitter.bad > total:
            raise UnreadableLog(
                f"holds {total} MAVLink messages with a right checksum and {splitter.bad} damaged places",
                file=self._path, byte=splitter.first_bad, mend="Copy it from the ground station again.",
            )  # fmt: skip
        faults = []
        if splitter.bad:
            note = f"{splitter.bad} messages are damaged and left out, the first at byte {splitter.first_bad}."
            faults.append(Fault("checksum", "dropped", note, count=splitter.bad))
        if splitter.unknown:
            count = sum(splitter.unknown.values())
            numbers = ", ".join(str(n) for n in sorted(splitter.unknown)[:5])
            note = f"{count} messages are of kinds not known here: {numbers}."
            faults.append(Fault("unknown_id", "dropped", note, count=count))
        if splitter.trailing:
            faults.append(
                Fault("truncated", "dropped", f"The last message is cut short after {splitter.trailing} bytes.")
            )
        self._provenance = Provenance(
            file=self._name,
            sha256=self._source.sha256,
            format=MAVLINK.name,
            reading=self._reading.name if self._reading is not None else None,
            reader_version=READER_VERSION,
            rows=total,
            columns=self._streams.columns(),
            clock=self._clock.clock(self._rate_Hz),
            faults=(*faults, *self._clock.faults(False), *self._streams.faults()),
            counts={"messages": dict(sorted(self._messages.items()))},
        )


def _open(path: Path, options: ReadOptions) -> MavlinkReader:
    return MavlinkReader(path, options)


def _looks_like(head: bytes, path: Path) -> bool:
    return looks_like_records(head)


MAVLINK = Format(
    name="MAVLink telemetry",
    description="telemetry logs (.tlog): MAVLink packets of versions 1 and 2, each behind its stamp",
    specification="MAVLink serialization and the common message set (mavlink.io)",
    looks_like=_looks_like,
    open=_open,
)
