"""Numbers, stamps and units in single cells, against published examples where there are any."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.delimited.numbers import NumberStyle, column_style, is_code, number_and_unit, plain_number, tidy
from ingest.delimited.stamp_columns import stamps_ns
from ingest.delimited.stamps import MISSING_NS, NS, parse_stamp, style_of
from ingest.delimited.units import split_unit, unit_of

DOT, COMMA = NumberStyle("."), NumberStyle(",")

# RFC 3339, section 5.8 (examples), and POSIX.1-2017, section 4.16 (seconds since the Epoch) for the figures.
RFC_3339 = [
    ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC)),
    ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, 0, UTC)),
    ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC)),
]


@pytest.mark.parametrize(("text", "moment"), RFC_3339)
def test_internet_stamps(text: str, moment: datetime) -> None:
    style = style_of([text])
    assert style is not None and style.zoned
    passed = moment - datetime(1970, 1, 1, tzinfo=UTC)
    assert parse_stamp(text, style) == (passed // timedelta(microseconds=1)) * 1000


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("00:00:01", 1.0),
        ("23:59:59.5", 86399.5),
        ("12:34:56:789", 45296.789),
        ("1d 02:03:04", 93784.0),
        ("2 days, 01:00:00", 176400.0),
        ("100:00:00", 360000.0),
        ("12:00:00 AM", 0.0),
        ("12:00:00 PM", 43200.0),
        ("1:05:00 pm", 47100.0),
        ("05:12.5", 312.5),
        ("01h02m03s", 3723.0),
    ],
)
def test_times(text: str, seconds: float) -> None:
    style = style_of([text])
    assert style is not None and style.shape == "time"
    assert parse_stamp(text, style) == round(seconds * NS)


@pytest.mark.parametrize("text", ["", "12", "12.5", "1.2.3", "24.1,5", "-", "abc", "12:99:00", "3/4", "OK"])
def test_no_stamps(text: str) -> None:
    style = style_of([text]) if text else None
    assert style is None or parse_stamp(text, style) is None


def test_day_and_month() -> None:
    """Only a figure above twelve, the separator or the change from row to row tells them apart."""
    assert style_of(["13/02/2026 10:00:00"]).day_first is True  # type: ignore[union-attr]
    assert style_of(["02/13/2026 10:00:00"]).day_first is False  # type: ignore[union-attr]
    assert style_of(["03.02.2026 10:00:00"]).day_first is True  # type: ignore[union-attr]
    unclear = style_of(["03/02/2026 10:00:00"])
    assert unclear is not None and not unclear.sure


@settings(deadline=None)
@given(
    st.lists(st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)), min_size=70, max_size=90),
    st.sampled_from(["%Y-%m-%d %H:%M:%S.%f", "%Y-%m-%dT%H:%M:%S.%f", "%d.%m.%Y %H:%M:%S.%f", "%Y/%m/%d %H:%M:%S,%f"]),
)
def test_columns_of_stamps(moments: list[datetime], form: str) -> None:
    """Read all at once or one by one: the same nanoseconds, and those of the standard library."""
    cells = [m.strftime(form) for m in moments]
    style = style_of(cells)
    assert style is not None
    wanted = [((m - datetime(1970, 1, 1)) // timedelta(microseconds=1)) * 1000 for m in moments]
    assert stamps_ns(pa.array(cells), style).tolist() == wanted
    assert [parse_stamp(c, style) for c in cells] == wanted


def test_a_bad_stamp_among_good_ones() -> None:
    cells = [f"2026-02-{d:02d} 00:00:00" for d in range(1, 32)] * 3
    style = style_of(cells[:28])
    assert style is not None
    found = stamps_ns(pa.array(cells), style).tolist()
    assert [k for k, x in enumerate(found) if x == MISSING_NS] == [28, 29, 30, 59, 60, 61, 90, 91, 92]


@pytest.mark.parametrize(
    ("text", "style", "value"),
    [
        ("12.5", DOT, 12.5),
        ("-.5", DOT, -0.5),
        ("5.", DOT, 5.0),
        ("+1.5E-03", DOT, 0.0015),
        ("1,5e3", COMMA, 1500.0),
        ("1.5D+02", DOT, 150.0),
        ("0x1F", DOT, 31.0),
        ("1,234.5", NumberStyle(".", ","), 1234.5),
        ("1.234.567,5", NumberStyle(",", "."), 1234567.5),
        ("1'234'567", NumberStyle(".", "'"), 1234567.0),
        ("12,34.5", NumberStyle(".", ","), None),
        ("1,2345", NumberStyle(".", ","), None),
        ("0,123", NumberStyle(".", ","), None),
        ("1.2.3", DOT, None),
        ("1_000", DOT, None),
        ("1e400", DOT, None),
        ("nan", DOT, None),
        ("", DOT, None),
    ],
)
def test_numbers(text: str, style: NumberStyle, value: float | None) -> None:
    assert plain_number(text, style) == value


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [("12.3V", 12.3, "V"), ("12.3 mA", 12.3, "mA"), ("85%", 85.0, "%"), ("21.5 °C", 21.5, "°C"), ("-3.2A", -3.2, "A")],
)
def test_units_glued(text: str, value: float, unit: str) -> None:
    assert number_and_unit(tidy(text), DOT) == (value, unit)


def test_minus_and_spaces() -> None:
    assert plain_number(tidy("\u22123.5"), DOT) == -3.5
    assert plain_number(tidy("\xa012.5\xa0"), DOT) == 12.5
    assert tidy('="0012"') == "0012"
    assert is_code("0012") and not is_code("0.12") and not is_code("0")


@pytest.mark.parametrize(
    ("cells", "decimal", "thousands"),
    [
        (["0,5", "12,25"], ",", ""),
        (["1.234,5", "12,25"], ",", "."),
        (["1,234.5", "12.25"], ".", ","),
        (["900", "1,000", "1,100", "850", "870"], ".", ","),
        (["0,125", "1,250"], ",", ""),
        (["1,234,567", "12"], ".", ","),
    ],
)
def test_styles(cells: list[str], decimal: str, thousands: str) -> None:
    style = column_style(cells, NumberStyle(sure=False))
    assert style is not None and (style.decimal, style.thousands) == (decimal, thousands)


def test_three_digits_everywhere_are_unclear() -> None:
    style = column_style(["1,234", "2,345", "3,456"], NumberStyle(sure=False))
    assert style is not None and not style.sure


def test_prefixes() -> None:
    """SI brochure, 9th edition, table 7: milli 1e-3, micro 1e-6, kilo 1e3."""
    assert unit_of("mV") == ("V", 1e-3)
    assert unit_of("µA") == unit_of("uA") == ("A", 1e-6)
    assert unit_of("kHz") == ("Hz", 1e3)
    assert unit_of("min") == ("s", 60.0)
    assert unit_of("weapon") is None


@settings(deadline=None)
@given(st.floats(-1e9, 1e9, allow_nan=False), st.sampled_from(["V", "mA", "°C", "%", "rpm", "W"]))
def test_glued_units_come_off(value: float, unit: str) -> None:
    text = f"{value:.4f}"
    assert split_unit(text + unit) == split_unit(f"{text} {unit}") == (text, unit)
    assert re.fullmatch(r"-?\d+\.\d{4}", text)
