"""Serving the pages: on this machine only, unless the pit's network is let in with a passphrase.

Host, port and debug are given here and nowhere else; environment variables cannot widen them.
"""

from __future__ import annotations

import getpass
import hashlib
import hmac
import ipaddress
import secrets
import socket
import sys
import threading
import time
from collections import defaultdict, deque
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from dash import Dash
from flask import Flask, Response, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from dashboard.ink import esc
from ingest.errors import UsageError

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
MAX_CONTENT_BYTES = 1_000_000  # files come in smaller pieces; the largest else is a figure's state (our choice)
MAX_HEADER_BYTES = 32_768  # address and headers; a what-if's choices stand in its address (our choice)
SHORTEST_PASSPHRASE = 8
TRIES, TRIES_PER_S = 5, 60.0  # wrong passphrases from one address in this time (our choice: a slip is forgiven)
ALL_TRIES = 60  # and from all addresses together
SESSION_S = 12 * 3600.0  # a day at an event
SESSIONS = 500  # at once; the oldest ends where there are more (our choice: no pit has so many phones)
MOST_PASSPHRASE = 1000
COOKIE = "afterbout_pit"
CALLBACK = "/_dash-update-component"
# scrypt with N = 2**14, r = 8, p = 5: a setting of the OWASP password storage cheat sheet (from memory)
SCRYPT = {"n": 2**14, "r": 8, "p": 5, "maxmem": 64 * 1024 * 1024}
_SAFE_METHODS = ("GET", "HEAD", "OPTIONS")


def content_policy(app: Dash) -> str:
    """Only files of our own; the scripts that dash writes into the page are named by their hash."""
    hashes = " ".join(f"'sha256-{_sha256(text)}'" for text in inline_scripts(app))
    rules = (
        "default-src 'none'",
        f"script-src 'self' {hashes}",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
    return "; ".join(rules)


def inline_scripts(app: Dash) -> list[str]:
    return [app.renderer, *app._inline_scripts]


def _sha256(text: str) -> str:
    import base64

    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


def guard(app: Dash, hosts: Sequence[str], passphrase: Passphrase | None = None) -> None:
    """Refuse what does not come from our own pages: other hosts, other origins, large bodies, no passphrase."""
    server: Flask = app.server
    server.debug = False
    server.config.update(
        TRUSTED_HOSTS=list(hosts), MAX_CONTENT_LENGTH=MAX_CONTENT_BYTES, MAX_FORM_MEMORY_SIZE=MAX_CONTENT_BYTES
    )
    policy: list[str] = []

    @server.before_request
    def _check() -> AnyResponse | None:
        name = host_name(request.headers.get("Host", ""))
        if name not in hosts:
            return _refuse(400, "This address is not served here.")
        origin = request.headers.get("Origin")
        if request.method not in _SAFE_METHODS and not same_origin(origin, request.headers.get("Host", "")):
            return _refuse(403, "Requests from other pages are refused.")
        if request.content_length is not None and request.content_length > MAX_CONTENT_BYTES:
            return _refuse(413, "The request is too large.")
        if passphrase is not None and (answer := passphrase.check()) is not None:
            return answer
        if request.path == CALLBACK and not is_callback(app):
            return _refuse(400, "This is no request of our pages.")
        return None

    @server.errorhandler(500)
    def _failed(error: Exception) -> AnyResponse:  # the log on the terminal tells what it was
        if request.path.startswith(
            "/_dash-component-suites/"
        ):  # the framework's way of saying that it has no such file
            return _refuse(404, "There is no such file.")
        return _refuse(500, "This could not be done.")

    @server.after_request
    def _headers(response: AnyResponse) -> AnyResponse:
        if not policy:
            policy.append(content_policy(app))
        response.headers["Content-Security-Policy"] = policy[0]
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        return response


def is_callback(app: Dash) -> bool:
    """Whether the request has the form of one that our own pages send; what the framework reads of it is there."""
    try:
        body = request.get_json(silent=True)
    except RecursionError:
        return False
    if not isinstance(body, dict) or not isinstance(body.get("output"), str) or body["output"] not in app.callback_map:
        return False
    known = app.callback_map[body["output"]]
    changed, outputs = body.get("changedPropIds", []), body.get("outputs", [])
    if not isinstance(changed, list) or not all(isinstance(one, str) for one in changed):
        return False
    for name in ("inputs", "state"):
        given = body.get(name, [])
        if not isinstance(given, list) or len(given) != len(known[name]) or not all(map(_is_place, given)):
            return False
    return all(map(_is_place, outputs if isinstance(outputs, list) else [outputs]))


def _is_place(value: Any, within: bool = False) -> bool:
    """{"id": …, "property": …}; for a pattern a list of them."""
    if isinstance(value, list) and not within:
        return all(_is_place(one, True) for one in value)
    if not isinstance(value, dict) or not isinstance(value.get("property"), str):
        return False
    name = value.get("id")
    return isinstance(name, str) or (
        isinstance(name, dict) and all(isinstance(v, str | int) for v in name.values()) and bool(name)
    )


def host_name(header: str) -> str:
    """The name in a Host header, without its port."""
    return header.rsplit(":", 1)[0] if ":" in header and not header.endswith("]") else header


def same_origin(origin: str | None, host: str) -> bool:
    """Whether a request that changes something comes from our own page; a browser always names the origin."""
    if origin is None:
        return False
    parts = urlsplit(origin)
    return parts.scheme in ("http", "https") and parts.netloc == host


def _refuse(status: int, why: str) -> AnyResponse:
    return Response(why, status=status, mimetype="text/plain")


class Passphrase:
    """One passphrase for the pit's network: kept as a scrypt hash, tried slowly, remembered by a random session."""

    def __init__(self, words: str) -> None:
        """Raises UsageError where the words are too short."""
        if len(words) < SHORTEST_PASSPHRASE:
            mend = f"Take at least {SHORTEST_PASSPHRASE} characters; three words are easy to say across a bench."
            raise UsageError("the passphrase is too short", mend=mend)
        self._salt = secrets.token_bytes(16)
        self._hash = self._derive(words[:MOST_PASSPHRASE])
        self._sessions: dict[str, float] = {}
        self._wrong: dict[str, deque[float]] = defaultdict(deque)
        self._lock = threading.Lock()

    def _derive(self, words: str) -> bytes:
        return hashlib.scrypt(words.encode(), salt=self._salt, dklen=32, **SCRYPT)

    def check(self) -> AnyResponse | None:
        """None where the request carries a session; else the form, or what it answers."""
        if request.path == "/enter":
            return self._enter() if request.method == "POST" else _form()
        if self._sessions.get(request.cookies.get(COOKIE, ""), 0.0) > time.monotonic():
            return None
        if request.method == "GET" and request.headers.get("Sec-Fetch-Dest", "document") == "document":
            return redirect("/enter")
        return _refuse(401, "The passphrase is needed.")

    def _enter(self) -> AnyResponse:
        now, address = time.monotonic(), request.remote_addr or ""
        with self._lock:
            if self._too_many(address, now):
                return _form("Too many tries. Wait a minute.", 429)
            self._wrong[address].append(now)  # counted before it is looked at: many at once are no way around
        if not hmac.compare_digest(self._derive(request.form.get("passphrase", "")[:MOST_PASSPHRASE]), self._hash):
            return _form("That is not the passphrase.", 403)
        session = secrets.token_urlsafe(32)
        with self._lock:
            self._wrong.pop(address, None)
            kept = sorted(((until, key) for key, until in self._sessions.items() if until > now), reverse=True)
            self._sessions = {key: until for until, key in kept[: SESSIONS - 1]}
            self._sessions[session] = now + SESSION_S
        response = redirect("/")
        response.set_cookie(COOKIE, session, max_age=int(SESSION_S), httponly=True, samesite="Strict")
        return response

    def _too_many(self, address: str, now: float) -> bool:
        for tries in self._wrong.values():
            while tries and tries[0] < now - TRIES_PER_S:
                tries.popleft()
        self._wrong = defaultdict(deque, {key: tries for key, tries in self._wrong.items() if tries})
        everywhere = sum(len(tries) for tries in self._wrong.values())
        return len(self._wrong[address]) >= TRIES or everywhere >= ALL_TRIES


def _form(said: str = "", status: int = 200) -> AnyResponse:
    told = f"<p>{esc(said)}</p>" if said else ""
    page = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>afterbout</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><style>'
        "body{font:18px/28px system-ui,sans-serif;max-width:24em;margin:48px auto;padding:0 16px}"
        "input,button{font:inherit;min-height:48px;width:100%;margin:8px 0;box-sizing:border-box;border:2px solid}"
        f"</style></head><body><h1>afterbout</h1>{told}"
        '<form method="post" action="/enter"><label>Passphrase<input type="password" name="passphrase" '
        'autocomplete="current-password" autofocus></label><button>Enter</button></form></body></html>'
    )
    return Response(page, status=status, mimetype="text/html")


def own_addresses() -> list[str]:
    """This machine's addresses on private networks; nothing is sent to find them."""
    found: set[str] = set()
    try:
        infos = socket.getaddrinfo(socket.gethostname(), None, family=socket.AF_INET)
        found |= {str(info[4][0]) for info in infos}
    except OSError:
        pass  # a machine whose own name does not resolve
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): chooses a route, sends nothing
            found.add(str(probe.getsockname()[0]))
        except OSError:
            pass  # no network at all
    return sorted(a for a in found if ipaddress.ip_address(a).is_private and not ipaddress.ip_address(a).is_loopback)


def serve(
    app: Dash,
    host: str = "127.0.0.1",
    port: int = 8050,
    *,
    hosts: Sequence[str] = LOOPBACK,
    passphrase: Passphrase | None = None,
    threads: int = 6,
) -> None:
    """Serve until stopped. Any host but this machine itself needs a passphrase. Raises UsageError, OSError."""
    if host not in ("127.0.0.1", "::1", "localhost") and passphrase is None:
        raise UsageError("other machines are let in only with a passphrase", mend="Use: afterbout serve --lan")
    from waitress import serve as run

    from dashboard.patience import limits

    guard(app, hosts, passphrase)
    most = {"max_request_body_size": MAX_CONTENT_BYTES, "max_request_header_size": MAX_HEADER_BYTES, **limits()}
    run(app.server, host=host, port=port, threads=threads, ident=None, **most)


def serve_season(
    season: str | Path | None, *, port: int = 8050, lan: bool = False, live: str | Path | None = None
) -> int:
    """The command: checks the port, asks for the passphrase, says the address, serves."""
    from dashboard.app import make_app

    if not 1 <= port <= 65535:
        raise UsageError("--port must be from 1 to 65535", found=port)
    app = make_app(season, live=live)
    host, hosts, passphrase = "127.0.0.1", list(LOOPBACK), None
    if lan:
        passphrase = Passphrase(getpass.getpass("Passphrase for the pit's network: "))
        addresses = own_addresses()
        host, hosts = "0.0.0.0", [*LOOPBACK, *addresses]
        for address in addresses:
            print(f"On the pit's network: http://{address}:{port}", file=sys.stderr)
        print("What is sent is not encrypted: use a network you trust.", file=sys.stderr)
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise UsageError(f"port {port} is taken: {error.strerror}", mend=f"Try: --port {port + 1}") from None
    print(f"The pages are at http://127.0.0.1:{port} (Ctrl-C stops).", file=sys.stderr)
    serve(app, host, port, hosts=hosts, passphrase=passphrase)
    return 0
