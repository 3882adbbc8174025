"""The wiring picture: what it must show of a build and a review, for any tree."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.ink import DARK, LIGHT, Tones, contrast, esc, fit, text_width
from dashboard.rows import margin_rows, statuses
from dashboard.wiring_parts import copper_px
from dashboard.wiring_picture import wiring_svg
from dashboard.wiring_scale import SCREEN
from dashboard.wiring_tree import fitted, wiring_tree
from ingest.builds import Build, BuildHead, Controller, PackSlot
from tests.dashboard.made_up import (
    build_b,
    build_of_twelve,
    build_of_two_packs,
    calm_review,
    match_m06,
    pack_p1,
    review_m06,
    unknown_review,
    wire,
)

SVG = "{http://www.w3.org/2000/svg}"
BUILDS = {"b": build_b, "twelve": build_of_twelve, "two": build_of_two_packs}
REVIEWS = {"over": review_m06, "calm": calm_review, "unknown": unknown_review, "none": lambda: None}


def texts(svg: str) -> list[str]:
    return ["".join(node.itertext()) for node in ET.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("vertical", [False, True])
@pytest.mark.parametrize("theme", ["light", "dark", "print", "page"])
@pytest.mark.parametrize("review", REVIEWS)
@pytest.mark.parametrize("build", BUILDS)
def test_every_part_is_drawn_and_the_same_input_is_the_same_bytes(
    build: str, review: str, theme: str, vertical: bool
) -> None:
    made, judged = BUILDS[build](), REVIEWS[review]()
    kw = {"theme": theme, "vertical": vertical, "width": 358 if vertical else 1288, "packs": {"pack": pack_p1()}}
    svg = wiring_svg(made, judged, **kw)
    assert svg == wiring_svg(made, judged, **kw)
    root = ET.fromstring(svg)
    drawn = {node.get("data-run") for node in root.iter() if node.get("data-run")}
    motors = {motor.id for motor in made.motors}
    folded = {w.id for w in made.wires if w.to in motors} if theme == "print" else set()
    assert {w.id for w in made.wires} - folded <= drawn
    width, height = (float(v) for v in root.get("viewBox", "").split()[2:])
    for node in root.iter(f"{SVG}text"):
        assert 0 <= float(node.get("x", "-1")) <= width
        assert 0 <= float(node.get("y", "-1")) <= height


def test_copper_is_drawn_to_scale() -> None:
    # ASTM B258: diameter of n AWG is 0.127 mm × 92^((36 − n)/39): 12 AWG 2.053 mm, 20 AWG 0.812 mm.
    leads = {w.id: w for w in build_b().wires}
    assert copper_px(leads["battery_lead"], SCREEN) == pytest.approx(6 * 2.053, abs=0.02)
    assert copper_px(leads["receiver_lead"], SCREEN) == pytest.approx(6 * 0.812, abs=0.02)
    assert copper_px(wire("x", "a", "b", "unknown"), SCREEN) is None


def test_a_fault_that_cannot_be_placed_marks_every_candidate_and_says_what_was_added() -> None:
    svg = wiring_svg(build_b(), review_m06(), packs={"pack": pack_p1()})
    assert "+9 mΩ in one of these" in texts(svg)
    assert "129 °C (109 to 156) of 105 °C" in texts(svg)
    hatched = [n for n in ET.fromstring(svg).iter(f"{SVG}path") if "-hatch" in n.get("fill", "")]
    assert len(hatched) == 3
    calm = wiring_svg(build_b(), calm_review(), packs={"pack": pack_p1()})
    assert "in one of these" not in calm
    assert not [n for n in ET.fromstring(calm).iter(f"{SVG}path") if "-hatch" in n.get("fill", "")]


def test_what_was_not_checked_is_dashed_and_said() -> None:
    nothing = wiring_svg(build_b(), unknown_review())
    assert texts(nothing).count("heat not checked") == len(build_b().wires)
    assert "stroke-dasharray" in nothing
    assert "°C" not in "".join(texts(nothing))
    no_log = wiring_svg(build_b(), None)
    assert "not checked" not in no_log


def test_a_wire_past_its_rating_breaks_out_of_its_outline() -> None:
    calm = calm_review()
    hot = replace(calm.passed[1], measured=190.0, margin_pct=-4.0)
    finding = replace(
        review_m06().findings[1], part="weapon_lead", check="wire_temperature", could_be=(), measured=190.0,
        limit=183.0, margin_pct=-4.4, low=180.0, high=200.0, consequence_of="",
    )  # fmt: skip
    assert hot.part == "weapon_lead"
    review = replace(calm, passed=tuple(p for p in calm.passed if p.part != "weapon_lead"), findings=(finding,))
    root = ET.fromstring(wiring_svg(build_b(), review))
    heights = [float(n.get("height", "0")) for n in root.iter(f"{SVG}rect") if n.get("fill", "").endswith("-hatch)")]
    assert max(heights) >= 2 * (SCREEN.jacket + 8)


def test_left_out_loads_are_counted_and_are_those_with_the_most_margin() -> None:
    svg = wiring_svg(build_of_twelve(), calm_review(), theme="print", width=711, max_rows=8)
    assert any("and 4 more loads" in t for t in texts(svg))
    shown = [t for t in texts(svg) if t.startswith("Load ")]
    assert shown


@settings(max_examples=40, deadline=None)
@given(st.text(min_size=1, max_size=60), st.integers(min_value=1, max_value=25))
def test_any_name_is_escaped_and_any_number_of_branches_is_drawn(name: str, branches: int) -> None:
    loads = [f"load_{i}" for i in range(branches)]
    build = Build(
        build=BuildHead(id="any"),
        packs=(PackSlot(cells=3),),
        wires=(
            wire("lead", "pack", "block", through=(name,)),
            *(wire(f"{load}_lead", "block", load) for load in loads),
        ),
        controllers=tuple(Controller(id=load) for load in loads),
    )
    for vertical in (False, True):
        root = ET.fromstring(wiring_svg(build, None, vertical=vertical, width=358 if vertical else 1288))
        assert len([n for n in root.iter() if n.get("data-run")]) == branches + 1


def test_packs_that_feed_one_node_end_there_and_are_not_drawn_twice() -> None:
    build = Build(
        build=BuildHead(id="joined"),
        packs=(
            PackSlot(id="left_pack", cells=6, join="parallel"),
            PackSlot(id="right_pack", cells=6, join="parallel"),
        ),
        wires=(
            wire("left_lead", "left_pack", "block"),
            wire("right_lead", "right_pack", "block"),
            wire("weapon_lead", "block", "weapon"),
        ),
        controllers=(Controller(id="weapon"),),
    )
    roots = wiring_tree(build)
    assert [root.runs[0].child.again for root in roots] == [False, True]
    for vertical in (False, True):
        root = ET.fromstring(wiring_svg(build, None, vertical=vertical, width=358 if vertical else 1288))
        assert [n.get("data-run") for n in root.iter() if n.get("data-run")].count("weapon_lead") == 1


def test_each_slot_shows_the_pack_that_the_match_names() -> None:
    build = build_of_two_packs()
    small = pack_p1().model_copy(update={"id": "p4", "cells": 4})
    match = match_m06().model_copy(update={"packs": {"drive_pack": "p4", "weapon_pack": "p1"}})
    packs = fitted(build, (small, pack_p1()), match)
    assert {slot: pack.id for slot, pack in packs.items()} == {"weapon_pack": "p1", "drive_pack": "p4"}
    assert fitted(build_b(), (small,), None) == {"pack": small}
    told = texts(wiring_svg(build, None, packs=packs))
    assert "Weapon pack P1" in told
    assert "Drive pack P4" in told


def test_rows_are_sorted_and_their_reference_is_recovered() -> None:
    rows = margin_rows(review_m06())
    assert [r.margin_pct for r in rows] == sorted(r.margin_pct for r in rows)
    # contract, section 4: margin of a maximum is 100·(limit − x)/(limit − ref), with ref the air for a temperature
    joint = rows[0]
    air = 105 - (105 - 129) / (-30 / 100)
    assert joint.used_at(156.0) == pytest.approx((156 - air) / (105 - air))
    assert statuses(review_m06())["pack_plug"].faults
    assert statuses(None) == {}


@pytest.mark.parametrize("tones", [LIGHT, DARK], ids=["light", "dark"])
def test_contrast_of_the_tones(tones: Tones) -> None:
    # WCAG 2.2, success criteria 1.4.3 (text 4.5:1) and 1.4.11 (graphics 3:1)
    for paper in (tones.paper, tones.inset):
        for text in (tones.ink, tones.ink2, tones.blue, tones.orange, tones.grey):
            assert contrast(text, paper) >= 4.5
        for sign in (tones.bluefill, tones.orangefill, tones.greyfill):
            assert contrast(sign, paper) >= 3.0
    assert contrast(tones.inv, tones.invtext) >= 4.5


def test_contrast_against_published_pairs() -> None:
    # WCAG 2.2, definition of contrast ratio: black on white is 21:1; #767676 on white 4.54:1 (memory)
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.01)


@given(st.text(max_size=80), st.floats(min_value=20, max_value=400))
def test_fitted_text_fits(text: str, width: float) -> None:
    assert text_width(fit(text, 16, width), 16) <= max(width, text_width("…", 16))


@given(st.text(max_size=200))
def test_escaped_text_is_legal_xml(text: str) -> None:
    ET.fromstring(f'<a b="{esc(text)}">{esc(text)}</a>')
