"""The season page and the page that adds files: order, filters, 500 matches; in Chromium from a drop to a verdict."""

from __future__ import annotations

import csv
import io
import json
import math
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import make_app
from dashboard.descriptions import Descriptions
from dashboard.pages import season as season_page
from dashboard.reading_options import parts_of
from dashboard.season_lines import FILE, Summary, read_lines, summarise, write_lines
from dashboard.season_table import SORTS, Asked, csv_text, filtered, shown
from dashboard.season_trends import HOTTEST, RESISTANCE, trends_of
from dashboard.serving import LOOPBACK, guard
from dashboard.source import Source
from ingest.align import align
from ingest.season import Season
from tests.dashboard.browser import Seen, chromium, served, until
from tests.dashboard.made_up import MadeUpSource, bench_m06, review_m06, unknown_review
from tests.dashboard.small_season import small_season

BENCH = "time [s],reading A,spare temp\n" + "".join(f"{i / 100:.2f},{i % 50 * 20},{70 + i % 7}\n" for i in range(3000))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of one match without logs, and its raw logs."""
    return small_season(tmp_path_factory.mktemp("made") / "season", ("m06",), add=False)


@pytest.fixture(scope="module")
def many(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of 500 matches whose lines are kept: copies of a few match files and lines, no logs."""
    root = tmp_path_factory.mktemp("many") / "season"
    shutil.copytree(made, root, ignore=shutil.ignore_patterns("raw"))
    text = (root / "matches" / "m06.toml").read_text(encoding="utf-8")
    (root / "matches" / "m06.toml").unlink()
    for n in range(500):
        name = f"m{n:03d}"
        changed = text.replace('id = "m06"', f'id = "{name}"').replace('pack = "p1"', f'pack = "p{1 + n % 3}"')
        entry = f'\n[[log]]\nsha256 = "{n:064x}"\nname = "pack.csv"\n'
        (root / "matches" / f"{name}.toml").write_text(changed + entry, encoding="utf-8")
    season = Season(root)
    known = Descriptions(season).now()
    lines = [summarise(bench_m06()), summarise(bench_m06(unknown_review()))]
    write_lines(season, {(m.id, known.fingerprints[m.id]): lines[n % 2] for n, m in enumerate(known.matches)})
    return root


def rendered(component: object) -> str:
    return json.dumps(component, default=lambda o: o.to_plotly_json(), ensure_ascii=False)


# Lines, order, filters


def test_lines_are_kept_as_they_were_and_a_damaged_file_is_not_believed(made: Path, tmp_path: Path) -> None:
    root = tmp_path / "season"
    shutil.copytree(made, root)
    season = Season(root)
    lines = {("m06", "a" * 64): summarise(bench_m06()), ("m07", "b" * 64): summarise(bench_m06(unknown_review()))}
    assert any(math.isinf(high) for _, _, high, _ in lines["m07", "b" * 64].estimates.values())
    write_lines(season, {**lines, ("m08", "c" * 64): Summary("unknown", "", None, {}, "it failed")})
    assert read_lines(season) == lines
    path = season.results_path / FILE
    whole = path.read_bytes()
    for damaged in (b"", whole[:-40], whole.replace(b'"over"', b'"with"'), b"[]", b"\xff\xfe"):
        path.write_bytes(damaged)
        assert read_lines(season) == {}


def test_every_column_sorts_both_ways_and_unknown_goes_last() -> None:
    lines = MadeUpSource().lines()
    for key, value in SORTS.items():
        for down in (False, True):
            order = [value(line) for line in shown(lines, Asked(sort=key, down=down))]
            known = [v for v in order if v is not None]
            assert order == known + [None] * (len(order) - len(known)), key
            assert known == sorted(known, reverse=down), key  # type: ignore[type-var]


def test_a_head_sorts_then_turns_round_then_lets_go() -> None:
    first = Asked(build="b")
    assert first.sorted_by("opponent") == "/?build=b&sort=opponent"
    assert Asked(sort="opponent").sorted_by("opponent") == "/?sort=opponent&down=1"
    assert Asked(sort="opponent", down=True).sorted_by("opponent") == "/"
    assert Asked().sorted_by("pack_peak_A") == "/?sort=pack_peak_A&down=1"  # the worst first


def test_an_address_that_asks_for_nonsense_shows_everything() -> None:
    asked = Asked.of({"verdict": "splendid", "sort": "__class__", "down": "x"})
    assert asked == Asked()
    assert not Asked.of({}).any


def test_filters_narrow_and_the_counts_follow(many: Path) -> None:
    source = Source(many)
    lines = source.lines()
    assert len(filtered(lines, Asked(pack="p2"))) == 167  # every third of 500, from the second on
    assert len(filtered(lines, Asked(pack="p2", build="a"))) == 0
    assert len(filtered(lines, Asked(find="m49"))) == 10
    assert len(shown(filtered(lines, Asked()), Asked(verdict="over"))) == 250
    text = rendered(season_page.table(source, {"pack": "p2"}))
    assert "All 167" in text
    assert "No match fits." in rendered(season_page.table(source, {"find": "nobody of this name"}))


def test_the_table_as_csv_holds_the_figures_and_no_formula(many: Path) -> None:
    app = make_app(many)
    guard(app, LOOPBACK)
    answer = app.server.test_client().get("/season.csv?pack=p1&sort=match&down=1")
    assert answer.mimetype == "text/csv"
    rows = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))
    assert [row["match"] for row in rows] == sorted((row["match"] for row in rows), reverse=True)
    assert len(rows) == 167
    peaks = {(row["verdict"], row["pack_peak_A"], row["pack_peak_A_high"]) for row in rows}
    assert peaks == {("Over", "165", "167"), ("Not known", "122", "")}
    source = MadeUpSource()
    entry, summary = source.lines()[0]
    assert entry.match is not None
    evil = type(entry)(entry.token, entry.title, entry.match.model_copy(update={"opponent": "=1+1"}))
    assert ",'=1+1," in csv_text([(evil, summary)])


def test_500_matches_cost_one_look_at_each_file_and_no_review(many: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted, not timed: a server that has just started reads each match file once, and nothing for the next page."""
    read: Counter[str] = Counter()
    plain = Season.match

    def counted(season: Season, match_id: str) -> Any:
        read[match_id] += 1
        return plain(season, match_id)

    monkeypatch.setattr(Season, "match", counted)
    monkeypatch.setattr(Season, "log", lambda *_: pytest.fail("samples are read for a table"))
    monkeypatch.setattr(Source, "_reviewed", lambda *_: pytest.fail("a match whose line is kept is reviewed"))
    source = Source(many)
    for _ in range(2):
        text = rendered(season_page.layout(source))
        assert text.count("data-pick=") == 500
        assert "reviewing" not in text
        assert len(read) == 500 and set(read.values()) == {1}


def test_a_season_that_changes_under_the_page_is_followed(many: Path, tmp_path: Path) -> None:
    root = tmp_path / "season"
    shutil.copytree(many, root)
    source = Source(root)
    assert len(source.lines()) == 500
    (root / "matches" / "m000.toml").unlink()
    (root / "matches" / "m001.toml").write_text("[match\n", encoding="utf-8")
    changed = root / "matches" / "m002.toml"
    changed.write_text(changed.read_text(encoding="utf-8").replace("Tarnwick", "Elsewhere"), encoding="utf-8")
    lines = source.lines()
    assert len(lines) == 498
    assert [entry.title for entry, line in lines if line is None] == ["m002"]
    text = rendered(season_page.layout(source))
    assert "m001.toml" in text
    shutil.rmtree(root / "matches")
    assert "Drop the log files" in rendered(season_page.layout(source))
    (root / "packs" / "p1.toml").unlink()
    assert source.lines() == []


def test_a_pack_that_is_gone_takes_its_matches_out_of_the_table(many: Path, tmp_path: Path) -> None:
    root = tmp_path / "season"
    shutil.copytree(many, root)
    source = Source(root)
    source.lines()
    (root / "packs" / "p1.toml").unlink()
    assert {entry.match.pack for entry, _ in source.lines() if entry.match} == {"p2", "p3"}
    assert len(source.problems()) == 167


def test_trends_show_the_metrics_of_the_season_run(root: Path) -> None:
    season = Season(root)
    season.add(sorted((root / "raw" / "m06").iterdir()), "m06", options=parts_of(season.build("b")), align=align)
    source = Source(root)
    found = trends_of(source)
    row = next(iter(source.season_run().rows()))
    for panels, name, metric in ((found.packs, "Pack p1", RESISTANCE), (found.builds, "Build b", HOTTEST)):
        measured = row.metric(metric)
        assert measured is not None
        dots = {panel.name: [dot.value for dot in panel.dots] for panel in panels}
        assert dots == {name: [measured.value]}
    assert len(found.of_packs) == 1
    assert trends_of(source) is found
    text = rendered(season_page.trends(source))
    assert "Pack resistance" in text
    assert "Hottest wire" in text
    assert season_page.trends(MadeUpSource()) == []


# In Chromium


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as started:
        yield started


@pytest.fixture
def root(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "season")
    return tmp_path / "season"


def drop(seen: Seen, files: list[Path]) -> None:
    """As a hand drops files: a DataTransfer with real File objects, over the field and let go."""
    seen.page.evaluate(
        "() => { const i = document.createElement('input'); i.type = 'file'; i.multiple = true; i.id = 'held';"
        " i.style.display = 'none'; document.body.append(i); }"
    )
    seen.page.set_input_files("#held", [str(file) for file in files])
    seen.page.evaluate(
        "() => { const held = document.getElementById('held'), data = new DataTransfer();"
        "for (const file of held.files) data.items.add(file);"
        "const field = document.querySelector('[data-drop]');"
        "for (const kind of ['dragenter', 'dragover', 'drop'])"
        " field.dispatchEvent(new DragEvent(kind, { bubbles: true, cancelable: true, dataTransfer: data }));"
        "held.remove(); }"
    )


def test_a_drop_of_raw_logs_ends_in_a_verdict(browser: Any, root: Path) -> None:
    raw = root / "raw" / "m06"
    with served(make_app(root)) as address:
        seen = Seen(browser, address, "/")
        seen.page.wait_for_selector("[data-drop]")
        drop(seen.settled(), sorted(raw.iterdir()))
        seen.page.wait_for_selector(".store .go")
        # Drawn while the last file was being read, the page is drawn again a moment later.
        until(lambda: seen.page.locator("section.file.read").count() == len(list(raw.iterdir())))
        seen.settled().sound(1400)
        seen.page.select_option("select[name=match]", "m06")
        seen.page.wait_for_selector("text=It states build b and pack p1.")
        until(lambda: seen.settled().page.locator(".store .go").count() == 1)
        seen.page.click(".store .go")
        seen.drawn()
        assert seen.page.inner_text(".verdict h1").strip() in ("Over", "Fault")
        assert seen.wrong == []
        assert seen.elsewhere == []
        seen.close()
    assert sorted(log.name for log in Season(root).match("m06").logs) == sorted(p.name for p in raw.iterdir())
    assert not any((root / "results" / "incoming").rglob("*.*"))


def test_with_the_keyboard_alone_from_a_question_to_the_stored_channel(
    browser: Any, root: Path, tmp_path: Path
) -> None:
    file = tmp_path / "bench.csv"
    file.write_text(BENCH, encoding="utf-8")
    with served(make_app(root)) as address:
        seen = Seen(browser, address, "/add")
        seen.page.wait_for_selector("[data-choose]")
        seen.settled()  # a page that is drawn once more would drop the focus
        with seen.page.expect_file_chooser() as chooser:
            seen.page.locator("[data-choose]").press("Enter")
        chooser.value.set_files(str(file))
        seen.page.wait_for_selector(".asked select")
        seen.settled()
        assert "Which part is" in seen.page.inner_text(".asked >> nth=0")
        tab_to(seen, "e => e.matches('.asked select')")
        for _ in range(2):  # past "Leave it open" and "in A"
            seen.page.keyboard.press("ArrowDown")
        assert seen.page.input_value(".asked select >> nth=0") == "weapon_input_current_A|mA"
        tab_to(seen, "e => e.matches('button.wide')")
        seen.page.keyboard.press("Enter")
        seen.page.wait_for_selector(".channels >> text=weapon_input_current_A")
        until(lambda: seen.settled().page.evaluate("document.activeElement.matches('button.wide')"))
        tab_to(seen, "e => e.matches('.store .go')")
        seen.page.keyboard.press("Enter")
        seen.page.wait_for_selector(".match")
        assert seen.settled().wrong == []
        seen.close()
    frame = Season(root).log("m07")[0].to_pandas()
    assert frame["weapon_input_current_A"].max() == pytest.approx(0.98)  # 980 in the file, said to be mA
    assert Season(root).ids("readings") == ["bench"]


def tab_to(seen: Seen, wanted: str) -> None:
    for _ in range(80):
        seen.page.keyboard.press("Tab")
        if seen.page.evaluate(f"({wanted})(document.activeElement)"):
            return
    raise AssertionError(f"the keyboard never came to {wanted}")


def test_on_a_phone_nothing_scrolls_sideways_and_cancel_leaves_nothing(
    browser: Any, root: Path, tmp_path: Path
) -> None:
    bad = tmp_path / ("a_name_that_is_long_" * 4 + ".bin")
    bad.write_bytes(bytes(range(256)) * 40)
    bench = tmp_path / "bench.csv"
    bench.write_text(BENCH, encoding="utf-8")
    with served(make_app(root)) as address:
        seen = Seen(browser, address, "/", width=390, dark=True)
        seen.page.wait_for_selector("[data-choose]")
        with seen.settled().page.expect_file_chooser() as chooser:
            seen.page.click("[data-choose]")
        chooser.value.set_files([str(bad), str(bench), str(root / "raw" / "m06" / "weapon.csv")])
        seen.page.wait_for_selector(".store .go")
        until(lambda: seen.page.locator("section.file.refused").count() == 1)
        until(lambda: seen.page.locator("section.file.read").count() == 2)
        seen.settled().page.select_option(".asked select >> nth=0", "else")
        seen.settled().sound(390)
        seen.page.click("text=Cancel: nothing is stored")
        seen.page.wait_for_selector(".season")
        assert seen.settled().wrong == []
        seen.close()
    assert Season(root).ids("matches") == ["m06"]
    assert not any((root / "results" / "incoming").rglob("*.*"))
    assert not any((root / "originals").glob("*")) if (root / "originals").exists() else True


def test_rows_are_chosen_and_compared_by_keyboard(browser: Any) -> None:
    with served(make_app(source=MadeUpSource())) as address:
        seen = Seen(browser, address, "/")
        seen.page.wait_for_selector("[data-pick]")
        seen.settled()
        for name in ("m06", "m07"):
            seen.page.focus(f"[data-pick={name}]")
            seen.page.keyboard.press("Space")
        seen.page.wait_for_selector("[data-picked] a:visible")
        until(lambda: seen.page.inner_text("[data-picked] .names") == "m06 and m07 chosen")
        seen.settled().page.click(".season th >> text=Charge")
        seen.page.wait_for_selector(".season th[aria-sort=descending]")
        until(lambda: seen.page.get_attribute("[data-pick=m06]", "aria-checked") == "true")
        seen.settled().sound(1400)
        seen.page.focus("[data-picked] a")
        seen.page.keyboard.press("Enter")
        seen.page.wait_for_url("**/compare?a=m06&b=m07")
        seen.close()


def test_a_table_that_is_drawn_anew_keeps_the_focus(browser: Any) -> None:
    """As it is each time that one more match has been reviewed."""
    with served(make_app(source=MadeUpSource())) as address:
        seen = Seen(browser, address, "/")
        seen.page.wait_for_selector("[data-pick]")
        anew = "e => { const n = e.closest('[data-svg]'); n.setAttribute('data-svg', n.dataset.svg + ' '); }"

        def stays(wanted: str) -> None:
            control = seen.settled().page.locator(wanted)
            control.focus()
            old = control.element_handle()
            old.evaluate(anew)
            until(lambda: not old.evaluate("e => e.isConnected"))
            until(lambda: control.evaluate("e => e === document.activeElement"))

        stays("[data-pick=m07]")
        stays(".season th a >> nth=2")
        seen.close()


def test_500_rows_are_in_the_browser_soon_and_sound_on_a_phone(browser: Any, many: Path) -> None:
    with served(make_app(many)) as address:
        seen = Seen(browser, address, "/?verdict=over", width=390)
        seen.page.wait_for_selector(".season tbody tr:nth-child(250)")
        seen.settled().page.goto(address + "/")  # what is broken off on its way would stand in the console
        seen.page.wait_for_selector(".season tbody tr:nth-child(500)")
        seen.settled().sound(390)
        seen.close()


def test_the_made_up_review_is_what_the_lines_say() -> None:
    line = summarise(bench_m06())
    assert line.verdict == review_m06().match.verdict
    assert line.estimates["pack_peak_A"] == (165, 163, 167, "A")
