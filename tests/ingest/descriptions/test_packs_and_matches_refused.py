"""Pack, match and season files that are refused: where, what stood there, and the mend."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.builds import load_season_settings
from ingest.errors import DescriptionError
from tests.ingest.descriptions.samples import MATCH, PACK, changed, match, pack

BAD_PACKS = [
    ("capacity_Ah = 3.3", "", r'line 1, pack.capacity_Ah: the key "capacity_Ah" is missing'),
    ("capacity_Ah = 3.3", 'capacity_Ah = "unknown"', r'line 4, pack.capacity_Ah: cannot be "unknown"'),
    ("capacity_Ah = 3.3", "capacity_mAh = 3300", r"unit of this figure is in its name: capacity_Ah \(ampere hours\)"),
    ("capacity_Ah = 3.3", "capacity_Ah = 0", r"is out of range"),
    ('id = "p1"', 'id = "pack"', r"is a reserved name"),
    ('id = "p1"', 'id = "cell1"', r"is a reserved name"),
    ('id = "p1"', 'id = "p1"\nchemistry = "nickel"', r"chemistry: is not a known chemistry"),
    ("burst_C = 100", "burst_C = 40", r"line 6, pack.burst_C: is below continuous_C"),
    ("minimum_cell_V = 3.3", "minimum_cell_V = 19.8", r"is not below a full cell.*of one cell, not of the pack"),
    ("in_service = 2026-01-10", 'in_service = "last year"', r"is not a date.*2026-01-10"),
    ("in_service = 2026-01-10", "in_service = 2026", r"is not a date"),
    ("cell_mohm = [3.1,", "cell_mohm = [", r"measured.1.cell_mohm: does not hold one figure for each cell.*6 figures"),
    ("cell_mohm = [3.1,", "cell_mohm = [-3.1,", r"line 12, measured.1.cell_mohm.1: is out of range"),
    ('by = "charger"', "who = 1", r'"who" is not a key of \[measured.1\]'),
    ("[[measured]]", "[measured]", r"Write \[\[measured\]\]"),
    ("[[measured]]", "[[pack.measured]]", r"measured.*Write it as \[\[measured\]\]"),
    ('id = "p1"', 'id = "p1"\nsource_name = "x"', r'"source_name" is not a key'),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), BAD_PACKS, ids=[message[:40] for _, _, message in BAD_PACKS])
def test_a_wrong_pack_is_located(old: str, new: str, message: str) -> None:
    with pytest.raises(DescriptionError, match=message) as caught:
        pack(changed(PACK, old, new))
    assert caught.value.line is not None


BAD_MATCHES = [
    ('id = "m06"', 'id = "M06"', r"line 2, match.id: is not in the form of an id"),
    ('id = "m06"', 'id = "../m06"', r"is not in the form of an id"),
    ('build = "b"', 'build = ["b"]', r"line 6, match.build: is not text"),
    ("start = 2026-05-09T14:20:00", 'start = "soon"', r"line 4, match.start: is not a date and time"),
    ("start = 2026-05-09T14:20:00", "start = 5", r"is not a date and time"),
    ("length_s = 180", "length_min = 3", r"unit of this figure is in its name: length_s \(seconds\)"),
    ("minutes_to_next = 40", "minutes_to_next = -1", r"expected at least 0"),
    ("ended_s = 95.5", "logs = []", r'"logs" is not a key of \[match\]. Write it as \[\[log\]\]'),
    ('sha256 = "ba', 'sha256 = "BA', r"line 12, log.1.sha256"),
    ('name = "weapon.csv"', "", r'log.1.name: the key "name" is missing'),
    ("clock_offset_s = 0.0", 'file = "../../x"', r"log.1.file"),
    ("value = 61", 'value = "61"', r"noted.1.value: is not a number.*Write: value = 61"),
    ('unit = "degC"', 'unit = "V"', r"noted.1.unit: is not a unit of this quantity.*degC or degF"),
    ("[[noted]]", "[[noticed]]", r'there is no "noticed".*Did you mean "noted"'),
    ("[[noted]]", '[packs]\nx = 3\n[[noted]]', r"packs.x"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), BAD_MATCHES, ids=[new[:40] for _, new, _ in BAD_MATCHES])
def test_a_wrong_match_is_located(old: str, new: str, message: str) -> None:
    with pytest.raises(DescriptionError, match=message) as caught:
        match(changed(MATCH, old, new))
    assert caught.value.line is not None


def test_the_same_log_twice_and_a_key_twice() -> None:
    entry = MATCH[MATCH.index("[[log]]") : MATCH.index("[[noted]]")]
    with pytest.raises(DescriptionError, match=r"log.2.sha256: the same log stands twice"):
        match(MATCH + "\n" + entry)
    with pytest.raises(DescriptionError, match=r"line 1.*stands twice|stands twice"):
        match("ended_s = 3\n" + MATCH)


def test_a_wrong_season_file_is_located(tmp_path: Path) -> None:
    path = tmp_path / "season.toml"
    for text, message in (
        ("[season]\nnmae = 'x'\n", r'line 2, season.nmae.*Did you mean "name"'),
        ("[season]\n[charger]\nmax_A = -3\n", r"line 3, charger.max_A: is out of range"),
        ("[season]\n[charger]\nmax_W = '200 W'\n", r"Write: max_W = 200"),
        ("[season]\n[thresholds]\nx = [1]\n", r"line 3, thresholds.x: is not one finite figure"),
        ("name = 'x'\n[season]\nname = 'y'\n", r"line 1, name: stands twice"),
        ("name = 3\n", r"line 1, name: is not text"),
        ("[seasons]\n", r'Did you mean "season"'),
    ):
        path.write_text(text)
        with pytest.raises(DescriptionError, match=message):
            load_season_settings(path)
    path.write_text('name = "x"\n[charger]\nmax_A = 10\noutputs = 2\n[thresholds]\nclose_margin_pct = 12\n')
    made = load_season_settings(path)
    assert made.charger is not None
    assert (made.name, made.charger.outputs, dict(made.thresholds)) == ("x", 2, {"close_margin_pct": 12})
