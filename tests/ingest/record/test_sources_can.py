"""CAN on python-can's virtual and UDP multicast buses, and the kernel's frames over real sockets."""

from __future__ import annotations

import json
import os
import socket
import struct
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from ingest.errors import MissingExtra, SourceError
from ingest.record.blocks import unpack_can
from ingest.record.sources.base import RecordClock, SourceGone, Stamped
from ingest.record.sources.can import BusSource, SocketCanSource, make_can_source, packed_frame
from ingest.record.sources.can_link import CanLink, can_link, link_remarks
from ingest.record.sources.udp import only_its_groups

can = pytest.importorskip("can", reason="the can extra is not installed")

GROUP = f"239.74.{os.getpid() % 251}"  # several runs on one machine do not hear one another
MESSAGES = (
    dict(arbitration_id=0x123, data=b"\x01\x02\x03", is_extended_id=False),
    dict(arbitration_id=0x1ABCDEF0, data=bytes(range(8)), is_extended_id=True),
    dict(arbitration_id=0x7FF, data=b"", is_extended_id=False),
    dict(arbitration_id=0x100, is_remote_frame=True, dlc=4, is_extended_id=False),
    dict(arbitration_id=0x200, data=bytes(range(64)), is_fd=True, bitrate_switch=True, is_extended_id=False),
)


def frames(source: BusSource | SocketCanSource, enough: int, seconds: float = 60.0) -> list[Stamped]:
    found: list[Stamped] = []
    until = time.monotonic() + seconds
    while len(found) < enough and time.monotonic() < until:
        found += source.read(0.1)
    return found


def check_same(found: list[Stamped]) -> None:
    assert len(found) == len(MESSAGES)
    for (_, packed), sent in zip(found, MESSAGES, strict=True):
        frame = unpack_can(packed)
        assert frame.frame_id == sent["arbitration_id"] and frame.extended == sent["is_extended_id"]
        assert frame.data == sent.get("data", b"") and frame.remote == sent.get("is_remote_frame", False)
        assert frame.fd == sent.get("is_fd", False)


@pytest.fixture(params=["virtual", "udp_multicast"])
def bus_pair(request: pytest.FixtureRequest) -> Iterator[tuple[BusSource, object]]:
    interface = request.param
    channel = "afterbout-test" if interface == "virtual" else f"{GROUP}.77"
    source = make_can_source(f"can:{interface}:{channel}", "bus")
    assert isinstance(source, BusSource)
    try:
        source.open(RecordClock())
    except SourceError as error:
        if interface == "udp_multicast" and "multicast" in str(error):
            pytest.skip(f"no multicast on this machine: {error}")
        raise
    with can.Bus(interface=interface, channel=channel, receive_own_messages=False) as sender:
        if interface == "udp_multicast":
            with socket.socket(fileno=os.dup(sender.fileno())) as own:
                only_its_groups(own)
        yield source, sender
    source.close()


def test_frames_of_every_kind_come_as_they_were_sent(bus_pair: tuple[BusSource, object]) -> None:
    source, sender = bus_pair
    for message in MESSAGES:
        sender.send(can.Message(**message))  # type: ignore[attr-defined]
    check_same(frames(source, len(MESSAGES)))
    assert source.lost() == {}


def test_a_burst_comes_whole_in_order_with_its_own_times(bus_pair: tuple[BusSource, object]) -> None:
    source, sender = bus_pair
    found: list[Stamped] = []
    for first in range(0, 3000, 100):  # a hundred at once find room in the system, however late they are read
        for number in range(first, first + 100):
            sender.send(  # type: ignore[attr-defined]
                can.Message(arbitration_id=0x10, data=struct.pack("<I", number), is_extended_id=False)
            )
        found += frames(source, 100)
    assert [struct.unpack("<I", unpack_can(raw).data)[0] for _, raw in found] == list(range(3000))
    stamps = [stamp for stamp, _ in found]
    assert stamps == sorted(stamps)
    assert len(set(stamps)) > 1500  # the frames' own stamps, not one for each reading


def test_nothing_of_ours_appears_on_the_bus(bus_pair: tuple[BusSource, object]) -> None:
    source, sender = bus_pair
    sender.send(can.Message(arbitration_id=1, data=b"x"))  # type: ignore[attr-defined]
    assert len(frames(source, 1)) == 1
    on_the_bus = []
    while (message := sender.recv(0.2)) is not None:  # type: ignore[attr-defined]
        on_the_bus.append(message.arbitration_id)
    assert set(on_the_bus) <= {1}  # at most its own frame, which multicast gives back


@pytest.mark.skipif(sys.platform != "linux", reason="the option is Linux's; other systems do as it does here")
def test_another_group_of_the_same_port_is_not_heard() -> None:
    """ip(7), IP_MULTICAST_ALL: without it a socket gets what any program of the machine has joined."""
    sources = [make_can_source(f"can:udp_multicast:{GROUP}.{n}", f"bus{n}") for n in (81, 82)]
    try:
        for source in sources:
            source.open(RecordClock())
    except SourceError as error:
        pytest.skip(f"no multicast on this machine: {error}")
    try:
        with can.Bus(interface="udp_multicast", channel=f"{GROUP}.81", receive_own_messages=False) as sender:
            for number in range(20):
                sender.send(can.Message(arbitration_id=number, data=b"x", is_extended_id=False))
        assert len(frames(sources[0], 20)) == 20  # type: ignore[arg-type]
        assert frames(sources[1], 1, 0.3) == []  # type: ignore[arg-type]
    finally:
        for source in sources:
            source.close()


def test_another_programs_datagrams_are_counted_not_kept() -> None:
    source = make_can_source(f"can:udp_multicast:{GROUP}.78", "bus")
    try:
        source.open(RecordClock())
    except SourceError as error:
        pytest.skip(f"no multicast on this machine: {error}")
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
            for junk in (b"hello", b"\x81\xa1a\x01", b"\xc1", b""):
                other.sendto(junk, (f"{GROUP}.78", 43113))
        until, found = time.monotonic() + 60, []
        while source.lost() != {"no frame": 4}:
            assert time.monotonic() < until, source.lost()
            found += source.read(0.1)
        assert found == []
    finally:
        source.close()


def kernel_frame(word: int, data: bytes, fd: bool = False, flags: int = 0, length: int | None = None) -> bytes:
    """struct can_frame and canfd_frame as linux/can.h lays them out."""
    size = 64 if fd else 8
    return struct.pack("=IBB2x", word, len(data) if length is None else length, flags) + data.ljust(size, b"\0")


def test_frames_of_the_kernel_are_read_by_the_layout_of_linux_can_h() -> None:
    for raw, expected in (
        (kernel_frame(0x123, b"\x01\x02"), (0x123, False, False, False, False, b"\x01\x02")),
        (kernel_frame(0x80000000 | 0x1ABCDEF0, b"12345678"), (0x1ABCDEF0, True, False, False, False, b"12345678")),
        (kernel_frame(0x40000000 | 0x55, b"", length=4), (0x55, False, True, False, False, b"")),
        (kernel_frame(0x20000000 | 0x04, bytes(8)), (0x04, False, False, True, False, bytes(8))),
        (kernel_frame(0x321, bytes(range(48)), fd=True, flags=1), (0x321, False, False, False, True, bytes(range(48)))),
    ):
        frame = unpack_can(packed_frame(raw))
        assert (frame.frame_id, frame.extended, frame.remote, frame.error, frame.fd, frame.data) == expected
    assert packed_frame(b"short") == b""


@pytest.mark.skipif(sys.platform != "linux", reason="sockets of that kind are Linux's")
def test_the_reader_of_kernel_sockets_on_a_real_socket() -> None:
    source = SocketCanSource("can:socketcan:can0", "can0", "can0", None)
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    source.take(ours)
    try:
        for number in range(50):
            theirs.send(kernel_frame(0x100 + number, struct.pack("<I", number)))
        found = frames(source, 50)
        assert [unpack_can(raw).frame_id for _, raw in found] == [0x100 + n for n in range(50)]
        theirs.setblocking(False)
        with pytest.raises(BlockingIOError):
            theirs.recv(1)  # nothing was sent back
    finally:
        source.close()
        theirs.close()
    with pytest.raises(SourceGone):
        source.read(0.1)


@pytest.mark.skipif(sys.platform != "linux", reason="sockets of that kind are Linux's")
def test_an_interface_that_is_not_there_is_refused_with_the_mend() -> None:
    source = SocketCanSource("can:socketcan:can77", "can77", "can77", 500_000)
    with pytest.raises(SourceError) as refused:
        source.open(RecordClock())
    assert "listen-only on" in refused.value.mend
    assert source.find_again() is None


def shown(modes: list[str] | None, kind: str = "can", bitrate: int = 500_000) -> str:
    """As iproute2 prints it with -details -json (published with the patch that added the list of supported modes)."""
    data: dict[str, object] = {} if modes is None else {"ctrlmode": modes}
    data |= {
        "ctrlmode_supported": ["LOOPBACK", "LISTEN-ONLY", "TRIPLE-SAMPLING", "ONE-SHOT", "BERR-REPORTING", "FD"],
        "state": "ERROR-ACTIVE", "berr_counter": {"tx": 0, "rx": 0}, "restart_ms": 0,
        "bittiming": {"bitrate": bitrate, "sample_point": "0.875", "tq": 12, "sjw": 1, "brp": 1}, "clock": 80_000_000,
    }  # fmt: skip
    link = {"ifindex": 3, "ifname": "can0", "flags": ["NOARP", "UP", "LOWER_UP", "ECHO"], "mtu": 16,
            "operstate": "UP", "link_type": "can", "linkinfo": {"info_kind": kind, "info_data": data}}  # fmt: skip
    return json.dumps([link])


@pytest.mark.parametrize(
    ("answer", "listens", "said"),
    [
        (shown(["LISTEN-ONLY", "BERR-REPORTING"]), True, "acknowledges nothing"),
        (shown(["BERR-REPORTING"]), False, "it acknowledges frames"),
        (shown(None), False, "ip link set can0 down; ip link set can0 up type can bitrate 500000 listen-only on"),
        ("", None, "not checked whether it listens only"),
        ("Command line is not complete.", None, "not checked"),
        ("[]", None, "not checked"),
        ('[{"ifname": "can0"}]', None, "not checked"),
        ('[{"ifname": "can0", "linkinfo": {"info_kind": "bridge"}}]', None, "not checked"),
        ("[1, 2]", None, "not checked"),
        (shown(None, "vcan"), None, "in software"),
    ],
)
def test_listen_only_is_what_the_system_says_and_not_checked_where_it_says_nothing(
    answer: str, listens: bool | None, said: str
) -> None:
    link = can_link("can0", lambda channel: answer)
    assert link.listen_only is listens
    assert said in link_remarks("can0", link, None)[0]


def test_another_bit_rate_than_the_named_one_is_said() -> None:
    link = can_link("can0", lambda channel: shown(["LISTEN-ONLY"], bitrate=250_000))
    assert "its bit rate is 250000, not the 500000" in link_remarks("can0", link, 500_000)[1]
    assert len(link_remarks("can0", link, 250_000)) == 1


@pytest.mark.skipif(sys.platform != "linux", reason="ip is Linux's")
def test_the_systems_own_tool_is_asked_and_no_interface_is_no_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A tool of that name on the path, which keeps what it was asked; then none that knows the interface."""
    (tmp_path / "ip").write_text(f'#!/bin/sh\necho "$@" > {tmp_path}/asked\ncat {tmp_path}/answer\n')
    (tmp_path / "ip").chmod(0o755)
    (tmp_path / "answer").write_text(shown(["LISTEN-ONLY"]))
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    assert can_link("can0").listen_only is True
    assert (tmp_path / "asked").read_text().split() == ["-details", "-json", "link", "show", "dev", "can0"]
    (tmp_path / "ip").write_text("#!/bin/sh\nexit 1\n")
    assert can_link("can0").listen_only is None


def test_an_interface_that_comes_back_without_listen_only_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    answers = [CanLink(True, 500_000), CanLink(False, 500_000)]
    source = SocketCanSource("can:socketcan:can0", "can0", "can0", None, lambda channel: answers.pop(0))
    monkeypatch.setattr(socket, "socket", lambda *_: _Unbound())
    monkeypatch.setattr(SocketCanSource, "take", lambda self, sock: None)
    source._open()
    assert source.settings["listen_only"] == "on"
    assert "acknowledges frames" in str(source.find_again())
    assert source.settings["listen_only"] == "off"


class _Unbound:
    def setsockopt(self, *_: object) -> None: ...

    def bind(self, *_: object) -> None: ...

    def close(self) -> None: ...


def test_an_unknown_interface_and_a_missing_extra_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(SourceError, match='Did you mean "virtual"'):
        make_can_source("can:vitrual:x", "x").open(RecordClock())
    monkeypatch.setitem(sys.modules, "can", None)
    with pytest.raises(MissingExtra, match=r"afterbout\[can\]"):
        make_can_source("can:virtual:x", "x").open(RecordClock())


class _Wire:
    """An interface as python-can's adapters are built; says what it was asked."""

    asked: dict[str, object]

    def shutdown(self) -> None:
        return


class WithOption(_Wire):
    def __init__(self, channel: str, listen_only: bool = False, **kwargs: object) -> None:
        WithOption.asked = {"channel": channel, "listen_only": listen_only, **kwargs}


class WithState(_Wire):
    def __init__(self, channel: str, **kwargs: object) -> None:
        WithState.asked = {"channel": channel, **kwargs}
        self.state = can.BusState.ACTIVE


class WithNeither(_Wire):
    def __init__(self, channel: str, **kwargs: object) -> None:
        WithNeither.asked = {"channel": channel, **kwargs}

    @property
    def state(self) -> object:
        return can.BusState.ACTIVE

    @state.setter
    def state(self, new: object) -> None:
        raise NotImplementedError


@pytest.mark.parametrize(
    ("kind", "promise"),
    [
        (WithOption, "listen only: it acknowledges nothing"),
        (WithState, "acknowledges nothing"),
        (WithNeither, "cannot"),
    ],
)
def test_listen_only_is_asked_for_and_what_cannot_be_promised_is_said(
    kind: type, promise: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(can.interfaces.BACKENDS, "adapter", (__name__, kind.__name__))
    monkeypatch.setitem(sys.modules, __name__, sys.modules.get(__name__) or _this_module())
    source = make_can_source("can:adapter:0@250000", "adapter")
    source.open(RecordClock())
    assert kind.asked["channel"] == "0" and kind.asked["bitrate"] == 250_000  # type: ignore[attr-defined]
    assert promise in source.remarks()[0] and source.physical
    source.close()


def _this_module() -> object:
    import types

    module = types.ModuleType(__name__)
    module.__dict__.update(globals())
    return module
