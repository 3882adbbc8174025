"""Follows a recording that is being written: what was added since the last look, decoded as the recorder does it."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ingest.errors import AfterboutError
from ingest.formats import ReadOptions
from ingest.readings import parse_reading
from ingest.record.blocks import SEAMS, Packet
from ingest.record.figures import decoder_for
from ingest.record.limits import LOOK_S
from ingest.record.live import Live, SourceView
from ingest.record.sources.base import Kind, RecordClock, Stamped
from ingest.record.tail import Tail

MOST_AT_ONCE = 4 << 20  # our choice: a long recording that is opened late is caught up with in steps


@dataclass
class RecordedSource:
    """A source as the recording describes it; it is not open here."""

    name: str
    kind: Kind
    settings: dict[str, str]
    physical: bool = False
    address: str = ""

    def open(self, clock: RecordClock) -> None: ...

    def read(self, timeout_s: float) -> list[Stamped]:
        return []

    def find_again(self) -> str | None:
        return None

    def close(self) -> None: ...

    def lost(self) -> dict[str, int]:
        return {}

    def remarks(self) -> list[str]:
        return []


@dataclass
class Followed:
    """What the page shows. error: why nothing can be shown; ended: the reason that the file gives, None while open."""

    live: Live = field(default_factory=lambda: Live([]))
    now_s: float = 0.0
    bytes: int = 0
    ended: str | None = None
    error: str = ""
    wall_start: str = ""
    changed_at: float = 0.0
    events: list[tuple[float, str, str]] = field(default_factory=list)  # seconds, kind, text


class Follower:
    """look() as often as a page asks; several pages may."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._lock = threading.Lock()
        self._tail: Tail | None = None
        self._shown = Followed()

    def look(self) -> Followed:
        """Raises nothing: what cannot be read is said in error."""
        with self._lock:
            try:
                self._look()
                self._shown.error = ""
            except (AfterboutError, OSError) as error:
                self._shown.error = str(error)
            return self._shown

    def _look(self) -> None:
        shown = self._shown
        if self._tail is None:
            tail = Tail(self.path)
            views = []
            for note in tail.sources:
                reading = parse_reading(note.reading) if note.reading else None
                source = RecordedSource(note.name, note.kind, dict(note.settings))
                views.append(SourceView(source, decoder_for(note.kind, note.name, ReadOptions(reading=reading))))
            shown.live, shown.wall_start, self._tail = Live(views), tail.wall_start, tail
        while True:
            new = self._tail.more(MOST_AT_ONCE)
            if not new.packets and not new.events and new.ended is None:
                break
            shown.changed_at = time.monotonic()
            if new.goes_on:
                shown.ended = None
            self._take(new.packets)
            for event in new.events:
                self._mark(event.source, event.t_ns / 1e9, event.kind, event.text)
            if new.ended is not None:
                shown.ended = new.ended
            shown.bytes = self._tail.offset

    def _take(self, packets: Sequence[Packet]) -> None:
        """In steps of the recorder's own looks, so that each figure has its time."""
        shown, start = self._shown, 0
        while start < len(packets):
            until_ns = packets[start].t_ns + int(LOOK_S * 1e9)
            end = start
            by_source: list[list[Stamped]] = [[] for _ in shown.live.views]
            while end < len(packets) and packets[end].t_ns < until_ns:
                by_source[packets[end].source].append((packets[end].t_ns, packets[end].data))
                end += 1
            shown.now_s = max(shown.now_s, packets[end - 1].t_ns / 1e9)
            for view, came in zip(shown.live.views, by_source, strict=True):
                view.take(came)
            shown.live.look(shown.now_s)
            start = end

    def _mark(self, number: int, at_s: float, kind: str, text: str) -> None:
        if not 0 <= number < len(self._shown.live.views):
            return
        view = self._shown.live.views[number]
        for other in self._shown.live.views if kind in ("part", "damaged", "overflow") else ():
            other.decoder.skip()
        if kind in SEAMS:
            view.decoder.skip()
        if kind == "lost":
            view.state = "lost"
            view.gaps.append((at_s, None, text))
        elif kind == "back":
            view.state = "listening"
        if kind != "header":
            self._shown.events.append((at_s, kind, text))
