"""How a recording ends: who asked for it, and what is said of it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from ingest.errors import AfterboutError

STOPS: Final = {
    "asked": "stopped by Ctrl-C",
    "terminated": "stopped by a signal",
    "hangup": "stopped because the terminal was closed",
    "time": "the time limit is reached",
    "condition": "the stop condition was met",
    "size": "the size limit is reached",
    "disk": "the disk is full",
    "ended": "no source is left",
}


class Stop:
    """Asks a running session to end; the first reason counts."""

    def __init__(self) -> None:
        self._event = threading.Event()
        self.reason = ""

    def ask(self, reason: str) -> None:
        if not self._event.is_set():
            self.reason = reason
            self._event.set()

    def wait(self, seconds: float) -> bool:
        return self._event.wait(seconds)


@dataclass
class Outcome:
    """How a recording ended. stopped_by is a key of STOPS; error is set where it was not the user's wish."""

    files: list[Path] = field(default_factory=list)
    stopped_by: str = ""
    duration_s: float = 0.0
    bytes_written: int = 0
    error: AfterboutError | None = None
