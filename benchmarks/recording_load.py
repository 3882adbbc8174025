"""Recording at full load: what is lost, and what it costs.

    python -m benchmarks.recording_load [serial|lines|can|multicast|all] [--seconds 20]

serial: a process writes numbered frames of 30 bytes into a pseudo-terminal at 3 Mbaud (10 bits a byte: 300,000 bytes a
second); lines: the same with numbered lines of text of 30 bytes. can: a thread sends 8,000 numbered frames a second
over python-can's virtual bus, which lives in one process; its own processor time is taken off. multicast: the same
from another process over python-can's UDP multicast bus.

Printed: frames sent, frames in the finished file (every number once, in order), processor time of the recorder as a
share of one core (user and system), and its memory after a tenth of the time and at the end. Processor time, not
elapsed time, because other work may share the machine. The long form is --seconds 600.
"""

from __future__ import annotations

import argparse
import os
import struct
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from dashboard.cli import parser
from dashboard.commands.record import prepare
from ingest.record.blocks import read_packets, unpack_can
from ingest.record.ending import Stop
from ingest.record.session import Session

FRAME = struct.Struct("<2sIHhhhIIII")  # 30 bytes: sync, counter, and figures
BYTES_A_SECOND = 300_000
CAN_A_SECOND = 8_000
LINES_HEAD = b"time_us,pack_voltage_V,pack_current_A\n"
READING = """\
[reading]
name = "load"
kind = "binary"
time_column = "counter"
time_unit = "us"

[frame]
length_bytes = 30
sync = "A55A"

[[field]]
name = "counter"
offset_byte = 2
type = "u32"

[[field]]
name = "pack_voltage_V"
offset_byte = 6
type = "u16"

[[field]]
name = "pack_current_A"
offset_byte = 8
type = "i16"
"""


def paced(seconds: float, per_second: float, batch: int) -> Any:
    """Numbers in batches, in time: yields (first, count)."""
    began, sent, total = time.monotonic(), 0, int(seconds * per_second)
    while sent < total:
        due = int((time.monotonic() - began) * per_second)
        count = min(max(0, due - sent), total - sent)
        if count < batch and sent + count < total:
            time.sleep((batch - count) / per_second)
            continue
        yield sent, count
        sent += count


def frame(number: int) -> bytes:
    return FRAME.pack(b"\xa5\x5a", number, 2400, 100, 1, 2, 3, 4, 5, 6)


def line(number: int) -> bytes:
    """time_us, volts, amps: the number is the time."""
    return b"%010d,%08.4f,%09.4f\n" % (number, 24 - number % 100 / 50, number % 1000 / 7)


def write_serial(handle: int, seconds: float, sent: Any, one: Callable[[int], bytes]) -> None:
    if one is line:
        os.write(handle, LINES_HEAD)
    for first, count in paced(seconds, BYTES_A_SECOND / FRAME.size, 20):
        data = memoryview(b"".join(map(one, range(first, first + count))))
        while data:
            data = data[os.write(handle, data) :]
        sent.value = first + count


def send_can(interface: str, channel: str, seconds: float, sent: Any, cost: list[float] | None = None) -> None:
    import can

    with can.Bus(interface=interface, channel=channel, receive_own_messages=False) as bus:
        began = time.thread_time()
        for first, count in paced(seconds, CAN_A_SECOND, 16):
            for n in range(first, first + count):
                bus.send(
                    can.Message(arbitration_id=0x100 + n % 16, data=struct.pack("<II", n, 7), is_extended_id=False)
                )
            sent.value = first + count
        if cost is not None:
            cost.append(time.thread_time() - began)


def resident_MB() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def session_for(words: list[str]) -> Session:
    return prepare(parser("record").parse_args(["record", *words]), None)


def run(kind: str, seconds: float, folder: Path) -> None:
    context = get_context("spawn")
    sent = context.Value("q", 0)
    out = folder / f"{kind}.rec"
    cost: list[float] = []
    if kind in ("serial", "lines"):
        master, slave = os.openpty()
        tty.setraw(slave)
        reading = folder / "load.toml"
        reading.write_text(READING)
        words = [f"serial:{os.ttyname(slave)}@3000000"]
        words += ["--reading", str(reading)] if kind == "serial" else []
        os.set_inheritable(master, True)
        sender: Any = get_context("fork").Process(
            target=write_serial, args=(master, seconds, sent, frame if kind == "serial" else line)
        )  # fmt: skip
    elif kind == "can":
        words = ["can:virtual:load"]
        sender = threading.Thread(target=send_can, args=("virtual", "load", seconds, sent, cost))
    else:
        words = ["can:udp_multicast:239.74.163.9"]
        sender = context.Process(target=send_can, args=("udp_multicast", "239.74.163.9", seconds, sent))
    session = session_for([*words, "--out", str(out)])
    session.open()
    stop = Stop()
    pause = [0.0, time.monotonic()]
    plain = session.sources[0].read

    def read(timeout_s: float) -> Any:
        got = plain(timeout_s)
        now = time.monotonic()
        pause[:] = [max(pause[0], now - pause[1]) if session.live.views[0].packets else 0.0, now]
        return got

    session.sources[0].read = read  # type: ignore[method-assign]
    memory: list[float] = []
    peak: list[float] = [0.0]
    begun: list[float] = []

    def show(session: Session) -> None:
        view = session.live.views[0]
        if view.packets and not begun:
            begun.append(time.process_time())
        if len(memory) < 1 + 9 * (session.elapsed_s > seconds):
            memory.append(resident_MB()) if session.elapsed_s > seconds / 10 else None
        if session.elapsed_s - peak[0] > 5.0:
            peak[:] = [session.elapsed_s, *peak[1:], resident_MB()]
        if not sender.is_alive() and session.now_s - view.last_s > 1.0:
            stop.ask("asked")

    sender.start()
    outcome = session.run(stop, show)
    used_s = time.process_time() - begun[0] - sum(cost)
    sender.join()
    memory.append(resident_MB())
    if outcome.error is not None:
        raise outcome.error
    numbers = numbers_in(kind, out)
    whole = numbers.size == sent.value and bool((numbers == np.arange(numbers.size)).all())
    print(
        f"{kind:>10}: sent {sent.value:,}, in the file {numbers.size:,}, {'every number once' if whole else 'LOSS'}; "
        f"processor {100 * used_s / seconds:.1f} % of one core; memory {memory[0]:.1f} to {memory[-1]:.1f} MB, "
        f"{min(peak[1:] or memory):.1f} to {max(peak[1:] or memory):.1f} every 5 s; "
        f"file {outcome.bytes_written / 1e6:.1f} MB; lost {session.sources[0].lost() or 'none'}; "
        f"packets not looked at {session.live.views[0].unseen:,}; longest time between two readings {pause[0]:.2f} s"
    )


def numbers_in(kind: str, path: Path) -> np.ndarray:
    """Of every frame or line in the file, in its order."""
    if kind in ("can", "multicast"):
        made = (int.from_bytes(unpack_can(packet.data).data[:4], "little") for packet in read_packets(path))
        return np.fromiter(made, dtype=np.int64)
    raw = b"".join(packet.data for packet in read_packets(path))
    if kind == "lines":
        raw = raw.removeprefix(LINES_HEAD)
        return np.fromiter((int(row.partition(b",")[0]) for row in raw.splitlines()), dtype=np.int64)
    whole = np.frombuffer(raw, dtype=np.uint8)[: len(raw) // FRAME.size * FRAME.size]
    return whole.reshape(-1, FRAME.size)[:, 2:6].copy().view("<u4")[:, 0]


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("kind", nargs="?", default="all", choices=("serial", "lines", "can", "multicast", "all"))
    arguments.add_argument("--seconds", type=float, default=20.0)
    given = arguments.parse_args()
    print(f"Python {sys.version.split()[0]}, {given.seconds:g} s", flush=True)
    if given.kind != "all":
        with tempfile.TemporaryDirectory() as name:
            run(given.kind, given.seconds, Path(name))
    else:
        for kind in ("serial", "lines", "can", "multicast"):  # a process each: the memory is that of one recording
            words = [sys.executable, "-m", "benchmarks.recording_load", kind, "--seconds", str(given.seconds)]
            subprocess.run(words, check=True)
