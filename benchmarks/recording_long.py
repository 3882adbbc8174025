"""Two hours at real rates, sped up: the size of the file and the memory, measured against what docs/recording.md says.

    python -m benchmarks.recording_long [--hours 2]

The recorder's own session, writer, live view and disk calls run turn by turn (25 ms each) on a clock that is moved by
hand. Three sources at once: text lines of a logger (100 rows a second, seven columns), binary frames of a motor
controller (1,000 frames of 20 bytes a second, in packets of 5 ms) and a CAN bus (1,000 frames a second of 8 bytes).
Printed: predicted and measured size; memory every tenth of the time; then the finished
file is read as a log, and what that adds to the memory is held against the prediction too.
"""

from __future__ import annotations

import argparse
import gc
import os
import struct
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from dashboard.cli import parser
from dashboard.commands.record import prepare
from ingest.formats import ReadOptions, formats
from ingest.record.blocks import Packet, pack_can
from ingest.record.ending import Outcome, Stop
from ingest.record.session import Session
from ingest.record.sources.base import RecordClock

TURN_NS = 25_000_000
STEP_NS = 5_000_000  # what comes within it is one packet
READING = """\
[reading]
name = "controller"
kind = "binary"
time_column = "t"
time_unit = "ms"
[frame]
length_bytes = 20
sync = "A55A"
[[field]]
name = "t"
offset_byte = 2
type = "u32"
[[field]]
name = "weapon_voltage_V"
offset_byte = 6
type = "u16"
[[field]]
name = "weapon_current_A"
offset_byte = 8
type = "i16"
"""
# The account that docs/recording.md gives.
BLOCK_BYTES, PACKET_BYTES, CAN_BYTES = 28, 14, 6
BLOCKS_A_SECOND = 10
INDEX_BYTES = 320  # a block of a source, while the file is read


class HandClock(RecordClock):
    """Stands where it is put."""

    def __init__(self) -> None:
        super().__init__()
        self.t_ns = 0

    def now_ns(self) -> int:
        return self.t_ns

    def wall_moved_s(self) -> float:
        return 0.0

    def asleep_ns(self) -> int:
        return 0


def line(n: int) -> bytes:
    if n == 0:
        return b"time_ms,pack_voltage_V,pack_current_A,weapon_speed_rpm,drive_current_A,weapon_temp_degC,link_pct\n"
    return b"%d,%.2f,%.1f,%d,%.1f,%.1f,%d\n" % (
        10 * n, 25 - n % 997 / 500, n % 800 / 10, n % 9000, n % 300 / 10, 20 + n % 500 / 10, 90 + n % 10,
    )  # fmt: skip


def frame(n: int) -> bytes:
    return struct.pack("<2sIHhHIi", b"\xa5\x5a", n, 2400 - n % 100, n % 700, 7, n, -n)


def coming(step: int) -> Iterator[Packet]:
    """What comes in one step of 5 ms."""
    t_ns = step * STEP_NS
    if step % 2 == 0:
        yield Packet(0, t_ns, line(step // 2))
    yield Packet(1, t_ns, b"".join(frame(n) for n in range(5 * step, 5 * step + 5)))
    for n in range(5 * step, 5 * step + 5):
        yield Packet(2, t_ns, pack_can(0x100 + n % 16, struct.pack("<II", n, 7)))


def resident_MB() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def predicted_bytes(seconds: float, sent: int, packets: int, frames: int, head: int) -> float:
    """sent: bytes of all sources; of CAN frames their data alone. head: of the head block."""
    heads = 2 + seconds // 60
    blocks = BLOCKS_A_SECOND * seconds
    return sent + PACKET_BYTES * packets + CAN_BYTES * frames + BLOCK_BYTES * blocks + heads * (head + BLOCK_BYTES)


def record(session: Session, clock: HandClock, seconds: float) -> tuple[int, int, int, list[float]]:
    """(bytes sent, packets, CAN frames, memory at each tenth in MB)."""
    stop, memory = Stop(), []
    sent = packets = frames = step = 0
    session._begin()
    turns = int(seconds * 1e9) // TURN_NS
    for turn in range(1, turns + 1):
        some = [packet for k in range(step, step + TURN_NS // STEP_NS) for packet in coming(k)]
        step += TURN_NS // STEP_NS
        clock.t_ns = turn * TURN_NS
        session._inbox.put(some)
        packets += len(some)
        for packet in some:
            can = packet.source == 2
            frames += can
            sent += len(packet.data) - CAN_BYTES * can
        session._turn(stop)
        if turn % (turns // 10) == 0:
            memory.append(resident_MB())
    outcome = Outcome()
    session._end("time", outcome)
    if outcome.error is not None:
        raise outcome.error
    return sent, packets, frames, memory


def main() -> None:
    words = argparse.ArgumentParser()
    words.add_argument("--hours", type=float, default=2.0)
    seconds = 3600 * words.parse_args().hours
    with tempfile.TemporaryDirectory() as name:
        folder, out = Path(name), Path(name) / "long.rec"
        (folder / "r.toml").write_text(READING)
        given = ["record", "demo:", "udp:47811", "can:virtual:long", "--out", str(out)]
        given += ["--reading", f"udp47811={folder / 'r.toml'}"]
        session = prepare(parser("record").parse_args(given), None)
        clock = HandClock()
        session.clock = session._clock_watch._clock = clock
        session._clock_watch._asleep_ns = 0
        began, began_cpu = time.monotonic(), time.process_time()
        sent, packets, frames, memory = record(session, clock, seconds)
        cost_s = time.process_time() - began_cpu
        assert session._writer is not None
        head = len(session._writer._head)
        size, expected = out.stat().st_size, predicted_bytes(seconds, sent, packets, frames, head)
        print(f"Python {sys.version.split()[0]}; {seconds:g} s recorded in {time.monotonic() - began:.0f} s")
        print(
            f"size: predicted {expected / 1e6:.2f} MB, measured {size / 1e6:.2f} MB "
            f"({100 * (size / expected - 1):+.3f} %)"
        )
        print(
            f"processor of the recording: {100 * cost_s / seconds:.1f} % of one core, the making of the data included"
        )
        print("memory while recording, MB:", ", ".join(f"{m:.1f}" for m in memory))
        del session
        form = next(form for form in formats() if form.name == "recording")
        short = folder / "short.rec"
        with out.open("rb") as whole:
            short.write_bytes(whole.read(2_000_000))
        for _ in form.open(short, ReadOptions(counts_only=True)).batches():  # the readers themselves, loaded once
            continue
        gc.collect()
        before = resident_MB()
        reader = form.open(out, ReadOptions(counts_only=True))
        gc.collect()
        opened = resident_MB()
        index_MB = INDEX_BYTES * BLOCKS_A_SECOND * 3 * seconds / 1e6
        print(f"index of three sources: predicted {index_MB:.0f} MB, measured {opened - before:.0f} MB")
        most, rows = opened, {}
        for stream, batch in reader.batches():
            rows[stream] = rows.get(stream, 0) + batch.num_rows
            most = max(most, resident_MB())
        print(f"memory while reading, MB: {before:.1f} before, {opened:.1f} opened, {most:.1f} at most; rows {rows}")


if __name__ == "__main__":
    main()
