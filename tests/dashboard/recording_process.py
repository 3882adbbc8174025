"""`record` as a process of its own, what it records from, and that none of them outlives its test."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ingest.record.blocks import read_packets
from tests.terminal import heard, started, tell

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = json.loads((ROOT / "dashboard" / "schemas" / "record.schema.json").read_text("utf-8"))
Command = Callable[..., Any]
HEADER = b"time_ms,pack_voltage_V,pack_current_A\n"

posix = pytest.mark.skipif(sys.platform == "win32", reason="signals and pseudo-terminals of POSIX")


def row(n: int, volts: float = 24.0, amps: float = 10.0) -> bytes:
    return b"%d,%.2f,%.1f\n" % (10 * n, volts, amps)


def kept(path: Path, number: int = 0) -> bytes:
    return b"".join(packet.data for packet in read_packets(path) if packet.source == number)


STARTED: list[subprocess.Popen[bytes]] = []  # of the test that runs


# As ulimit does: the limit is set in a process of its own that then becomes the recorder.
_LIMITED = """
import os, resource, sys
most = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
os.execv(sys.executable, [sys.executable, *sys.argv[2:]])
"""


class Recording:
    """A process that records; its words are gathered as they come. most_file_bytes: larger ones cannot be written."""

    def __init__(self, *words: str | Path, most_file_bytes: int | None = None) -> None:
        limited = [] if most_file_bytes is None else ["-c", _LIMITED, str(most_file_bytes)]
        self.process = subprocess.Popen(
            [sys.executable, *limited, "-m", "dashboard.cli", "record", *map(str, words)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])},
        )
        STARTED.append(self.process)
        self.out, self.err = b"", b""
        self._readers = [threading.Thread(target=gather, daemon=True) for gather in (self._gather, self._gather_out)]
        for reader in self._readers:
            reader.start()

    def _gather(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.err += line

    def _gather_out(self) -> None:
        assert self.process.stdout is not None
        self.out = self.process.stdout.read()

    def wait_for(self, met: Callable[[], bool], seconds: float = 180.0) -> None:
        until = time.monotonic() + seconds
        while not met():
            assert time.monotonic() < until and self.process.poll() is None, self.err.decode()
            time.sleep(0.02)

    def end(self, number: int | None = None) -> tuple[int, str]:
        """(exit code, stdout), after a signal or when it ends by itself."""
        if number is not None:
            self.process.send_signal(number)
        code = self.process.wait(180)
        for reader in self._readers:
            reader.join(180)
        return code, self.out.decode()


def on_a_terminal(*words: str | Path) -> tuple[subprocess.Popen[bytes], int]:
    """(process, terminal) of a recording on a pseudo-terminal of its own."""
    process, terminal = started("-m", "dashboard.cli", "record", *words)
    STARTED.append(process)
    return process, terminal


class Port:
    """A pseudo-terminal at a path of our choice, as a cable that can be pulled."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.plug()

    def plug(self) -> None:
        import tty

        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path.symlink_to(os.ttyname(slave))
        self._slave = slave

    def pull(self) -> None:
        os.close(self.master)
        os.close(self._slave)
        self.path.unlink()

    def say(self, data: bytes) -> None:
        tell(self.master, data)

    def heard(self) -> bytes:
        return heard(self.master)
