"""The pages on the pit's network: a real `afterbout serve --lan` process, asked by real sockets on loopback.

Requests are those of RFC 9110 and RFC 9112, and what is none of them.
"""

from __future__ import annotations

import json
import random
import re
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest

from benchmarks.crash_works import make_logs, make_season
from benchmarks.fuzz_targets.pages import callbacks
from tests.robust.lan import Server, serving

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="several loopback addresses, /proc: Linux")

MOST_MEMORY_MB = 700  # of the server, whatever came in (our choice: the libraries alone take some 250)
SECRETS = (b"Gristmote", b"pack_voltage", b"Trial")  # what only a page with data holds


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("lan")
    make_logs(folder / "logs")
    make_season(folder / "s", folder / "logs")
    return folder


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[Server]:
    with serving(folder / "s", folder / "said.txt") as running:
        yield running


@pytest.fixture(scope="module")
def cookie(server: Server) -> str:
    status, session = server.enter()
    assert status == 302
    return session


SEASON_PAGE = callbacks()[0].replace(b"?verdict=over", b"")


def alive(server: Server, cookie: str) -> None:
    status, _, body = server.ask("GET", "/_dash-layout", Cookie=cookie)
    assert status == 200
    assert b"page" in body


def addresses(folder: Path) -> list[tuple[str, str]]:
    """(method, path) of every route that the server has, its blanks filled in."""
    from dashboard.app import make_app

    found = []
    for rule in make_app(folder / "s").server.url_map.iter_rules():
        path = re.sub(r"<[^>]*>", "000000000001", rule.rule)
        found += [(method, path) for method in (rule.methods or ()) if method in ("GET", "POST", "PUT", "DELETE")]
    return sorted(set(found))


def test_no_address_gives_anything_without_the_passphrase(server: Server, folder: Path) -> None:
    asked = addresses(folder)
    assert len(asked) >= 12
    assert any(path.startswith("/upload/") for _, path in asked)
    paths = [*asked, ("GET", "/assets/pages.js"), ("GET", "/assets/pages.css"), ("GET", "/favicon.ico")]
    for method, path in paths:
        for cookie in ("", "afterbout_pit=", "afterbout_pit=" + "A" * 43):
            body = callbacks()[0] if "dash" in path else b"{}"
            extra = {"Cookie": cookie} if cookie else {}
            status, headers, got = server.ask(
                method, path, body if method == "POST" else b"", Content_Type="application/json", **extra
            )
            assert status in (302, 401), (method, path, status)
            assert status == 401 or headers["location"] == "/enter"
            assert not any(secret in got for secret in SECRETS), path


def test_with_the_passphrase_the_pages_are_there(server: Server, cookie: str) -> None:
    status, _, got = server.ask(
        "POST", "/_dash-update-component", SEASON_PAGE, Cookie=cookie, Content_Type="application/json"
    )
    assert status == 200
    assert b"m01" in got


def test_requests_of_other_pages_and_other_hosts_are_refused(server: Server, cookie: str) -> None:
    body = callbacks()[0]
    for origin in ("http://evil.example", "null", f"http://127.0.0.1:{server.port + 1}", f"https://evil@{server.host}",
                   f"http://{server.host}.evil.example", ""):  # fmt: skip
        for path in ("/_dash-update-component", "/upload/begin", "/enter"):
            status, _, _ = server.ask("POST", path, body, Cookie=cookie, Origin=origin, Content_Type="application/json")
            assert status == 403, (origin, path)
    for host in (
        "evil.example",
        "127.0.0.1.evil.example",
        f"localhost:{server.port}@evil.example",
        "",
        "[::2]",
        "0.0.0.0",
    ):
        status, _, _ = server.ask("GET", "/", Cookie=cookie, Host=host)
        assert status == 400, host


def test_the_cookie_is_for_no_script_and_no_other_site(server: Server) -> None:
    _, headers, _ = server.ask(
        "POST", "/enter", b"passphrase=three+blunt+chisels", Content_Type="application/x-www-form-urlencoded"
    )
    assert "HttpOnly" in headers["set-cookie"]
    assert "SameSite=Strict" in headers["set-cookie"]
    assert "chisels" not in headers["set-cookie"]


TRAVERSALS = [
    "/assets/../../../../../../etc/passwd", "/assets/..%2f..%2f..%2f..%2fetc/passwd",
    "/assets/%2e%2e/%2e%2e/serving.py",
    "/assets/....//....//serving.py", "/assets/..\\..\\serving.py", "//etc/passwd", "/%2e%2e/%2e%2e/etc/passwd",
    "/assets/pages.js%00.png", "/sheet/../../../season.toml", "/sheet/..%2f..%2fseason.toml", "/sheet/%00",
    "/_dash-component-suites/dash/../../../../etc/passwd", "/_dash-component-suites/dash/%2e%2e/dash.py",
    "/assets/file:///etc/passwd", "/upload/../../etc/x", "/upload/..%2f..%2fx", "/get/match/..%2f..%2fx/rows",
]  # fmt: skip


@pytest.mark.parametrize("path", TRAVERSALS)
def test_no_address_leads_out_of_the_pages(server: Server, cookie: str, path: str) -> None:
    for method in ("GET", "POST"):
        status, _, got = server.ask(method, path, Cookie=cookie)
        # an address that is no file gets the empty shell of the pages, which says that there is no such page
        assert status in (200, 302, 400, 404, 405), (method, status)
        assert b"root:x:0" not in got
        assert b"from __future__" not in got
        assert b"[season]" not in got


def test_uploads_name_no_place(server: Server, cookie: str, folder: Path) -> None:
    before = {p for p in folder.rglob("*") if "results" not in p.parts}
    for name in (
        "../../evil.csv",
        "/etc/evil.csv",
        "..\\..\\evil.csv",
        "evil\0.csv",
        "." * 300,
        "con",
        "a/../../b.csv",
    ):
        status, _, got = server.ask(
            "POST", "/upload/begin", json.dumps({"name": name, "size": 3}).encode(), Cookie=cookie,
            Content_Type="application/json",
        )  # fmt: skip
        assert status == 200, got
        made = json.loads(got)
        status, _, got = server.ask("POST", f"/upload/{made['draft']}/{made['file']}?at=0", b"a,b", Cookie=cookie)
        assert status in (200, 409, 410), got
        assert server.ask("POST", f"/upload/{made['draft']}", b"do=cancel", Cookie=cookie,
                          Content_Type="application/x-www-form-urlencoded")[0] == 200  # fmt: skip
    assert {p for p in folder.rglob("*") if "results" not in p.parts} == before


def test_what_is_too_large_is_refused_and_takes_no_memory(server: Server, cookie: str) -> None:
    head = f"POST /_dash-update-component HTTP/1.1\r\nHost: {server.host}\r\nOrigin: http://{server.host}\r\n"
    head += f"Cookie: {cookie}\r\n"
    cases = [
        head + "Content-Length: 1000000000000\r\n\r\n",
        head + "Content-Length: 1000001\r\n\r\n" + "x" * 1_000_001,
        head + "Transfer-Encoding: chunked\r\n\r\n" + "100000\r\n" + "x" * 0x100000 + "\r\n" + "0\r\n\r\n",
        head + "X: " + "x" * 2_000_000 + "\r\n\r\n",
        head + "".join(f"X{k}: y\r\n" for k in range(100_000)) + "\r\n",
        f"GET /{'x' * 2_000_000} HTTP/1.1\r\nHost: {server.host}\r\n\r\n",
    ]
    for case in cases:
        got = server.raw(case.encode())
        assert not got or re.match(rb"HTTP/1\.[01] (400|411|413|414|431) ", got), got[:80]
    deep = b'{"output": ' + b"[" * 200_000 + b"]" * 200_000 + b"}"
    status, _, _ = server.ask("POST", "/_dash-update-component", deep, Cookie=cookie, Content_Type="application/json")
    assert status == 400
    alive(server, cookie)
    assert server.most_memory_MB() < MOST_MEMORY_MB


HOST = b" HTTP/1.1\r\nHost: 127.0.0.1\r\n"
MALFORMED = [
    b"", b"\r\n\r\n", b"\0" * 5000, b"\xff" * 5000, b"GET", b"GET /", b"GET / HTTP/9.9\r\n\r\n",
    b"G\xcbT / HTTP/1.1\r\n\r\n", b"GET / HTTP/1.1\r\n\r\n", b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
    b"GET http://evil/ HTTP/1.1\r\nHost: x\r\n\r\n", b"POST /" + HOST + b"Content-Length: -1\r\n\r\n",
    b"POST /" + HOST + b"Content-Length: 3\r\nContent-Length: 5\r\n\r\nabcde",
    b"POST /" + HOST + b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /x HTTP/1.1\r\n\r\n",
    b"POST /" + HOST + b"Transfer-Encoding: chunked\r\n\r\nZZ\r\nx\r\n", b"CONNECT x:1 HTTP/1.1\r\n\r\n",
    b"GET / HTTP/1.1\nHost: 127.0.0.1\n\n", b"GET / HTTP/1.1\r\nHost : 127.0.0.1\r\n\r\n",
    b"OPTIONS * HTTP/1.1\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(500),
    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
]  # fmt: skip


def test_malformed_requests_end_in_a_refusal_and_the_server_goes_on(server: Server, cookie: str) -> None:
    rng = random.Random(20260509)
    sound = f"GET /enter HTTP/1.1\r\nHost: {server.host}\r\nCookie: {cookie}\r\n\r\n".encode()
    cases = list(MALFORMED)
    for _ in range(250):
        made = bytearray(sound)
        for _ in range(rng.randint(1, 6)):
            place = rng.randrange(len(made))
            made[place : place + rng.randrange(4)] = rng.choice((b"\0", b"\r\n", b":", b"\xff", b" ", rng.randbytes(3)))
        cases.append(bytes(made))
    for case in cases:
        got = server.raw(case, wait_s=1.0)
        assert not got or got.startswith(b"HTTP/1."), case
        assert not re.match(rb"HTTP/1\.[01] 5", got), case
        assert b"Traceback" not in got
    alive(server, cookie)
    assert server.most_memory_MB() < MOST_MEMORY_MB


def test_a_body_nested_without_end_is_a_refusal(server: Server, folder: Path, cookie: str) -> None:
    """RFC 8259, section 9: a parser may set a limit to the depth; it is not the interpreter's stack."""
    for path in ("/upload/begin", "/_dash-update-component"):
        status, _, got = server.ask("POST", path, b"[" * 200_000, Cookie=cookie, Content_Type="application/json")
        assert status == 400 and b"Traceback" not in got
    assert "RecursionError" not in (folder / "said.txt").read_text("utf-8", "replace")
    alive(server, cookie)


def test_no_header_is_a_way_around_the_limit_or_the_passphrase(server: Server, cookie: str) -> None:
    """What a sender says of his address (RFC 7239) or of himself counts for nothing."""
    form = urlencode({"passphrase": "wrong words"}).encode()
    said = ("X_Forwarded_For", "X_Real_IP", "Forwarded", "X_Client_IP")
    statuses = []
    for k in range(12):
        about = {name: f"for=10.0.0.{k}" if name == "Forwarded" else f"10.0.0.{k}" for name in said}
        about |= {"Content_Type": "application/x-www-form-urlencoded"}
        statuses.append(server.ask("POST", "/enter", form, "127.0.0.97", **about)[0])
    assert statuses == [403] * 5 + [429] * 7
    for about in (
        {"X_Forwarded_For": "127.0.0.1"}, {"X_Original_URL": "/enter"}, {"X_Rewrite_URL": "/enter"},
        {"Cookie": "session=x"}, {"Cookie": cookie.partition("=")[0] + "=" + "A" * 43}, {"Authorization": "Basic YTph"},
        {"X_HTTP_Method_Override": "POST"},
        {"Upgrade": "websocket", "Connection": "Upgrade", "Sec_WebSocket_Key": "eA=="},
    ):  # fmt: skip
        status, headers, got = server.ask("GET", "/match/m01", **about)
        assert (status, headers.get("location")) == (302, "/enter") and not any(secret in got for secret in SECRETS)


def test_many_sessions_at_once(server: Server) -> None:
    outcomes: list[tuple[int, int, bool]] = []

    def visit(number: int) -> None:
        entered, session = server.enter(source=f"127.0.1.{number}")
        status, _, got = server.ask(
            "POST", "/_dash-update-component", SEASON_PAGE, f"127.0.1.{number}", Cookie=session,
            Content_Type="application/json",
        )  # fmt: skip
        outcomes.append((entered, status, b"m01" in got))

    visitors = [threading.Thread(target=visit, args=(number,)) for number in range(1, 17)]
    for visitor in visitors:
        visitor.start()
    for visitor in visitors:
        visitor.join(120)
    assert outcomes == [(302, 200, True)] * 16


def test_many_tries_at_once_are_no_way_around_the_limit(server: Server, cookie: str) -> None:
    """Also from one address in parallel; whoever is inside already stays inside."""
    statuses: list[int] = []
    tries = [
        threading.Thread(target=lambda: statuses.append(server.enter("wrong words", "127.0.0.99")[0]))
        for _ in range(24)
    ]
    for one in tries:
        one.start()
    for one in tries:
        one.join(120)
    assert sorted(statuses) == [403] * 5 + [429] * 19
    assert server.enter(source="127.0.0.99")[0] == 429
    assert server.enter(source="127.0.0.98")[0] == 302
    alive(server, cookie)
