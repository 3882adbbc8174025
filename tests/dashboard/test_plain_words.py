"""Small things that a page must not leave to be guessed: a least value, a figure that is not there, a plan for other
minutes than are left, what a short table leaves out."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from dash import html

from analysis.glossary import EVERYDAY, GLOSSARY
from dashboard.app import make_app
from dashboard.page_words import sentence
from dashboard.pages import words as words_page
from dashboard.routes import page
from dashboard.rows import Row
from dashboard.season_html import table_html
from dashboard.season_lines import summarise
from dashboard.season_table import Asked
from dashboard.serving import LOOPBACK, guard
from dashboard.sheet import sheet_html
from dashboard.sheet_tables import margins_table
from dashboard.source import Entry, Source
from dashboard.wiring_parts import against
from ingest.season import Season
from tests.dashboard.browser import Seen, chromium, served, until
from tests.dashboard.made_up import MadeUpSource, bench_m06, match_m06, review_m06
from tests.dashboard.small_season import small_season


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


def text_of(component: object) -> str:
    return json.dumps(component, default=lambda o: o.to_plotly_json(), ensure_ascii=False)


def row(measured: float, limit: float, margin_pct: float, unit: str, verdict: str = "within") -> Row:
    return Row("weapon", "controller_cutoff", measured, None, None, limit, unit, margin_pct, verdict, "builds/b.toml")


def test_a_least_value_is_not_written_as_a_most() -> None:
    assert against(row(48, 183, 74, "degC")) == "48 of 183 °C"
    assert against(row(18.1, 18.0, 1, "V")) == "18.1 V, min 18.0"
    assert against(row(17.2, 18.0, -13, "V", "over")) == "17.2 V, min 18.0"
    assert against(row(131, 105, -30, "degC", "over")) == "131 of 105 °C"


def test_a_sentence_has_a_capital_and_an_end_and_a_channel_keeps_its_name() -> None:
    assert sentence("the log holds no cell voltages") == "The log holds no cell voltages."
    assert sentence("left_motor_temp_degC was not logged") == "left_motor_temp_degC was not logged."
    assert sentence("Log it next time.") == "Log it next time."
    assert sentence("") == ""


def test_a_row_of_the_season_says_which_figure_is_not_known() -> None:
    entry = Entry("000000000001", "m06", match_m06())
    summary = replace(summarise(bench_m06()), estimates={"pack_peak_A": (150.0, 149.0, 151.0, "A")})
    text = table_html([(entry, summary)], Asked(), False)
    cells = re.findall(r'<td class="r fig[^"]*">(.*?)</td>', text)
    assert [re.sub(r"<span.*?</span>", "", cell) for cell in cells] == ["not known", "150 A", "not known", "not known"]


@pytest.mark.parametrize(("part", "told"), [("cell4", "cell 4"), ("link", ""), ("left_drive", "left drive")])
def test_a_row_of_the_season_names_the_part_as_one_says_it(part: str, told: str) -> None:
    review = review_m06()
    worst = next(f for f in review.findings if f.verdict == review.match.verdict)
    changed = replace(review, findings=(replace(worst, part=part, cause="weak_cell"),))
    assert summarise(bench_m06(changed)).because == ", ".join(x for x in ("weak cell", told) if x)


def test_the_short_table_of_the_sheet_says_how_many_it_leaves_out_are_close() -> None:
    rows = [row(18.1 + i, 18.0, 1.0 + i, "V", "close") for i in range(3)] + [row(48, 183, 74, "degC")]
    assert "and 3 more with larger margins, 2 of them close" in margins_table(rows, 2)
    assert "more" not in margins_table(rows, 4)
    assert "and 2 more within<" in margins_table([*rows, rows[3]], 4)
    assert "of them close" not in margins_table([rows[0], *[row(48, 183, 74, "degC")] * 3], 2)


def test_the_words_can_be_taken_away() -> None:
    app = make_app(source=MadeUpSource())
    guard(app, LOOPBACK)
    answer = app.server.test_client().get("/get/words.csv")
    assert answer.mimetype == "text/csv"
    given = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))
    assert {r["word"]: r["meaning"] for r in given} == GLOSSARY
    also = {word.lower() for r in given for word in r["also called"].split(", ") if word}
    assert also == set(EVERYDAY)
    assert words_page.said_as("esc") == "ESC" and words_page.said_as("fight") == "fight"
    assert isinstance(words_page.layout(), html.Div)


def test_every_change_has_the_width_of_the_page(browser: object) -> None:
    with served(make_app(source=MadeUpSource())) as address:
        seen = Seen(browser, address, "/match/000000000001").drawn()
        widths = seen.page.evaluate(
            "[...document.querySelectorAll('.advice > li')].map(e => [e.children[0].offsetWidth / e.offsetWidth,"
            " e.offsetHeight])"
        )
        assert len(widths) == len(review_m06().advice)
        assert all(share > 0.45 for share, _ in widths)
        assert all(height < 160 for _, height in widths)
        seen.close()


def test_a_plan_for_other_minutes_than_are_left_says_so(
    browser: object, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Packs that are ready for a match in 40 minutes may not be for one in 36."""
    source = Source(small_season(tmp_path_factory.mktemp("stale") / "s", ("m06",)))
    with served(make_app(source=source)) as address:
        seen = Seen(browser, address, "/pit?minutes=40")
        seen.page.wait_for_selector(".countdown .count")
        told, link = seen.page.locator("[data-stale]"), seen.page.locator("[data-stale] a")
        assert not told.is_visible()
        for _ in range(4):
            seen.page.click("text=1 min less")
        until(lambda: told.is_visible() and (link.get_attribute("href") or "").startswith("/pit?minutes=3"))
        assert "This plan is for 40 minutes; 3" in told.inner_text()
        href = link.get_attribute("href") or ""
        link.click()
        wanted = href.partition("=")[2]
        until(lambda: seen.page.locator("[data-countdown]").get_attribute("data-minutes") == wanted)
        until(lambda: not told.is_visible())
        assert f"next match, {wanted} min" in seen.page.inner_text("#page")
        assert seen.wrong == []
        seen.close()


def test_the_chain_of_the_sheet_never_cuts_a_figure_off() -> None:
    """ "Right drive down to 1…" could be any voltage."""
    review = review_m06()
    one = replace(review.chain[0], what="Right drive down to 18.4 V", detail="limit 18.0 V, for long enough to stop it")
    text = sheet_html(replace(review, chain=(one,) * 5), None, None, None)
    chain = text[text.index('<ol class="chain">') : text.index("</ol>")]
    said = re.sub(r"<br>", " ", re.sub(r"</?span[^>]*>", "|", chain)).replace("\u00a0", " ")
    assert said.count("Right drive down to 18.4 V") == 5
    assert max(item.count("<br>") for item in chain.split("<li>")) <= 2  # the head of the sheet keeps its height


def test_an_empty_season_says_what_to_do_and_a_name_that_is_not_there_is_named(tmp_path: Path) -> None:
    Season.create(tmp_path / "s")
    source = Source(tmp_path / "s")
    for path in ("/", "/add", "/pit", "/compare"):
        text = text_of(page(source, path, "").body)
        assert "/add" in text or "data-drop" in text, path
    lost = text_of(page(source, "/compare", "?a=m99&b=%3Cscript%3E").body)
    assert "Not in this season: m99, <script>." in lost
    assert "Choose two." not in lost
    gone = text_of(page(source, "/match/0123456789ab", "").body)
    assert "no longer in the season" in gone and '"href": "/"' in gone
