"""How long the server waits for a slow client, and how many lines one client may hold: a phone in a corner of the pit
is slow too, but nobody may keep the others out."""

from __future__ import annotations

import time
from typing import Any

from waitress.channel import HTTPChannel

# All our choice: a piece of a file (1 MB) takes a minute at 17 kB/s; browsers open six lines to a host.
REQUEST_S = 60.0
IDLE_S = 20
LINES = 200
LINES_OF_ONE = 32


class PatientChannel(HTTPChannel):
    """One line to a client: closed where a request takes too long to arrive, or its address holds too many lines."""

    began = 0.0

    def __init__(self, server: Any, sock: Any, addr: Any, adj: Any, map: Any = None) -> None:
        super().__init__(server, sock, addr, adj, map=map)
        held = sum(1 for other in list(server.active_channels.values()) if other.addr[0] == addr[0])
        if held > LINES_OF_ONE:
            self.will_close = True

    def received(self, data: bytes) -> bool:
        if self.request is None:
            self.began = time.monotonic()
        elif time.monotonic() - self.began > REQUEST_S:
            self.will_close = True
            return False
        taken: bool = super().received(data)
        return taken


def limits() -> dict[str, int]:
    """What waitress is told; its channels become patient ones."""
    from waitress.server import TcpWSGIServer

    TcpWSGIServer.channel_class = PatientChannel
    return {"connection_limit": LINES, "channel_timeout": IDLE_S, "cleanup_interval": 5, "backlog": 64}
