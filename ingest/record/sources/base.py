"""What every live source does: open, read with a time limit, tell what it lost, close. It only listens."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal, Protocol

Kind = Literal["serial", "can", "udp", "demo"]
Stamped = tuple[int, bytes]  # nanoseconds on the recording's clock, the bytes that came

# Our choice: bytes and frames that come within this time are taken together. 200 wake-ups a second cost little, and a
# stamp is that of the first byte of what was taken, so a value is at most this much older than its stamp says.
BATCH_S: Final = 0.005


class SourceGone(Exception):
    """The source vanished: a cable, a reboot, an interface that went down. The recording goes on."""


def _awake_and_asleep_ns() -> int:
    """The computer's clock since its start; it never goes back, and runs on while the computer sleeps where it can.

    Linux has CLOCK_BOOTTIME for it, macOS its CLOCK_MONOTONIC (Python's own monotonic clock stands still there);
    on Windows Python's own does.
    """
    return time.clock_gettime_ns(_CLOCK) if _CLOCK is not None else time.monotonic_ns()


_CLOCK: Final[int | None] = getattr(
    time, {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC"}.get(sys.platform, ""), None
)


def _boot() -> str | None:
    """Since which start of the computer its clock counts; None where the system does not say."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
    except (OSError, ValueError):
        return None


class RecordClock:
    """Nanoseconds since the recording began, monotonic and the same for every source; the wall clock is noted once.

    computer_ns, boot: what the computer's own clock showed then, and since which start of it. wall_moved_s(): by how
    much the wall clock was set since; asleep_ns(): how long the computer has slept since it was started.
    """

    def __init__(self) -> None:
        self.zero_ns = self.computer_ns = _awake_and_asleep_ns()
        self.wall_start = datetime.now(UTC)
        self.boot = _boot()
        self._wall_zero_ns = time.time_ns()

    def now_ns(self) -> int:
        return _awake_and_asleep_ns() - self.zero_ns

    def wall_offset_ns(self) -> int:
        """What is added to a stamp of the wall clock (ns since 1970) to bring it onto this clock, as of now."""
        tries = []
        for _ in range(3):  # the one that was least interrupted between its two looks is the best
            before, wall, behind = _awake_and_asleep_ns(), time.time_ns(), _awake_and_asleep_ns()
            tries.append((behind - before, before - wall))
        return min(tries)[1] - self.zero_ns

    def wall_moved_s(self) -> float:
        return (time.time_ns() - self._wall_zero_ns - self.now_ns()) / 1e9

    def asleep_ns(self) -> int:
        """0 where the system does not tell it apart."""
        return _awake_and_asleep_ns() - time.monotonic_ns() if _CLOCK is not None else 0


class Stamper:
    """Stamps of the operating system brought onto the recording's clock.

    They are taken only where they fall between the last reading and now; a stamp from another clock, or from before
    the wall clock was set, gives way to the time of the reading. Stamps never go back.
    """

    def __init__(self, clock: RecordClock) -> None:
        self._clock = clock
        self._last_ns = 0
        self._offset_ns = 0
        self._now_ns = 0

    def begin(self) -> None:
        """Before a batch of stamps is brought over."""
        self._now_ns = self._clock.now_ns()
        self._offset_ns = self._clock.wall_offset_ns()

    def of_wall(self, wall_ns: int) -> int:
        moved = wall_ns + self._offset_ns
        # Our choice: a second back, because a full buffer of the system may be that old.
        if not self._last_ns - 1_000_000_000 <= moved <= self._now_ns + 1_000_000:
            moved = self._now_ns
        self._last_ns = max(self._last_ns, min(moved, self._now_ns))
        return self._last_ns


class Source(Protocol):
    """One stream of bytes or frames. read() gives what came, [] where nothing did; SourceGone where it vanished.

    open() raises AfterboutError where it cannot be opened at all; find_again() tries once to open it after it
    vanished and says under which name, None where it is not back.
    """

    name: str
    address: str
    kind: Kind
    physical: bool
    settings: dict[str, str]

    def open(self, clock: RecordClock) -> None: ...

    def read(self, timeout_s: float) -> list[Stamped]: ...

    def find_again(self) -> str | None: ...

    def close(self) -> None: ...

    def lost(self) -> dict[str, int]:
        """What the operating system or the device says it lost, by word: {"overrun": 3}."""

    def remarks(self) -> list[str]:
        """What the user should know once it is open, such as a bus that is acknowledged."""


Sleep = Callable[[float], None]
