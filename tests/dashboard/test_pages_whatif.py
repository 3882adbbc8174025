"""The what-if page: steppers, the replay they start, what is refused, the picture of before; also in Chromium."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.app import make_app
from dashboard.pages import lightest, whatif
from dashboard.pareto_picture import Point, pareto_svg
from dashboard.source import Source
from dashboard.whatif_choices import choices, minutes_for, search_of, sets_of
from dashboard.wiring_picture import wiring_svg
from tests.dashboard.browser import Seen, chromium, served, until
from tests.dashboard.made_up import build_b, calm_review, pack_p1, review_m06
from tests.dashboard.small_season import small_season


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Source:
    return Source(small_season(tmp_path_factory.mktemp("whatif") / "s", ("m06",)))


def text_of(component: object) -> str:
    return json.dumps(component, default=lambda o: o.to_plotly_json(), ensure_ascii=False).replace("\u00a0", " ")


def chosen(key: str) -> object:
    return next(c for c in choices(build_b(), pack_p1(), [pack_p1()]) if c.key == key)


def test_every_run_and_limit_has_its_stepper_in_words() -> None:
    p3 = pack_p1().model_copy(update={"id": "p3"})
    keys = [c.key for c in choices(build_b(), pack_p1(), [pack_p1(), p3])]
    for wire in build_b().wires:
        assert f"wire.{wire.id}.gauge" in keys
    for wanted in ("wire.battery_lead.joints", "pack", "pack.parallel", "controller.weapon.current_limit_A"):
        assert wanted in keys


def test_steps_go_one_size_and_stop_at_the_end() -> None:
    gauge = chosen("wire.battery_lead.gauge")
    assert gauge.words({}) == "12 AWG"  # type: ignore[attr-defined]
    heavier = gauge.stepped({}, 1)  # type: ignore[attr-defined]
    assert heavier == {"wire.battery_lead.gauge": "10 AWG"}
    assert gauge.stepped(heavier, -1) == {}  # type: ignore[attr-defined]
    sets: dict[str, str] = {}
    for _ in range(40):
        sets = gauge.stepped(sets, 1)  # type: ignore[attr-defined]
    assert sets == {"wire.battery_lead.gauge": "4 AWG"}


def test_a_metric_run_steps_in_square_millimetres() -> None:
    build = build_b()
    lead = build.wires[0].model_copy(update={"gauge": "4 mm2"})
    build = build.model_copy(update={"wires": (lead, *build.wires[1:])})
    gauge = choices(build, None, [])[0]
    assert gauge.words({}) == "4 mm²"
    assert gauge.stepped({}, 1) == {"wire.battery_lead.gauge": "6 mm2"}
    assert gauge.stepped({}, -1) == {"wire.battery_lead.gauge": "2.5 mm2"}


_keys = st.text(st.characters(codec="utf-8", exclude_characters="="), min_size=1, max_size=12).map(str.strip)


@given(st.dictionaries(_keys.filter(bool), st.text(min_size=1, max_size=9).map(str.strip).filter(bool), max_size=5))
def test_the_address_holds_the_changes(sets: dict[str, str]) -> None:
    assert sets_of(search_of(sets)) == sets


def test_minutes_are_those_of_the_advice() -> None:
    assert minutes_for({}, build_b()) == 0
    # plug, disconnect and terminal of the battery lead: 6 + 3 × 3 minutes, as the advice counts them
    assert minutes_for({"wire.battery_lead.joints": "remade"}, build_b()) == 15


def test_before_is_drawn_as_thin_outlines_only_where_it_moved() -> None:
    for vertical in (False, True):
        same = wiring_svg(build_b(), review_m06(), before=(build_b(), review_m06()), vertical=vertical)
        assert same == wiring_svg(build_b(), review_m06(), vertical=vertical)
        mended = wiring_svg(build_b(), calm_review(), before=(build_b(), review_m06()), vertical=vertical)
        assert mended.count('stroke-dasharray="2 3"') == 3  # the three contacts that were past their rating


def test_a_remade_joint_is_within_and_says_what_it_costs(source: Source) -> None:
    bench = source.bench(source.entries()[0])
    joint = next(f for f in bench.review.findings if f.check == "joint")
    assert bench.build is not None
    runs = [w.id for w in bench.build.wires if w.id in {joint.part, *joint.could_be}]
    tried = whatif.attempt(bench, {f"wire.{run}.joints": "remade" for run in runs}, source.packs())
    assert tried.after is not None
    assert tried.after.match.verdict in ("within", "close")
    text = text_of(whatif.result(bench, tried))
    for words in ("Before", "After", "Costs", "0 g", "of your 40 min", "Margins that moved"):
        assert words in text


@pytest.mark.parametrize(
    ("sets", "words"),
    [
        ({"wire.battery_lead.gauge": "12 elephants"}, "gauge"),
        ({"wire.nowhere.gauge": "10 AWG"}, "has no wire"),
        ({"contact.main_disconnect": "removed"}, "not taken out or bypassed"),
        ({"pack": "p9"}, "there is no pack"),
        ({"nonsense": ""}, "there is no"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(source: Source, sets: dict[str, str], words: str) -> None:
    bench = source.bench(source.entries()[0])
    tried = whatif.attempt(bench, sets, source.packs())
    assert tried.after is None
    text = text_of(whatif.result(bench, tried))
    assert "Not replayed" in text
    assert words in text


def test_grams_against_margin_are_drawn_where_they_are() -> None:
    """More grams stand further right, more margin higher; what is over the mass limit is an open dot."""
    some = [Point(-60.0, 18.0, True), Point(0.0, 30.0), Point(90.0, 41.0)]
    svg = pareto_svg(some, 15.0, 50.0, theme="light", width=1000)
    assert svg is not None
    assert "mass limit, +50 g" in svg and "every choice keeps 15 % at least" in svg and "−" in svg
    dots = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="7" fill="([^"]+)"', svg)
    places = [(float(x), float(y)) for x, y, _ in dots]
    assert len(places) == 3
    assert [x for x, _ in places] == sorted(x for x, _ in places)
    assert [y for _, y in places] == sorted((y for _, y in places), reverse=True)
    assert dots[2][2] != dots[0][2] == dots[1][2]
    assert pareto_svg([], 15.0, None) is None


def test_the_lightest_wiring_reads_as_text_table_and_file(source: Source) -> None:
    entry = source.entries()[0]
    bench = source.bench(entry)
    found = lightest.found_for(bench, source.packs())
    assert found is lightest.found_for(bench, source.packs())
    text = text_of(lightest.result(bench, found, entry.token, True))
    rows = lightest.rows_of(bench, found).to_pylist()
    assert [row["adds_g"] for row in rows] == sorted(row["adds_g"] for row in rows)
    assert sum(row["lightest"] == "yes" for row in rows) == (0 if found.best is None else 1)
    assert all(row["smallest_margin_pct"] >= found.need_pct for row in rows)
    assert text.count('"Try it"') == sum(row["changes"] != "as it is" for row in rows)
    for words in ("never made thinner", "lightest.csv", "lightest.svg", "Screened, not replayed"):
        assert words in text


@pytest.fixture(scope="module")
def address(source: Source) -> Iterator[str]:
    with served(make_app(source=source)) as found:
        yield found


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


@pytest.mark.parametrize(("width", "dark"), [(1400, False), (390, True)])
def test_the_page_is_sound(browser: object, address: str, source: Source, width: int, dark: bool) -> None:
    token = source.entries()[0].token
    change = quote("wire.battery_lead.gauge=10 AWG")
    seen = Seen(browser, address, f"/whatif/{token}?set={change}", width=width, dark=dark)
    seen.page.wait_for_selector("text=Margins that moved", state="attached")
    seen.page.wait_for_selector("#whatif-pictures .trace", state="attached")
    until(lambda: "10 AWG" in seen.page.inner_text("[data-stepper=battery_lead] >> nth=0"))
    seen.settled().sound(width)
    seen.close()


def test_steps_by_keyboard_change_figures_address_and_picture(browser: object, address: str, source: Source) -> None:
    seen = Seen(browser, address, f"/whatif/{source.entries()[0].token}")
    seen.page.wait_for_selector("#whatif-pictures .drawn")
    seen.settled()
    drawn = seen.page.get_attribute("#whatif-pictures .drawn", "data-svg")
    heavier = seen.page.locator("[data-stepper=battery_lead] .step >> nth=1")
    heavier.focus()
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_selector("text=Margins that moved")
    until(lambda: "10+AWG" in seen.page.url)
    until(lambda: seen.page.get_attribute("#whatif-pictures .drawn", "data-svg") != drawn)
    until(lambda: "10 AWG" in seen.page.inner_text("[data-stepper=battery_lead] >> nth=0"))
    focus = "document.activeElement.getAttribute('aria-label')"  # it has stayed on the step
    until(lambda: seen.settled().page.evaluate(focus) == "Battery lead, gauge: heavier")
    seen.page.keyboard.press("Enter")
    until(lambda: "8+AWG" in seen.page.evaluate("location.search"))
    seen.settled().page.go_back()
    until(lambda: "10 AWG" in seen.page.inner_text("[data-stepper=battery_lead] >> nth=0"))
    seen.settled().page.click("#whatif-reset")
    until(lambda: "set=" not in seen.page.evaluate("location.search"))
    until(lambda: "Recorded" in seen.page.inner_text("#whatif-result"))
    assert seen.wrong == []
    seen.close()


@pytest.mark.parametrize(("width", "dark"), [(1400, False), (390, True)])
def test_the_lightest_wiring_is_looked_for_by_keyboard(
    browser: object, address: str, source: Source, width: int, dark: bool
) -> None:
    seen = Seen(browser, address, f"/whatif/{source.entries()[0].token}", width=width, dark=dark)
    seen.page.wait_for_selector("#whatif-pictures .drawn svg", state="attached")
    seen.settled().page.locator("#lightest-look").focus()
    seen.page.keyboard.press("Enter")
    seen.page.wait_for_selector("#lightest-found .drawn svg", state="attached")
    seen.settled().sound(width)
    first = seen.page.locator("#lightest-found a:has-text('Try it')").first
    first.focus()
    seen.page.keyboard.press("Enter")
    until(lambda: "set=" in seen.page.url)
    seen.page.wait_for_selector("text=Margins that moved", state="attached")
    assert seen.settled().page.locator("#lightest-found .drawn").count() == 1  # what was found stays
    seen.close()
