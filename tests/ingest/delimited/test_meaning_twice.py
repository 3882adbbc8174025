"""Two columns that would be one channel, and units whose signs were lost between two encodings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from ingest.delimited.mojibake import mended
from ingest.formats import ReadOptions, read_log
from ingest.log import Column, Provenance
from ingest.readings import parse_reading

LOAD = [3.0 + (k * 7 % 13) * 2.5 for k in range(60)]


def about(folder: Path, names: Sequence[str], columns: Sequence[Sequence[object]], reading: str = "") -> Provenance:
    rows = [",".join(map(str, cells)) for cells in zip(*columns, strict=True)]
    path = folder / "pack.csv"
    path.write_text("\n".join([",".join(names), *rows]) + "\n", encoding="utf-8")
    made = parse_reading(reading) if reading else None
    return read_log(path, options=ReadOptions(reading=made)).provenance


def by_name(provenance: Provenance) -> dict[str, Column]:
    return {column.source: column for column in provenance.columns}


TIMES = [f"{k / 10:.1f}" for k in range(60)]
SAGGING = [f"{24.0 - 0.02 * i:.3f}" for i in LOAD]


@pytest.mark.parametrize(
    ("names", "other", "why"),
    [
        (("pack_voltage_V", "Battery voltage [V]"), [f"{22 - 0.03 * k:.2f}" for k in range(60)], "name is the channel"),
        (("Pack voltage [V]", "Battery voltage [V]"), ["23.1"] * 60, "never moves"),
        (("Pack voltage [V]", "Battery voltage [V]"), ["22.9", "22.5"] + [""] * 58, "few figures"),
        (
            ("Pack voltage [V]", "Battery voltage [V]"),
            [f"{21 + k * 5 % 7 / 10:.2f}" for k in range(60)],
            "current rises",
        ),
    ],
)
def test_the_better_of_two_is_kept(tmp_path: Path, names: tuple[str, str], other: list[str], why: str) -> None:
    found = by_name(about(tmp_path, ["time_s", *names, "Pack current [A]"], [TIMES, SAGGING, other, LOAD]))
    assert found[names[0]].channel == "pack_voltage_V"
    assert why in found[names[0]].why
    assert found[names[1]].channel is None
    assert names[0] in found[names[1]].question


def test_where_nothing_decides_both_are_named_and_one_line_settles_it(tmp_path: Path) -> None:
    names = ["time_s", "Pack voltage [V]", "Battery voltage [V]"]
    columns = [TIMES, [f"{24 - 0.05 * k:.2f}" for k in range(60)], [f"{23 - 0.08 * k:.2f}" for k in range(60)]]
    found = by_name(about(tmp_path, names, columns))
    assert found[names[1]].channel is found[names[2]].channel is None
    for name in names[1:]:
        asked, _, lines = found[name].question.partition("\n")
        assert all(n in asked for n in names[1:])
        settled = by_name(about(tmp_path, names, columns, f'[reading]\nname = "a"\n\n{lines}\n'))
        assert settled[name].channel == "pack_voltage_V"
        assert sum(c.channel == "pack_voltage_V" for c in settled.values()) == 1


SIGNS = ["°C", "µs", "\u03bcs", "mΩ", "k\u2126", "m/s²", "°/s"]


@pytest.mark.parametrize("codec", ["cp1252", "latin-1"])
@pytest.mark.parametrize("unit", SIGNS)
def test_utf8_read_in_another_encoding_is_turned_back(unit: str, codec: str) -> None:
    """The damage is done here by Python's own codecs, once and twice over."""
    once = unit.encode().decode(codec)
    assert mended(once) == unit
    assert mended(once.encode().decode(codec)) == unit
    assert mended(unit) == unit


@pytest.mark.parametrize(
    ("lost", "meant"), [("\ufffdC", "°C"), ("\ufffd\ufffdC", "°C"), ("\ufffds", "µs"), ("m\ufffd", "mΩ"), ("?C", "°C")]
)
def test_a_sign_that_was_replaced(lost: str, meant: str) -> None:
    assert mended(lost) == meant


def test_mended_units_are_read_and_told(tmp_path: Path) -> None:
    names = ["t [Âµs]", "Pack temp [Â°C]", "Lead [mâ„¦]"]
    found = about(tmp_path, names, [[k * 1000 for k in range(60)], [f"{20 + k / 10}" for k in range(60)], SAGGING])
    columns = by_name(found)
    assert found.clock is not None and found.clock.duration_s == pytest.approx(0.059)
    assert columns["Pack temp [Â°C]"].channel == "pack_temp_degC"
    assert (columns["Lead [mâ„¦]"].quantity, columns["Lead [mâ„¦]"].sure) == ("resistance", "certain")
    assert {f.column for f in found.faults if f.code == "encoding" and f.severity == "repaired"} == set(names)
