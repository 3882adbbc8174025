"""A signal that comes at any moment of the wait for it ends a recording, and never holds it up."""

from __future__ import annotations

import sys
import threading
from types import FrameType
from typing import Any

from ingest.record.ending import Stop


def asked_at(line: int) -> tuple[bool, bool]:
    """(whether that many lines ran, whether it ended) of waits in which a signal's handler asks at that line."""
    stop, lines = Stop(), 0

    def trace(frame: FrameType, event: str, arg: Any) -> Any:
        nonlocal lines
        if event == "line":
            lines += 1
            if lines == line:
                sys.settrace(None)
                stop.ask("asked")  # as the handler does: between two lines of the thread that waits
        return trace

    def waiting() -> None:
        sys.settrace(trace)
        for _ in range(3):
            stop.wait(0.001)
        sys.settrace(None)

    thread = threading.Thread(target=waiting, daemon=True)
    thread.start()
    thread.join(60)
    return lines >= line, not thread.is_alive()


def test_a_signal_between_any_two_lines_of_the_wait_holds_nothing_up() -> None:
    line = 1
    while True:
        there, ended = asked_at(line)
        assert ended, f"a signal at line {line} of the wait is waited for by itself"
        if not there:
            break
        line += 1
    assert line > 5


def test_the_first_reason_counts() -> None:
    stop = Stop()
    assert not stop.wait(0.0)
    stop.ask("terminated")
    stop.ask("hangup")
    assert stop.reason == "terminated" and stop.wait(1000.0)
