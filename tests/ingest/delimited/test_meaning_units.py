"""Units and their conversion: exact factors, round trips, and the signs that have two meanings.

Factors: BIPM SI brochure, 9th edition (prefixes; 0 degC = 273.15 K; 1 Ah = 3600 C); NIST SP 811, appendix B
(degF, psi, standard gravity 9.80665 m/s2). The pulse of a command: common practice, no source.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.delimited.words_units import KNOWN_SPELLINGS, clean_unit, parse_unit

# unit as written, kind hint, value written, value stored, stored unit
EXACT = [
    ("mV", None, 22_200.0, 22.2, "V"),
    ("cV", None, 2_220.0, 22.2, "V"),
    ("dV", None, 222.0, 22.2, "V"),
    ("kV", None, 0.0222, 22.2, "V"),
    ("uV", None, 22_200_000.0, 22.2, "V"),
    ("mA", None, 212_400.0, 212.4, "A"),
    ("cA", None, -150.0, -1.5, "A"),
    ("dA", None, 15.0, 1.5, "A"),
    ("uA", None, 1500.0, 0.0015, "A"),
    ("0.1 A", None, 853.0, 85.3, "A"),
    ("10mV", None, 2220.0, 22.2, "V"),
    ("0,01 A", None, 853.0, 8.53, "A"),
    ("°F", None, 212.0, 100.0, "degC"),
    ("degF", None, 32.0, 0.0, "degC"),
    ("F", None, -40.0, -40.0, "degC"),
    ("0.1 degF", None, 2120.0, 100.0, "degC"),
    ("K", None, 373.15, 100.0, "degC"),
    ("cdegC", None, 2512.0, 25.12, "degC"),
    ("Ah", None, 3.3, 3300.0, "mAh"),
    ("C", "charge", 3600.0, 1000.0, "mAh"),
    ("C", "temperature", 60.0, 60.0, "degC"),
    ("J", None, 3600.0, 1.0, "Wh"),
    ("mWh", None, 12_500.0, 12.5, "Wh"),
    ("kW", None, 1.5, 1500.0, "W"),
    ("ohm", None, 0.022, 22.0, "mohm"),
    ("krpm", None, 12.0, 12_000.0, "rpm"),
    ("rad/s", "speed", 2.0 * math.pi, 60.0, "rpm"),
    ("rad/s", "spin", math.pi, 180.0, "deg/s"),
    ("rps", None, 100.0, 6000.0, "rpm"),
    ("Hz", "speed", 700.0, 42_000.0, "rpm"),
    ("m/s²", None, 9.80665, 1.0, "g"),
    ("psi", None, 1.0, 6.894757, "kPa"),
    ("bar", None, 6.0, 600.0, "kPa"),
    ("‰", None, 500.0, 50.0, "%"),
    ("us", "command", 1500.0, 0.0, "%"),
    ("us", "command", 2000.0, 100.0, "%"),
    ("µs", "command", 1000.0, -100.0, "%"),
    ("ms", "command", 1.75, 50.0, "%"),
    ("ms", "time", 1500.0, 1.5, "s"),
]


@pytest.mark.parametrize(("text", "kind", "written", "stored", "unit"), EXACT)
def test_exact(text: str, kind: str | None, written: float, stored: float, unit: str) -> None:
    found = parse_unit(text, kind)
    assert found is not None
    assert found.unit == unit
    assert written * found.scale + found.offset == pytest.approx(stored, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "",
        None,
        "V/10",
        "A*100",
        "KV",
        "mVV",
        "1/1024",
        "counts",
        "-",
        "0 V",
        "x",
        "V A",
        "%%",
        "°",
        "deg",
        "1e400 V",
        "1e-400 V",
    ],
)
def test_no_unit(text: str | None) -> None:
    assert parse_unit(text) is None


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("µV", "μV"),
        ("mΩ", "mohm"),
        ("°C", "Â°C"),
        ("°C", "\ufffdC"),
        ("[V]", "V"),
        ("(mA)", "mA"),
        ("min⁻¹", "1/min"),
        ("MV", "mV"),
        ("ma", "mA"),
        ("eRPM", "ERPM"),
        ("Volts", "V"),
        ("deg C", "°C"),
        ("℃", "C"),
        ("U/min", "rpm"),
    ],
)
def test_spellings_of_one_unit(one: str, other: str) -> None:
    first, second = parse_unit(one), parse_unit(other)
    assert first is not None and second is not None
    assert (first.kind, first.unit, first.scale, first.offset) == (
        second.kind,
        second.unit,
        second.scale,
        second.offset,
    )


@given(st.sampled_from(KNOWN_SPELLINGS), st.floats(-1e6, 1e6))
def test_round_trip(text: str, value: float) -> None:
    found = parse_unit(text)
    assert found is not None and found.scale > 0
    back = (value * found.scale + found.offset - found.offset) / found.scale
    assert back == pytest.approx(value, rel=1e-9, abs=1e-6 * max(1.0, abs(found.offset / found.scale)))


@given(st.sampled_from(KNOWN_SPELLINGS), st.sampled_from(["[{}]", "({})", " {} ", "{}", "<{}>"]))
def test_brackets_and_space_change_nothing(text: str, shape: str) -> None:
    assert parse_unit(shape.format(text)) == parse_unit(text)


@given(st.text(max_size=12))
def test_any_text_is_a_unit_or_none(text: str) -> None:
    found = parse_unit(text)
    assert found is None or (math.isfinite(found.scale) and found.scale > 0 and math.isfinite(found.offset))
    assert isinstance(clean_unit(text), str)


@given(st.integers(1, 999).map(lambda n: n / 1000.0), st.sampled_from(["V", "A", "degC", "mV"]))
def test_a_factor_before_the_unit_multiplies(factor: float, unit: str) -> None:
    plain, scaled = parse_unit(unit), parse_unit(f"{factor} {unit}")
    assert plain is not None and scaled is not None
    assert scaled.scale == pytest.approx(plain.scale * factor)
