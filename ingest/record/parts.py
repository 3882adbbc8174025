"""The parts of a recording that was gone on with, and where they stand in time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from ingest.record.notes import Head

_MOST_APART_NS: Final = 400 * 86_400 * 10**9  # our choice: more than a year is a clock that was never set


@dataclass(frozen=True)
class Part:
    """What was recorded in one go. shift_ns brings its stamps onto the first part's clock.

    placed: by the computer's own clock (it was not restarted in between), by the wall clock, or not at all: then its
    stamps begin again.
    """

    number: int
    wall_start: str
    shift_ns: int
    placed: Literal["first", "clock", "wall clock", "unknown"]


def placed(number: int, head: Head, first: Head, last_ns: int | None) -> Part:
    """Where a part stands behind the others: by the computer's clock where it ran on, else by the wall clock.

    A place before the last stamp cannot be right (the wall clock was set back): it is then not known.
    """
    by_clock = head.clock_ns - first.clock_ns
    if head.boot is not None and head.boot == first.boot and by_clock > (last_ns or 0):
        return Part(number, head.wall_start, by_clock, "clock")
    try:
        passed = datetime.fromisoformat(head.wall_start) - datetime.fromisoformat(first.wall_start)
        by_wall = round(passed.total_seconds() * 1e9)
    except (ValueError, TypeError):
        by_wall = 0
    if by_wall > (last_ns or 0) and by_wall < _MOST_APART_NS:
        return Part(number, head.wall_start, by_wall, "wall clock")
    return Part(number, head.wall_start, 0, "unknown")
