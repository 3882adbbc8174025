"""Names that would be script in a page or a formula in a spreadsheet stay words wherever they are shown.

What a spreadsheet runs: a cell that begins with = + - @, tab or a line end (OWASP, "CSV Injection", from memory).
"""

from __future__ import annotations

import csv
import io
import json
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pyarrow as pa
import pytest

from benchmarks.crash_works import BUILD, PACK, log_text
from dashboard.exporting import csv_bytes, write_table
from dashboard.serving import LOOPBACK, guard
from ingest.season import Season

SCRIPT = "<script>alert(1)</script>"
ATTRIBUTE = "\"><img src=x onerror=alert(1)>'"
LINK = "javascript:alert(1)"
FORMULAS = ("=cmd|'/C calc'!A0", "+1+1", "-2+3", "@SUM(A1)", "\t=1+1", "\r=1+1", "\n=1+1")


class Elements(HTMLParser):
    """Every element with its attributes, and the text of every script."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self._within = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        self._within = tag

    def handle_endtag(self, tag: str) -> None:
        self._within = ""

    def handle_data(self, data: str) -> None:
        if self._within == "script":
            self.scripts.append(data)


def harmless(text: str) -> None:
    seen = Elements(text)
    for tag, attributes in seen.found:
        assert not any(name.startswith("on") for name in attributes), (tag, attributes)
        assert not any((value or "").strip().lower().startswith("javascript:") for value in attributes.values())
        assert (tag, attributes.get("src")) != ("img", "x")
    assert not any("alert(1)" in script for script in seen.scripts)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Season:
    folder = tmp_path_factory.mktemp("names")
    build = BUILD.replace('id = "b"', f'id = "b"\nrobot = {json.dumps(SCRIPT)}\nsummary = {json.dumps(ATTRIBUTE)}', 1)
    made = Season.create(folder / "s", SCRIPT, ATTRIBUTE, files={"builds/b.toml": build, "packs/p1.toml": PACK})
    log = folder / f"{FORMULAS[0].replace('/', '_')}.csv"
    text = log_text(300).replace("Pack current [A]", f"Pack current [A],{SCRIPT},=cmd()", 1)
    lines = text.splitlines()
    log.write_text("\n".join([lines[0], *(f"{line},1,2" for line in lines[1:])]) + "\n", "utf-8")
    made.add([log], "m01", build="b", pack="p1", event=SCRIPT, opponent=ATTRIBUTE, result=LINK, notes=FORMULAS[0])
    return made


def test_pages_and_sheet(season: Season) -> None:
    from dashboard.app import make_app

    app = make_app(season.root)
    guard(app, LOOPBACK)
    client = app.server.test_client()
    from dashboard.source import Source

    token = Source(season.root).entries()[0].token
    sheet = client.get(f"/sheet/{token}").get_data(as_text=True)
    assert "alert(1)" in sheet, "the name is no longer on the sheet: this test looks at nothing"
    harmless(sheet)
    # pages go out as JSON for the browser's own text nodes: no markup of ours is built from names
    for rule in app.server.url_map.iter_rules():
        if "GET" in (rule.methods or ()) and "<" not in rule.rule:
            answer = client.get(rule.rule)
            if answer.mimetype == "text/html":
                harmless(answer.get_data(as_text=True))


def test_the_page_that_adds_files(season: Season) -> None:
    from dashboard.app import make_app

    app = make_app(season.root)
    guard(app, LOOPBACK)
    client = app.server.test_client()
    headers = {"Origin": "http://localhost"}
    for name in (SCRIPT, ATTRIBUTE, "' onmouseover=alert(1) '.csv", "&lt;script&gt;.csv"):
        made = client.post("/upload/begin", json={"name": name, "size": 5}, headers=headers).get_json()
        client.post(f"/upload/{made['draft']}", data={"event": SCRIPT, "new_id": ATTRIBUTE}, headers=headers)
        shown = client.get(f"/upload/{made['draft']}").get_json()["html"]
        assert "alert(1)" in shown or "&lt;" in shown or "script" in shown
        harmless(shown)
        client.post(f"/upload/{made['draft']}", data={"do": "cancel"}, headers=headers)


def strings(node: object) -> list[str]:
    if isinstance(node, dict):
        return [text for value in node.values() for text in strings(value)]
    if isinstance(node, list):
        return [text for value in node for text in strings(value)]
    return [node] if isinstance(node, str) else []


def raw_markup(node: object) -> list[str]:
    """What a page gives to components that take markup as it stands."""
    if isinstance(node, dict):
        props = node.get("props", {}) if node.get("type") in ("Markdown", "DangerouslySetInnerHTML", "Iframe") else {}
        return strings(props) + [text for value in node.values() for text in raw_markup(value)]
    if isinstance(node, list):
        return [text for value in node for text in raw_markup(value)]
    return []


@pytest.mark.parametrize("page", ["/", "/pit", "/compare", "/packs", "match", "whatif"])
def test_what_a_page_is_made_of(season: Season, page: str) -> None:
    from dashboard import routes
    from dashboard.source import Source

    source = Source(season.root)
    path = page if page.startswith("/") else f"/{page}/{source.entries()[0].token}"
    shown = routes.page(source, path, None)
    document = json.loads(json.dumps(shown.body, default=lambda part: part.to_plotly_json()))
    for text in raw_markup(document):
        harmless(text)
    for text in strings(document):
        if text.startswith("data:") or "<svg" in text:
            assert "<script" not in text
            assert "onerror=alert" not in text or "&quot;&gt;" in text or "%22" in text
        assert not text.lower().startswith("javascript:") or text == LINK


def links(node: object) -> list[str]:
    if isinstance(node, dict):
        own = [node["href"]] if isinstance(node.get("href"), str) else []
        return own + [text for value in node.values() for text in links(value)]
    if isinstance(node, list):
        return [text for value in node for text in links(value)]
    return []


@pytest.mark.parametrize("page", ["/", "/pit", "/compare", "/packs"])
def test_no_name_becomes_a_link(season: Season, page: str) -> None:
    from dashboard import routes
    from dashboard.source import Source

    shown = routes.page(Source(season.root), page, None)
    document = json.loads(json.dumps(shown.body, default=lambda part: part.to_plotly_json()))
    assert all(href.startswith(("/", "#", "data:image/")) for href in links(document))


@pytest.mark.parametrize("text", FORMULAS)
def test_exports_hold_no_formula(tmp_path: Path, text: str) -> None:
    columns = {
        "plain": pa.array([text, None]),
        "large": pa.array([text, None], pa.large_string()),
        "coded": pa.array([text, None]).dictionary_encode(),
        text: pa.array([1.5, 2.5]),
    }
    table = pa.table(columns)
    rows = list(csv.reader(io.StringIO(csv_bytes(table).decode("utf-8"), newline="")))
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) for row in rows for cell in row)
    write_table(table, tmp_path / "x.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "x.xlsx").active
    assert sheet is not None
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    assert any(isinstance(cell.value, str) and cell.value.startswith("'") for cell in cells)


def test_the_commands_own_exports(season: Season, tmp_path: Path) -> None:
    from dashboard.cli import main

    for ending in ("csv", "xlsx"):
        assert main(["export", "m01", "--season", str(season.root), "--to", str(tmp_path / f"x.{ending}")]) == 0
    rows = list(csv.reader(io.StringIO((tmp_path / "x.csv").read_text("utf-8"))))
    assert not any(cell.startswith(("=", "+", "@")) for row in rows for cell in row)
    sheet = openpyxl.load_workbook(tmp_path / "x.xlsx", read_only=True).active
    assert sheet is not None
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
