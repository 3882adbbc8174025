"""Ratings load with their source or not at all; copper and wire sizes against published tables."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.ratings import (
    COLUMNS,
    KINDS,
    OutsideValidity,
    Rating,
    RatingsError,
    Source,
    copper_mohm_per_m,
    index_ratings,
    insulation_limit,
    rating,
    ratings,
    read_ratings,
    stated,
    weakest_limit,
    wire_size,
)
from ingest.tables.gauges import parse_gauge
from ingest.tables.insulations import INSULATIONS
from ingest.tables.names import UnknownName

REFERENCE = Path(__file__).parents[1] / "reference"
FOOT_M = 0.3048


def rows(file: str, *quantities: str) -> list[dict[str, str]]:
    with (REFERENCE / file).open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] in quantities]
    assert found, quantities
    return found


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def area(row: dict[str, str]) -> float:
    return float(row["mm2"]) if row.get("mm2") else parse_gauge(f"{row['awg']} AWG")


# -- the tables -------------------------------------------------------------------------------------------------

GOOD = "x,,1.5,A,,Some standard,2004,table 1,standard"


def table(*lines: str) -> str:
    return "\n".join((",".join(COLUMNS), *lines)) + "\n"


def test_every_rating_has_its_source() -> None:
    everything = ratings()
    assert len(everything) > 150
    for entry in everything:
        assert entry.source.document and entry.source.kind in KINDS and math.isfinite(entry.value)
        assert entry.is_memory == (entry.source.kind == "memory")
        if entry.source.kind == "our choice":
            assert entry.source.where.removeprefix("our choice: ").strip()


def test_a_row_reads() -> None:
    (entry,) = read_ratings(table(GOOD), "t.csv")
    assert entry == Rating("x", 1.5, "A", "", Source("Some standard", "2004", "table 1", "standard"))
    assert str(entry.source) == "Some standard, 2004, table 1 (standard)"


@pytest.mark.parametrize(
    ("line", "column", "mend"),
    [
        ("x,,1.5,A,,,2004,table 1,standard", "document", "every rating needs its source"),
        ("x,,1.5,A,,Some standard,2004,table 1,", "kind", "every rating needs its source"),
        ("x,,1.5,A,,Some standard,2004,table 1,rumour", "kind", "one of standard"),
        (",,1.5,A,,Some standard,2004,table 1,standard", "name", "must not be empty"),
        ("x,,1.5,furlong,,Some standard,2004,table 1,standard", "unit", "one of"),
        ("x,,many,A,,Some standard,2004,table 1,standard", "value", "write a number"),
        ("x,,nan,A,,Some standard,2004,table 1,standard", "value", "write a finite number"),
        ("x,,1.5,A,,afterbout,,because,our choice", "where", 'write "our choice: " and the reason'),
        ("x,,1.5,A,,Some standard,2004,table 1", "(row)", "write 9 cells"),
        ("x,,1.5,A,,Some standard,2004,table 1,standard,more", "(row)", "write 9 cells"),
    ],
)
def test_a_row_without_its_source_fails_at_load(line: str, column: str, mend: str) -> None:
    with pytest.raises(RatingsError, match=r"t\.csv, line 3") as caught:
        read_ratings(table(GOOD, line), "t.csv")
    assert caught.value.column == column and mend in caught.value.mend


def test_a_wrong_header_and_a_repeated_row_fail() -> None:
    with pytest.raises(RatingsError, match="write the header name,key,value"):
        read_ratings("name,value\nx,1\n", "t.csv")
    with pytest.raises(RatingsError, match=r"b\.csv, line 2.*remove the repeated row"):
        index_ratings([("a.csv", table(GOOD)), ("b.csv", table(GOOD))])


def test_an_unknown_rating_names_the_known_keys() -> None:
    with pytest.raises(KeyError, match="63/37"):
        rating("solder_melting", "60/40")
    with pytest.raises(ValueError, match="needs a document"):
        Source(" ", "", "", "standard")
    with pytest.raises(ValueError, match="unknown kind"):
        Source("x", "", "", "rumour")  # type: ignore[arg-type]


# -- copper: AWG tables, IEC 60228 ----------------------------------------------------------------------------


@pytest.mark.parametrize("row", rows("awg_and_copper.csv", "resistance_per_1000ft_20C"), ids=by_id)
def test_resistance_of_the_printed_table(row: dict[str, str]) -> None:
    """S02, ohm per 1000 ft at 20 °C, within the printed digits (and 0.09 % of the table's own rounding)."""
    got = copper_mohm_per_m(area(row), strand="solid").value * FOOT_M
    printed = float(row["value"])
    digits = len(row["value"].split(".")[1])
    assert got == pytest.approx(printed, abs=max(0.5 * 10**-digits, 9e-4 * printed) * 1.02)


@pytest.mark.parametrize(
    "row", rows("awg_and_copper.csv", "resistance_per_metre_20C", "resistance_per_metre_at_T"), ids=by_id
)
def test_resistance_law(row: dict[str, str]) -> None:
    got = copper_mohm_per_m(area(row), float(row["T_C"]), strand="solid").value
    assert got == pytest.approx(float(row["value"]), rel=1e-5)


@pytest.mark.parametrize("row", rows("awg_and_copper.csv", "resistance_solid_75C"), ids=by_id)
def test_resistance_at_75_degC_of_the_code(row: dict[str, str]) -> None:
    """S07, NEC chapter 9 table 8, solid uncoated."""
    got = copper_mohm_per_m(area(row), 75.0, strand="solid").value * FOOT_M
    assert got == pytest.approx(float(row["value"]), rel=8e-3)


@pytest.mark.parametrize("row", rows("awg_and_copper.csv", "iec60228_class5_max_resistance_plain"), ids=by_id)
def test_class_5_maximum_is_the_upper_end(row: dict[str, str]) -> None:
    """S04, IEC 60228 table 3, plain class 5: exact for every row."""
    got = copper_mohm_per_m(float(row["mm2"]))
    assert got.high == pytest.approx(float(row["value"]), rel=1e-12)
    assert got.low == got.value < got.high


@pytest.mark.parametrize("row", rows("awg_and_copper.csv", "iec60228_annexB_factor_to_20C"), ids=by_id)
def test_temperature_factors_of_the_cable_standard(row: dict[str, str]) -> None:
    """S04, IEC 60228 annex B follows 250/(230 + T): within 0.4 % of IEC 60028, as the table's notes say."""
    temp = float(row["T_C"])
    got = copper_mohm_per_m(1.0, 20.0).value / copper_mohm_per_m(1.0, temp).value
    assert got == pytest.approx(float(row["value"]), rel=5e-3)


def test_copper_outside_its_range() -> None:
    assert copper_mohm_per_m(3.3).high == pytest.approx(1.13 * copper_mohm_per_m(3.3).value)
    for temp in (-51.0, 251.0):
        with pytest.raises(OutsideValidity, match="-50 to 250"):
            copper_mohm_per_m(3.3, temp)
    with pytest.raises(OutsideValidity, match="state the gauge"):
        copper_mohm_per_m(0.0)


# -- wire sizes -------------------------------------------------------------------------------------------------


def test_heat_capacity_rows_give_the_sizes() -> None:
    """03-320, 03-322, 03-324: jacket capacity per metre with 1150 kg/m³ and 1250 J/(kg K) (memory)."""
    for row in rows("free_air_ampacity.csv", "heat_capacity_per_m_silicone_jacket"):
        size = wire_size(area(row), outer_diameter_mm=float(row["D_mm"]))
        assert size.jacket_area_mm2 * 1e-6 * 1150 * 1250 == pytest.approx(float(row["value"]), rel=1e-3)
        assert size.strand_diameter_mm == pytest.approx(float(row["d_mm"]), rel=1e-3)
        assert not size.from_memory and size.diameter_spread_pct == 0
    for row in rows("free_air_ampacity.csv", "heat_capacity_per_m_copper"):
        assert area(row) * 3.45 == pytest.approx(float(row["value"]), rel=1e-4)
        assert rating("copper_heat_capacity").value == 3.45e6


def test_wire_mass() -> None:
    """8.89 g/cm³ × 3.309 mm² = 29.4 g/m of copper; the jacket of 12 AWG silicone 13 g/m."""
    size = wire_size(parse_gauge("12 AWG"))
    assert size.copper_g_per_m == pytest.approx(29.4, abs=0.05)
    assert size.mass_g_per_m == pytest.approx(42.7, abs=0.5)
    assert size.from_memory and size.diameter_spread_pct == 8
    bare = wire_size(parse_gauge("12 AWG"), "bare")
    assert bare.jacket_area_mm2 == 0 and bare.outer_diameter_mm == bare.copper_diameter_mm
    assert wire_size(3.3, "pvc").outer_diameter_mm < wire_size(3.3, "silicone").outer_diameter_mm
    assert wire_size(3.3, strand="solid").strand_diameter_mm == pytest.approx(math.sqrt(4 * 3.3 / math.pi))


def test_wire_size_outside_the_table() -> None:
    with pytest.raises(OutsideValidity, match="state the outer diameter"):
        wire_size(120.0)
    with pytest.raises(OutsideValidity, match="less than the copper's"):
        wire_size(10.0, outer_diameter_mm=2.0)
    with pytest.raises(UnknownName, match="insulation"):
        wire_size(3.3, "porcelain")


@given(st.floats(0.06, 50.0), st.floats(1.01, 1.5))
def test_thicker_wire_is_larger_and_heavier(area_mm2: float, factor: float) -> None:
    thin, thick = wire_size(area_mm2), wire_size(min(area_mm2 * factor, 53.4))
    assert thick.outer_diameter_mm >= thin.outer_diameter_mm
    assert thick.mass_g_per_m >= thin.mass_g_per_m
    assert thin.outer_diameter_mm > thin.strand_diameter_mm


# -- limits -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "wire_temperature_class"), ids=by_id)
def test_wire_classes(row: dict[str, str]) -> None:
    """S26, UL 758 style pages; 125, 250 and 260 °C are recalled and say so."""
    got = rating("insulation_class", f"{row['T_cond_C']} degC")
    assert got.value == float(row["value"]) and got.is_memory == (row["provenance"] == "memory")


def test_every_insulation_has_its_class() -> None:
    for name, entry in INSULATIONS.items():
        limit = insulation_limit(name)
        assert (limit is None) == (entry.class_degC is None)
        if limit is not None:
            assert limit.value == entry.class_degC


def test_weakest_limit_of_a_run() -> None:
    """S12, S24d: 63/37 melts at 183 °C, below the 200 °C class of silicone wire."""
    (row,) = rows("contacts_and_joints.csv", "solder_63_37_melting")
    assert weakest_limit("silicone").value == float(row["value"])
    assert weakest_limit("silicone").name == "solder_melting"
    assert weakest_limit("silicone", solder=False).value == 200
    assert weakest_limit("pvc").value == 80
    assert weakest_limit("silicone", housing=True).value == 105
    assert weakest_limit("silicone", housing=True).is_memory
    assert weakest_limit("bare").value == 183
    assert weakest_limit("silicone", stated_degC=90.0).source.kind == "stated"
    own = stated("limit", 95, "degC", "builds/b.toml", "wire.lead.limit_degC")
    assert weakest_limit(None, stated_degC=own) is own
    with pytest.raises(OutsideValidity, match="state insulation or limit_degC"):
        weakest_limit(None)
    with pytest.raises(OutsideValidity, match="state insulation"):
        weakest_limit("bare", solder=False)


def test_other_limits() -> None:
    assert rating("pack_limit", "lithium-polymer").value == 60 and rating("pack_limit", "lithium-polymer").is_memory
    assert rating("receiver_minimum").value == 3.5 and rating("receiver_minimum").is_memory
    (row,) = rows("contacts_and_joints.csv", "solder_SAC_liquidus")
    assert rating("solder_melting", "SAC").value == float(row["value"])
