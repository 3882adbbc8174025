"""Sources by their address, the wall stamps brought onto the recording's clock, datagrams on real sockets."""

from __future__ import annotations

import socket
import struct
import sys
import time

import pytest

from ingest.errors import SourceError, UsageError
from ingest.record.sources import make_sources
from ingest.record.sources.base import RecordClock, Source, Stamper
from ingest.record.sources.demo import HEADER, RATE_HZ, DemoSignal
from ingest.record.sources.udp import UdpSource


def gather(source: Source, enough: int, seconds: float = 60.0) -> list[tuple[int, bytes]]:
    """Packets until there are enough, or the time is up."""
    found: list[tuple[int, bytes]] = []
    until = time.monotonic() + seconds
    while len(found) < enough and time.monotonic() < until:
        found += source.read(0.1)
    return found


@pytest.mark.parametrize(
    ("address", "kind", "name"),
    [
        ("serial:/dev/ttyUSB0@921600", "serial", "ttyUSB0"),
        ("serial:COM3@115200/8E1", "serial", "COM3"),
        ("serial:/dev/ttyACM1", "serial", "ttyACM1"),
        ("can:socketcan:can0@500000", "can", "can0"),
        ("can:virtual:bus1", "can", "bus1"),
        ("can:udp_multicast:239.0.0.1", "can", "239.0.0.1"),
        ("udp:14550", "udp", "udp14550"),
        ("udp:0.0.0.0:14550", "udp", "udp14550"),
        ("demo:", "demo", "demo"),
    ],
)
def test_an_address_says_kind_and_name(address: str, kind: str, name: str) -> None:
    (source,) = make_sources([address])
    assert (source.kind, source.name, source.address) == (kind, name, address)


@pytest.mark.parametrize(
    ("address", "what"),
    [
        ("ttyUSB0", "is no source"),
        ("seriel:/dev/ttyUSB0", 'Did you mean "serial"'),
        ("serial:", "is no serial port"),
        ("serial:/dev/ttyUSB0@fast", "is no serial port"),
        ("serial:/dev/ttyUSB0@0", "is no serial port"),
        ("serial:/dev/ttyUSB0@9600/9N1", "is no serial port"),
        ("can:can0", "is no CAN interface"),
        ("can:socketcan:can0@half", "is no CAN interface"),
        ("udp:", "is no place to listen at"),
        ("udp:127.0.0.1:70000", "is no place to listen at"),
        ("demo:7", "is no source"),
        ("demo", "is no source"),
    ],
)
def test_an_address_that_is_none_is_refused_with_the_mend(address: str, what: str) -> None:
    with pytest.raises(UsageError) as refused:
        make_sources([address])
    assert what in str(refused.value) and refused.value.mend and refused.value.exit_code == 2


def test_two_sources_of_one_name_are_told_apart_and_one_address_twice_is_refused() -> None:
    first, second = make_sources(["udp:127.0.0.1:14550", "udp:0.0.0.0:14550"])
    assert first.name != second.name
    with pytest.raises(UsageError, match="named twice"):
        make_sources(["demo:", "demo:"])


def test_stamps_of_the_system_are_brought_over_and_nonsense_gives_way_to_now() -> None:
    now, wall = 7_000_000_000, 1_800_000_000_000_000_000

    class Standing(RecordClock):
        def now_ns(self) -> int:
            return now

        def wall_offset_ns(self) -> int:
            return now - wall

    stamper = Stamper(Standing())
    stamper.begin()
    assert stamper.of_wall(wall - 3_000_000) == now - 3_000_000
    for nonsense in (0, 12_345, wall + 3600 * 10**9, wall - 3600 * 10**9):
        stamper.begin()
        assert stamper.of_wall(nonsense) == now
    assert stamper.of_wall(wall - 50_000_000) == now  # never back


def test_the_wall_clock_is_brought_over_by_what_both_clocks_show() -> None:
    """Read in this order the one clock minus the other is at most the truth, and at least in the other order."""
    clock = RecordClock()
    held = []
    for _ in range(20):  # an interruption in the middle of a look is no fault of it
        least, offset = clock.now_ns() - time.time_ns(), clock.wall_offset_ns()
        wall_ns = time.time_ns()
        most = clock.now_ns() - wall_ns
        held.append(least - 1_000_000 <= offset <= most + 1_000_000 and most - least < 50_000_000)
    assert any(held)


def wait_for_stamps(source: UdpSource, clock: RecordClock) -> None:
    """The kernel begins to stamp a little after it was asked to: until a datagram read late is stamped early."""
    until = time.monotonic() + 60
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        while True:
            sent_ns = clock.now_ns()
            sender.sendto(b"early", ("127.0.0.1", source.bound_port))
            time.sleep(0.05)
            ((stamp, _),) = gather(source, 1)
            if stamp - sent_ns < 25_000_000:
                return
            assert time.monotonic() < until, "no stamp of the kernel's"


def test_datagrams_keep_their_bounds_their_order_and_their_time_of_arrival() -> None:
    source = UdpSource("udp:0", "udp")
    clock = RecordClock()
    source.open(clock)
    try:
        if sys.platform == "linux":
            wait_for_stamps(source, clock)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            sent_ns = []
            for number in range(200):
                sent_ns.append(clock.now_ns())
                sender.sendto(struct.pack("<I", number) + b"x" * (number % 7), ("127.0.0.1", source.bound_port))
                time.sleep(0.0005)
        found = gather(source, 200)
        assert [data for _, data in found] == [struct.pack("<I", n) + b"x" * (n % 7) for n in range(200)]
        stamps = [stamp for stamp, _ in found]
        assert stamps == sorted(stamps)
        if sys.platform == "linux":  # the kernel's stamps: not those of the batch in which they were read
            late = [stamp - sent for stamp, sent in zip(stamps, sent_ns, strict=True)]
            assert min(late) > -1_000_000 and sorted(late)[100] < 5_000_000
        assert source.lost() == {}
    finally:
        source.close()


def test_only_this_machine_is_heard_unless_an_address_is_written() -> None:
    assert UdpSource("udp:14550", "udp").host == "127.0.0.1"
    assert UdpSource("udp:14550", "udp").remarks() == []
    assert "every network" in UdpSource("udp:0.0.0.0:14550", "udp").remarks()[0]


def test_a_port_that_is_taken_and_a_foreign_address_are_refused() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", 0))
        with pytest.raises(SourceError, match="Another program listens there"):
            UdpSource(f"udp:{other.getsockname()[1]}", "udp").open(RecordClock())
    with pytest.raises(SourceError, match="an address of this machine"):
        UdpSource("udp:203.0.113.9:9000", "udp").open(RecordClock())  # RFC 5737: for documentation only


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux counts what a socket dropped")
def test_what_the_system_dropped_is_counted() -> None:
    source = UdpSource("udp:0", "udp")
    source.open(RecordClock())
    try:
        assert source._socket is not None
        source._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for _ in range(500):
                sender.sendto(b"x" * 1000, ("127.0.0.1", source.bound_port))
            sent, found, last = 500, [], b"the count comes with the next one that has room"
            while not found or found[-1] != last:
                sender.sendto(last, ("127.0.0.1", source.bound_port))
                sent += 1
                found += [data for _, data in gather(source, 1)]
            found += [data for _, data in gather(source, 10**9, 0.3)]
        assert len(found) < 500 and source.lost() == {"dropped": sent - len(found)}
    finally:
        source.close()


@pytest.mark.skipif(sys.platform != "linux", reason="the limit is Linux's")
def test_a_small_buffer_of_the_system_is_said_with_the_mend() -> None:
    source = UdpSource("udp:0", "udp")
    source.open(RecordClock())
    try:
        assert source._reader is not None
        source._reader.buffer_bytes = 425_984  # what a system gives by its usual net.core.rmem_max of 212992
        (said,) = source.remarks()
        assert "425 kB" in said and "sysctl -w net.core.rmem_max=16777216" in said
        source._reader.buffer_bytes = 1 << 26
        assert source.remarks() == []
    finally:
        source.close()


def test_the_invented_stream_is_the_same_every_time_and_has_its_channels() -> None:
    one, other = DemoSignal(), DemoSignal()
    lines = [one.line(n) for n in range(3000)]
    assert lines == [other.line(n) for n in range(3000)]
    assert all(len(line.split(",")) == len(HEADER.split(",")) for line in lines)
    volts = [float(line.split(",")[1]) for line in lines]
    amps = [float(line.split(",")[2]) for line in lines]
    assert 20.0 < min(volts) < max(volts) < 25.3 and 60.0 < max(amps) < 160.0


def test_the_invented_stream_comes_in_time() -> None:
    """Every line that was due when it was asked, and none before its time."""
    (source,) = make_sources(["demo:"])
    clock = RecordClock()
    before_ns = clock.now_ns()
    source.open(clock)
    opened_ns, text = clock.now_ns(), ""
    while (lines := text.count("\n")) <= RATE_HZ:  # a second of it
        asked_ns = clock.now_ns()
        got = source.read(0.1)
        text += b"".join(data for _, data in got).decode()
        if got:
            lines = text.count("\n") - 1
            assert (asked_ns - opened_ns) * RATE_HZ // 10**9 <= lines <= (clock.now_ns() - before_ns) * RATE_HZ // 10**9
    assert text.startswith(HEADER + "\n")
