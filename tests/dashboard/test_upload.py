"""Files on their way into a season: what is taken, how it is read, what the answers change, what is left behind."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest
from flask.testing import FlaskClient

from dashboard import upload
from dashboard.app import make_app
from dashboard.match_form import next_id
from dashboard.serving import LOOPBACK, MAX_CONTENT_BYTES, Passphrase, guard
from dashboard.source import Source
from dashboard.upload import PIECE_BYTES, Refused, Shelf, safe_name
from dashboard.upload_answers import UNITS, channel_groups, hint_of, questions, reading_name, units_of
from ingest.channels import QUANTITIES, parse_channel
from ingest.formats import ReadOptions
from ingest.inspect import inspect_files
from ingest.readings import Reading, find_reading, load_reading
from ingest.readings_check import checked_reading
from ingest.season import Season
from tests.dashboard.browser import until
from tests.dashboard.small_season import small_season

ORIGIN = {"Origin": "http://localhost"}
BENCH = "time [s],reading A,spare temp\n" + "".join(f"{i / 100:.2f},{i % 50 * 20},{70 + i % 7}\n" for i in range(3000))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_season(tmp_path_factory.mktemp("made") / "season", ("m06",), add=False)


@pytest.fixture
def root(made: Path, tmp_path: Path) -> Path:
    """A season of one match that has no logs yet, and its raw logs."""
    shutil.copytree(made, tmp_path / "season")
    return tmp_path / "season"


class Browser:
    """What assets/upload.js does, without a browser."""

    def __init__(self, root: Path) -> None:
        self.source = Source(root)
        app = make_app(source=self.source)
        guard(app, LOOPBACK)
        self.client: FlaskClient = app.server.test_client()
        self.draft: str | None = None

    def begin(self, name: str, size: int) -> dict[str, Any]:
        asked = {"draft": self.draft, "name": name, "size": size}
        answer = self.client.post("/upload/begin", json=asked, headers=ORIGIN)
        found = dict(answer.get_json())
        self.draft = found.get("draft", self.draft)
        return found | {"status": answer.status_code}

    def send(self, name: str, data: bytes) -> str:
        begun = self.begin(name, len(data))
        for at in range(0, len(data), PIECE_BYTES):
            answer = self.client.post(
                f"/upload/{begun['draft']}/{begun['file']}?at={at}", data=data[at : at + PIECE_BYTES], headers=ORIGIN
            )
            assert answer.status_code == 200, answer.get_data()
        return str(begun["file"])

    def page(self) -> dict[str, Any]:
        """The page when nothing is under way any more."""
        seen: dict[str, Any] = {}

        def settled() -> bool:
            seen.clear()
            seen.update(self.client.get(f"/upload/{self.draft}").get_json())
            return seen.get("again", 60_000) >= 60_000

        until(settled)
        return seen

    def post(self, action: str, **form: str) -> dict[str, Any]:
        answer = self.client.post(
            f"/upload/{self.draft}",
            data=urlencode({**form, "do": action}),
            headers={**ORIGIN, "Content-Type": "application/x-www-form-urlencoded"},
        )
        return dict(answer.get_json()) | {"status": answer.status_code}


@pytest.fixture
def browser(root: Path) -> Browser:
    return Browser(root)


def held(root: Path) -> list[str]:
    incoming = root / "results" / "incoming"
    return [p.name for p in incoming.rglob("*") if p.is_file()] if incoming.exists() else []


def stored(root: Path) -> dict[str, str]:
    """Every file of the season but what is derived, with its hash."""
    return {
        str(p.relative_to(root)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in root.rglob("*")
        if p.is_file() and "results" not in p.parts and not p.name.startswith(".lock")
    }


# What is taken


def test_a_piece_fits_into_one_request_of_the_server() -> None:
    assert PIECE_BYTES < MAX_CONTENT_BYTES


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("weapon.csv", "weapon.csv"), ("C:\\logs\\weapon.csv", "weapon.csv"), ("../../etc/passwd", "passwd"),
        (".hidden.csv", "hidden.csv"), ("", "log"), ("..", "log"), ("a\x00b\n.csv", "a_b_.csv"),
        ("con.csv", "_con.csv"),
        ("Größe 1.CSV", "Größe 1.CSV"), ("a:b?.csv", "a_b_.csv"), ("x." + "y" * 300, "x." + "y" * 10),
    ],
)  # fmt: skip
def test_names_are_made_safe_and_stay_the_users_own(given: str, kept: str) -> None:
    assert safe_name(given) == kept


def test_a_long_name_keeps_its_ending_and_fits_every_disk() -> None:
    made = safe_name("ü" * 300 + ".csv")
    assert made.endswith(".csv")
    assert len(made.encode()) <= 255


def test_only_the_next_bytes_are_taken_and_no_more_than_was_said(browser: Browser) -> None:
    begun = browser.begin("a.csv", 10)
    path = f"/upload/{begun['draft']}/{begun['file']}"
    wrong = browser.client.post(f"{path}?at=5", data=b"12345", headers=ORIGIN)
    assert (wrong.status_code, wrong.get_json()["have"]) == (409, 0)
    assert browser.client.post(f"{path}?at=0", data=b"12345", headers=ORIGIN).get_json()["have"] == 5
    assert browser.client.post(f"{path}?at=0", data=b"12345", headers=ORIGIN).get_json()["have"] == 5
    assert browser.client.post(f"{path}?at=5", data=b"1234567", headers=ORIGIN).status_code == 413
    assert browser.client.post(f"{path}?at=x", data=b"1", headers=ORIGIN).status_code == 400
    assert browser.client.post("/upload/0000/1111?at=0", data=b"1", headers=ORIGIN).status_code == 404


def test_a_request_of_another_page_or_without_the_passphrase_is_refused(root: Path) -> None:
    app = make_app(root)
    guard(app, LOOPBACK, Passphrase("three short words"))
    client = app.server.test_client()
    asked = {"name": "a.csv", "size": 3}
    assert client.post("/upload/begin", json=asked, headers={"Origin": "http://evil.example"}).status_code == 403
    assert client.post("/upload/begin", json=asked).status_code == 403
    assert client.post("/upload/begin", json=asked, headers=ORIGIN).status_code == 401
    assert held(root) == []


def test_what_is_no_request_is_refused(browser: Browser) -> None:
    for body in ({}, {"name": 3, "size": 1}, {"name": "a", "size": True}, {"name": "a", "size": "1"}, [], "x"):
        assert browser.client.post("/upload/begin", json=body, headers=ORIGIN).status_code == 400, body


def test_sizes_and_numbers_are_bounded(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(upload, "FILE_BYTES_MOST", 100)
    monkeypatch.setattr(upload, "ALL_BYTES_MOST", 150)
    shelf = Shelf(Season(root))
    draft, large = shelf.begin(None, "large.csv", 101)
    assert large.state == "refused"
    assert "larger than" in large.why
    assert shelf.begin(draft.token, "empty.csv", 0)[1].state == "refused"
    assert shelf.begin(draft.token, "fits.csv", 100)[1].state == "receiving"
    assert "would wait here" in shelf.begin(draft.token, "too_much.csv", 51)[1].why
    for n in range(upload.FILES_MOST - 4):
        shelf.begin(draft.token, f"{n}.csv", 1)
    with pytest.raises(Refused, match="At most 16 files"):
        shelf.begin(draft.token, "one_more.csv", 1)
    for _ in range(upload.DRAFTS_MOST - 1):
        shelf.begin(None, "a.csv", 1)
    with pytest.raises(Refused, match="wait here already"):
        shelf.begin(None, "a.csv", 1)
    monkeypatch.setattr(upload, "IDLE_S", -1.0)
    assert shelf.begin(None, "a.csv", 1)[1].state == "receiving"
    with pytest.raises(Refused, match="not held here any more"):
        shelf.draft(draft.token)


# How it is read


def test_the_page_shows_what_inspect_says(browser: Browser, root: Path) -> None:
    raw = root / "raw" / "m06"
    for file in sorted(raw.iterdir()):
        browser.send(file.name, file.read_bytes())
    html = browser.page()["html"]
    options = ReadOptions(parts=Season(root).build("b").part_kinds())
    for entry in inspect_files(sorted(raw.iterdir()), options)["files"]:
        assert entry["file"] in html
        assert f"{entry['rows']:,} rows" in html
        for column in entry["columns"]:
            if column["channel"]:
                assert f"<b>{column['channel']}</b>" in html


def test_nothing_is_in_the_season_before_it_is_stored_and_cancel_leaves_nothing(browser: Browser, root: Path) -> None:
    before = stored(root)
    browser.send("bench.csv", BENCH.encode())
    browser.begin("half.csv", 1000)
    browser.client.post(
        f"/upload/{browser.draft}/{browser.begin('third.csv', 9)['file']}?at=0", data=b"x", headers=ORIGIN
    )
    assert sorted(held(root)) == ["bench.csv", "third.csv"]
    assert stored(root) == before
    assert browser.post("cancel")["go"] == "/"
    assert held(root) == []
    assert stored(root) == before
    assert browser.post("again")["status"] == 404


def test_a_server_that_starts_sweeps_what_was_left(browser: Browser, root: Path) -> None:
    browser.send("bench.csv", BENCH.encode())
    assert held(root) == ["bench.csv"]
    make_app(root)
    assert held(root) == []


def test_a_refused_file_says_why_and_does_not_stop_the_others(browser: Browser, root: Path) -> None:
    browser.send("photo.bin", bytes(range(256)) * 40)
    browser.send("bench.csv", BENCH.encode())
    browser.begin("nothing.csv", 0)
    html = browser.page()["html"]
    assert "none of the kinds of log" in html
    assert "0 bytes" in html
    assert str(root) not in html
    assert "1 file to store. 2 refused" in html


def test_names_and_texts_of_a_file_are_escaped(browser: Browser) -> None:
    evil = '<img src=x onerror="alert(1)">'
    browser.send(f"{evil}.csv", f"time [s],{evil} [A]\n0,1\n1,2\n2,3\n".replace('"', "'").encode())
    html = browser.page()["html"]
    assert "<img" not in html
    assert "&lt;img" in html


def test_the_same_bytes_say_so(browser: Browser, root: Path) -> None:
    Season(root).add([root / "raw" / "m06" / "weapon.csv"], "m06")
    data = (root / "raw" / "m06" / "weapon.csv").read_bytes()
    browser.send("weapon.csv", data)
    browser.send("copy.csv", data)
    html = browser.page()["html"]
    assert "already a log of match m06" in html
    assert "The same bytes as weapon.csv: taken once." in html


# Answers


def asked_of(html: str, text: str) -> str:
    """The name of the control below a question."""
    block = next(b for b in html.split('<div class="asked">')[1:] if text in b.split("</p>")[0])
    found = re.search(r'<select name="([^"]+)"', block)
    assert found is not None, text
    return found[1]


def test_answers_change_what_is_stored_and_become_a_reading(browser: Browser, root: Path) -> None:
    file = browser.send("bench_0007.csv", BENCH.encode())
    html = browser.page()["html"]
    assert "No column is understood as a channel." in html
    first, second = asked_of(html, "reading A"), asked_of(html, "spare temp")
    answers = {
        first: "weapon_input_current_A|mA",
        second: "else", f"{second}.channel": "pack_temp_degC", f"{second}.unit": "degF",
        f"{file}.keep": "1", f"{file}.name": "bench",
    }  # fmt: skip
    browser.post("again", **answers)
    html = browser.page()["html"]
    assert "<b>weapon_input_current_A</b>" in html
    assert "0.98 A" in html  # 980 mA
    assert "24.44 °C" in html  # 76 °F = (76 - 32) / 1.8 °C
    assert stored(root).keys() == stored(root).keys() - {"readings/bench.toml"}
    browser.post("store", **answers, match="", new_id="m07", build="b", pack="p1")
    assert browser.page()["go"].startswith("/match/")
    season = Season(root)
    frame = season.log("m07")[0].to_pandas()
    rows = np.arange(3000)
    assert frame["weapon_input_current_A"].to_numpy() == pytest.approx(rows % 50 * 20 / 1000.0)
    assert frame["pack_temp_degC"].to_numpy() == pytest.approx((70 + rows % 7 - 32) / 1.8)
    assert (season.match("m07").build, season.match("m07").pack) == ("b", "p1")
    kept = load_reading(root / "readings" / "bench.toml")
    assert kept.columns["reading A"].unit == "mA"
    assert kept.file_name_hint == "bench"
    assert held(root) == []
    again = Season(root).add([root / "originals" / f"{hashlib.sha256(BENCH.encode()).hexdigest()}.csv"], "m07")
    assert [log.status for log in again.logs] == ["unchanged"]


def test_without_keep_no_reading_is_left(browser: Browser, root: Path) -> None:
    browser.send("bench.csv", BENCH.encode())
    first = asked_of(browser.page()["html"], "reading A")
    browser.post("store", **{first: "pack_current_A|A"}, new_id="m07")
    assert browser.page()["go"].startswith("/match/")
    assert "pack_current_A" in Season(root).log("m07")[0].channels
    assert Season(root).ids("readings") == []


def test_a_log_without_a_clock_asks_for_its_rate(browser: Browser, root: Path) -> None:
    file = browser.send("pack.csv", ("Pack voltage [V]\n" + "".join(f"{25 - i / 500}\n" for i in range(500))).encode())
    assert "How many samples a second" in browser.page()["html"]
    wrong = browser.post("again", **{f"{file}.rate": "many"})
    assert "this is no number" in wrong["html"]
    browser.page()
    browser.post("store", **{f"{file}.rate": "50"}, new_id="m07")
    assert browser.page()["go"].startswith("/match/")
    time_s = Season(root).log("m07")[0].to_pandas().index.to_numpy()
    assert time_s[-1] == pytest.approx(499 / 50)


def test_a_reading_file_among_the_files_is_used_and_kept(browser: Browser, root: Path) -> None:
    browser.send("bench.csv", BENCH.encode())
    from ingest.readings import fingerprint

    mark = fingerprint([("time [s]", None), ("reading A", None), ("spare temp", None)])
    text = (
        f'[reading]\nname = "bench"\nfingerprint = "{mark}"\n\n[[column]]\nsource = "reading A"\n'
        'channel = "pack_current_A"\nunit = "A"\n'
    )
    browser.send("bench.toml", text.encode())
    assert "<b>pack_current_A</b>" in browser.page()["html"]
    browser.post("store", new_id="m07")
    assert browser.page()["go"].startswith("/match/")
    assert (root / "readings" / "bench.toml").read_text() == text


def test_a_wrong_match_id_stores_nothing_and_says_so(browser: Browser, root: Path) -> None:
    before = stored(root)
    browser.send("bench.csv", BENCH.encode())
    browser.page()
    for new_id, why in (("M 7", "is not the id of a match"), ("m06", "is there already"), ("", "is not the id")):
        browser.post("store", new_id=new_id)
        page = browser.page()
        assert why in page["html"], new_id
        assert "Store and review" in page["html"]
    assert stored(root) == before


def test_a_match_that_is_there_keeps_what_it_states(browser: Browser, root: Path) -> None:
    browser.send("weapon.csv", (root / "raw" / "m06" / "weapon.csv").read_bytes())
    browser.page()
    browser.post("again", match="m06")
    html = browser.page()["html"]
    stated = Season(root).match("m06")
    assert f"It states build {stated.build} and pack {stated.pack}." in html
    assert 'name="build"' not in html
    browser.post("store", match="m06", build="a", event="Elsewhere")
    assert browser.page()["go"].startswith("/match/")
    after = Season(root).match("m06")
    assert (after.build, after.event, [log.name for log in after.logs]) == (stated.build, stated.event, ["weapon.csv"])


def test_a_disk_that_fills_up_refuses_the_file_and_leaves_nothing(browser: Browser, root: Path) -> None:
    from ingest.store import FileLayer, Store

    class Full(FileLayer):
        def write(self, file: Any, data: memoryview) -> int:
            raise OSError(28, "No space left on device")

    assert browser.source.season is not None
    browser.source.season.store = Store(Full())
    begun = browser.begin("a.csv", 2_000_000)
    path = f"/upload/{begun['draft']}/{begun['file']}"
    answers = [browser.client.post(f"{path}?at={n}", data=b"x" * 900_000, headers=ORIGIN) for n in (0, 900_000)]
    assert answers[-1].status_code == 507
    assert "Free some space" in answers[-1].get_json()["error"]
    assert held(root) == []


# Words and proposals


@pytest.mark.parametrize(
    ("known", "proposed"),
    [([], "m01"), (["m01", "m12"], "m13"), (["r9"], "r10"), (["final"], "m01"), (["a09", "b2"], "a10")],
)
def test_the_next_id(known: list[str], proposed: str) -> None:
    assert next_id(known) == proposed


@pytest.mark.parametrize(
    ("name", "hint", "reading"),
    [("m06_weapon-0012.csv", "weapon", "weapon"), ("LOG0001.TXT", "LOG", "log"), ("2026.csv", "", "2026"),
     ("left_drive.txt", "left_drive", "left-drive")],
)  # fmt: skip
def test_what_the_names_of_one_kind_of_log_share(name: str, hint: str, reading: str) -> None:
    assert (hint_of(name), reading_name(name)) == (hint, reading)


def test_a_reading_of_one_drive_is_not_taken_for_the_other() -> None:
    left = Reading("left", fingerprint="0" * 64, file_name_hint="left_drive")
    assert find_reading([left], "0" * 64, "left_drive.txt") is left
    assert find_reading([left], "0" * 64, "right_drive.txt") is None


def test_every_channel_and_unit_that_is_offered_makes_a_reading() -> None:
    parts = {"weapon": "controller", "weapon_motor": "motor", "lead": "wire", "plug": "contact"}
    for quantity in ("voltage", "current", "temperature", "speed", "command", "charge", "other", "pressure"):
        for _, names in channel_groups(parts, quantity):
            for name in names:
                channel = parse_channel(name)
                assert channel is not None, name
                for unit in units_of(channel):
                    text = f'[reading]\nname = "x"\n[[column]]\nsource = "s"\nchannel = "{name}"\nunit = "{unit}"\n'
                    assert checked_reading(text, "x.toml").columns["s"].unit == unit
    assert {q.unit for q in QUANTITIES.values()} - set(UNITS) == {"1"}


def test_questions_are_those_of_inspect(tmp_path: Path) -> None:
    (tmp_path / "bench.csv").write_text(BENCH)
    entry = inspect_files([tmp_path / "bench.csv"])["files"][0]
    open_ones = [
        c["question"].split("\n")[0] for c in entry["columns"] if c["sure"] in ("guess", "unknown") and c["question"]
    ]
    assert open_ones
    assert [q.text for q in questions(entry)] == open_ones
    assert json.dumps([q.choices() for q in questions(entry)])


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], int]]:
    """How often a file was read for the page."""
    import dashboard.intake as intake

    calls: list[object] = []
    real = intake.inspect_one
    monkeypatch.setattr(intake, "inspect_one", lambda *a, **k: (calls.append(a), real(*a, **k))[1])
    yield lambda: len(calls)


def test_a_file_is_read_once_where_nothing_changed(browser: Browser, counted: Callable[[], int]) -> None:
    browser.send("bench.csv", BENCH.encode())
    browser.page()
    assert counted() == 1
    browser.post("again", new_id="m09", opponent="Fennimore")
    browser.page()
    assert counted() == 1
    browser.post("store", new_id="m09")
    browser.page()
    assert counted() == 1
