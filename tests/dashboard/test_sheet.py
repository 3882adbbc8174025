"""The printable sheet: one page on both papers, self-contained, safe, and nothing left out without being counted."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.findings import Review
from dashboard.envelope import envelope_svg, rating_lines, smallest_margin, weakest_contact
from dashboard.rows import margin_rows
from dashboard.sheet import sheet_html
from dashboard.sheet_tables import grouped_not_checked
from ingest.builds import Build, Match, Pack
from tests.dashboard.browser import chromium
from tests.dashboard.made_up import (
    build_b,
    build_of_twelve,
    build_of_two_packs,
    calm_review,
    match_m06,
    pack_p1,
    review_m06,
    unknown_review,
)


class Text(HTMLParser):
    """The words of a page, tags and style left out; tags and the addresses they name kept apart."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: set[str] = set()
        self.addresses: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self._silent += tag == "style"
        self.addresses += [v for k, v in attrs if k in ("src", "href", "action") and v]

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.words.append(data)


def read(html: str) -> Text:
    parser = Text()
    parser.feed(html)
    return parser


def words(html: str) -> str:
    return " ".join(" ".join(read(html).words).replace("\u00a0", " ").split())


def wordy() -> Review:
    review = review_m06()
    return replace(
        review,
        lines=tuple("a rather long sentence with a figure of 12 A in it " * 4 for _ in range(3)),  # type: ignore[arg-type]
        not_checked=tuple(
            replace(n, reason=f"{n.reason} {i} " * 3, part=f"{n.part}_{i}")
            for i in range(6)
            for n in review.not_checked
        ),
        passed=review.passed * 5,
        cautions=review.cautions * 2,
    )


CASES: dict[str, tuple[Review, Build | None, Pack | None, Match | None]] = {
    "over": (review_m06(), build_b(), pack_p1(), match_m06()),
    "calm": (calm_review(), build_b(), pack_p1(), match_m06()),
    "unknown, no build": (unknown_review(), None, None, None),
    "twelve branches": (review_m06(), build_of_twelve(), pack_p1(), match_m06()),
    "two packs": (calm_review(), build_of_two_packs(), pack_p1(), match_m06()),
    "wordy": (wordy(), build_of_two_packs(), pack_p1(), match_m06()),
}


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium() as started:
        yield started


@pytest.mark.parametrize("case", CASES)
def test_prints_on_one_page_of_either_paper(case: str, browser) -> None:  # type: ignore[no-untyped-def]
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.set_content(sheet_html(*CASES[case]))
    for paper in ("A4", "Letter"):
        pdf = page.pdf(format=paper, print_background=True)
        # PDF 32000-1, 7.7.3.3: every page is one object of /Type /Page
        assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1, paper
    assert [url for url in asked if not url.startswith("data:")] == []
    smallest = page.evaluate(
        "Math.min(...[...document.querySelectorAll('body *')].filter(e => e.childNodes.length && "
        "[...e.childNodes].some(n => n.nodeType == 3 && n.data.trim()))"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert smallest >= 8.5 / 0.75  # 8.5 pt, at 0.75 pt a px
    page.close()


@pytest.mark.parametrize("case", CASES)
def test_is_one_file_without_script_and_the_same_every_time(case: str) -> None:
    html = sheet_html(*CASES[case])
    seen = read(html)
    assert not seen.tags & {"script", "link", "iframe", "img", "object", "form"}
    assert seen.addresses == []
    assert not re.search(r"url\((?!data:font/woff2|#)", html)
    assert html == sheet_html(*CASES[case])


def test_says_the_verdict_the_lines_the_cautions_and_where_it_is_from() -> None:
    review = review_m06()
    said = words(sheet_html(*CASES["over"]))
    for line in (*review.lines, *review.cautions):
        assert line in said
    assert "Over" in said
    assert "pack.csv 3f9a…c1" in said
    assert "clocks aligned to 4 ms" in said
    assert "+9 mΩ in one of these" in said
    assert "smelled hot near the plug" in said


def test_rows_that_do_not_fit_are_counted() -> None:
    review = wordy()
    said = words(sheet_html(review, build_b(), pack_p1(), match_m06()))
    counted = re.search(r"and (\d+) more (within|with larger margins)", said)
    assert counted is not None
    shown = sheet_html(review, build_b(), pack_p1(), match_m06()).count('class="bar"')
    assert shown + int(counted[1]) == len(margin_rows(review))
    groups = grouped_not_checked(review)
    left = re.search(r"and (\d+) more not checked", said)
    assert left is not None
    assert int(left[1]) < len(groups)


def test_not_checked_parts_with_one_reason_stand_together() -> None:
    names = [names for names, _ in grouped_not_checked(review_m06())]
    assert names == ["Pack", "Left drive, right drive", "Weapon motor"]


def test_shared_sheet_leaves_out_the_opponent_the_notes_and_the_file_names() -> None:
    html = sheet_html(*CASES["over"], share=True)
    for private in ("Fennimore", "smelled hot", "weapon.csv", "pack.csv"):
        assert private not in html
    assert "3f9a…c1" in html


HOSTILE = "<script>alert(1)</script>\"'&"


def test_names_and_notes_are_escaped() -> None:
    review = review_m06()
    facts = replace(review.match, opponent=HOSTILE, event=HOSTILE, result=HOSTILE)
    review = replace(review, match=facts, lines=(HOSTILE,) * 3, cautions=(HOSTILE,))
    match = match_m06().model_copy(update={"notes": HOSTILE})
    html = sheet_html(review, build_b(), pack_p1(), match)
    assert "<script" not in html
    assert "script" not in read(html).tags


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=300), st.text(max_size=300))
def test_any_text_makes_a_page(notes: str, line: str) -> None:
    review = replace(review_m06(), lines=(line, "", ""))
    html = sheet_html(review, build_b(), pack_p1(), match_m06().model_copy(update={"notes": notes}))
    assert html.endswith("</html>\n")
    assert "script" not in read(html).tags


def test_pack_rating_by_duration_is_straight_in_amps_against_log_time() -> None:
    # contract, section 4: burst to burst_s, continuous from 60 s, linear in A against log t between. p1: 330 A to
    # 10 s, 165 A from 60 s; half way in log t is sqrt(10·60) s
    line = rating_lines(build_b(), pack_p1(), 170)[0]
    assert line.at(0.1) == line.at(10) == pytest.approx(330)
    assert line.at(60) == line.at(150) == pytest.approx(165)
    assert line.at((10 * 60) ** 0.5) == pytest.approx(247.5)
    assert line.at(0.01) is None
    contact = weakest_contact(build_b())
    assert contact is not None
    assert contact.id == "pack_plug"


def test_envelope_marks_the_smallest_margin() -> None:
    review = review_m06()
    curve = review.curves["envelope:pack"]
    nearest = smallest_margin(curve, rating_lines(build_b(), pack_p1(), 170))
    assert nearest is not None
    assert nearest[2] / nearest[1] == pytest.approx(330 / float(curve[1][0]))
    assert envelope_svg(replace(review, curves={}), None, None, theme="print", width=300, height=160, size=12) is None
    bare = envelope_svg(review, None, None, theme="print", width=300, height=160, size=12)
    assert bare is not None
    assert "margin" not in bare
