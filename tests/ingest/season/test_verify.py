"""Noting figures, verifying a season, derived results."""

from __future__ import annotations

import errno
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from ingest.errors import AfterboutError, SeasonError
from ingest.matches import Noted
from ingest.season import Season
from ingest.store import Store
from tests.ingest.season.failing import FailingLayer
from tests.ingest.season.plain_format import PACK, log_file, plain_text, snapshot


def test_a_figure_read_off_is_noted(season: Season) -> None:
    (season.root / "matches" / "m1.toml").write_text('[match]\nid = "m1"  # mine\nbuild = "b"\n')
    season.note("m1", Noted(part="weapon", quantity="temp", value=154.4, unit="degF", when="after", by="infrared"))
    season.note("m1", Noted(part="pack", quantity="charge_used", value=2100, unit="mAh"))
    first, second = season.match("m1").noted
    assert first.channel_value == pytest.approx(68.0) and first.by == "infrared"  # 154.4 °F is 68 °C by definition
    assert second.value == 2100 and "# mine" in (season.root / "matches" / "m1.toml").read_text()


@pytest.mark.parametrize(
    ("noted", "message"),
    [
        (Noted(part="wepon", quantity="temp", value=60, unit="degC"), 'Did you mean "weapon"'),
        (Noted(part="weapon", quantity="temp", value=60, unit="V"), "is not a unit of this quantity.*degC or degF"),
    ],
)
def test_a_wrong_note_changes_nothing(season: Season, noted: Noted, message: str) -> None:
    (season.root / "matches" / "m1.toml").write_text('[match]\nid = "m1"\nbuild = "b"\n')
    before = snapshot(season.root)
    with pytest.raises(SeasonError, match=message):
        season.note("m1", noted)
    assert snapshot(season.root) == before


def test_verify_finds_a_changed_byte_anywhere(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path, text=plain_text(5000))], "m1")
    original = season.original_of(season.match("m1").logs[0])
    assert original is not None
    parquet = next(season.telemetry_path("m1").iterdir())
    for path in (original, parquet):
        good = path.read_bytes()
        for place in (40, len(good) // 3, len(good) // 2):
            path.write_bytes(good[:place] + bytes([good[place] ^ 1]) + good[place + 1 :])
            problems = season.verify()
            assert [p.harmless for p in problems] == [False] and problems[0].file == str(path), (path.name, place)
            assert problems[0].mend
        path.write_bytes(good)
        assert season.verify() == []


def test_verify_finds_what_is_missing_and_what_is_left_over(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    stray = season.telemetry_path("m1") / "stray.parquet"
    stray.write_bytes(b"x")
    assert [(p.file, p.harmless) for p in season.verify()] == [(str(stray), True)]
    stray.unlink()
    (season.root / "matches" / "m2.toml").write_text('[match]\nid = "m2"\nbuild = "zz"\n')
    assert ["names a build" in p.what for p in season.verify()] == [True]
    (season.root / "matches" / "m2.toml").unlink()
    next((season.root / "originals").iterdir()).unlink()
    assert ["is missing" in p.what for p in season.verify()] == [True]


def test_damaged_samples_are_an_error_not_a_traceback(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    path = next(season.telemetry_path("m1").iterdir())
    good = path.read_bytes()
    for bad in (b"", b"PAR1", good[:100], good[: len(good) // 2], b"\0" * len(good), good[:-8] + b"\xff" * 8):
        path.write_bytes(bad)
        with pytest.raises(SeasonError, match=r"samples cannot be read.*Read it again with: afterbout add"):
            season.log("m1")


def test_samples_made_elsewhere_are_read(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    path = next(season.telemetry_path("m1").iterdir())
    table = pq.ParquetFile(path).read().replace_schema_metadata(None)
    path.unlink()
    pq.write_table(table, path)
    (log,) = season.log("m1")
    assert log.samples == 250 and log.provenance.sha256 == season.match("m1").logs[0].sha256


def test_a_result_is_made_once_and_again_where_it_was_lost_or_damaged(season: Season) -> None:
    made = []

    def make() -> dict[str, int]:
        made.append(1)
        return {"value": len(made)}

    key = {"match": "m1", "hash": "abc"}
    assert season.result("review", key, make) == season.result("review", key, make) == {"value": 1}
    assert season.result("review", {**key, "hash": "abd"}, make) == {"value": 2}
    for path in season.results_path.rglob("*.json"):
        path.write_text("{")
    assert season.result("review", key, make) == {"value": 3}
    unwritable = Season(season.root, Store(FailingLayer("create", 0, errno.EROFS)))
    assert unwritable.result("review", {"other": 1}, make) == {"value": 4}


def test_the_fingerprint_of_a_match_follows_what_it_depends_on(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1", pack="p1")
    first = season.fingerprint("m1")
    (season.root / "packs" / "p2.toml").write_text(PACK.format(id="p2") + "mass_g = 500\n")
    assert season.fingerprint("m1") == first
    (season.root / "packs" / "p1.toml").write_text(PACK.format(id="p1") + "mass_g = 500\n")
    assert season.fingerprint("m1") != first


def test_a_season_full_of_rubbish_gives_errors_of_ours_only(season: Season) -> None:
    for name, text in (("m1", ""), ("m2", "\x00"), ("m3", "[match]"), ("m4", "[[match]]\n"), ("m5", "match = 3")):
        (season.root / "matches" / f"{name}.toml").write_text(text)
    (season.root / "matches" / "m6.toml").write_bytes(b"\xff\xfe[match]")
    (season.root / "matches" / "m7.toml").mkdir()
    (season.root / "builds" / "big.toml").write_text("#" * 1_000_001)
    survey = season.survey()
    assert len(survey.problems) == 8 and all(isinstance(p, AfterboutError) and p.mend for p in survey.problems)
