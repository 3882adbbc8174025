"""The Linux kernel's own CAN sockets (linux/can.h), read without a library."""

from __future__ import annotations

import contextlib
import socket
import struct
from collections.abc import Callable
from typing import Final

from ingest.errors import SourceError
from ingest.record.blocks import pack_can
from ingest.record.sources.base import Kind, RecordClock, SourceGone, Stamped
from ingest.record.sources.can_link import CanLink, bring_up, can_link, link_remarks
from ingest.record.sources.udp import DatagramReader

_EFF, _RTR, _ERR = 0x80000000, 0x40000000, 0x20000000  # flags of the id, linux/can.h
_ID_MASK: Final = 0x1FFFFFFF
_CAN_RAW_ERR_FILTER: Final = 2  # linux/can/raw.h
_CANFD_MTU: Final = 72
_BRS, _ESI = 0x01, 0x02  # flags of struct canfd_frame


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
            self._reader.close()
            self._dropped += self._reader.dropped
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
