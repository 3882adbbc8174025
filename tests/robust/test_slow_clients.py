"""Clients that send a byte now and then, or hold many lines: they are put out, and the others are served meanwhile."""

from __future__ import annotations

import http.client
import socket
import sys
import threading
import time
from collections.abc import Iterator

import pytest

from dashboard import patience
from dashboard.app import make_app
from dashboard.serving import LOOPBACK, guard
from tests.dashboard.made_up import MadeUpSource

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="several loopback addresses: Linux")

PATIENCE_S = 1.0


@pytest.fixture
def port(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The pages in a thread, with the server's own settings and less patience; of a param seconds for idle lines."""
    from waitress.server import TcpWSGIServer, create_server

    monkeypatch.setattr(patience, "REQUEST_S", PATIENCE_S)
    monkeypatch.setattr(TcpWSGIServer, "channel_class", TcpWSGIServer.channel_class)
    app = make_app(source=MadeUpSource())
    guard(app, LOOPBACK)
    most = patience.limits() | {"channel_timeout": getattr(request, "param", 2), "cleanup_interval": 1}
    server = create_server(app.server, host="127.0.0.1", port=0, threads=4, ident=None, **most)
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    yield server.effective_port
    server.close()


def ask(port: int, source: str) -> int:
    """The status of one ordinary request."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=90, source_address=(source, 0))
    line.request("GET", "/_dash-layout", headers={"Host": "127.0.0.1"})
    status = line.getresponse().status
    line.close()
    return status


def open_lines(port: int, count: int, source: str) -> list[socket.socket]:
    return [socket.create_connection(("127.0.0.1", port), timeout=90, source_address=(source, 0)) for _ in range(count)]


def closed(line: socket.socket) -> bool:
    line.settimeout(0.05)
    try:
        return line.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_a_request_that_drips_in_is_cut_off_and_others_are_served(port: int) -> None:
    slow = open_lines(port, 20, "127.0.0.2")
    for line in slow:
        line.sendall(b"POST /_dash-update-component HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ")
    until = time.monotonic() + 90 * PATIENCE_S
    left = slow
    while left and time.monotonic() < until:
        assert ask(port, "127.0.0.3") == 200
        still = []
        for line in left:
            try:
                line.sendall(b"x")
                still += [] if closed(line) else [line]
            except OSError:
                pass
        left = still
        time.sleep(0.1)
    assert left == []
    assert ask(port, "127.0.0.2") == 200


def test_a_line_on_which_nothing_comes_is_closed(port: int) -> None:
    lines = open_lines(port, 5, "127.0.0.2")
    lines[0].sendall(b"GET / HT")
    until = time.monotonic() + 90
    while time.monotonic() < until and not all(closed(line) for line in lines):
        time.sleep(0.2)
    assert all(closed(line) for line in lines)


@pytest.mark.parametrize("port", [1000], indirect=True)
def test_one_address_cannot_hold_every_line(port: int) -> None:
    """No line is cut off for being idle here: the other's answer comes while the first one holds all it may."""
    greedy = open_lines(port, patience.LINES + 40, "127.0.0.2")
    until = time.monotonic() + 90
    while sum(not closed(line) for line in greedy) > patience.LINES_OF_ONE and time.monotonic() < until:
        time.sleep(0.05)
    assert ask(port, "127.0.0.3") == 200
    assert sum(not closed(line) for line in greedy) == patience.LINES_OF_ONE
    for line in greedy:
        line.close()
