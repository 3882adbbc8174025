"""The requests that the pages' server answers: the upload of files, the pages' own callbacks, the passphrase's form.

Anything may come in; what goes out is an answer in plain words, and the season is as it was.
"""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchmarks.fuzz_targets.mutators import lines, places_of
from benchmarks.fuzz_targets.target import One, Target

PLAIN = b"This could not be done."
HEADERS = {"Origin": "http://localhost", "Host": "localhost"}


def _client(folder: Path) -> Any:
    from dashboard.app import make_app
    from dashboard.serving import LOOPBACK, guard
    from ingest.season import Season

    Season.create(folder / "s", "Trial", "Gristmote")
    app = make_app(folder / "s")
    guard(app, LOOPBACK)
    return app.server.test_client()


def _checked(answer: Any) -> int:
    status: int = answer.status_code
    # a value that no page sends may end in a plain 500: the terminal tells why, the answer does not
    assert status < 500 or answer.get_data() == PLAIN, f"{status}: {answer.get_data()[:200]!r}"
    assert b"Traceback" not in answer.get_data()
    return status


def _upload(folder: Path) -> One:
    """Lines of `METHOD path body`; DRAFT and FILE stand for what the last begin gave."""
    client = _client(folder)
    before = sorted(p.name for p in (folder / "s" / "matches").iterdir())

    def one(data: bytes) -> object:
        draft, file, seen = "0" * 16, "0" * 12, []
        for line in data.split(b"\n")[:8]:
            method, _, rest = line.partition(b" ")
            path, _, body = rest.partition(b" ")
            where = path.decode("latin-1").replace("DRAFT", draft).replace("FILE", file)
            if not where.startswith("/"):
                continue
            kind = "application/json" if body.startswith(b"{") else "application/x-www-form-urlencoded"
            if b"?at=" in path:
                kind = "application/octet-stream"
            try:
                answer = client.open(
                    "/upload" + where, method=method.decode("latin-1") or "GET", data=body, headers=HEADERS,
                    content_type=kind,
                )  # fmt: skip
            except (UnicodeError, ValueError):  # the test client itself cannot send it
                continue
            seen.append(_checked(answer))
            given = answer.get_json(silent=True) if answer.status_code == 200 else None
            if isinstance(given, dict) and "draft" in given:
                draft, file = given["draft"], given["file"]
        client.post(f"/upload/{draft}", data={"do": "cancel"}, headers=HEADERS)
        assert sorted(p.name for p in (folder / "s" / "matches").iterdir()) == before
        return seen

    return one


def _uploads() -> Sequence[bytes]:
    begin = b'POST /begin {"name": "weapon.csv", "size": 20}'
    piece = b"POST /DRAFT/FILE?at=0 t_s,U\\n0,24\\n1,23.9.."
    return [
        b"\n".join((begin, piece, b"GET /DRAFT?seen=1", b"POST /DRAFT do=leave:FILE&build=b")),
        b"\n".join((begin, b"POST /DRAFT new_id=../x&match=&event=%3Cscript%3E", b"POST /DRAFT do=cancel")),
        b'POST /begin {"name": "../../etc/passwd", "size": 1e999, "draft": null}\nGET /zz',
    ]


def _callback(folder: Path) -> One:
    """What a page sends when something was chosen on it."""
    client = _client(folder)
    client.application.logger.disabled = True

    def one(data: bytes) -> object:
        return _checked(
            client.post("/_dash-update-component", data=data, headers=HEADERS, content_type="application/json")
        )

    return one


def callbacks() -> Sequence[bytes]:
    names = ["page.children", "nav.children", "page-tools.children", "shown.data"]
    made = []
    for path in ("/", "/pit", "/compare", "/match/000000000001"):
        made.append(
            {
                "output": f"..{'...'.join(names)}..",
                "outputs": [{"id": n.split(".")[0], "property": n.split(".")[1]} for n in names],
                "inputs": [
                    {"id": "address", "property": "pathname", "value": path},
                    {"id": "address", "property": "search", "value": "?verdict=over"},
                ],
                "changedPropIds": ["address.pathname"],
                "state": [{"id": "shown", "property": "data", "value": None}],
            }
        )
    return [json.dumps(document, indent=1).encode() for document in made]


def values(data: bytes, rng: random.Random) -> bytes:
    """A JSON document with one value or key exchanged; where it is none any more, its lines."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return lines(data, rng)
    places = places_of(document)
    for _ in range(rng.randint(1, 3)):
        if not places:
            break
        here, key = rng.choice(places)
        odd = (None, 0, -1, 1e308, "", "x", "/match/../..", [], {}, [[]], {"id": "x"}, True, "9" * 40, "\ud800")
        if rng.random() < 0.2 and isinstance(here, dict):
            here.pop(key, None)
        elif isinstance(here, dict) or key < len(here):
            here[key] = rng.choice(odd)
    return json.dumps(document).encode()


TARGETS = (
    Target("upload", "the upload's requests", _uploads, _upload, ("ingest", "dashboard"), seconds=20.0, mutate=lines),
    Target("callback", "the pages' callbacks", callbacks, _callback, ("dashboard",), seconds=20.0, mutate=values),
)
