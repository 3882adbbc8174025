"""A serial port, on real pseudo-terminals: nothing written, chunks stamped, a cable pulled, a name that changes."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from ingest.errors import MissingExtra, SourceError
from ingest.record.sources.base import RecordClock, SourceGone
from ingest.record.sources.serial import SerialSource
from tests.terminal import heard, tell

if sys.platform == "win32":
    pytest.skip("there are no pseudo-terminals on Windows", allow_module_level=True)
import tty

pytest.importorskip("serial", reason="the serial extra is not installed")


@dataclass
class Pair:
    """A pseudo-terminal: what is written into master comes out of the port named by path."""

    master: int
    slave: int
    path: str

    def write(self, data: bytes) -> None:
        tell(self.master, data)

    def was_written_by_us(self) -> bytes:
        """Whatever the other side put on the line."""
        return heard(self.master, 0.1)


@contextmanager
def pseudo_terminal() -> Iterator[Pair]:
    master, slave = os.openpty()
    tty.setraw(slave)
    open_ends = {master, slave}
    pair = Pair(master, slave, os.ttyname(slave))
    try:
        yield pair
    finally:
        for handle in open_ends:
            try:
                os.close(handle)
            except OSError:  # pulled by the test
                continue


def read_all(source: SerialSource, size: int, seconds: float = 90.0) -> bytes:
    data, until = b"", time.monotonic() + seconds
    while len(data) < size and time.monotonic() < until:
        data += b"".join(raw for _, raw in source.read(0.1))
    return data


def test_bytes_come_whole_and_none_is_written() -> None:
    with pseudo_terminal() as pair:
        source = SerialSource(f"serial:{pair.path}@921600", "port")
        source.open(RecordClock())
        try:
            sent = bytes(range(256)) * 40
            for start in range(0, len(sent), 1000):
                pair.write(sent[start : start + 1000])
                if start == 0:
                    assert read_all(source, 1000) == sent[:1000]
            assert read_all(source, len(sent) - 1000) == sent[1000:]
            assert source.read(0.05) == []
            assert source.lost() == {}
        finally:
            source.close()
        assert pair.was_written_by_us() == b""


def test_a_chunk_is_stamped_when_its_first_byte_came() -> None:
    with pseudo_terminal() as pair:
        source, clock = SerialSource(f"serial:{pair.path}", "port"), RecordClock()
        source.open(clock)
        try:
            for _ in range(5):
                time.sleep(0.02)
                before = clock.now_ns()
                pair.write(b"24.1,12.0\n")
                ((stamp, data),) = source.read(90.0)
                assert data == b"24.1,12.0\n" and before <= stamp <= clock.now_ns() - 4_000_000
        finally:
            source.close()


def test_the_control_lines_are_set_before_the_opening_and_not_touched_again(monkeypatch: pytest.MonkeyPatch) -> None:
    import serial

    calls: list[str] = []

    class Watched(serial.Serial):  # type: ignore[misc]
        def open(self) -> None:
            calls.append(f"open dtr={self.dtr} rts={self.rts} flow={self.rtscts}{self.dsrdtr}{self.xonxoff}")
            super().open()

        def write(self, data: bytes) -> int:
            raise AssertionError("a byte was written")

        def _update_dtr_state(self) -> None:
            calls.append("dtr")
            super()._update_dtr_state()

        def _update_rts_state(self) -> None:
            calls.append("rts")
            super()._update_rts_state()

    monkeypatch.setattr(serial, "Serial", Watched)
    with pseudo_terminal() as pair:
        source = SerialSource(f"serial:{pair.path}", "port")
        source.open(RecordClock())
        opened = list(calls)
        pair.write(b"x" * 100)
        assert read_all(source, 100) == b"x" * 100
        source.close()
    assert opened[0] == "open dtr=True rts=True flow=FalseFalseFalse"
    assert calls == opened  # whatever opening does once, nothing later


@pytest.mark.skipif(sys.platform != "linux", reason="the calls that set the lines are Linux's")
def test_what_reaches_the_driver_only_ever_sets_the_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every call to the driver from the opening to the close, as pyserial really makes them (tty_ioctl(4)).

    The kernel raises both lines when a port is opened; setting what is set is no edge. A pseudo-terminal has no lines,
    so the call is answered here. What an adapter's own driver does at the opening cannot be tried without one.
    """
    import termios

    from serial import serialposix

    plain, asked = serialposix.fcntl.ioctl, []
    lines = {termios.TIOCMBIS: "set", termios.TIOCMBIC: "clear", termios.TIOCMSET: "both"}

    def ioctl(handle: int, call: int, *rest: object) -> object:
        if call in lines:
            asked.append((lines[call], int.from_bytes(rest[0], sys.byteorder)))  # type: ignore[arg-type]
            return bytes(4)
        return plain(handle, call, *rest)

    monkeypatch.setattr(serialposix.fcntl, "ioctl", ioctl)
    with pseudo_terminal() as pair:
        source = SerialSource(f"serial:{pair.path}", "port")
        source.open(RecordClock())
        pair.write(b"x" * 100)
        assert read_all(source, 100) == b"x" * 100
        source.close()
    assert asked == [("set", termios.TIOCM_DTR), ("set", termios.TIOCM_RTS)]


def test_the_lines_stay_as_they_are_when_the_port_is_closed() -> None:
    import termios

    with pseudo_terminal() as pair:
        source = SerialSource(f"serial:{pair.path}", "port")
        source.open(RecordClock())
        assert not termios.tcgetattr(pair.slave)[2] & termios.HUPCL  # POSIX: hang up on last close
        source.close()


def test_a_pulled_cable_is_told_and_the_same_path_is_found_again(tmp_path: Path) -> None:
    link = tmp_path / "port"
    with pseudo_terminal() as first, pseudo_terminal() as second:
        link.symlink_to(first.path)
        source = SerialSource(f"serial:{link}", "port")
        source.open(RecordClock())
        try:
            first.write(b"before\n")
            assert read_all(source, 7) == b"before\n"
            os.close(first.master)
            os.close(first.slave)
            link.unlink()
            with pytest.raises(SourceGone):
                read_all(source, 1)
            assert source.find_again() is None
            link.symlink_to(second.path)
            assert source.find_again() == str(link)
            second.write(b"after\n")
            assert read_all(source, 6) == b"after\n"
        finally:
            source.close()
        assert second.was_written_by_us() == b""


@dataclass
class Listed:
    """A port as the system's list shows it."""

    device: str
    vid: int | None
    pid: int | None
    serial_number: str | None


def test_a_port_that_changed_its_name_is_known_by_its_usb_numbers() -> None:
    with pseudo_terminal() as first, pseudo_terminal() as other, pseudo_terminal() as second:
        ports = [Listed(first.path, 0x1209, 0x0001, "A1"), Listed(other.path, 0x1209, 0x0001, "B2")]
        source = SerialSource(f"serial:{first.path}", "port", lambda: ports)
        source.open(RecordClock())
        try:
            assert source.settings["usb"] == "1209:0001" and source.settings["usb_serial"] == "A1"
            os.close(first.master)
            ports[:] = [Listed(other.path, 0x1209, 0x0001, "B2")]
            with pytest.raises(SourceGone):
                read_all(source, 1)
            assert source.find_again() is None  # the other one of its kind is not taken for it
            ports.append(Listed(second.path, 0x1209, 0x0001, "A1"))
            assert source.find_again() == second.path
            second.write(b"back\n")
            assert read_all(source, 5) == b"back\n"
        finally:
            source.close()


def test_two_alike_without_serial_numbers_are_not_confused() -> None:
    with pseudo_terminal() as first, pseudo_terminal() as second, pseudo_terminal() as third:
        ports = [Listed(first.path, 0x1209, 0x0001, None)]
        source = SerialSource(f"serial:{first.path}", "port", lambda: ports)
        source.open(RecordClock())
        source.close()
        ports[:] = [Listed(second.path, 0x1209, 0x0001, None), Listed(third.path, 0x1209, 0x0001, None)]
        assert source.find_again() is None
        ports.pop()
        assert source.find_again() == second.path
        source.close()


def test_a_port_that_is_not_there_or_in_use_is_refused_with_the_mend(tmp_path: Path) -> None:
    with pytest.raises(SourceError) as refused:
        SerialSource(f"serial:{tmp_path}/none", "port", lambda: [Listed("/dev/ttyUSB7", 1, 2, None)]).open(
            RecordClock()
        )
    assert "No such file" in str(refused.value) and "/dev/ttyUSB7" in refused.value.mend
    with pseudo_terminal() as pair:
        first, second = (SerialSource(f"serial:{pair.path}", "port") for _ in range(2))
        first.open(RecordClock())
        try:
            with pytest.raises(SourceError, match="Another program has this port"):
                second.open(RecordClock())
        finally:
            first.close()


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "serial", None)
    with pytest.raises(MissingExtra, match=r"afterbout\[serial\]"):
        SerialSource("serial:/dev/ttyUSB0", "port").open(RecordClock())
