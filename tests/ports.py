"""Ports for servers that tests start as processes of their own, and that cannot be asked which one they got."""

from __future__ import annotations

import random
import socket
from pathlib import Path

_FIRST = 15_000
_RANGE = Path("/proc/sys/net/ipv4/ip_local_port_range")  # Linux, ip(7)
_DYNAMIC = 32_768  # where that range usually begins on Linux; elsewhere it is 49152 (RFC 6335)


def unused_port(kind: socket.SocketKind = socket.SOCK_STREAM) -> int:
    """One on loopback that nobody has and that the system gives to nobody who asks for any port.

    So no connection and no other test takes it between this look and the start of the server; tests that run beside
    this one draw another.
    """
    end = int(_RANGE.read_text("ascii").split()[0]) if _RANGE.exists() else _DYNAMIC
    draw = random.SystemRandom()
    for _ in range(200):
        port = draw.randrange(_FIRST, end) if end > _FIRST + 1000 else 0
        with socket.socket(socket.AF_INET, kind) as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    raise AssertionError("no port is free")
