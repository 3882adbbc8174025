"""The vocabularies of the description files. Values: ASTM B258 by rule and by printed tables."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.tables.chemistries import CHEMISTRIES, parse_chemistry
from ingest.tables.curves import parse_fuse_curve, parse_fuse_table, parse_motor_class
from ingest.tables.gauges import (
    AWG_NAMES,
    GAUGE_NAMES,
    METRIC_SIZES_MM2,
    awg_area_mm2,
    awg_diameter_mm,
    awg_name,
    nearest_gauge,
    parse_gauge,
)
from ingest.tables.insulations import INSULATIONS, parse_insulation
from ingest.tables.names import UnknownName, find_name, nearest_names

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(quantity: str) -> list[dict[str, str]]:
    with (REFERENCE / "awg_and_copper.csv").open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] == quantity]
    assert found, quantity
    return found


def number(awg: str) -> int:
    return 1 - len(awg) if awg.startswith("0") else int(awg)


@pytest.mark.parametrize("row", rows("conductor_diameter_table"), ids=lambda row: f"{row['awg']} AWG")
def test_awg_diameter_agrees_with_the_printed_inch_table(row: dict[str, str]) -> None:
    """S03: solid copper wire table of an open textbook, four printed figures."""
    digits = len(row["value"].split(".")[1])
    printed_to = max(0.5 * 10**-digits, 0.5e-4)  # "0.46" stands for 0.4600: four figures throughout
    assert awg_diameter_mm(number(row["awg"])) / 25.4 == pytest.approx(float(row["value"]), abs=printed_to)


@pytest.mark.parametrize("row", rows("conductor_diameter") + rows("conductor_area"), ids=lambda row: row["id"])
def test_awg_rule(row: dict[str, str]) -> None:
    """ASTM B258 rule, computed independently for the reference table."""
    area = parse_gauge(f"{row['awg']} AWG")
    got = area if row["unit"] == "mm2" else math.sqrt(4 * area / math.pi)
    assert got == pytest.approx(float(row["value"]), rel=1e-5)


@pytest.mark.parametrize(
    ("text", "area"),
    [
        ("12 AWG", awg_area_mm2(12)),
        ("12AWG", awg_area_mm2(12)),
        ("awg 12", awg_area_mm2(12)),
        ("AWG12", awg_area_mm2(12)),
        ("00 AWG", awg_area_mm2(-1)),
        ("2/0 AWG", awg_area_mm2(-1)),
        ("4/0 AWG", awg_area_mm2(-3)),
        ("0 awg", awg_area_mm2(0)),
        ("4 mm2", 4.0),
        ("4mm²", 4.0),
        ("0.75 mm2", 0.75),
        ("2.5 MM2", 2.5),
    ],
)
def test_gauge_as_people_write_it(text: str, area: float) -> None:
    assert parse_gauge(text) == pytest.approx(area, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        ("12", 'name the unit: "12 AWG" or "12 mm2"'),
        ("2,5 mm2", 'write the decimal with a point: "2.5 mm2"'),
        ("12 AGW", "did you mean '12 AWG'?"),
        ("50 AWG", "AWG goes from 0000 to 40"),
        ("0 mm2", "the copper area must lie in 0.005…300 mm2"),
        ("9999 mm2", "the copper area must lie in 0.005…300 mm2"),
        ("thick", 'Write it as "12 AWG" (0000…40) or "4 mm2"'),
        ("", 'Write it as "12 AWG" (0000…40) or "4 mm2"'),
        ("-4 mm2", 'Write it as "12 AWG"'),
        ("nan mm2", 'Write it as "12 AWG"'),
    ],
)
def test_a_wrong_gauge_says_the_mend(text: str, mend: str) -> None:
    with pytest.raises(UnknownName) as caught:
        parse_gauge(text)
    assert mend in caught.value.mend
    assert caught.value.found == text
    assert caught.value.kind == "gauge"


def test_a_bare_number_is_refused() -> None:
    with pytest.raises(UnknownName, match='"12 AWG" or "12 mm2"'):
        parse_gauge(12)  # type: ignore[arg-type]


@given(st.text(max_size=20))
def test_any_text_is_an_area_or_a_named_error(text: str) -> None:
    try:
        area = parse_gauge(text)
    except UnknownName as error:
        assert error.mend
    else:
        assert 0.005 <= area <= 300.0


@given(st.sampled_from(AWG_NAMES))
def test_awg_name_round_trip(name: str) -> None:
    assert nearest_gauge(parse_gauge(name)) == name


@given(st.floats(0.005, 107.0))
def test_nearest_gauge_is_the_nearest_in_ratio(area: float) -> None:
    chosen = abs(math.log(parse_gauge(nearest_gauge(area)) / area))
    assert chosen <= min(abs(math.log(parse_gauge(name) / area)) for name in AWG_NAMES) + 1e-9


@given(st.floats(0.005, 300.0))
def test_square_millimetres_are_taken_as_written(area: float) -> None:
    assert parse_gauge(f"{area:.6f} mm2") == pytest.approx(area, abs=1e-6)


def test_every_gauge_name_parses_and_ranges_hold() -> None:
    assert all(parse_gauge(name) > 0 for name in GAUGE_NAMES)
    assert [parse_gauge(f"{size:g} mm2") for size in METRIC_SIZES_MM2] == list(METRIC_SIZES_MM2)
    for wrong in (-4, 41):
        with pytest.raises(ValueError, match="outside"):
            awg_name(wrong)
        with pytest.raises(ValueError, match="outside"):
            awg_diameter_mm(wrong)
    with pytest.raises(ValueError, match="outside"):
        nearest_gauge(0.001)


def test_insulations() -> None:
    assert parse_insulation("Silicone").class_degC == 200
    assert parse_insulation("PVC").class_degC == 80
    assert parse_insulation("pvc-105").class_degC == 105
    assert parse_insulation("bare").class_degC is None
    assert all(INSULATIONS[name].name == name for name in INSULATIONS)
    with pytest.raises(UnknownName, match="did you mean 'silicone'"):
        parse_insulation("silicon")


def test_chemistries() -> None:
    """4.20 V and 4.35 V full: general battery pages; 3.3 V: common practice, no source."""
    assert parse_chemistry("LiPo").full_V == 4.20
    assert parse_chemistry("lithium-polymer-hv").full_V == 4.35
    assert parse_chemistry("lithium-iron-phosphate").full_V == 3.65
    with_minimum = [name for name, entry in CHEMISTRIES.items() if entry.default_minimum_V is not None]
    assert with_minimum == ["lithium-polymer"]
    assert not CHEMISTRIES["lithium-iron-phosphate"].charge_from_voltage
    with pytest.raises(UnknownName, match="did you mean 'lithium-polymer'"):
        parse_chemistry("lithium-polimer")


def test_fuse_curve_and_motor_class_names() -> None:
    assert parse_fuse_curve("iso8820-3") == "ISO 8820-3"
    assert parse_fuse_curve("ISO 8820-3 type F") == "ISO 8820-3"
    with pytest.raises(UnknownName, match="did you mean 'ISO 8820-3'"):
        parse_fuse_curve("ISO 8820")
    assert parse_motor_class("class f") == "F"
    assert parse_motor_class("H") == "H"
    with pytest.raises(UnknownName, match="IEC 60085"):
        parse_motor_class("C155")


def test_fuse_table() -> None:
    table = parse_fuse_table([[1.35, 60, 1800], [2, 2, 60], [6, 0.04, 1]])
    assert table[1] == (2.0, 2.0, 60.0)
    assert parse_fuse_table([[1.1, 360000, math.inf], [1.35, 0.75, 600]])[0][2] == math.inf


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ([[1.35, 60, 1800]], "at least two rows"),
        ("ISO", "at least two rows"),
        ([[1.35, 60], [2, 2, 60]], "row 1: write three numbers"),
        ([[1.35, 60, 1800], [1.2, 2, 60]], "row 2: the multiple must rise"),
        ([[1.35, 60, 1800], [2, 61, 70]], "row 2: more current must not take longer"),
        ([[1.35, 60, 50], [2, 2, 60]], "row 1: max_s 50 is below min_s 60"),
        ([[0.9, 60, 70], [2, 2, 60]], "row 1: the multiple of the rating must be above 1"),
        ([[1.35, 0, 70], [2, 2, 60]], "row 1: min_s must be above 0"),
        ([[1.35, "60", 70], [2, 2, 60]], "row 1: '60' is not a number"),
        ([[1.35, True, 70], [2, 2, 60]], "row 1: True is not a number"),
        ([[1.35, 60, math.nan], [2, 2, 60]], "row 1: nan is not a number"),
    ],
)
def test_a_wrong_fuse_table_names_its_row(table: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        parse_fuse_table(table)  # type: ignore[arg-type]


@given(st.text(max_size=12), st.lists(st.text(min_size=1, max_size=12), min_size=1, max_size=6))
def test_find_name_returns_a_known_name_or_says_so(text: str, names: list[str]) -> None:
    try:
        assert find_name(text, names, "thing") in names
    except UnknownName as error:
        assert set(error.nearest) <= set(names)


def test_nearest_names_empty_for_strangers() -> None:
    assert nearest_names("zzzz", ["silicone", "pvc"]) == ()


@pytest.mark.parametrize(
    ("text", "near"),
    [("13.5 AWG", ("13 AWG", "14 AWG")), ("12,5 AWG", ("12 AWG", "13 AWG")), ("AWG 39.5", ("39 AWG", "40 AWG")),
     ("12.0 AWG", ("12 AWG",)), ("-1 AWG", ("00 AWG",)), ("-4 AWG", ())],
)  # fmt: skip
def test_a_gauge_between_two_names_both_and_no_other(text: str, near: tuple[str, ...]) -> None:
    with pytest.raises(ValueError) as found:
        parse_gauge(text)
    told = str(found.value)
    assert all(name in told for name in near)
    assert "35 AWG" not in told and "25 AWG" not in told
