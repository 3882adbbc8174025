"""Datagrams over UDP. One datagram is one packet of the recording; nothing is ever sent."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import struct
import sys
import time
from typing import Final

from ingest.errors import SourceError, UsageError
from ingest.record.sources.base import BATCH_S, Kind, RecordClock, SourceGone, Stamped, Stamper

DEFAULT_HOST: Final = "127.0.0.1"
# Our choice: room for a second of the busiest telemetry while the disk is slow; the system may give less.
BUFFER_BYTES: Final = 16 << 20
MAX_DATAGRAM: Final = 65_535
MOST_AT_ONCE: Final = 4096
_SO_TIMESTAMPNS: Final = 35  # Linux, asm-generic/socket.h
_SO_RCVBUFFORCE: Final = 33  # the same: more than net.core.rmem_max, for the administrator
_IP_MULTICAST_ALL, _IPV6_MULTICAST_ALL = 49, 29  # linux/in.h, linux/in6.h
_SO_RXQ_OVFL: Final = 40  # the same: how many datagrams the socket dropped so far
_SO_MEMINFO, _DROPS = 55, 8  # linux/sock_diag.h: figures of a socket, 32 bits each; the ninth is the same count
_ANCILLARY: Final = 128
# Our choice: where the system loses packets the reader stops at the first one behind the loss, so that the mark stands
# at its place; not more often, because a computer that is too busy already must not be given more to do.
_TELL_AGAIN_S: Final = 0.1


class UdpSource:
    """udp:[HOST:]PORT. Without a host only programs of this machine are heard; a multicast group is joined."""

    kind: Kind = "udp"
    physical = False

    def __init__(self, address: str, name: str) -> None:
        self.address, self.name = address, name
        host, _, port = address.partition(":")[2].rpartition(":")
        self.host = host.strip("[]") or DEFAULT_HOST
        if not port.isdecimal() or not 0 <= int(port) <= 65_535:
            raise UsageError(
                "is no place to listen at", file=address, expected="udp:PORT or udp:HOST:PORT",
                mend="For example: udp:14550 (this machine only), or udp:0.0.0.0:14550 (every network)",
            )  # fmt: skip
        self.port = int(port)
        self.settings = {"host": self.host, "port": port}
        self._clock = RecordClock()
        self._socket: socket.socket | None = None
        self._reader: DatagramReader | None = None
        self._dropped = 0

    def open(self, clock: RecordClock) -> None:
        """Raises SourceError where the port is taken or the host is not of this machine."""
        self._clock = clock
        try:
            self._open()
        except OSError as error:
            mend = "Another program listens there: close it, or use another port."
            if not isinstance(error, socket.gaierror) and error.errno not in (98, 48, 10048):
                mend = "Use an address of this machine, 127.0.0.1 or 0.0.0.0."
            raise SourceError(f"cannot listen there: {error.strerror}", file=self.address, mend=mend) from None

    def _open(self) -> None:
        self._socket = _bound(self.host, self.port)
        self._reader = DatagramReader(self._socket, self._clock)

    @property
    def bound_port(self) -> int:
        """The port that is listened at, where 0 was asked for."""
        return int(self._socket.getsockname()[1]) if self._socket is not None else self.port

    def read(self, timeout_s: float) -> list[Stamped]:
        if self._reader is None:
            raise SourceGone("the socket is closed")
        return self._reader.read(timeout_s)

    def find_again(self) -> str | None:
        """The same place, once the network is there again."""
        self.close()
        try:
            self._open()
        except OSError:
            return None
        return f"{self.host}:{self.port}"

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
        if self.host in ("0.0.0.0", "::"):
            text = "listens on every network of this machine: whoever is on them can put figures into the recording"
            return [text, *room]
        return room


class DatagramReader:
    """Datagrams of a socket in batches, each with the stamp that the kernel gave it where it gives one.

    dropped: how many the system lost for want of room. Where it rises with a reading, they were lost before the first
    datagram of it, at most a tenth of a second before.
    """

    def __init__(self, sock: socket.socket, clock: RecordClock) -> None:
        self._socket, self._clock = sock, clock
        self._stamper = Stamper(clock)
        self.dropped = 0
        self._counted = 0  # by the kernel, up to the datagram that was read last
        self._told_s = -_TELL_AGAIN_S
        self._held: tuple[int, bytes] | None = None  # the first datagram behind a loss
        with contextlib.suppress(OSError):
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
        if sys.platform == "linux":
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.SOL_SOCKET, _SO_RCVBUFFORCE, BUFFER_BYTES)
        self.buffer_bytes = sock.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)
        self._ancillary = 0
        if sys.platform == "linux":
            sock.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.SOL_SOCKET, _SO_RXQ_OVFL, 1)
            self._ancillary = _ANCILLARY

    def read(self, timeout_s: float) -> list[Stamped]:
        """Raises SourceGone where the socket fails."""
        sock, found = self._socket, []
        try:
            if self._held is None:
                sock.settimeout(timeout_s)
                found.append(self._one())
                if self._more_lost():
                    self._tell()
                sock.settimeout(0.0)
                time.sleep(BATCH_S)
            else:
                found.append(self._held)
                self._held = None
                self._tell()
                sock.settimeout(0.0)
            self._stamper.begin()
            while len(found) < MOST_AT_ONCE:
                one = self._one()
                if self._more_lost():
                    self._held = one
                    break
                found.append(one)
        except (TimeoutError, BlockingIOError):
            self.dropped = self._counted if not found else self.dropped
        except OSError as error:
            if not found:
                raise SourceGone(error.strerror or str(error)) from None
        if found:
            self._stamper.begin()
        return [(self._stamper.of_wall(stamp) if stamp else self._clock.now_ns(), data) for stamp, data in found]

    def _more_lost(self) -> bool:
        """Whether some were lost before the datagram that was just read, and it is time to tell it."""
        return self._counted != self.dropped and time.monotonic() - self._told_s >= _TELL_AGAIN_S

    def _tell(self) -> None:
        self._told_s = time.monotonic()
        self.dropped = self._counted

    def remarks(self) -> list[str]:
        """Where the system gives less room than was asked for, and how to get it."""
        if self.buffer_bytes >= BUFFER_BYTES or sys.platform != "linux":
            return []
        return [
            f"the system keeps at most {self.buffer_bytes // 1000} kB for it while the computer is busy, so thousands "
            "of small packets a second may not all come (what is lost is counted); more with: "
            f"sysctl -w net.core.rmem_max={BUFFER_BYTES}"
        ]

    def close(self) -> None:
        """The count is then that of the end, with what was lost behind the last datagram that was read."""
        self.dropped = self._counted
        if sys.platform == "linux":
            with contextlib.suppress(OSError, struct.error):
                figures = self._socket.getsockopt(socket.SOL_SOCKET, _SO_MEMINFO, 4 * (_DROPS + 1))
                self.dropped = max(self.dropped, struct.unpack_from("@I", figures, 4 * _DROPS)[0])
        self._socket.close()

    def _one(self) -> tuple[int, bytes]:
        """(wall clock ns or 0, the datagram)."""
        if not self._ancillary:
            return 0, self._socket.recv(MAX_DATAGRAM)
        data, about, _, _ = self._socket.recvmsg(MAX_DATAGRAM, self._ancillary)
        stamp = 0
        for level, kind, raw in about:
            if level != socket.SOL_SOCKET:
                continue
            if kind == _SO_TIMESTAMPNS and len(raw) >= 16:
                seconds, nanoseconds = struct.unpack_from("@qq", raw)
                stamp = seconds * 1_000_000_000 + nanoseconds
            elif kind == _SO_RXQ_OVFL and len(raw) >= 4:
                self._counted = struct.unpack_from("@I", raw)[0]
        return stamp, data


def only_its_groups(sock: socket.socket) -> None:
    """Of a multicast socket: hear the groups that it joined, not those that another program of this machine did."""
    if sys.platform == "linux":
        level, option = (socket.IPPROTO_IP, _IP_MULTICAST_ALL)
        if sock.family == socket.AF_INET6:
            level, option = (socket.IPPROTO_IPV6, _IPV6_MULTICAST_ALL)
        with contextlib.suppress(OSError):
            sock.setsockopt(level, option, 0)


def _bound(host: str, port: int) -> socket.socket:
    try:
        group = ipaddress.ip_address(host).is_multicast
    except ValueError:
        group = False
    family, kind, _, _, where = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
    sock = socket.socket(family, kind)
    try:
        if group:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            raw = socket.inet_pton(family, host)
            sock.bind(("", port) if sys.platform == "win32" else where)
            if family == socket.AF_INET:
                sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, raw + struct.pack("@I", 0))
            else:
                sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, raw + struct.pack("@I", 0))
        else:
            sock.bind(where)
    except OSError:
        sock.close()
        raise
    return sock
