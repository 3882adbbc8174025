"""Notices that the computer slept, or that its wall clock was set, while a recording ran."""

from __future__ import annotations

from typing import Final

from ingest.record.listener import Happening
from ingest.record.sources.base import RecordClock

SLEPT_NS: Final = 500_000_000  # our choice: shorter is no sleep of a computer
WALL_MOVED_S: Final = 1.0  # our choice: time servers move a clock that is nearly right by less


class ClockWatch:
    """look() with every turn. Stamps are never moved: they count on through a sleep where the system can."""

    def __init__(self, clock: RecordClock, sources: int) -> None:
        self._clock, self._sources = clock, sources
        self._asleep_ns = clock.asleep_ns()
        self._moved_s = clock.wall_moved_s()
        self._before_ns = clock.now_ns()

    def look(self, now_ns: int) -> list[Happening]:
        """What is to be marked, of each source where nothing can have come meanwhile."""
        found: list[Happening] = []
        asleep_ns, moved_s = self._clock.asleep_ns(), self._clock.wall_moved_s()
        slept_ns = asleep_ns - self._asleep_ns
        if slept_ns >= SLEPT_NS:
            self._asleep_ns = asleep_ns
            text = f"the computer slept for {slept_ns / 1e9:.1f} s, nothing was recorded"
            found += [Happening(number, self._before_ns, "slept", text) for number in range(self._sources)]
        if abs(moved_s - self._moved_s) >= WALL_MOVED_S:
            text = (
                f"the computer's wall clock was set by {moved_s - self._moved_s:+.1f} s; the times here were not moved"
            )
            self._moved_s = moved_s
            found.append(Happening(0, now_ns, "clock", text))
        self._before_ns = now_ns
        return found
