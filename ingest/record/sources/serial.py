"""A serial port, through pyserial. Nothing is ever written to it, and its two control lines are held steady.

DTR and RTS are both on from the opening on: that is what opening does by itself on most systems, a port that carries
its own USB needs DTR to send at all, and one edge less cannot reset a board in the middle of a recording. Where the
system allows it they also stay on when the recording ends.
"""

from __future__ import annotations

import errno
import os
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final

from ingest.errors import MissingExtra, SourceError, UsageError
from ingest.record.sources.base import BATCH_S, Kind, RecordClock, SourceGone, Stamped

DEFAULT_BAUD: Final = 115_200
_PARITIES: Final = "NEOMS"
_COUNTERS: Final = {6: "framing", 7: "overrun", 8: "parity", 10: "buffer overrun"}  # of struct serial_icounter_struct
_TIOCGICOUNT: Final = 0x545D  # linux/serial.h, asm-generic/ioctls.h
_LOST_EVERY_S: Final = 1.0


class SerialSource:
    """serial:PORT[@BAUD[/FORMAT]], such as serial:/dev/ttyUSB0@921600 or serial:COM3@115200/8E1."""

    kind: Kind = "serial"
    physical = True

    def __init__(self, address: str, name: str, ports: Callable[[], Iterable[Any]] | None = None) -> None:
        place, _, rate = address.partition(":")[2].rpartition("@") if "@" in address else (address[7:], "", "")
        self.port, self.address = place, address
        self.name = name
        baud, _, form = rate.partition("/")
        form = (form or "8N1").upper()
        self.baud = int(baud) if baud.isdecimal() and int(baud) else 0 if baud else DEFAULT_BAUD
        stops = {"1": 1, "1.5": 1.5, "2": 2}.get(form[2:])
        if not place or not self.baud or form[:1] not in "5678" or form[1:2] not in _PARITIES or stops is None:
            raise UsageError(
                "is no serial port", file=address, expected="serial:PORT@BAUD",
                mend="For example: serial:/dev/ttyUSB0@921600, or serial:COM3@115200/8N1",
            )  # fmt: skip
        self._form: tuple[int, str, float] = (int(form[0]), form[1], stops)
        self.settings = {"port": place, "baud": str(self.baud), "format": form}
        self._ports = ports
        self._identity: tuple[Any, ...] | None = None
        self._device: Any = None
        self._clock = RecordClock()
        self._lost: dict[str, int] = {}
        self._lost_at = 0.0
        self._lost_before: tuple[int, ...] | None = None

    def open(self, clock: RecordClock) -> None:
        """Raises MissingExtra, and SourceError where the port is not there or is in use."""
        self._clock = clock
        library = _library(self.address)
        try:
            self._open(self.port)
        except (library.SerialException, OSError, ValueError) as error:
            raise self._refused(error) from None
        info = next((p for p in self._listed() if _same_path(p.device, self.port)), None)
        self._identity = _identity(info)
        if info is not None and info.vid is not None:
            self.settings["usb"] = f"{info.vid:04x}:{info.pid:04x}"
            if info.serial_number:
                self.settings["usb_serial"] = str(info.serial_number)

    def read(self, timeout_s: float) -> list[Stamped]:
        """The bytes that came, stamped at the first of them."""
        device = self._device
        if device is None:
            raise SourceGone("the port is closed")
        try:
            if device.timeout != timeout_s:
                device.timeout = timeout_s
            first = device.read(1)
            if not first:
                self._look_at_lost()
                return []
            stamp = self._clock.now_ns()
            time.sleep(BATCH_S)
            data = first + device.read(device.in_waiting)
        except OSError as error:  # pyserial's own errors are OSErrors
            raise SourceGone(_plain(error)) from None
        self._look_at_lost()
        return [(stamp, data)]

    def find_again(self) -> str | None:
        """The same USB device under whatever name, else the same path."""
        self.close()
        found = self._candidate()
        if found is None:
            return None
        try:
            self._open(found)
        except (OSError, ValueError):  # not ready yet, or still held
            return None
        self._lost_before = None
        return found

    def close(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            try:
                device.close()
            except OSError:  # it is gone already
                return

    def lost(self) -> dict[str, int]:
        return dict(self._lost)

    def remarks(self) -> list[str]:
        return []

    def _open(self, port: str) -> None:
        bits, parity, stops = self._form
        device = _library(self.address).Serial(
            None, self.baud, bytesize=bits, parity=parity, stopbits=stops, timeout=0.1, write_timeout=0,
            xonxoff=False, rtscts=False, dsrdtr=False, exclusive=None if sys.platform == "win32" else True,
        )  # fmt: skip
        device.dtr = True
        device.rts = True
        device.port = port
        device.open()
        _stay_on_at_close(device)
        self._device = device

    def _candidate(self) -> str | None:
        listed = self._listed()
        if self._identity is None:
            return self.port if sys.platform == "win32" or Path(self.port).exists() else None
        same = [p for p in listed if _identity(p) == self._identity]
        here = [p for p in same if _same_path(p.device, self.port)]
        if here:
            return self.port
        # Two adapters of one kind without a serial number of their own cannot be told apart.
        return str(same[0].device) if len(same) == 1 else None

    def _listed(self) -> list[Any]:
        if self._ports is not None:
            return list(self._ports())
        from serial.tools import list_ports

        try:
            return list(list_ports.comports())
        except OSError:
            return []

    def _refused(self, error: Exception) -> SourceError:
        known = ", ".join(sorted(str(p.device) for p in self._listed())[:8])
        text = _plain(error)
        if "denied" in text.lower():
            mend = "Your account may not use it (on Linux: join the group dialout), or another program has it."
        elif getattr(error, "errno", None) in (errno.EAGAIN, errno.EBUSY):
            text = "it is in use"
            mend = "Another program has this port: close it."
        else:
            mend = f"Ports that are there: {known}." if known else "No serial port is there: check the cable."
        return SourceError(f"cannot be opened: {text}", file=self.address, mend=mend)

    def _look_at_lost(self) -> None:
        """Errors that the driver counts (Linux); other systems and pseudo-terminals count none."""
        now = time.monotonic()
        if sys.platform != "linux" or now - self._lost_at < _LOST_EVERY_S:
            return
        self._lost_at = now
        import fcntl
        import struct

        try:
            raw = fcntl.ioctl(self._device.fileno(), _TIOCGICOUNT, bytes(80))
        except OSError:
            return
        counts = struct.unpack("20i", raw)
        before, self._lost_before = self._lost_before or counts, counts
        for place, word in _COUNTERS.items():
            if counts[place] > before[place]:
                self._lost[word] = self._lost.get(word, 0) + counts[place] - before[place]


def _library(address: str) -> Any:
    try:
        import serial
    except ImportError:
        raise MissingExtra("serial", "recording from a serial port", address) from None
    return serial


def _stay_on_at_close(device: Any) -> None:
    """Without this the system drops DTR at the close, which resets many boards."""
    if sys.platform == "win32":
        return
    import termios

    try:
        settings = termios.tcgetattr(device.fileno())
        settings[2] &= ~termios.HUPCL
        termios.tcsetattr(device.fileno(), termios.TCSANOW, settings)
    except termios.error:
        return


def _identity(info: Any) -> tuple[Any, ...] | None:
    return None if info is None or info.vid is None else (info.vid, info.pid, info.serial_number)


def _same_path(one: str, other: str) -> bool:
    if sys.platform == "win32":
        return one.upper() == other.upper()
    return Path(one).resolve() == Path(other).resolve()


def _plain(error: Exception) -> str:
    """The system's own words, without the library's around them."""
    number = getattr(error, "errno", None)
    if isinstance(number, int) and number > 0:
        return os.strerror(number)
    if "returned no data" in str(error):  # how the library sees a port whose other end is gone
        return "it was disconnected, or another program reads it too"
    return str(error).splitlines()[0].rstrip(".") if str(error) else type(error).__name__
