"""What every live source does: open, read with a time limit, tell what it lost, close. It only listens."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final, Literal, Protocol

Kind = Literal["serial", "can", "udp", "demo"]
Stamped = tuple[int, bytes]  # nanoseconds on the recording's clock, the bytes that came

# Our choice: bytes and frames that come within this time are taken together. 200 wake-ups a second cost little, and a
# stamp is that of the first byte of what was taken, so a value is at most this much older than its stamp says.
BATCH_S: Final = 0.005


class SourceGone(Exception):
    """The source vanished: a cable, a reboot, an interface that went down. The recording goes on."""


class RecordClock:
    """Nanoseconds since the recording began, monotonic and the same for every source; the wall clock is noted once."""

    def __init__(self) -> None:
        self.zero_ns = time.monotonic_ns()
        self.wall_start = datetime.now(UTC)

    def now_ns(self) -> int:
        return time.monotonic_ns() - self.zero_ns

    def wall_offset_ns(self) -> int:
        """What is added to a stamp of the wall clock (ns since 1970) to bring it onto this clock, as of now."""
        return time.monotonic_ns() - time.time_ns() - self.zero_ns


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
