"""What `new` starts from: every class and every answer gives files that load, and a season that opens."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.builds import Build, Pack, build_of, fits
from ingest.description import parse_document
from ingest.matches import match_of
from ingest.packs import pack_of
from ingest.readings import parse_reading
from ingest.season import Season
from ingest.tables.names import UnknownName
from ingest.templates import TYPICAL, example_match, questions, season_files, template_build, template_pack
from ingest.weight_classes import WEIGHT_CLASSES, parse_weight_class


def build(text: str) -> Build:
    return build_of(parse_document(text, file="b.toml"))


def pack(text: str) -> Pack:
    return pack_of(parse_document(text, file="p.toml"))


@pytest.mark.parametrize("name", WEIGHT_CLASSES)
def test_every_class_gives_a_build_and_a_pack_that_load_and_fit(name: str) -> None:
    made, fitted = build(template_build(name)), pack(template_pack(name))
    assert fits(made, fitted) == []
    assert {"weapon", "drive_left", "drive_right"} == {controller.id for controller in made.controllers}
    assert made.build.mass_limit_kg == pytest.approx(WEIGHT_CLASSES[name].limit_kg, rel=5e-4)


@given(
    st.sampled_from(sorted(WEIGHT_CLASSES)),
    st.one_of(st.none(), st.integers(1, 60)),
    st.sampled_from(["brushless", "brushed", "none"]),
    st.integers(0, 8),
    st.sampled_from(["brushless", "brushed"]),
    st.text(max_size=30),
)
@settings(max_examples=60, deadline=None)
def test_every_combination_loads(
    name: str, cells: int | None, weapon: Any, drives: int, drive_type: Any, robot: str
) -> None:
    if weapon == "none" and drives == 0:
        with pytest.raises(ValueError, match="at least one controller"):
            template_build(name, weapon=weapon, drives=drives)
        return
    text = template_build(name, cells=cells, weapon=weapon, drives=drives, drive_type=drive_type, robot=robot)
    made = build(text)
    assert made.build.robot == ("" if robot == "unknown" else robot)
    assert made.cells == (cells or WEIGHT_CLASSES[name].cells)
    assert len(made.controllers) == drives + (weapon != "none")


def test_no_rating_is_invented() -> None:
    made, fitted = build(template_build()), pack(template_pack())
    for part in (*made.controllers, *made.contacts, *made.motors, *made.regulators):
        stated = part.model_dump(exclude_none=True)
        assert not [key for key in stated if key.endswith(("_A", "_V", "_degC", "_mohm"))], stated
    assert fitted.continuous_C is fitted.burst_C is fitted.resistance_mohm is None


def test_every_guess_is_marked_and_every_answer_is_not() -> None:
    guessed = template_build("30lb")
    for line in guessed.splitlines():
        if line.startswith(("gauge =", "length_mm =", "cells =")):
            assert TYPICAL in line, line
    answered = template_build("30lb", cells=5, main_gauge="4 mm2")
    assert "cells = 5\n" in answered and 'gauge = "4 mm2"\n' in answered


# 1 lb = 0.45359237 kg exactly (agreement of 1959): 30 lb is 13.607… kg, printed as 13.6 kg.
@pytest.mark.parametrize(
    ("text", "name"),
    [("30 lb", "30lb"), ("30LB", "30lb"), ("30lbs", "30lb"), ("13.6 kg", "30lb"), ("13.61kg", "30lb"),
     ("150 g", "150g"), ("0.15kg", "150g"), ("454g", "1lb"), ("1.36 kg", "3lb"), ("113.4 kg", "250lb")],
)  # fmt: skip
def test_a_class_is_found_by_pounds_or_kilograms(text: str, name: str) -> None:
    assert parse_weight_class(text) == name


@pytest.mark.parametrize("text", ["", "heavy", "40lb", "13.0 kg", "-30lb", "30"])
def test_an_unknown_class_says_which_are_known(text: str) -> None:
    with pytest.raises(UnknownName, match="150g, 1lb"):
        parse_weight_class(text)


def test_the_example_match_loads() -> None:
    match = match_of(parse_document(example_match("m07", build="c", pack="p2"), file="m07.toml"))
    assert (match.id, match.build, match.pack) == ("m07", "c", "p2")


def test_what_is_commented_out_in_an_example_is_right_too() -> None:
    def opened(text: str) -> str:
        lines = text.splitlines()
        return "\n".join(
            line[2:] if line.startswith("# ") and ("=" in line or line.startswith("# [[")) else line for line in lines
        )

    assert build(opened(template_build())).fuses[0].rated_A == 80
    assert pack(opened(template_pack())).measured[0].by == "charger"
    assert match_of(parse_document(opened(example_match()), file="m.toml")).noted[0].unit == "degC"


def test_there_are_ten_questions_and_enter_is_a_good_answer(tmp_path: Path) -> None:
    asked = questions()
    assert len(asked) == len({question.key for question in asked}) == 10
    files = season_files({question.key: question.default for question in asked})
    season = Season.create(tmp_path / "s", files=files)
    assert fits(season.build("b"), season.pack("p1")) == [] and season.verify() == []
    assert season.matches() == [] and season.readings() == []
    for name in ("text_reading", "binary_reading"):
        parse_reading((season.root / "examples" / f"{name}.toml").read_text("utf-8"))


@pytest.mark.parametrize(
    ("key", "answer", "value"),
    [("robot", " Gristmote ", "Gristmote"), ("weight_class", "13.6 kg", "30lb"), ("mass_kg", "13.4", 13.4),
     ("mass_kg", "30 lb", 13.6078), ("cells", "6S", 6), ("capacity_Ah", "3300 mAh", 3.3), ("capacity_Ah", "3.3", 3.3),
     ("weapon", "n", "none"), ("weapon_A", "80A", 80.0), ("drives", "4", 4), ("drive_type", "brushed", "brushed"),
     ("main_gauge", "12 AWG", "12 AWG")],
)  # fmt: skip
def test_answers_are_understood(key: str, answer: str, value: object) -> None:
    question = next(q for q in questions() if q.key == key)
    parsed = question.parse(answer)
    assert parsed == value
    assert season_files({key: parsed})


@pytest.mark.parametrize(
    ("key", "answer"),
    [("weight_class", "heavy"), ("mass_kg", "13,4"), ("mass_kg", "0"), ("mass_kg", "x"), ("cells", "6.5"),
     ("cells", "0"), ("cells", "²"), ("capacity_Ah", "3.3 V"), ("weapon", "brush"), ("weapon", "motor"),
     ("drives", "9"), ("main_gauge", "12")],
)  # fmt: skip
def test_a_wrong_answer_says_what_to_write(key: str, answer: str) -> None:
    question = next(q for q in questions() if q.key == key)
    with pytest.raises(ValueError, match=r"[Ww]rite|known|name the unit"):
        question.parse(answer)
