"""A real `afterbout serve --lan` process on loopback, and raw sockets to it."""

from __future__ import annotations

import http.client
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from tests.ports import unused_port

ROOT = Path(__file__).resolve().parents[2]
WORDS = "three blunt chisels"


@dataclass(frozen=True)
class Server:
    port: int
    pid: int

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.port}"

    def ask(
        self, method: str, path: str, body: bytes = b"", source: str = "127.0.0.1", **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """(status, headers, body); the path goes out as it stands."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=90, source_address=(source, 0))
        try:
            given = {"Origin": f"http://{self.host}"} if method == "POST" else {}
            given |= {name.replace("_", "-"): value for name, value in headers.items()}
            line.putrequest(method, path, skip_host="Host" in given, skip_accept_encoding=True)
            for name, value in given.items():
                line.putheader(name, value)
            if body or method == "POST":
                line.putheader("Content-Length", str(len(body)))
            line.endheaders(body or None)
            answer = line.getresponse()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        finally:
            line.close()

    def enter(self, words: str = WORDS, source: str = "127.0.0.1") -> tuple[int, str]:
        """(status, the session's cookie)."""
        form = urlencode({"passphrase": words}).encode()
        status, headers, _ = self.ask("POST", "/enter", form, source, Content_Type="application/x-www-form-urlencoded")
        return status, headers.get("set-cookie", "").split(";")[0]

    def raw(self, data: bytes, wait_s: float = 2.0) -> bytes:
        """What comes back for these very bytes until the server closes, or nothing comes any more."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=wait_s) as line:
            got = b""
            try:
                line.sendall(data)
                line.shutdown(socket.SHUT_WR)
                while more := line.recv(65_536):
                    got += more
            except OSError:  # closed in the middle of it, or silent
                pass
            return got

    def most_memory_MB(self) -> int:
        text = Path(f"/proc/{self.pid}/status").read_text("ascii")
        found = re.search(r"VmHWM:\s+(\d+) kB", text)
        return int(found[1]) // 1024 if found else 0


@contextmanager
def serving(season: Path, log: Path) -> Iterator[Server]:
    port = unused_port()
    with log.open("wb") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "dashboard.cli", "serve", "--season", str(season), "--lan", "--port", str(port)],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdin=subprocess.PIPE, stdout=said, stderr=said,
            start_new_session=True,  # without a terminal the passphrase comes from the pipe
        )  # fmt: skip
    try:
        assert process.stdin is not None
        process.stdin.write(WORDS.encode() + b"\n")
        process.stdin.flush()
        until = time.monotonic() + 120
        while True:
            assert process.poll() is None and time.monotonic() < until, log.read_text("utf-8")
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                time.sleep(0.05)
        yield Server(port, process.pid)
    finally:
        process.terminate()
        try:
            process.wait(90)
        finally:
            process.kill()
