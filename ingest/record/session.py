"""One recording from the first source that is opened to the file that is closed: triggers, rotation, restarts.

The order within a turn never changes: what came is written first, then looked at. Whatever ends the recording, the
file is closed and can be read; a disk that takes no more ends it with what was written until then.
"""

from __future__ import annotations

import bisect
import shutil
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from ingest.errors import AfterboutError, StoreError
from ingest.record.blocks import SEAMS, Packet, SourceNote
from ingest.record.ending import STOPS, Outcome, Stop, complaint
from ingest.record.limits import LOOK_S
from ingest.record.listener import Happening, Inbox, Listener
from ingest.record.live import Live
from ingest.record.recovery import Recovered
from ingest.record.sources.base import RecordClock, Source, Stamped
from ingest.record.triggers import Plan
from ingest.record.watch_clock import ClockWatch
from ingest.record.writer import RecordingWriter
from ingest.store import Store

TURN_S: Final = 0.025  # our choice: forty turns a second keep batches large and a stop prompt
BEFORE_S: Final = 2.0  # our choice: what is kept from before a start condition was met
DISK_EVERY_S: Final = 1.0
LOST_TOLD_NS: Final = 5_000_000_000  # our choice: a computer that is too busy loses packets many times a second
# Our choice: the file is closed while there is still room to close it and to write the season's own files.
LEAST_FREE_BYTES: Final = 16 << 20
_TAIL_BYTES: Final = 64 << 10
_JOIN_S: Final = 2.0


@dataclass
class Session:
    """run() records until it is stopped. State for the view: state, elapsed_s, bytes_written, free_bytes, path."""

    sources: Sequence[Source]
    notes: Sequence[SourceNote]
    live: Live
    out: Path
    plan: Plan
    store: Store
    clock: RecordClock
    least_free_bytes: int = LEAST_FREE_BYTES
    behind: Recovered | None = None  # the recording that is gone on with, its torn end kept already
    first_number: int = 1  # of the files, where there are several

    state: str = "opening"
    files: list[Path] = field(default_factory=list)
    happenings: list[Happening] = field(default_factory=list)
    free_bytes: int | None = None
    started_ns: int | None = None

    def __post_init__(self) -> None:
        self._inbox = Inbox()
        self._writer: RecordingWriter | None = None
        self._closed_bytes = 0
        self._file_began_ns = 0
        self._before: deque[Packet] = deque()
        self._forgotten: set[int] = set()  # sources of which something from before the start was not kept
        self._tails: list[deque[bytes]] = [deque() for _ in self.sources]
        self._looked_ns = self._disk_ns = self._told_lost_ns = -(10**12)
        self._clock_watch = ClockWatch(self.clock, len(self.sources))

    @property
    def now_s(self) -> float:
        return self.clock.now_ns() / 1e9

    @property
    def elapsed_s(self) -> float:
        """Since the recording proper began."""
        return 0.0 if self.started_ns is None else (self.clock.now_ns() - self.started_ns) / 1e9

    @property
    def bytes_written(self) -> int:
        return self._closed_bytes + (self._writer.bytes_written if self._writer is not None else 0)

    @property
    def dropped_packets(self) -> int:
        return self._inbox.dropped_packets

    def open(self) -> None:
        """Open every source. Raises AfterboutError; what was opened by then is closed again."""
        opened: list[Source] = []
        try:
            for source in self.sources:
                source.open(self.clock)
                opened.append(source)
        except AfterboutError:
            for source in opened:
                source.close()
            raise

    def run(self, stop: Stop, show: Callable[[Session], None] = lambda session: None) -> Outcome:
        """Record until stop, a limit, or a disk that takes no more. Never raises for what a disk or a source does."""
        listeners = [Listener(k, source, self.clock, self._inbox) for k, source in enumerate(self.sources)]
        outcome = Outcome()
        try:
            if self.plan.start_when is None:
                self._begin()
            else:
                self.state = "waiting"
            for listener in listeners:
                listener.start()
            while not stop.wait(TURN_S):
                self._turn(stop)
                show(self)
                if not any(listener.is_alive() for listener in listeners):
                    stop.ask("ended")
        except StoreError as error:
            stop.ask("disk")
            outcome.error = error
        finally:
            outcome.duration_s = self.elapsed_s
            for listener in listeners:
                listener.stop()
            for listener in listeners:
                if listener.ident is not None:
                    listener.join(_JOIN_S)
            self._end(stop.reason or "terminated", outcome)
        show(self)
        return outcome

    def _turn(self, stop: Stop) -> None:
        packets, happenings = self._inbox.take()
        now_ns = self.clock.now_ns()
        self._keep(packets, happenings + self._clock_watch.look(now_ns))
        by_source: list[list[Stamped]] = [[] for _ in self.sources]
        for packet in packets:
            by_source[packet.source].append((packet.t_ns, packet.data))
        for view, came in zip(self.live.views, by_source, strict=True):
            view.take(came)
        if self._writer is not None:
            self._writer.tick(now_ns)
        if now_ns - self._looked_ns >= LOOK_S * 1e9:
            self._looked_ns = now_ns
            self._look(now_ns, stop)
        self._limits(now_ns, stop)

    def _keep(self, packets: list[Packet], happenings: list[Happening]) -> None:
        """In the order of time, so that a mark stands between what came before and behind it."""
        place = 0
        for happening in sorted(happenings, key=lambda h: h.t_ns):
            until = bisect.bisect_left(packets, happening.t_ns, lo=place, key=lambda p: p.t_ns)
            self._take(packets[place:until])
            self._happen(happening)
            place = until
        self._take(packets[place:])

    def _take(self, packets: list[Packet]) -> None:
        if not packets:
            return
        if self._writer is not None:
            self._writer.write(packets)
            for packet in packets:
                self._tail(packet)
            return
        self._before.extend(packets)
        oldest = self._before[-1].t_ns - int(BEFORE_S * 1e9)
        while self._before[0].t_ns < oldest:
            self._forgotten.add(self._before.popleft().source)

    def _tail(self, packet: Packet) -> None:
        """The last bytes of each stream, to repeat a torn line or frame in the next file."""
        if self.plan.rotates and self.notes[packet.source].kind != "can":
            tail = self._tails[packet.source]
            tail.append(packet.data)
            while len(tail) > 1 and sum(map(len, tail)) - len(tail[0]) >= _TAIL_BYTES:
                tail.popleft()

    def _happen(self, happening: Happening) -> None:
        view = self.live.views[happening.source]
        at_s = happening.t_ns / 1e9
        if happening.kind != "dropped" or happening.t_ns - self._told_lost_ns >= LOST_TOLD_NS:
            self.happenings.append(happening)  # each stands in the file, and the view counts them all
            self._told_lost_ns = happening.t_ns if happening.kind == "dropped" else self._told_lost_ns
        if happening.kind == "lost":
            view.state = "lost"
            view.gaps.append((at_s, None, happening.text))
        elif happening.kind == "slept":
            view.gaps.append((at_s, self.now_s, happening.text))
        elif happening.kind == "back":
            view.state = "listening"
            begun, _, text = view.gaps[-1]
            view.gaps[-1] = (begun, at_s, text)
        if happening.kind in SEAMS:
            view.decoder.skip()
        if self._writer is not None:
            self._writer.event(happening.source, happening.t_ns, happening.kind, happening.text)

    def _look(self, now_ns: int, stop: Stop) -> None:
        figures, new = self.live.look(now_ns / 1e9)
        for alarm in new:
            number = next((k for k, v in enumerate(self.live.views) if alarm.limit.channel in v.values), 0)
            self._happen(Happening(number, now_ns, "alarm", alarm.sentence))
        plan = self.plan
        if self._writer is None and plan.start_when is not None and plan.start_when.met_by(figures):
            self._begin()
            self._happen(Happening(0, now_ns, "condition", f"started: {plan.start_when.text}"))
        elif self._writer is not None and plan.stop_when is not None and plan.stop_when.met_by(figures):
            self._happen(Happening(0, now_ns, "condition", f"stopped: {plan.stop_when.text}"))
            stop.ask("condition")

    def _limits(self, now_ns: int, stop: Stop) -> None:
        plan = self.plan
        if plan.for_s is not None and self.started_ns is not None and now_ns - self.started_ns >= plan.for_s * 1e9:
            stop.ask("time")
        before = self.behind.end if self.behind is not None else 0
        if plan.max_bytes is not None and before + self.bytes_written >= plan.max_bytes:
            stop.ask("size")
        if now_ns - self._disk_ns >= DISK_EVERY_S * 1e9:
            self._disk_ns = now_ns
            self.free_bytes = _free(self.out.parent)
            if self.free_bytes is not None and self.free_bytes < self.least_free_bytes:
                stop.ask("disk")
        if self._writer is None:
            return
        old = plan.rotate_s is not None and now_ns - self._file_began_ns >= plan.rotate_s * 1e9
        large = plan.rotate_bytes is not None and self._writer.size >= plan.rotate_bytes
        if (old or large) and not stop.reason:
            self._rotate(now_ns)

    def _begin(self) -> None:
        now_ns = self.clock.now_ns()
        self._open_file(now_ns)
        self.started_ns = now_ns
        self.state = "recording"
        assert self._writer is not None
        before, self._before = list(self._before), deque()
        if before:
            if self.behind is None:
                self._repeat_headers(before[0].t_ns, self._forgotten)
            for number in sorted(self._forgotten):
                text = "what came before this is not kept"
                self._writer.event(number, before[0].t_ns, "cut", text)
            self._writer.write(before)
            for packet in before:
                self._tail(packet)

    def _rotate(self, now_ns: int) -> None:
        """The next file is open before the last is closed; a line or frame that was torn is repeated whole."""
        before = self._writer
        assert before is not None
        self._closed_bytes += before.bytes_written
        self._open_file(now_ns)
        before.close("the next file follows")
        self._repeat_headers(now_ns, set(range(len(self.sources))), torn=True)

    def _repeat_headers(self, t_ns: int, numbers: set[int], torn: bool = False) -> None:
        assert self._writer is not None
        for number in sorted(numbers):
            decoder = self.live.views[number].decoder
            tail = decoder.torn(b"".join(self._tails[number])) if torn else b""
            if decoder.header or tail:
                self._writer.write([Packet(number, t_ns, decoder.header + tail)])
            if decoder.header:
                self._writer.event(number, t_ns, "header", "the header lines that came at the beginning are repeated")

    def _open_file(self, now_ns: int) -> None:
        path = self.out
        if self.plan.rotates:
            number = len(self.files) + self.first_number
            path = self.out.with_name(f"{self.out.stem}-{number:03d}{self.out.suffix}")
        clock = self.clock
        self._writer = RecordingWriter(
            self.store, path, self.notes, clock.wall_start, clock_ns=clock.computer_ns, boot=clock.boot,
            behind=self.behind,
        )  # fmt: skip
        self._file_began_ns = now_ns
        self.files.append(path)

    def _end(self, reason: str, outcome: Outcome) -> None:
        """Write what is still there and close the file; on a disk that takes no more, what stands there stays."""
        outcome.stopped_by = reason
        try:
            if self._writer is not None:
                packets, happenings = self._inbox.take()
                if outcome.error is None:
                    self._keep(packets, happenings)
                    for view in self.live.views:
                        number = self.live.views.index(view)
                        view.take([(p.t_ns, p.data) for p in packets if p.source == number])
                self._writer.close(STOPS[reason])
        except StoreError as error:
            outcome.error = outcome.error or error
            outcome.stopped_by = "disk"
        self.live.look(self.now_s)
        outcome.bytes_written = self.bytes_written
        outcome.files = list(self.files)
        self.state = "ended"
        if outcome.error is None:
            outcome.error = complaint(self, outcome.stopped_by)


def _free(folder: Path) -> int | None:
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return None
