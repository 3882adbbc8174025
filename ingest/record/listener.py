"""A thread for each source: it reads, stamps and hands over, and finds the source again when it vanished."""

from __future__ import annotations

import contextlib
import threading
import time
from dataclasses import dataclass
from typing import Final

from ingest.record.blocks import Packet
from ingest.record.sources.base import RecordClock, Source, SourceGone, Stamped

READ_TIMEOUT_S: Final = 0.1
LAST_READ_S: Final = 0.5  # our choice: a stop is not held up by a source that never pauses
COUNTED_AGAIN_S: Final = 60.0  # our choice: a wrong baud rate counts errors with every byte
DROPPED: Final = "dropped"
LOOK_AGAIN_S: Final = 0.2  # our choice: a board that reboots is back in one to three seconds
# Our choice: what may wait for a disk that stands still, ten minutes of a 100 kB/s stream.
MOST_WAITING_BYTES: Final = 64 << 20


@dataclass(frozen=True)
class Happening:
    """Something that is marked in the recording. source: its number; t_ns on the recording's clock."""

    source: int
    t_ns: int
    kind: str  # lost, back, overflow, dropped, counted, cut, slept, clock, header, condition, alarm
    text: str


class Inbox:
    """What the listeners brought, until the recorder takes it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._packets: list[Packet] = []
        self._happenings: list[Happening] = []
        self._bytes = 0
        self.dropped_packets = 0
        self._dropping = 0  # packets since the last that was kept

    def put(self, packets: list[Packet]) -> None:
        size = sum(len(packet.data) for packet in packets)
        with self._lock:
            if self._bytes + size > MOST_WAITING_BYTES:
                if not self._dropping:
                    first = packets[0]
                    text = "the disk is too slow: what came from here on is not kept"
                    self._happenings.append(Happening(first.source, first.t_ns, "overflow", text))
                self._dropping += len(packets)
                self.dropped_packets += len(packets)
                return
            if self._dropping:
                first = packets[0]
                text = f"kept again; {self._dropping:,} packets of all sources were not"
                self._happenings.append(Happening(first.source, first.t_ns, "overflow", text))
                self._dropping = 0
            self._packets.extend(packets)
            self._bytes += size

    def mark(self, happening: Happening) -> None:
        with self._lock:
            self._happenings.append(happening)

    def take(self) -> tuple[list[Packet], list[Happening]]:
        """Everything so far, the packets in the order of their stamps."""
        with self._lock:
            packets, self._packets = self._packets, []
            happenings, self._happenings = self._happenings, []
            self._bytes = 0
        packets.sort(key=_stamp)
        return packets, happenings


def _stamp(packet: Packet) -> int:
    return packet.t_ns


class Losses:
    """look() after every reading: what the system or the device says it lost since, to be marked.

    Packets that the system dropped for want of room are lost at a known place, before the first one that came: a seam.
    Other counts (framing errors of a serial port) are asked for now and then and have no place of their own.
    """

    def __init__(self, number: int, source: Source) -> None:
        self._number, self._source = number, source
        self._known: dict[str, int] = {}
        self._counted_ns: int | None = None

    def look(self, t_ns: int, last: bool = False) -> list[Happening]:
        """t_ns: of the first packet behind the loss; last: nothing comes behind it, so nothing waits to be told."""
        lost = self._source.lost()
        if lost == self._known:
            return []
        found: list[Happening] = []
        dropped = lost.get(DROPPED, 0) - self._known.get(DROPPED, 0)
        if dropped:
            text = f"{self._source.name}: the system had no room left, {_packets(dropped)} lost here"
            found.append(Happening(self._number, t_ns, DROPPED, text))
            self._known[DROPPED] = lost[DROPPED]
        due = last or self._counted_ns is None or t_ns - self._counted_ns >= COUNTED_AGAIN_S * 1e9
        more = {word: count - self._known.get(word, 0) for word, count in lost.items() if word != DROPPED}
        words = [f"{count:,} {word}" for word, count in more.items() if count]
        if due and words:
            text = f"{self._source.name} counts {', '.join(words)} more than before"
            found.append(Happening(self._number, t_ns, "counted", text))
            self._counted_ns, self._known = t_ns, dict(lost)
        return found


def _packets(count: int) -> str:
    return f"{count:,} packets were" if count > 1 else "1 packet was"


class Listener(threading.Thread):
    """Reads one source until it is told to stop; the source is open when it starts."""

    def __init__(self, number: int, source: Source, clock: RecordClock, inbox: Inbox) -> None:
        super().__init__(name=f"listen to {source.name}", daemon=True)
        self.number, self.source = number, source
        self._clock, self._inbox = clock, inbox
        self._stop_now = threading.Event()
        self._losses = Losses(number, source)

    def run(self) -> None:
        source = self.source
        try:
            while not self._stop_now.is_set():
                try:
                    got = source.read(READ_TIMEOUT_S)
                except SourceGone as gone:
                    self._vanished(str(gone))
                except Exception as error:  # noqa: BLE001 - drivers raise what they like on a cable that is half pulled
                    self._vanished(f"its driver failed with {type(error).__name__}: {error}")
                else:
                    self._take(got)
            self._take_what_waits()
        finally:
            source.close()
            for loss in self._losses.look(self._clock.now_ns(), last=True):
                self._inbox.mark(loss)

    def _take(self, got: list[Stamped]) -> None:
        for loss in self._losses.look(got[0][0] if got else self._clock.now_ns()):
            self._inbox.mark(loss)
        if got:
            self._inbox.put([Packet(self.number, stamp, data) for stamp, data in got])

    def _take_what_waits(self) -> None:
        """What had come by the time of the stop but still waits in the system, as on a computer that was busy."""
        stop_ns, until = self._clock.now_ns(), time.monotonic() + LAST_READ_S
        with contextlib.suppress(Exception):  # as above; there is no next time
            while time.monotonic() < until and (got := self.source.read(0.0)) and got[0][0] <= stop_ns:
                self._take(got)

    def _vanished(self, why: str) -> None:
        self._inbox.mark(Happening(self.number, self._clock.now_ns(), "lost", f"{self.source.name} vanished: {why}"))
        self._find_again()

    def _find_again(self) -> None:
        while not self._stop_now.wait(LOOK_AGAIN_S):
            try:
                found = self.source.find_again()
            except Exception:  # noqa: BLE001 - as when it is read: it is not back
                found = None
            if found is not None:
                now_ns = self._clock.now_ns()
                self._inbox.mark(Happening(self.number, now_ns, "back", f"{self.source.name} is back as {found}"))
                return

    def stop(self) -> None:
        self._stop_now.set()
