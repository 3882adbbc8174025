"""A process on a pseudo-terminal of its own, and what it shows, without waiting for ever for one that is silent."""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
MOST_S = 180.0  # no measure of speed: only that a test of a silent process ends

# The new process itself makes the terminal its own (TIOCSCTTY), so that Ctrl-C and a closed terminal reach it. No copy
# of the test's process does: it has threads, and a copy in which one of them held a lock may stand still.
_OWN = """
import fcntl, os, sys, termios
os.setsid()
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
os.execv(sys.executable, [sys.executable, *sys.argv[1:]])
"""


def started(*words: str | Path) -> tuple[subprocess.Popen[bytes], int]:
    """(process, our end of its terminal) of `python WORDS`."""
    pytest.importorskip("pty", reason="no pseudo-terminals on this system")
    ours, theirs = os.openpty()
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    try:
        process = subprocess.Popen(
            [sys.executable, "-c", _OWN, *map(str, words)],
            stdin=theirs, stdout=theirs, stderr=theirs, env={**os.environ, "PYTHONPATH": path},
        )  # fmt: skip
    finally:
        os.close(theirs)
    return process, ours


def shown(terminal: int, until: float) -> bytes:
    """The next piece; empty where the other end is closed. Fails where nothing comes before `until` (monotonic)."""
    ready, _, _ = select.select([terminal], [], [], max(until - time.monotonic(), 0.0))
    assert ready, "the process shows nothing and does not end"
    try:
        return os.read(terminal, 65536)
    except OSError:  # so Linux says that the other end is closed
        return b""


def tell(terminal: int, data: bytes) -> None:
    while data:
        data = data[os.write(terminal, data) :]


def heard(terminal: int, seconds: float = 0.05) -> bytes:
    """What comes from the other end within that time; empty where nothing does."""
    ready, _, _ = select.select([terminal], [], [], seconds)
    return os.read(terminal, 65536) if ready else b""
