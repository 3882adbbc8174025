"""Adding logs to a match: what is kept, what is read again, what changes nothing."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from ingest.align import PlacedLog
from ingest.errors import DescriptionError, SeasonError, UnreadableLog, UsageError
from ingest.formats import ReadOptions
from ingest.log import Log
from ingest.readings import Reading
from ingest.season import Season
from tests.ingest.season.plain_format import PACK, log_file, plain_text, snapshot


def test_add_keeps_the_bytes_the_samples_and_the_match(season: Season, tmp_path: Path) -> None:
    file = log_file(tmp_path)
    result = season.add([file], "m1", pack="p1", event="Ostle Barn Open", start=dt.datetime(2026, 5, 9, 14, 20))
    assert result.created and result.changed and [log.status for log in result.logs] == ["added"]
    assert "build b was taken: it is the only one of the season" in result.notes
    match = season.match("m1")
    assert match == result.match
    assert (match.build, match.pack, match.event) == ("b", "p1", "Ostle Barn Open")
    entry = match.logs[0]
    assert entry.file == f"weapon_{entry.sha256[:8]}" and entry.clock_offset_s == 0.0
    original = season.original_of(entry)
    assert original is not None and original.read_bytes() == file.read_bytes()
    assert original.name == f"{entry.sha256}.csv"
    (log,) = season.log("m1")
    assert log.channels == ("pack_voltage_V",) and log.samples == 250 and log.name == "weapon.csv"
    assert log.provenance.sha256 == entry.sha256 and log.provenance.rows == 250
    field = log.streams[0].table.schema.field("pack_voltage_V")
    assert field.metadata[b"source"] == b"volts" and field.metadata[b"scale"] == b"1.0"
    assert (season.root / "telemetry" / "match=m1" / f"{entry.file}.parquet").is_file()
    assert season.verify() == []


def test_only_the_columns_asked_for_are_read(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    assert season.log("m1", columns=[])[0].streams[0].table.column_names == ["time_s", "recording"]


def test_the_same_bytes_twice_change_nothing(season: Season, tmp_path: Path) -> None:
    file = log_file(tmp_path)
    season.add([file], "m1", pack="p1")
    before = snapshot(season.root)
    times = {path: path.stat().st_mtime_ns for path in season.root.rglob("*.*") if not path.name.startswith(".lock")}
    copy = log_file(tmp_path, "another name.txt", file.read_text())
    result = season.add([file, copy], "m1")
    assert [log.status for log in result.logs] == ["unchanged"] and not result.changed
    assert any("named twice" in note for note in result.notes)
    assert snapshot(season.root) == before
    assert all(path.stat().st_mtime_ns == was for path, was in times.items())


def test_adding_the_kept_original_changes_nothing(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    before = snapshot(season.root)
    original = season.original_of(season.match("m1").logs[0])
    assert original is not None
    season.add([original], "m1")
    assert snapshot(season.root) == before


def test_the_same_bytes_with_another_reading_are_read_again(season: Season, tmp_path: Path) -> None:
    file = log_file(tmp_path)
    season.add([file], "m1", pack="p1")
    old = season.match("m1").logs[0].file
    result = season.add([file], "m1", options=ReadOptions(reading=Reading("mine")))
    assert [log.status for log in result.logs] == ["read again"]
    (entry,) = season.match("m1").logs
    assert entry.reading == "mine" and entry.file != old
    assert [p.name for p in season.telemetry_path("m1").iterdir()] == [f"{entry.file}.parquet"]
    assert season.log("m1")[0].provenance.reading == "mine"
    assert len(list((season.root / "originals").iterdir())) == 1
    back = season.add([file], "m1")
    assert [log.status for log in back.logs] == ["read again"] and season.match("m1").logs[0].reading is None
    assert 'reading = "mine"' not in (season.root / "matches" / "m1.toml").read_text()


def test_an_unrelated_reading_in_the_season_does_not_rewrite_anything(season: Season, tmp_path: Path) -> None:
    file = log_file(tmp_path)
    season.add([file], "m1")
    before = snapshot(season.root)
    result = season.add([file], "m1", options=ReadOptions(readings=(Reading("other"),)))
    assert not result.changed and snapshot(season.root) == before


def test_lost_samples_come_back_from_the_original(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    before = snapshot(season.root)
    next(season.telemetry_path("m1").iterdir()).unlink()
    with pytest.raises(SeasonError, match=r"samples of weapon.csv are missing.*afterbout add .*originals.*--match m1"):
        season.log("m1")
    original = season.original_of(season.match("m1").logs[0])
    assert original is not None
    season.add([original], "m1")
    assert snapshot(season.root) == before


def test_the_same_bytes_in_another_match_warn(season: Season, tmp_path: Path) -> None:
    file = log_file(tmp_path)
    season.add([file], "m1")
    result = season.add([file], "m2")
    assert result.warnings == ("weapon.csv: the same bytes are also a log of match m1",)
    assert season.log("m2")[0].samples == 250 and len(list((season.root / "originals").iterdir())) == 1


def test_several_streams_get_a_file_each_and_come_back_in_order(season: Season, tmp_path: Path) -> None:
    text = "# plain\nstream Slow one\n0,25\n1,24\nstream fast\n" + "".join(f"{i / 10},25\n" for i in range(20))
    season.add([log_file(tmp_path, "all.log", text)], "m1")
    stem = season.match("m1").logs[0].file
    names = {p.name for p in season.telemetry_path("m1").iterdir()}
    assert names == {f"{stem}.slow_one.parquet", f"{stem}.fast.parquet"}
    (log,) = season.log("m1")
    assert [(s.name, s.table.num_rows) for s in log.streams] == [("Slow one", 2), ("fast", 20)]


def test_two_files_of_one_name_and_odd_names(season: Season, tmp_path: Path) -> None:
    (tmp_path / "x").mkdir()
    files = [log_file(tmp_path, "Log (2).CSV"), log_file(tmp_path / "x", "Log (2).CSV", plain_text(3)),
             log_file(tmp_path, "ログ", plain_text(4))]  # fmt: skip
    season.add(files, "m1")
    logs = season.match("m1").logs
    assert [log.name for log in logs] == ["Log (2).CSV", "Log (2).CSV", "ログ"]
    assert [log.file[:-8] for log in logs] == ["log_2_", "log_2_", "log_"]
    assert [log.samples for log in season.log("m1")] == [250, 3, 4]
    original = season.original_of(logs[2])
    assert original is not None and original.suffix == ".bin"


def test_a_match_file_keeps_the_users_own_remarks(season: Season, tmp_path: Path) -> None:
    path = season.root / "matches" / "m1.toml"
    text = '# my remark\r\n[match]\r\nid = "m1"   # the id\r\npack = "p1"\r\n\r\n[[noted]]  # by hand\r\n'
    text += 'part = "weapon"\r\nquantity = "temp"\r\nvalue = 61\r\nunit = "degC"\r\n'
    path.write_bytes(text.encode())
    result = season.add([log_file(tmp_path)], "m1", build="b", opponent="Fennimore")
    assert not result.created
    after = path.read_bytes().decode()
    assert after.count("\n") == after.count("\r\n")
    for kept in ("# my remark", 'id = "m1"   # the id', "[[noted]]  # by hand"):
        assert kept in after
    match = season.match("m1")
    assert (match.build, match.opponent, len(match.logs), match.noted[0].value) == ("b", "Fennimore", 1, 61)


def test_a_second_log_is_appended_and_aligned(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    asked: list[list[str]] = []

    def align(logs: list[Log]) -> list[tuple[float | None, float, str]]:
        asked.append([log.name for log in logs])
        return [(0.0, 0.0, "first"), (1.25, 3.0, "aligned on pack voltage, correlation 0.83")]

    season.add([log_file(tmp_path, "drive.csv", plain_text(30))], "m1", align=align)
    first, second = season.match("m1").logs
    assert asked == [["weapon.csv", "drive.csv"]]
    assert (first.clock_offset_s, first.clock_by) == (0.0, "the match clock")
    assert (second.clock_offset_s, second.clock_drift_ppm) == (1.25, 3.0) and "0.83" in second.clock_by

    def placed(logs: list[Log]) -> list[PlacedLog]:
        return [PlacedLog(log, float(i), 0.0, 0.9, 0.002, i < 2, f"place {i}") for i, log in enumerate(logs)]

    season.add([log_file(tmp_path, "rail.csv", plain_text(31))], "m1", align=placed)
    _, second, third = season.match("m1").logs
    assert second.clock_offset_s == 1.25, "what was placed before stays"
    assert third.clock_offset_s is None and third.clock_by == "place 2"


def test_an_offset_by_hand_is_never_overwritten(season: Season, tmp_path: Path) -> None:
    files = [log_file(tmp_path), log_file(tmp_path, "drive.csv", plain_text(30))]
    season.add(files, "m1")
    path = season.root / "matches" / "m1.toml"
    path.write_text(path.read_text() + 'clock_offset_s = 2.5\nclock_by = "by hand"\n')
    season.add([files[1]], "m1", options=ReadOptions(reading=Reading("r")), align=lambda logs: [(0.0, 0.0, "x")] * 2)
    second = season.match("m1").logs[1]
    assert (second.reading, second.clock_offset_s, second.clock_by) == ("r", 2.5, "by hand")


def test_a_pack_that_does_not_fit_is_a_warning(season: Season, tmp_path: Path) -> None:
    (season.root / "packs" / "p4.toml").write_text(PACK.format(id="p4").replace("6", "4"), "utf-8")
    result = season.add([log_file(tmp_path)], "m1", pack="p4")
    assert result.warnings == ("pack p4 has 4 cells, build b is wired for 6",)


@pytest.mark.parametrize(
    ("head", "message"),
    [
        ({"build": "bb"}, r'match.build: names a build that is not there.*Did you mean "b"'),
        ({"pack": "p9"}, r"match.pack: names a pack that is not there"),
        ({"length_s": -1.0}, r"match.length_s: is out of range"),
        ({"pack": "P 1"}, r"match.pack: is not in the form of an id"),
    ],
)
def test_a_wrong_head_stores_nothing(season: Season, tmp_path: Path, head: dict[str, object], message: str) -> None:
    before = snapshot(season.root)
    with pytest.raises(DescriptionError, match=message):
        season.add([log_file(tmp_path)], "m1", **head)  # type: ignore[arg-type]
    assert snapshot(season.root) == before


def test_another_build_than_the_match_names_is_refused(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1", pack="p1")
    before = snapshot(season.root)
    with pytest.raises(DescriptionError, match=r"line \d+, match.pack: differs from the pack that was given"):
        season.add([log_file(tmp_path, "b.csv", plain_text(9))], "m1", pack="p2")
    assert snapshot(season.root) == before


def test_all_files_of_an_add_or_none(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    before = snapshot(season.root)
    good, bad = (
        log_file(tmp_path, "a.csv", plain_text(9)),
        log_file(tmp_path, "bad.csv", plain_text(5, extra="stop\n")),
    )
    with pytest.raises(UnreadableLog, match=r"bad.csv, line 7: cannot be trusted") as caught:
        season.add([good, bad], "m1")
    assert caught.value.file == str(bad)
    assert snapshot(season.root) == before
    with pytest.raises(UnreadableLog):
        season.add([good, bad], "m2")
    assert snapshot(season.root) == before


def test_what_is_no_log_is_refused_before_anything(season: Season, tmp_path: Path) -> None:
    before = snapshot(season.root)
    (tmp_path / "empty.csv").touch()
    for name, message in (("none.csv", "no such file"), ("", "is a folder"), ("empty.csv", "is empty")):
        with pytest.raises(UnreadableLog, match=message):
            season.add([log_file(tmp_path), tmp_path / name], "m1")
    with pytest.raises(UsageError, match="no file"):
        season.add([], "m1")
    assert snapshot(season.root) == before


@pytest.mark.parametrize(
    "text",
    ['log = []\n[match]\nid = "m1"\n', 'match = {id = "m1"}\nlog = [{sha256 = "' + "a" * 64 + '", name = "x"}]\n'],
)
def test_a_match_file_that_can_not_be_added_to_is_refused(season: Season, tmp_path: Path, text: str) -> None:
    (season.root / "matches" / "m1.toml").write_text(text)
    before = snapshot(season.root)
    with pytest.raises(DescriptionError, match=r"form that cannot be added to.*\[\[log\]\]"):
        season.add([log_file(tmp_path)], "m1")
    assert snapshot(season.root) == before
