"""A recorder as a process of its own, which says what it has taken in, to be killed by SIGKILL."""

from __future__ import annotations

import contextlib
import mmap
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ingest.record.blocks import Packet
from ingest.record.recovery import recover
from ingest.record.sources.base import RecordClock
from ingest.record.writer import RecordingWriter
from ingest.store import Store
from tests.ingest.record.made_files import MS, NOTE

ROOT = Path(__file__).resolve().parents[3]
MEMORY = Path("/dev/shm")  # SIGKILL never tries what has reached the disk: a busy one must not delay the recorder


@dataclass
class Child:
    """taken_ms: up to where it has taken in what came, in a turn that it has ended; the rows are one a millisecond."""

    process: subprocess.Popen[bytes]
    _shared: mmap.mmap

    @property
    def taken_ms(self) -> int:
        return int.from_bytes(self._shared[:8], "little")

    def wait_until(self, taken_ms: int) -> None:
        until = time.monotonic() + 120
        while self.taken_ms < taken_ms:
            assert time.monotonic() < until and self.process.poll() is None
            time.sleep(0.001)

    def kill(self) -> int:
        """SIGKILL; what it had taken in."""
        self.process.kill()
        assert self.process.wait(120) == -signal.SIGKILL
        return self.taken_ms


def recorder(path: Path, rows: bytes = b"%d\n") -> Child:
    """Records one row a millisecond until it is killed, numbered from 0; goes on in the file where there is one.

    A new process and no copy of this one: the test's has threads, and a copy of those that hold a lock never ends.
    """
    with tempfile.TemporaryFile() as file:
        file.write(bytes(8))
        file.flush()
        shared = mmap.mmap(file.fileno(), 8)
        words = [sys.executable, "-m", __spec__.name, str(path), str(file.fileno()), rows.decode()]
        process = subprocess.Popen(words, cwd=ROOT, pass_fds=[file.fileno()])
    return Child(process, shared)


def record(path: Path, shared: mmap.mmap, rows: bytes) -> None:
    clock = RecordClock()
    behind = recover(path) if path.exists() else None
    writer = RecordingWriter(
        Store(), path, [NOTE], clock.wall_start, clock_ns=clock.computer_ns, boot=clock.boot, behind=behind
    )
    began, k, test = clock.now_ns(), 0, os.getppid()
    while os.getppid() == test:  # one that is gone kills nobody
        now = clock.now_ns()
        due = (now - began) // MS
        writer.write([Packet(0, began + n * MS, row(rows, n)) for n in range(k, due)])
        k = max(k, due)
        writer.tick(now)
        shared[:8] = k.to_bytes(8, "little")
        time.sleep(0.003)


def row(rows: bytes, n: int) -> bytes:
    return rows % n


@contextlib.contextmanager
def folder_in_memory(otherwise: Path) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="killed-", dir=MEMORY if MEMORY.is_dir() else otherwise) as name:
        yield Path(name)


if __name__ == "__main__":
    record(Path(sys.argv[1]), mmap.mmap(int(sys.argv[2]), 8), sys.argv[3].encode())
