"""A CAN interface, listened to. Nothing is sent; whether frames are acknowledged depends on the interface.

A node that only listens must not acknowledge (ISO 11898-1, bus monitoring): on a bus of two nodes an acknowledgement
from the recorder hides that the other one is gone. Where an interface cannot promise silence, remarks() says so.
Interfaces by name are python-can's; the Linux kernel's own sockets are read without it.
"""

from __future__ import annotations

import contextlib
import inspect
import socket
import struct
import sys
import time
from collections.abc import Callable
from importlib import import_module
from typing import Any, Final

from ingest.errors import MissingExtra, SourceError, UsageError, nearest
from ingest.record.blocks import pack_can
from ingest.record.sources.base import BATCH_S, Kind, RecordClock, Source, SourceGone, Stamped, Stamper
from ingest.record.sources.can_link import CanLink, bring_up, can_link, link_remarks
from ingest.record.sources.udp import DatagramReader, only_its_groups

MOST_AT_ONCE: Final = 4096
# Interfaces without a wire: nothing can be acknowledged there.
_NO_WIRE: Final = ("virtual", "udp_multicast")
_EFF, _RTR, _ERR = 0x80000000, 0x40000000, 0x20000000  # flags of the id, linux/can.h
_ID_MASK: Final = 0x1FFFFFFF
_CAN_RAW_ERR_FILTER: Final = 2  # linux/can/raw.h
_CANFD_MTU: Final = 72
_BRS, _ESI = 0x01, 0x02  # flags of struct canfd_frame


def make_can_source(address: str, name: str) -> Source:
    """can:INTERFACE:CHANNEL[@BITRATE]. Raises UsageError."""
    interface, colon, rest = address.partition(":")[2].partition(":")
    channel, at, rate = rest.rpartition("@")
    if not at:
        channel, rate = rest, ""
    if not interface or not colon or not channel or not (rate.isdecimal() or not at):
        raise UsageError(
            "is no CAN interface", file=address, expected="can:INTERFACE:CHANNEL[@BITRATE]",
            mend="For example: can:socketcan:can0@500000, can:virtual:bus1",
        )  # fmt: skip
    bitrate = int(rate) if rate else None
    if interface == "socketcan":
        return SocketCanSource(address, name, channel, bitrate)
    return BusSource(address, name, interface, channel, bitrate)


class SocketCanSource:
    """The Linux kernel's CAN sockets, read in batches with the stamps of the kernel."""

    kind: Kind = "can"
    physical = True

    def __init__(
        self,
        address: str,
        name: str,
        channel: str,
        bitrate: int | None,
        look: Callable[[str], CanLink] = can_link,
    ) -> None:
        self.address, self.name, self.channel, self.bitrate = address, name, channel, bitrate
        self._look, self._link = look, CanLink()
        self.settings = {"interface": "socketcan", "channel": channel}
        if bitrate is not None:
            self.settings["bitrate"] = str(bitrate)
        self._clock = RecordClock()
        self._socket: socket.socket | None = None
        self._reader: DatagramReader | None = None
        self._dropped = 0

    def open(self, clock: RecordClock) -> None:
        """Raises SourceError where the interface is missing or down."""
        self._clock = clock
        if not hasattr(socket, "AF_CAN"):
            raise SourceError(
                "is known on Linux only", file=self.address, mend="Name an adapter by its python-can interface."
            )
        try:
            self._open()
        except OSError as error:
            mend = f"Bring it up first: {bring_up(self.channel, self.bitrate or 500_000)}"
            raise SourceError(f"cannot be opened: {error.strerror}", file=self.address, mend=mend) from None

    def _open(self) -> None:
        sock = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
        try:
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.SOL_CAN_RAW, socket.CAN_RAW_FD_FRAMES, 1)
            sock.setsockopt(socket.SOL_CAN_RAW, _CAN_RAW_ERR_FILTER, _ID_MASK)
            sock.bind((self.channel,))
        except OSError:
            sock.close()
            raise
        self._look_at_link()
        self.take(sock)

    def _look_at_link(self) -> None:
        self._link = self._look(self.channel)
        words = {True: "on", False: "off", None: "not checked"}
        self.settings["listen_only"] = words[self._link.listen_only] if self._link.wired else "in software"

    def take(self, sock: socket.socket) -> None:
        """Read from this socket, which gives struct can_frame and struct canfd_frame."""
        self._socket, self._reader = sock, DatagramReader(sock, self._clock)

    def read(self, timeout_s: float) -> list[Stamped]:
        if self._reader is None:
            raise SourceGone("the interface is closed")
        return [(stamp, packed) for stamp, raw in self._reader.read(timeout_s) if (packed := packed_frame(raw))]

    def find_again(self) -> str | None:
        self.close()
        try:
            self._open()
        except OSError:
            return None
        listens = self._link.listen_only is not False or not self._link.wired
        return self.channel if listens else f"{self.channel}, without listen-only: it acknowledges frames"

    def close(self) -> None:
        if self._reader is not None:
            self._dropped += self._reader.dropped
        if self._socket is not None:
            self._socket.close()
        self._socket = self._reader = None

    def lost(self) -> dict[str, int]:
        dropped = self._dropped + (self._reader.dropped if self._reader is not None else 0)
        return {"dropped": dropped} if dropped else {}

    def remarks(self) -> list[str]:
        room = self._reader.remarks() if self._reader is not None else []
        return link_remarks(self.channel, self._link, self.bitrate) + room


def packed_frame(raw: bytes) -> bytes:
    """One struct can_frame or canfd_frame of the kernel (linux/can.h) as the recording keeps it; b"" for neither."""
    if len(raw) < 16:
        return b""
    word, length, flags = struct.unpack_from("=IBB", raw)
    fd = len(raw) == _CANFD_MTU
    data = b"" if word & _RTR else raw[8 : 8 + length]
    return pack_can(
        word & _ID_MASK, data, extended=bool(word & _EFF), remote=bool(word & _RTR),
        error=bool(word & _ERR), fd=fd, brs=fd and bool(flags & _BRS), esi=fd and bool(flags & _ESI),
        dlc=length if word & _RTR else None,
    )  # fmt: skip


class BusSource:
    """Any interface of python-can by its name, asked to listen only where it knows how."""

    kind: Kind = "can"

    def __init__(self, address: str, name: str, interface: str, channel: str, bitrate: int | None) -> None:
        self.address, self.name = address, name
        self.interface, self.channel, self.bitrate = interface, channel, bitrate
        self.physical = interface not in _NO_WIRE
        self.settings = {"interface": interface, "channel": channel}
        if bitrate is not None:
            self.settings["bitrate"] = str(bitrate)
        self._clock = RecordClock()
        self._stamper = Stamper(self._clock)
        self._bus: Any = None
        self._reader: DatagramReader | None = None
        self._bad = self._dropped = 0
        self._silent = False

    def open(self, clock: RecordClock) -> None:
        """Raises MissingExtra, and SourceError where the interface or its channel is not there."""
        self._clock, self._stamper = clock, Stamper(clock)
        try:
            import can
        except ImportError:
            raise MissingExtra("can", "recording from a CAN interface", self.address) from None
        if self.interface not in can.interfaces.BACKENDS:
            mend = nearest(self.interface, can.interfaces.BACKENDS)
            raise SourceError(f'"{self.interface}" is no interface of python-can', file=self.address, mend=mend)
        try:
            self._open()
        except (can.CanError, OSError, ValueError, TypeError, ImportError, NotImplementedError) as error:
            first = (str(error).splitlines() or [type(error).__name__])[0].rstrip(".")
            raise SourceError(
                f"cannot be opened: {first}", file=self.address,
                mend="Check the cable, the channel's name, and that its driver is installed.",
            ) from None  # fmt: skip

    def _open(self) -> None:
        import can

        module, name = can.interfaces.BACKENDS[self.interface]
        kind = getattr(import_module(module), name)
        options: dict[str, Any] = {"channel": self.channel}
        if self.bitrate is not None and self.physical:
            options["bitrate"] = self.bitrate
        known = inspect.signature(kind.__init__).parameters
        self._silent = "listen_only" in known
        if self._silent:
            options["listen_only"] = True
        if "receive_own_messages" in known:
            options["receive_own_messages"] = False
        bus = kind(**options)
        if self.physical and not self._silent:
            with contextlib.suppress(NotImplementedError, can.CanError):
                bus.state = can.BusState.PASSIVE
                self._silent = bus.state is can.BusState.PASSIVE
        self._bus = bus
        if self.interface == "udp_multicast" and sys.platform == "linux":
            # its own reading takes ten times as long a frame: read its socket in batches
            sock = socket.socket(fileno=_copied(bus.fileno()))
            only_its_groups(sock)
            self._reader = DatagramReader(sock, self._clock)

    def read(self, timeout_s: float) -> list[Stamped]:
        if self._bus is None:
            raise SourceGone("the interface is closed")
        if self._reader is not None:
            return self._datagrams(timeout_s)
        import can

        bus = self._bus
        found: list[Any] = []
        try:
            message = bus.recv(timeout_s)
            if message is None:
                return []
            time.sleep(BATCH_S)
            while message is not None and len(found) < MOST_AT_ONCE:
                found.append(message)
                message = bus.recv(0.0)
            if message is not None:
                found.append(message)
        except (can.CanError, OSError) as error:
            if not found:
                raise SourceGone((str(error).splitlines() or ["it failed"])[0]) from None
        self._stamper.begin()
        of_wall = self._stamper.of_wall
        return [(of_wall(int(m.timestamp * 1e9)), _packed(m)) for m in found]

    def _datagrams(self, timeout_s: float) -> list[Stamped]:
        import msgpack

        assert self._reader is not None
        made: list[Stamped] = []
        for stamp, raw in self._reader.read(timeout_s):
            try:
                m = msgpack.unpackb(raw, raw=False)
                packed = pack_can(
                    m["arbitration_id"], bytes(m["data"] or b""), extended=m["is_extended_id"],
                    remote=m["is_remote_frame"], error=m["is_error_frame"], fd=m["is_fd"], brs=m["bitrate_switch"],
                    esi=m["error_state_indicator"], dlc=m["dlc"] if m["is_remote_frame"] else None,
                )  # fmt: skip
            except (ValueError, KeyError, TypeError, struct.error, msgpack.UnpackException):
                self._bad += 1  # another program's datagram
                continue
            made.append((stamp, packed))
        return made

    def find_again(self) -> str | None:
        import can

        self.close()
        try:
            self._open()
        except (can.CanError, OSError, ValueError, TypeError, ImportError, NotImplementedError):
            return None
        return self.channel

    def close(self) -> None:
        import can

        if self._reader is not None:
            self._dropped += self._reader.dropped
            self._reader.close()
            self._reader = None
        bus, self._bus = self._bus, None
        if bus is not None:
            with contextlib.suppress(can.CanError, OSError):
                bus.shutdown()

    def lost(self) -> dict[str, int]:
        dropped = self._dropped + (self._reader.dropped if self._reader is not None else 0)
        counts = {"dropped": dropped, "no frame": self._bad}
        return {word: count for word, count in counts.items() if count}

    def remarks(self) -> list[str]:
        if not self.physical:
            return self._reader.remarks() if self._reader is not None else []
        if self._silent:
            return ["asked to listen only: it acknowledges nothing"]
        return [
            "this interface cannot promise to listen only: it acknowledges frames, "
            "which can hide that another node is gone"
        ]


def _packed(message: Any) -> bytes:
    return pack_can(
        message.arbitration_id, bytes(message.data), extended=message.is_extended_id, remote=message.is_remote_frame,
        error=message.is_error_frame, fd=message.is_fd, brs=message.bitrate_switch,
        esi=message.error_state_indicator, dlc=message.dlc if message.is_remote_frame else None,
    )  # fmt: skip


def _copied(handle: int) -> int:
    import os

    return os.dup(handle)
