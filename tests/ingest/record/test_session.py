"""The session's rules: triggers, rotation, restarts, a full disk; every ending leaves a file that can be read."""

from __future__ import annotations

import errno
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import pytest

from ingest.errors import StoreError, UsageError
from ingest.formats import ReadOptions
from ingest.readings import parse_reading
from ingest.record.blocks import SourceNote, read_packets
from ingest.record.ending import Outcome, Stop
from ingest.record.figures import Decoder, FrameDecoder, RawDecoder, TextDecoder
from ingest.record.live import Live, SourceView
from ingest.record.session import Session
from ingest.record.sources.base import RecordClock
from ingest.record.triggers import Plan, parse_condition, parse_rotation
from ingest.store import FileLayer, Store
from tests.ingest.record.made_sources import ToldSource, wait_for

HEADER = b"time_ms,pack_voltage_V,pack_current_A\n"


def lines(first: int, count: int, volts: float = 24.0, amps: float = 10.0) -> bytes:
    return b"".join(b"%d,%.2f,%.1f\n" % (10 * n, volts, amps) for n in range(first, first + count))


def bytes_of(path: Path, number: int = 0) -> bytes:
    """Everything that is kept of one source."""
    return b"".join(packet.data for packet in read_packets(path) if packet.source == number)


class Running:
    """A session in a thread of its own."""

    def __init__(
        self,
        out: Path,
        sources: list[ToldSource],
        plan: Plan = Plan(),  # noqa: B008 - it is frozen
        store: Store | None = None,
        decoders: list[Decoder] | None = None,
        least_free_bytes: int = 0,
    ) -> None:
        decoders = decoders or [TextDecoder(s.name, ReadOptions()) for s in sources]
        views = [SourceView(s, d) for s, d in zip(sources, decoders, strict=True)]
        notes = [SourceNote(s.name, s.kind, s.settings, None) for s in sources]
        self.session = Session(
            sources, notes, Live(views), out, plan, store or Store(), RecordClock(), least_free_bytes=least_free_bytes
        )
        self.stop = Stop()
        self.outcome = Outcome()
        self.session.open()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        self.outcome = self.session.run(self.stop)

    def end(self, reason: str | None = "asked") -> Outcome:
        """Stop it, or with None wait until it stopped by itself."""
        if reason is not None:
            self.stop.ask(reason)
        self._thread.join(60.0)
        assert not self._thread.is_alive()
        return self.outcome

    def give_slowly(self, source: ToldSource, data: bytes, piece: int, together: int = 12) -> None:
        """Pieces of so many bytes, a few each time what was given before is written."""
        for count, start in enumerate(range(0, len(data), piece), 1):
            source.say(data[start : start + piece])
            if count % together == 0 or start + piece >= len(data):
                assert wait_for(lambda: self.packets() == count or bool(self.stop.reason))  # noqa: B023
                assert wait_for(lambda: bool(self.stop.reason) or not self.session._writer._packets)

    def packets(self, number: int = 0) -> int:
        return self.session.live.views[number].packets


@contextmanager
def running(*args: object, **words: object) -> Iterator[Running]:
    made = Running(*args, **words)  # type: ignore[arg-type]
    try:
        yield made
    finally:
        made.end()


def test_what_came_is_in_the_file_to_the_byte_and_every_source_is_closed(tmp_path: Path) -> None:
    one, other = ToldSource("one"), ToldSource("other")
    with running(tmp_path / "x.rec", [one, other]) as made:
        one.say(HEADER)
        for n in range(50):
            one.say(lines(n, 1))
            other.say(bytes([n]))
        assert wait_for(lambda: made.packets(0) == 51 and made.packets(1) == 50)
        outcome = made.end()
    assert outcome.error is None and outcome.stopped_by == "asked"
    assert bytes_of(tmp_path / "x.rec", 0) == HEADER + lines(0, 50)
    assert bytes_of(tmp_path / "x.rec", 1) == bytes(range(50))
    assert one.closed and other.closed
    assert outcome.bytes_written == (tmp_path / "x.rec").stat().st_size


def test_what_comes_in_the_last_moment_before_the_stop_is_kept(tmp_path: Path) -> None:
    source = ToldSource()
    with running(tmp_path / "x.rec", [source]) as made:
        source.say(b"first")
        assert wait_for(lambda: made.packets() == 1)
        source.say(b"last")
        assert wait_for(source._queue.empty)
        made.end()
    assert bytes_of(tmp_path / "x.rec") == b"firstlast"


def test_it_waits_for_the_start_condition_and_keeps_what_came_just_before_and_the_header(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.record.session.BEFORE_S", 600.0)  # "just" on a machine that is busy too
    source = ToldSource()
    plan = Plan(start_when=parse_condition("pack_voltage_V > 18", "--start-when"))
    with running(tmp_path / "x.rec", [source], plan) as made:
        source.say(HEADER + lines(0, 40, volts=0.1))
        assert wait_for(lambda: made.session.live.names() != [])
        assert made.session.state == "waiting" and not (tmp_path / "x.rec").exists()
        source.say(lines(40, 10, volts=24.0))
        assert wait_for(lambda: made.session.state == "recording")
        source.say(lines(50, 10, volts=24.0))
        assert wait_for(lambda: made.packets() == 3)
        outcome = made.end()
    assert outcome.error is None
    assert bytes_of(tmp_path / "x.rec") == HEADER + lines(0, 40, volts=0.1) + lines(40, 20)
    assert any(h.kind == "condition" and "pack_voltage_V > 18" in h.text for h in made.session.happenings)


def test_a_late_start_has_the_header_lines_that_came_at_the_beginning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.record.session.BEFORE_S", 0.3)
    source = ToldSource()
    plan = Plan(start_when=parse_condition("pack_voltage_V>18", "--start-when"))
    with running(tmp_path / "x.rec", [source], plan) as made:
        source.say(HEADER + lines(0, 40, volts=0.1))
        assert wait_for(lambda: made.session.live.names() != [])
        assert not wait_for(lambda: made.session.state == "recording", 0.6)
        source.say(lines(40, 10, volts=24.0))
        assert wait_for(lambda: made.session.state == "recording")
        made.end()
    assert bytes_of(tmp_path / "x.rec") == HEADER + lines(40, 10)


def test_a_start_that_never_came_is_an_error_that_names_what_came(tmp_path: Path) -> None:
    source = ToldSource()
    plan = Plan(start_when=parse_condition("pack_volts > 18", "--start-when"))
    with running(tmp_path / "x.rec", [source], plan) as made:
        source.say(HEADER + lines(0, 40))
        assert wait_for(lambda: made.session.live.names() != [])
        outcome = made.end()
    assert outcome.error is not None and outcome.files == []
    assert "pack_volts > 18 was never met" in str(outcome.error) and "pack_voltage_V" in outcome.error.mend


def test_it_stops_by_condition_by_time_and_by_size(tmp_path: Path) -> None:
    source = ToldSource()
    plan = Plan(stop_when=parse_condition("pack_current_A >= 100", "--stop-when"))
    with running(tmp_path / "a.rec", [source], plan) as made:
        source.say(HEADER + lines(0, 40))
        assert wait_for(lambda: made.session.live.names() != [])
        assert made.stop.reason == ""
        source.say(lines(40, 5, amps=120.0))
        assert made.end(None).stopped_by == "condition"
    source = ToldSource()
    with running(tmp_path / "b.rec", [source], Plan(for_s=0.4)) as made:
        source.say(b"x")
        outcome = made.end(None)
    assert outcome.stopped_by == "time" and 0.4 <= outcome.duration_s < 30.0
    source = ToldSource()
    with running(tmp_path / "c.rec", [source], Plan(max_bytes=5000)) as made:
        for _ in range(20):
            source.say(b"y" * 500)
        outcome = made.end(None)
    assert outcome.stopped_by == "size" and outcome.bytes_written >= 5000


def test_rotation_makes_files_that_stand_by_themselves_and_tears_no_line(tmp_path: Path) -> None:
    source = ToldSource()
    with running(tmp_path / "x.rec", [source], Plan(rotate_bytes=10_000)) as made:
        text = HEADER + lines(0, 3000)
        made.give_slowly(source, text, 701)  # torn anywhere in a line
        outcome = made.end()
    assert outcome.error is None and len(outcome.files) >= 3
    assert [p.name for p in outcome.files[:2]] == ["x-001.rec", "x-002.rec"]
    rows: list[bytes] = []
    for path in outcome.files:
        whole = bytes_of(path)
        assert whole.startswith(HEADER)
        rows += whole[len(HEADER) : whole.rfind(b"\n") + 1].splitlines(keepends=True)
    assert b"".join(rows) == lines(0, 3000)  # every row once and whole


READING = parse_reading(
    """\
[reading]
name = "r"
kind = "binary"
[frame]
length_bytes = 8
sync = "AA55"
[[field]]
name = "pack_voltage_V"
offset_byte = 2
type = "u16"
[[field]]
name = "n"
offset_byte = 4
type = "u32"
"""
)


def test_rotation_tears_no_binary_frame(tmp_path: Path) -> None:
    source = ToldSource()
    decoder = FrameDecoder("told", ReadOptions(reading=READING), READING)
    frames = b"".join(b"\xaa\x55\x18\x00" + n.to_bytes(4, "little") for n in range(6000))
    with running(tmp_path / "x.rec", [source], Plan(rotate_bytes=10_000), decoders=[decoder]) as made:
        made.give_slowly(source, frames, 501)
        outcome = made.end()
    assert len(outcome.files) >= 3
    numbers: list[int] = []
    for path in outcome.files:  # frames found by their sync bytes alone, written here, not by the project's framer
        raw = bytes_of(path)
        place = raw.find(b"\xaa\x55\x18\x00")
        while place >= 0 and place + 8 <= len(raw):
            numbers.append(int.from_bytes(raw[place + 4 : place + 8], "little"))
            place = raw.find(b"\xaa\x55\x18\x00", place + 8)
    assert numbers == list(range(6000))


def test_a_pulled_cable_is_a_gap_and_the_recording_goes_on(tmp_path: Path) -> None:
    source, other = ToldSource("told"), ToldSource("other")
    with running(tmp_path / "x.rec", [source, other]) as made:
        source.say(b"before")
        assert wait_for(lambda: made.packets() == 1)
        source.pull()
        view = made.session.live.views[0]
        assert wait_for(lambda: view.state == "lost")
        other.say(b"the other goes on")
        assert wait_for(lambda: made.packets(1) == 1)
        source.push()
        assert wait_for(lambda: view.state == "listening")
        source.say(b"after")
        assert wait_for(lambda: made.packets() == 2)
        outcome = made.end()
    assert outcome.error is None
    assert bytes_of(tmp_path / "x.rec") == b"beforeafter"
    ((begun, ended, why),) = view.gaps
    assert ended is not None and 0.1 < ended - begun < 30.0 and "the cable was pulled" in why
    assert [h.kind for h in made.session.happenings] == ["lost", "back"]
    assert "another name" in made.session.happenings[1].text


def test_nothing_at_all_is_an_error_with_the_mend(tmp_path: Path) -> None:
    with running(tmp_path / "x.rec", [ToldSource()]) as made:
        outcome = made.end()
    assert outcome.error is not None and "baud" in outcome.error.mend


class SmallDisk(FileLayer):
    """Takes so many bytes and no more, as a full file system does."""

    def __init__(self, room: int) -> None:
        self.room = room

    def write(self, file: IO[bytes], data: memoryview) -> int:
        if self.room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        count = super().write(file, data[: self.room])
        self.room -= count
        return count


def test_a_full_disk_ends_it_with_a_clear_word_and_a_file_that_can_be_read(tmp_path: Path) -> None:
    source = ToldSource()
    with running(tmp_path / "x.rec", [source], store=Store(SmallDisk(20_000))) as made:
        made.give_slowly(source, HEADER + lines(0, 4000), 1000, 4)
        outcome = made.end(None)
    assert outcome.stopped_by == "disk" and isinstance(outcome.error, StoreError)
    assert "No space left" in str(outcome.error)
    kept = bytes_of(tmp_path / "x.rec")
    assert len(kept) > 5000 and (HEADER + lines(0, 4000)).startswith(kept)


def test_it_stops_before_the_disk_is_full(tmp_path: Path) -> None:
    source = ToldSource()
    with running(tmp_path / "x.rec", [source], least_free_bytes=1 << 60) as made:
        source.say(b"x")
        outcome = made.end(None)
    assert outcome.stopped_by == "disk" and outcome.error is not None
    assert "closed before it ran out" in str(outcome.error)


def test_a_folder_that_cannot_be_written_is_told_and_nothing_hangs(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with running(tmp_path / "file" / "x.rec", [ToldSource()], decoders=[RawDecoder()]) as made:
        outcome = made.end(None)
    assert isinstance(outcome.error, StoreError)


@pytest.mark.parametrize("text", ["pack_voltage_V", "> 18", "pack_voltage_V > high", "a == 3", ""])
def test_a_condition_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="is no condition"):
        parse_condition(text, "--start-when")


@pytest.mark.parametrize(
    ("text", "expected"),
    [("600", (600.0, None)), ("10min", (600.0, None)), ("1 h", (3600.0, None)), ("100MB", (None, 100_000_000))],
)
def test_rotation_is_said_in_time_or_size(text: str, expected: tuple[float | None, int | None]) -> None:
    assert parse_rotation(text) == expected


@pytest.mark.parametrize("text", ["0", "0.1s", "5B", "1kB", "often", "-3"])
def test_a_rotation_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="is no length"):
        parse_rotation(text)
