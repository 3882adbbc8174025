"""What the system or a driver loses is marked at its place and never glued over; a driver that fails oddly is a gap."""

from __future__ import annotations

import socket
import sys
import tracemalloc
from pathlib import Path

import pytest

from ingest.formats import ReadOptions, read_log
from ingest.record.figures import TextDecoder
from ingest.record.listener import COUNTED_AGAIN_S, Inbox, Listener, Losses
from ingest.record.recorded import Recording
from ingest.record.sources.base import RecordClock, Stamped
from ingest.record.sources.udp import UdpSource
from tests.ingest.record.made_sources import ToldSource, wait_for
from tests.ingest.record.test_session import HEADER, Running, lines

linux = pytest.mark.skipif(sys.platform != "linux", reason="only Linux counts what a socket dropped")


def small(source: UdpSource, size: int = 4096) -> None:
    assert source._socket is not None
    source._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, size)


@linux
def test_a_loss_is_told_with_the_first_datagram_behind_it() -> None:
    """The sender's own numbers say where it is."""
    source = UdpSource("udp:0", "udp")
    source.open(RecordClock())
    try:
        small(source)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for number in range(200):  # the first few have room
                sender.sendto(b"%03d" % number + b"x" * 500, ("127.0.0.1", source.bound_port))
            before = source.read(0.1)
            assert source.lost() == {}
            kept = len(before)
            assert 0 < kept < 200 and [int(data[:3]) for _, data in before] == list(range(kept))
            sender.sendto(b"200", ("127.0.0.1", source.bound_port))
            sender.sendto(b"201", ("127.0.0.1", source.bound_port))
            behind = source.read(0.1)
        assert [data for _, data in behind] == [b"200", b"201"]
        assert source.lost() == {"dropped": 200 - kept}
    finally:
        source.close()


@linux
def test_a_batch_ends_where_the_loss_is() -> None:
    """Both sides of it wait in the system when they are read."""
    source = UdpSource("udp:0", "udp")
    source.open(RecordClock())
    try:
        small(source, 1 << 16)
        where = ("127.0.0.1", source.bound_port)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for number in range(400):
                sender.sendto(b"%03d" % number + b"x" * 500, where)
            assert source._reader is not None
            freed = [int(source._reader._one()[1][:3]) for _ in range(60)]  # room for some behind the loss
            for number in range(400, 410):
                sender.sendto(b"%03d" % number, where)
        assert freed == list(range(60))
        first = [int(data[:3]) for _, data in source.read(0.1)]
        assert first == list(range(60, 60 + len(first))) and source.lost() == {}
        second = [int(data[:3]) for _, data in source.read(0.1)]
        assert second == list(range(400, 410)) and source.lost() == {"dropped": 400 - 60 - len(first)}
    finally:
        source.close()


@linux
def test_what_was_lost_at_the_very_end_is_counted_when_it_is_closed() -> None:
    source = UdpSource("udp:0", "udp")
    source.open(RecordClock())
    small(source)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for _ in range(200):
            sender.sendto(b"x" * 500, ("127.0.0.1", source.bound_port))
    kept = len(source.read(0.1))
    source.close()
    assert 0 < kept < 200 and source.lost() == {"dropped": 200 - kept}


class CountingSource(ToldSource):
    """Says what it lost as a test wants it."""

    def __init__(self) -> None:
        super().__init__()
        self.counts: dict[str, int] = {}

    def lost(self) -> dict[str, int]:
        return dict(self.counts)


def test_a_loss_stands_in_the_file_and_the_torn_lines_beside_it_make_no_row(tmp_path: Path) -> None:
    """`990,24.0|0,10.0 … 2000,2|3.10,10.0` would be rows that nobody logged."""
    source = CountingSource()
    made = Running(tmp_path / "x.rec", [source], decoders=[TextDecoder("told", ReadOptions())])
    before = HEADER + lines(0, 100) + b"1000,2"
    source.say(before)
    assert wait_for(lambda: made.session.live.views[0].bytes == len(before))
    source.counts = {"dropped": 4348}
    behind = b"9,10.0\n" + lines(300, 100)
    source.say(behind)
    assert wait_for(lambda: made.session.live.views[0].bytes == len(before + behind))
    assert made.end().error is None
    (event,) = Recording(tmp_path / "x.rec").events
    assert event.kind == "dropped" and "4,348 packets were lost here" in event.text
    log = read_log(tmp_path / "x.rec")
    assert set(log.streams[0].table["pack_voltage_V"].to_pylist()) == {24.0}
    assert log.streams[0].table.num_rows == 200
    (fault,) = [f for f in log.provenance.faults if f.code == "source_lost"]
    assert "4,348 packets" in fault.note
    assert any("4,348 packets" in happening.text for happening in made.session.happenings)


def test_counts_without_a_place_are_told_once_a_minute_and_at_the_end() -> None:
    source = CountingSource()
    losses = Losses(0, source)
    assert losses.look(0) == []
    told = []
    for second in range(130):
        source.counts = {"framing": 10 * (second + 1)}
        told += losses.look(second * 1_000_000_000)
    told += losses.look(130 * 1_000_000_000, last=True)
    assert [h.kind for h in told] == ["counted"] * 4
    assert [h.t_ns // 10**9 for h in told] == [0, COUNTED_AGAIN_S, 2 * COUNTED_AGAIN_S, 130]
    assert [h.text.split()[2] for h in told] == ["10", "600", "600", "90"]  # 1,300 in all
    assert losses.look(10**12) == []


class OddDriver(ToldSource):
    """Raises what it likes, as an adapter does that is pulled in the middle of a call."""

    def __init__(self) -> None:
        super().__init__()
        self.failures: list[Exception] = []
        self.not_back: list[Exception] = []

    def read(self, timeout_s: float) -> list[Stamped]:
        if self.failures:
            raise self.failures.pop()
        return super().read(timeout_s)

    def find_again(self) -> str | None:
        if self.not_back:
            raise self.not_back.pop()
        return super().find_again()


def test_a_driver_that_fails_oddly_is_a_gap_and_no_end(tmp_path: Path) -> None:
    source = OddDriver()
    source.failures = [IndexError("index out of range"), TypeError("'NoneType' is no number")]
    source.not_back = [RuntimeError("not yet")]
    made = Running(tmp_path / "x.rec", [source])
    assert wait_for(lambda: len(made.session.happenings) == 4)
    source.say(HEADER + lines(0, 100))
    assert wait_for(lambda: made.session.live.views[0].packets == 1)
    assert made.end().error is None
    kinds = [event.kind for event in Recording(tmp_path / "x.rec").events]
    assert kinds == ["lost", "back", "lost", "back"]
    assert "TypeError: 'NoneType' is no number" in made.session.happenings[0].text


def test_what_waits_in_the_system_at_the_stop_is_still_taken() -> None:
    source, inbox = ToldSource(), Inbox()
    clock = RecordClock()
    source.open(clock)
    for number in range(50):
        source.say(b"%d\n" % number)
    listener = Listener(0, source, clock, inbox)
    listener.stop()  # before it read anything: as on a computer that gave it no time
    stamps = iter(range(-50, 0))
    source.read = lambda timeout_s: [(next(stamps), source._queue.get_nowait())] if source._queue.qsize() else []  # type: ignore[method-assign, list-item]
    listener.start()
    listener.join(30.0)
    packets, _ = inbox.take()
    assert [packet.data for packet in packets] == [b"%d\n" % n for n in range(50)] and source.closed


def test_a_source_that_never_pauses_does_not_hold_up_the_stop() -> None:
    source, inbox = ToldSource(), Inbox()
    clock = RecordClock()
    source.read = lambda timeout_s: [(clock.now_ns(), b"x")]  # type: ignore[method-assign]
    listener = Listener(0, source, clock, inbox)
    listener.stop()
    listener.start()
    listener.join(30.0)
    assert not listener.is_alive() and inbox.take()[0] == []  # what came behind the stop is not wanted


@pytest.mark.parametrize("data", [2**31, 2**63, -1, [1, 2, 3], "text", b"x" * 65, {"a": 1}, 1.5])
def test_a_datagram_that_asks_for_memory_is_no_frame(data: object) -> None:
    """The network bus carries what anybody on the network sends: a number as the data would become that many bytes."""
    msgpack = pytest.importorskip("msgpack", reason="the can extra is not installed")
    from ingest.record.sources.can import packed_datagram

    names = ("is_extended_id", "is_remote_frame", "is_error_frame", "is_fd", "bitrate_switch", "error_state_indicator")
    about = dict.fromkeys(names, False) | {"arbitration_id": 1, "dlc": 0}
    assert packed_datagram(msgpack.packb(about | {"data": b"\1"}))[-1:] == b"\1"
    raw = msgpack.packb(about | {"data": data})
    tracemalloc.start()
    try:
        with pytest.raises((ValueError, TypeError)):
            packed_datagram(raw)
        assert tracemalloc.get_traced_memory()[1] < 1 << 20
    finally:
        tracemalloc.stop()
