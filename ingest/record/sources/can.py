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
from importlib import import_module
from typing import Any, Final

from ingest.errors import MissingExtra, SourceError, UsageError, nearest
from ingest.record.blocks import pack_can
from ingest.record.sources.base import BATCH_S, Kind, RecordClock, Source, SourceGone, Stamped, Stamper
from ingest.record.sources.socketcan import SocketCanSource, packed_frame
from ingest.record.sources.udp import DatagramReader, only_its_groups

__all__ = ["BusSource", "SocketCanSource", "make_can_source", "packed_frame"]

MOST_AT_ONCE: Final = 4096
MOST_DATA_BYTES: Final = 64  # ISO 11898-1: the longest frame, CAN FD
# Interfaces without a wire: nothing can be acknowledged there.
_NO_WIRE: Final = ("virtual", "udp_multicast")


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
        except Exception as error:  # noqa: BLE001 - adapters raise what they like, on garbage too: what came is kept
            if not found:
                raise SourceGone((str(error).splitlines() or [type(error).__name__])[0]) from None
        self._stamper.begin()
        of_wall = self._stamper.of_wall
        return [(of_wall(int(m.timestamp * 1e9)), _packed(m)) for m in found]

    def _datagrams(self, timeout_s: float) -> list[Stamped]:
        import msgpack

        assert self._reader is not None
        made: list[Stamped] = []
        for stamp, raw in self._reader.read(timeout_s):
            try:
                packed = packed_datagram(raw)
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
            self._reader.close()
            self._dropped += self._reader.dropped
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


def packed_datagram(raw: bytes) -> bytes:
    """A frame as python-can's network bus sends it. Whoever is on the network can send one: nothing in it is trusted.

    Raises ValueError, KeyError, TypeError, struct.error or msgpack.UnpackException where it is none.
    """
    import msgpack

    m = msgpack.unpackb(raw, raw=False)
    data = m["data"] or b""
    if not isinstance(data, bytes) or len(data) > MOST_DATA_BYTES:  # bytes(n) of a number n would take n bytes
        raise ValueError("no data of a frame")
    extended, remote, error, fd, brs, esi = (
        bool(m[key])
        for key in (
            "is_extended_id", "is_remote_frame", "is_error_frame", "is_fd", "bitrate_switch", "error_state_indicator",
        )
    )  # fmt: skip
    return pack_can(
        m["arbitration_id"], data, extended=extended, remote=remote, error=error, fd=fd, brs=brs, esi=esi,
        dlc=m["dlc"] if remote else None,
    )  # fmt: skip


def _packed(message: Any) -> bytes:
    return pack_can(
        message.arbitration_id, bytes(message.data), extended=message.is_extended_id, remote=message.is_remote_frame,
        error=message.is_error_frame, fd=message.is_fd, brs=message.bitrate_switch,
        esi=message.error_state_indicator, dlc=message.dlc if message.is_remote_frame else None,
    )  # fmt: skip


def _copied(handle: int) -> int:
    import os

    return os.dup(handle)
