"""What a process shows on a pseudo-terminal, without waiting for ever for one that is silent or gone."""

from __future__ import annotations

import os
import select
import time

MOST_S = 180.0  # no measure of speed: only that a test of a silent process ends


def shown(terminal: int, until: float) -> bytes:
    """The next piece; empty where the other end is closed. Fails where nothing comes before `until` (monotonic)."""
    ready, _, _ = select.select([terminal], [], [], max(until - time.monotonic(), 0.0))
    assert ready, "the process shows nothing and does not end"
    try:
        return os.read(terminal, 65536)
    except OSError:  # so Linux says that the other end is closed
        return b""


def ended(number: int, until: float) -> int:
    """The exit code of a process of ours, which is over before `until`."""
    while (found := os.waitpid(number, os.WNOHANG)) == (0, 0):
        assert time.monotonic() < until, "the process does not end"
        time.sleep(0.02)
    return os.waitstatus_to_exitcode(found[1])
