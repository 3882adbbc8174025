"""What pages give to take away: the figures are those of the review, pictures stand alone, nothing runs in a
spreadsheet, nothing is given without the passphrase."""

from __future__ import annotations

import csv
import io
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from flask.testing import FlaskClient

from dashboard.app import make_app
from dashboard.downloads import margins_table
from dashboard.exporting import csv_bytes
from dashboard.line_picture import ticks
from dashboard.pages.offers import offer
from dashboard.rows import Row, margin_rows
from dashboard.serving import LOOPBACK, Passphrase, guard
from dashboard.source import Entry, Source, build_token
from dashboard.teaching import current_paths, explained, teaching_html
from tests.dashboard.browser import Seen, chromium, served, until
from tests.dashboard.made_up import MadeUpSource, bench_m06, build_of_twelve, build_of_two_packs

PNG = b"\x89PNG\r\n\x1a\n"  # the signature of ISO/IEC 15948


@pytest.fixture(scope="module")
def season(demo: tuple[Path, dict[str, Any]]) -> Source:
    return Source(demo[0])


@pytest.fixture(scope="module")
def client(season: Source) -> FlaskClient:
    app = make_app(source=season)
    guard(app, LOOPBACK)
    return app.server.test_client()


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


def token(season: Source, name: str = "m06") -> str:
    return next(e.token for e in season.entries() if e.title == name)


def rows(client: FlaskClient, address: str) -> list[dict[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert answer.mimetype == "text/csv"
    assert answer.headers["Content-Disposition"].startswith("attachment; filename=")
    return list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))


def drawing(client: FlaskClient, address: str) -> ElementTree.Element:
    answer = client.get(address)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert answer.mimetype == "image/svg+xml"
    text = answer.get_data(as_text=True)
    assert "var(--" not in text  # no colour that only a page knows
    assert "tabindex" not in text
    root = ElementTree.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    return root


def test_margins_are_those_of_the_review(client: FlaskClient, season: Source) -> None:
    bench = season.bench(next(e for e in season.entries() if e.title == "m06"))
    given = rows(client, f"/get/match/{token(season)}/margins.csv")
    wanted = margin_rows(bench.review)
    assert [(r["part"], r["check"], r["verdict"]) for r in given] == [(w.part, w.check, w.verdict) for w in wanted]
    assert [float(r["measured"]) for r in given] == [w.measured for w in wanted]


def test_samples_are_those_that_were_read(client: FlaskClient, season: Source) -> None:
    bench = season.bench(next(e for e in season.entries() if e.title == "m06"))
    given = rows(client, f"/get/match/{token(season)}/samples.csv")
    for name, one in bench.review.curves["signals"].items():  # type: ignore[union-attr]
        own = [r for r in given if r["channel"] == name]
        assert len(own) == len(one)
        assert [float(r["value"]) for r in own if r["value"]] == one.good().x.tolist()
    assert sum(1 for r in given if r["channel"] == "channel") == 0


def test_every_picture_stands_alone(client: FlaskClient, season: Source) -> None:
    own = token(season)
    for address in (
        f"/get/match/{own}/wiring.svg", f"/get/match/{own}/envelope.svg", f"/get/whatif/{own}/wiring.svg",
        "/get/compare/traces.svg?a=m05&b=m06", "/get/compare/envelopes.svg?a=m05&b=m06",
        "/get/compare/currents.svg?a=m05&b=m06", "/get/packs/packs.svg", "/get/pit/plan.svg",
    ):  # fmt: skip
        light = drawing(client, address)
        dark = drawing(client, address + ("&" if "?" in address else "?") + "dark=1")
        assert light.get("viewBox") == dark.get("viewBox")
        assert ElementTree.tostring(light) != ElementTree.tostring(dark)


def test_tables_of_the_other_pages(client: FlaskClient, season: Source) -> None:
    own = token(season)
    envelope = rows(client, f"/get/match/{own}/envelope.csv")
    currents = [float(r["worst_rms_A"]) for r in envelope]
    assert currents == sorted(currents, reverse=True) or max(currents) == currents[0]
    assert {r["pack"] for r in rows(client, "/get/packs/packs.csv")} == {"p1", "p2", "p3"}
    assert {r["pack"] for r in rows(client, "/get/pit/plan.csv?minutes=40")} == {"p1", "p2", "p3"}
    differences = rows(client, "/get/compare/differences.csv?a=m05&b=m06")
    assert {"m05", "m06", "difference", "verdict"} <= differences[0].keys()
    before = {(r["part"], r["check"]): r for r in rows(client, f"/get/whatif/{own}/margins.csv")}
    after = rows(client, f"/get/whatif/{own}/margins.csv?set=battery_lead.gauge%3D8+AWG")
    assert after
    assert before


def test_what_is_not_there_is_not_found(client: FlaskClient, season: Source) -> None:
    own = token(season)
    for address in (
        "/get/match/ffffffffffff/margins.csv", f"/get/match/{own}/other.csv",
        "/get/compare/traces.svg", "/get/compare/other.svg?a=m05&b=m06", "/get/packs/x.csv", "/get/pit/x.svg",
        "/teach/match/ffffffffffff", "/teach/build/b", "/teach/other/b",
    ):  # fmt: skip
        assert client.get(address).status_code == 404, address


def test_nothing_is_given_without_the_passphrase() -> None:
    app = make_app(source=MadeUpSource())
    guard(app, LOOPBACK, Passphrase("three blunt chisels"))
    stranger = app.server.test_client()
    for address in ("/get/match/000000000001/margins.csv", "/get/packs/packs.csv", "/teach/match/000000000001"):
        assert stranger.get(address, headers={"Sec-Fetch-Dest": "empty"}).status_code == 401


def test_text_that_a_spreadsheet_would_run_is_escaped() -> None:
    """The starts of a formula that OWASP's page on CSV injection lists."""
    bad = [Row(f"{start}1+1", "x", 1.0, None, None, 2.0, "A", 50.0, "within", f"{start}cmd") for start in "=+-@\t\r"]
    for line in csv.DictReader(io.StringIO(csv_bytes(margins_table(bad)).decode(), newline="")):
        assert line["part"].startswith("'")
        assert line["source"].startswith("'")


def test_long_answers_come_in_gzip_and_short_ones_do_not(client: FlaskClient) -> None:
    packed = client.get("/get/packs/packs.svg", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    plain = client.get("/get/packs/packs.svg", headers={"Accept-Encoding": "identity"})
    assert "Content-Encoding" not in plain.headers
    assert len(packed.get_data()) < len(plain.get_data())


def test_the_lesson_names_every_run_and_no_figure_of_a_match(client: FlaskClient, season: Source) -> None:
    of_match = client.get(f"/teach/match/{token(season)}").get_data(as_text=True)
    assert client.get(f"/teach/build/{build_token('b')}").get_data(as_text=True) == of_match
    assert "<script" not in of_match
    assert "°C" not in of_match
    assert season.season is not None
    build = season.season.build("b")
    for wire in build.wires:
        assert wire.id.replace("_", " ") in of_match.lower()
    assert len(list(current_paths(build_of_two_packs()))) == 5  # four motors and the receiver's supply
    assert {name.split(" (")[0] for name, _ in explained(build)} >= {"Pack", "Run", "Controller", "Motor", "Fuse"}


def test_the_lesson_prints_on_one_page(browser: Any) -> None:
    build = bench_m06().build
    assert build is not None
    page = browser.new_page()
    for one in (build, build_of_two_packs(), build_of_twelve(), build.model_copy(update={"wires": ()})):
        page.set_content(teaching_html(one))
        for paper in ("A4", "Letter"):
            assert len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format=paper))) == 1, (one.build.id, paper)
    page.close()


def test_round_figures_on_an_axis() -> None:
    assert ticks(0.0, 100.0, log=False) == [0, 20, 40, 60, 80, 100]
    assert ticks(0.1, 10.0, log=True) == pytest.approx([0.1, 0.2, 0.5, 1, 2, 5, 10])


def test_the_links_say_what_they_give() -> None:
    links = offer("Margins", data="/a.csv", picture="/a.svg").children
    said = [getattr(link, "aria-label", "") for link in links if hasattr(link, "children")]
    assert said[1:] == ["Margins, data as CSV", "Margins, picture as SVG", "Margins, picture as PNG"]


def test_the_browser_makes_pictures_of_the_wiring_and_the_traces(browser: object) -> None:
    with served(make_app(source=MadeUpSource())) as address:
        seen = Seen(browser, address, "/match/000000000001").drawn()
        for label, start in (
            ("Wiring, picture as PNG", PNG), ("Wiring, picture as SVG", b"<svg"),
            ("Traces, picture as PNG", PNG), ("Traces, picture as SVG", b"<svg"),
        ):  # fmt: skip
            with seen.settled().page.expect_download() as given:
                seen.page.get_by_label(label, exact=True).click()
            data = Path(given.value.path()).read_bytes()
            assert data.startswith(start), label
            assert len(data) > 5000, label
            assert given.value.suggested_filename.endswith(label[-3:].lower())
        assert seen.wrong == []
        assert seen.elsewhere == []
        seen.close()


def test_a_redraw_in_other_tones_keeps_the_zoom(browser: object) -> None:
    with served(make_app(source=MadeUpSource())) as address:
        seen = Seen(browser, address, "/match/000000000001").drawn()
        axis = "document.querySelector('#traces .js-plotly-plot')._fullLayout.xaxis.range"
        seen.page.click(".finding >> nth=2")
        until(lambda: seen.page.evaluate(axis)[0] > 100)
        before = seen.settled().page.evaluate(axis)
        assert before[0] > 100
        seen.page.click("#theme")
        colour = "document.querySelector('#traces .js-plotly-plot')._fullLayout.font.color"
        until(lambda: seen.page.evaluate(colour).upper() == "#B4BBC1")
        assert seen.settled().page.evaluate(axis) == pytest.approx(before)
        assert seen.wrong == []
        seen.close()


def test_one_match_under_review_holds_up_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    source = Source(None, ("a",))
    slow, quick = Entry("a" * 12, "slow", None), Entry("b" * 12, "quick", None)
    begun, let_go, made = threading.Event(), threading.Event(), []

    def reviewed(entry: Entry) -> object:
        made.append(entry.title)
        if entry.title == "slow":
            begun.set()
            assert let_go.wait(90)
        return bench_m06()

    monkeypatch.setattr(source, "_reviewed", reviewed)
    askers = [threading.Thread(target=source.bench, args=(slow,)) for _ in range(2)]
    for asker in askers:
        asker.start()
    assert begun.wait(90)
    assert source.bench(quick) is not None  # returns while the other is still under review
    let_go.set()
    for asker in askers:
        asker.join(90)
    assert made == ["slow", "quick"]  # two asked for the slow one, it was reviewed once
