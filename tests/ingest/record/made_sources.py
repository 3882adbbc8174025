"""A source that does what a test tells it to, for the session's own rules."""

from __future__ import annotations

import queue
import time

from ingest.record.sources.base import Kind, RecordClock, SourceGone, Stamped


class ToldSource:
    """say() gives bytes to the recorder; pull() and push() are the cable."""

    physical = False
    address = "test:"

    def __init__(self, name: str = "told", kind: Kind = "udp") -> None:
        self.name, self.kind = name, kind
        self.settings: dict[str, str] = {}
        self._queue: queue.Queue[bytes | None] = queue.Queue()
        self._there = True
        self.clock = RecordClock()
        self.closed = False

    def say(self, data: bytes) -> None:
        self._queue.put(data)

    def pull(self) -> None:
        self._there = False
        self._queue.put(None)

    def push(self) -> None:
        self._there = True

    def open(self, clock: RecordClock) -> None:
        self.clock = clock

    def read(self, timeout_s: float) -> list[Stamped]:
        try:
            data = self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return []
        if data is None:
            raise SourceGone("the cable was pulled")
        return [(self.clock.now_ns(), data)]

    def find_again(self) -> str | None:
        return "another name" if self._there else None

    def close(self) -> None:
        self.closed = True

    def lost(self) -> dict[str, int]:
        return {}

    def remarks(self) -> list[str]:
        return []


def wait_for(met: object, seconds: float = 90.0) -> bool:
    """Until met() is true, at most so long."""
    assert callable(met)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if met():
            return True
        time.sleep(0.01)
    return False
