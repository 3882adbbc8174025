"""Cables pulled, controllers that reboot, ports that change their name, a computer that sleeps: marked, never glued."""

from __future__ import annotations

import itertools
import json
import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ingest.formats import ReadOptions, read_log
from ingest.record.blocks import SourceNote, whole_blocks
from ingest.record.ending import Outcome, Stop
from ingest.record.figures import TextDecoder
from ingest.record.live import Live, SourceView
from ingest.record.recorded import Recording
from ingest.record.session import Session
from ingest.record.sources.base import RecordClock
from ingest.record.triggers import Plan
from ingest.record.watch_clock import ClockWatch
from ingest.store import Store
from tests.ingest.record.made_sources import ToldSource, wait_for
from tests.ingest.record.test_session import HEADER, Running, bytes_of, lines

if sys.platform != "win32":
    from tests.ingest.record.test_sources_serial import Listed, pseudo_terminal

posix = pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals on Windows")


@pytest.fixture
def serial_source() -> Iterator[Any]:
    pytest.importorskip("serial", reason="the serial extra is not installed")
    from ingest.record.sources.serial import SerialSource

    yield SerialSource


@posix
def test_a_controller_that_reboots_is_a_recording_of_its_own(tmp_path: Path, serial_source: Any) -> None:
    """Its port goes away in the middle of a line and comes back under the same path, with its header and from zero."""
    link = tmp_path / "port"
    with pseudo_terminal() as first, pseudo_terminal() as second:
        link.symlink_to(first.path)
        made = Running(tmp_path / "x.rec", [serial_source(f"serial:{link}", "port")])
        before = HEADER + lines(0, 200) + b"2000,24.0"
        first.write(before)
        assert wait_for(lambda: made.session.live.views[0].bytes == len(before))
        os.close(first.master)
        os.close(first.slave)
        link.unlink()
        assert wait_for(lambda: made.session.live.views[0].state == "lost")
        link.symlink_to(second.path)
        assert wait_for(lambda: made.session.live.views[0].state == "listening")
        second.write(HEADER + lines(0, 100, volts=23.0))
        assert wait_for(lambda: made.session.live.views[0].bytes == len(before + HEADER + lines(0, 100)))
        assert made.end().error is None
        assert second.was_written_by_us() == b""
    assert bytes_of(tmp_path / "x.rec") == before + HEADER + lines(0, 100, volts=23.0)  # to the byte
    log = read_log(tmp_path / "x.rec")
    table = log.streams[0].table
    numbers = table["recording"].to_pylist()
    assert [numbers.count(k) for k in (0, 1)] == [200, 100]
    assert set(table["pack_voltage_V"].to_pylist()) == {24.0, 23.0}
    codes = [fault.code for fault in log.provenance.faults]
    assert "source_lost" in codes and "torn_line" in codes and "clock_restart" in codes


@posix
def test_a_port_under_another_name_goes_on_behind_a_gap(tmp_path: Path, serial_source: Any) -> None:
    """The logger's own clock ran on: its gap is by that. Torn lines on both sides make no row."""
    with pseudo_terminal() as first, pseudo_terminal() as second:
        ports = [Listed(first.path, 0x1209, 0x0001, "A1")]
        source = serial_source(f"serial:{first.path}", "port", lambda: ports)
        made = Running(tmp_path / "x.rec", [source])
        first.write(HEADER + lines(0, 200) + b"2000,24.")
        assert wait_for(lambda: made.session.live.views[0].bytes == len(HEADER + lines(0, 200)) + 8)
        held = os.open(first.path, os.O_RDONLY | os.O_NOCTTY)  # nobody else gets its number
        os.close(first.master)
        ports.clear()
        assert wait_for(lambda: made.session.live.views[0].state == "lost")
        ports.append(Listed(second.path, 0x1209, 0x0001, "A1"))
        assert wait_for(lambda: made.session.live.views[0].state == "listening")
        before, after = HEADER + lines(0, 200) + b"2000,24.", b"00,10.0\n" + lines(900, 100)
        second.write(after)
        # What came, and not what was looked at: the live view leaves out what a busy computer has no time for.
        assert wait_for(lambda: made.session.live.views[0].bytes == len(before + after))
        outcome = made.end()
        os.close(held)
    assert outcome.error is None
    (back,) = [h for h in made.session.happenings if h.kind == "back"]
    assert second.path in back.text
    log = read_log(tmp_path / "x.rec")
    times = [round(t * 100) for t in log.streams[0].table["time_s"].to_pylist()]
    assert times == [*range(200), *range(900, 1000)]
    assert log.provenance.clock is not None and log.provenance.clock.gaps == ((1.99, 9.0),)
    assert set(log.streams[0].table["pack_voltage_V"].to_pylist()) == {24.0}


class HandClock(RecordClock):
    """A computer that can be put to sleep, and whose wall clock can be set."""

    def __init__(self) -> None:
        super().__init__()
        self.slept_s = self.moved_s = 0.0

    def now_ns(self) -> int:
        return super().now_ns() + round(self.slept_s * 1e9)

    def asleep_ns(self) -> int:
        return round(self.slept_s * 1e9)

    def wall_moved_s(self) -> float:
        return self.moved_s


def test_a_sleep_of_the_computer_is_a_gap_of_every_source_and_a_set_wall_clock_is_noted(tmp_path: Path) -> None:
    sources = [ToldSource("one"), ToldSource("other")]
    views = [SourceView(s, TextDecoder(s.name, ReadOptions())) for s in sources]
    notes = [SourceNote(s.name, s.kind, s.settings, None) for s in sources]
    clock, stop = HandClock(), Stop()
    session = Session(sources, notes, Live(views), tmp_path / "x.rec", Plan(), Store(), clock, least_free_bytes=0)
    session.open()
    told: list[Outcome] = []
    thread = threading.Thread(target=lambda: told.append(session.run(stop)))
    thread.start()
    text = b"".join(b"%.2f,%d\n" % (24 - n % 7 / 10, n * n % 89) for n in range(40))  # without a clock of its own
    for source in sources:
        source.say(text + b"24.1,")
    assert wait_for(lambda: all(view.bytes == len(text) + 5 for view in views))
    assert wait_for(lambda: session._writer is not None and not session._writer._packets)
    clock.slept_s = 3600.0
    assert wait_for(lambda: [h.kind for h in session.happenings] == ["slept", "slept"])
    clock.moved_s = 3600.0
    assert wait_for(lambda: len(session.happenings) == 3)
    for source in sources:
        source.say(b"30\n" + text)
    assert wait_for(lambda: all(view.bytes == 2 * len(text) + 8 for view in views))
    stop.ask("asked")
    thread.join(60)
    assert told and told[0].error is None
    assert all(len(view.gaps) == 1 for view in views)
    log = read_log(tmp_path / "x.rec")
    notes_said = [fault.note for fault in log.provenance.faults]
    assert sum("the computer slept for 3600.0 s" in note for note in notes_said) == 2
    assert sum("wall clock was set by +3600.0 s" in note for note in notes_said) == 1
    for stream in log.streams:
        times = stream.table["time_s"].to_numpy()
        assert len(times) == 80 and 3599 < max(b - a for a, b in itertools.pairwise(times)) < 3700
        assert 30.0 not in stream.table.columns[-2].to_pylist()


def test_short_stops_and_small_corrections_are_not_marked() -> None:
    clock = HandClock()
    watch = ClockWatch(clock, 1)
    clock.slept_s, clock.moved_s = 0.3, -0.9
    assert watch.look(clock.now_ns()) == []
    clock.slept_s, clock.moved_s = 1.0, -1.1
    assert [happening.kind for happening in watch.look(clock.now_ns())] == ["slept", "clock"]
    assert watch.look(clock.now_ns()) == []


def test_both_clocks_stand_in_the_file(tmp_path: Path) -> None:
    source = ToldSource()
    made = Running(tmp_path / "x.rec", [source])
    source.say(HEADER + lines(0, 20))
    assert wait_for(lambda: made.packets() == 1)
    made.end()
    head = json.loads(next(block for block in whole_blocks(tmp_path / "x.rec")).payload)
    assert head["wall_start"] == made.session.clock.wall_start.isoformat()
    assert head["clock_ns"] == made.session.clock.computer_ns and head["boot"] == made.session.clock.boot
    assert Recording(tmp_path / "x.rec").parts[0].placed == "first"


@pytest.mark.skipif(sys.platform != "linux", reason="CLOCK_BOOTTIME is Linux's")
def test_on_linux_the_clock_runs_on_while_the_computer_sleeps() -> None:
    """clock_gettime(2): CLOCK_BOOTTIME also includes any time that the system is suspended."""
    clock = RecordClock()
    before = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
    now = clock.now_ns() + clock.computer_ns
    assert before <= now <= time.clock_gettime_ns(time.CLOCK_BOOTTIME)

    def asleep_ns() -> int:
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME) - time.clock_gettime_ns(time.CLOCK_MONOTONIC)

    # of some looks that which was least interrupted between its two clocks
    least = min(abs(clock.asleep_ns() - asleep_ns()) for _ in range(50))
    assert least < 5_000_000
    assert clock.boot and RecordClock().boot == clock.boot
