"""A thread for each source: it reads, stamps and hands over, and finds the source again when it vanished."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Final

from ingest.record.blocks import Packet
from ingest.record.sources.base import RecordClock, Source, SourceGone

READ_TIMEOUT_S: Final = 0.1
LOOK_AGAIN_S: Final = 0.2  # our choice: a board that reboots is back in one to three seconds
# Our choice: what may wait for a disk that stands still, ten minutes of a 100 kB/s stream.
MOST_WAITING_BYTES: Final = 64 << 20


@dataclass(frozen=True)
class Happening:
    """Something that is marked in the recording. source: its number; t_ns on the recording's clock."""

    source: int
    t_ns: int
    kind: str  # lost, back, overflow, cut, slept, clock, header, condition, alarm
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


class Listener(threading.Thread):
    """Reads one source until it is told to stop; the source is open when it starts."""

    def __init__(self, number: int, source: Source, clock: RecordClock, inbox: Inbox) -> None:
        super().__init__(name=f"listen to {source.name}", daemon=True)
        self.number, self.source = number, source
        self._clock, self._inbox = clock, inbox
        self._stop_now = threading.Event()

    def run(self) -> None:
        number, source, inbox = self.number, self.source, self._inbox
        try:
            while not self._stop_now.is_set():
                try:
                    got = source.read(READ_TIMEOUT_S)
                except SourceGone as gone:
                    inbox.mark(Happening(number, self._clock.now_ns(), "lost", f"{source.name} vanished: {gone}"))
                    self._find_again()
                    continue
                if got:
                    inbox.put([Packet(number, stamp, data) for stamp, data in got])
        finally:
            source.close()

    def _find_again(self) -> None:
        while not self._stop_now.wait(LOOK_AGAIN_S):
            found = self.source.find_again()
            if found is not None:
                now_ns = self._clock.now_ns()
                self._inbox.mark(Happening(self.number, now_ns, "back", f"{self.source.name} is back as {found}"))
                return

    def stop(self) -> None:
        self._stop_now.set()
