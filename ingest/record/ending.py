"""How a recording ends: who asked for it, and what is said of it."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ingest.errors import AfterboutError, SourceError, StoreError

if TYPE_CHECKING:
    from ingest.record.session import Session

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
    """Asks a running session to end; the first reason counts.

    No lock is taken: a signal's handler asks, and it runs in the middle of whatever the main thread does. Were that a
    wait that holds a lock, as threading.Event's does for a moment, asking would wait for it for ever.
    """

    def __init__(self) -> None:
        self.reason = ""

    def ask(self, reason: str) -> None:
        if not self.reason:
            self.reason = reason

    def wait(self, seconds: float) -> bool:
        """Whether it is to end; else this takes that time (short ones only: asking does not cut it short)."""
        if not self.reason:
            time.sleep(seconds)
        return bool(self.reason)


@dataclass
class Outcome:
    """How a recording ended. stopped_by is a key of STOPS; error is set where it was not the user's wish."""

    files: list[Path] = field(default_factory=list)
    stopped_by: str = ""
    duration_s: float = 0.0
    bytes_written: int = 0
    error: AfterboutError | None = None


def complaint(session: Session, stopped_by: str) -> AfterboutError | None:
    """What speaks against a recording that ended without an error of the disk."""
    if stopped_by == "disk":
        return StoreError(
            "the disk is full: the recording was closed before it ran out", file=session.out,
            mend="Free some space, and record again.",
        )  # fmt: skip
    if stopped_by == "ended":
        return SourceError("no source is left", file=session.out, mend="What came until then is in the recording.")
    if not any(view.packets for view in session.live.views):
        return SourceError(
            "nothing came from any source", file=session.out,
            mend="Check the cable, that the other side sends, and the baud or bit rate.",
        )  # fmt: skip
    if session.started_ns is None and session.plan.start_when is not None:
        names = ", ".join(session.live.names()[:12])
        mend = f"Names that came: {names}." if names else "No figure could be read from the sources."
        return SourceError(f"nothing was recorded: {session.plan.start_when.text} was never met", mend=mend)
    return None
