"""Recordings made by the project's own writer, with lines whose content says when they were taken in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ingest.record.blocks import Packet, SourceNote, whole_blocks
from ingest.record.recovery import Recovered, recover
from ingest.record.writer import RecordingWriter
from ingest.store import Store

WALL = datetime(2026, 5, 9, 14, 20, tzinfo=UTC)
MS = 1_000_000
NOTE = SourceNote("bench", "serial", {}, None)
HEADER = b"time_ms,pack_voltage_V\n"


def line(n: int) -> bytes:
    """One row at 100 Hz by the logger's own clock."""
    return b"%d,%.2f\n" % (10 * n, 25 - n % 40 / 50)


def rows(first: int, end: int, source: int = 0, offset_ms: int = 0) -> list[Packet]:
    """A packet a row, each taken in when it says it was measured."""
    return [Packet(source, (10 * n + offset_ms) * MS, line(n)) for n in range(first, end)]


def write(
    path: Path,
    packets: Iterable[Packet],
    *,
    notes: Sequence[SourceNote] = (NOTE,),
    behind: Recovered | None = None,
    store: Store | None = None,
    after_s: float = 0.0,
    boot: str | None = "same",
    wall_s: float | None = None,
    close: bool = True,
    events: Sequence[tuple[int, int, str, str]] = (),
) -> RecordingWriter:
    """after_s: by the computer's clock, after the first part; wall_s: by the wall clock, where it is not the same."""
    wall = WALL + timedelta(seconds=after_s if wall_s is None else wall_s)
    writer = RecordingWriter(
        store or Store(), path, notes, wall, clock_ns=round((1000 + after_s) * 1e9), boot=boot, behind=behind
    )
    waiting = sorted(events, key=lambda event: event[1])
    for packet in packets:
        while waiting and waiting[0][1] <= packet.t_ns:
            writer.event(*waiting.pop(0))
        writer.write([packet])
        writer.tick(packet.t_ns)
    if close:
        writer.close("stopped by Ctrl-C")
    else:
        writer.tick(10**15)
        writer._output.abandon()
    return writer


def go_on(path: Path, packets: Iterable[Packet], **words: object) -> Recovered:
    """One more part behind what stands in the file."""
    found = recover(path)
    write(path, packets, behind=found, **words)  # type: ignore[arg-type]
    return found


def block_places(path: Path) -> list[tuple[int, int]]:
    """Where the whole blocks begin and end."""
    return [(block.start, block.end) for block in whole_blocks(path)]
