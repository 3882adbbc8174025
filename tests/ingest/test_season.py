"""The season folder: reading, adding, noting, verifying; interruptions and disks that fail."""

from __future__ import annotations

import datetime as dt
import errno
import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from ingest import formats
from ingest.align import PlacedLog
from ingest.errors import AfterboutError, DescriptionError, SeasonError, StoreError, UnreadableLog, UsageError
from ingest.formats import ReadOptions
from ingest.log import Log
from ingest.matches import Noted
from ingest.readings import Reading
from ingest.season import Season
from ingest.season_file import Setting
from ingest.store import FileLayer, Store
from tests.ingest.plain_format import BUILD, PACK, PLAIN, plain_text

ROOT = Path(__file__).parents[2]
FILES = {"builds/b.toml": BUILD, "packs/p1.toml": PACK.format(id="p1"), "packs/p2.toml": PACK.format(id="p2")}


@pytest.fixture(autouse=True)
def _plain(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(formats, "formats", lambda: (PLAIN,))


@pytest.fixture
def season(tmp_path: Path) -> Season:
    return Season.create(tmp_path / "s", "Spring", "Gristmote", files=FILES)


def log_file(folder: Path, name: str = "weapon.csv", text: str | None = None) -> Path:
    path = folder / name
    path.write_text(text or plain_text(250), "utf-8")
    return path


def snapshot(root: Path) -> dict[str, bytes]:
    """Every file that counts: the lock and its note are passing."""
    found = {}
    for path in sorted(root.rglob("*")):
        if path.is_file() and not path.name.startswith(".lock"):
            found[path.relative_to(root).as_posix()] = path.read_bytes()
    return found


# Making and opening


def test_a_new_season_opens_and_holds_what_it_was_given(season: Season) -> None:
    assert (season.name, season.robot, season.settings) == ("Spring", "Gristmote", {})
    assert season.ids("builds") == ["b"] and season.ids("packs") == ["p1", "p2"]
    assert season.build("b").id == "b" and season.pack("p1").capacity_Ah == 3.3
    assert season.matches() == [] and season.readings() == [] and season.verify() == []


def test_every_threshold_stands_in_season_toml_as_a_comment(tmp_path: Path) -> None:
    known = [
        Setting("close_margin_pct", 10.0, "%", "below this a figure is close"),
        Setting("names", "x", "1", "a word"),
    ]
    season = Season.create(tmp_path / "s", thresholds=known)
    text = (season.root / "season.toml").read_text("utf-8")
    assert "# close_margin_pct = 10.0  # %" in text and '# names = "x"\n' in text
    (season.root / "season.toml").write_text(text + "close_margin_pct = 12\n", "utf-8")
    changed = Season(season.root)
    assert changed.settings == {"close_margin_pct": 12}
    changed.check_settings(known)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("close_margin = 12", r"line \d+, thresholds.close_margin.*unit is part of the name: close_margin_pct"),
        ("clse_margin_pct = 12", r'Did you mean "close_margin_pct"'),
        ('close_margin_pct = "12"', r"wrong kind.*like the default 10.0"),
        ("close_margin_pct = true", r"wrong kind"),
        ("close_margin_pct = nan", r"is not one finite figure"),
    ],
)
def test_a_wrong_threshold_is_located(tmp_path: Path, line: str, message: str) -> None:
    known = [Setting("close_margin_pct", 10.0, "%", "below this a figure is close")]
    season = Season.create(tmp_path / "s", thresholds=known)
    with (season.root / "season.toml").open("a") as file:
        file.write(line + "\n")
    with pytest.raises(DescriptionError, match=message):
        Season(season.root).check_settings(known)


def test_what_is_no_season_is_said_with_the_mend(tmp_path: Path) -> None:
    with pytest.raises(SeasonError, match=r"no such folder.*afterbout new"):
        Season(tmp_path / "none")
    with pytest.raises(SeasonError, match=r"holds no season.toml.*afterbout new"):
        Season(tmp_path)
    file = log_file(tmp_path)
    with pytest.raises(SeasonError, match="is a file"):
        Season(file)


def test_a_season_may_be_named_by_its_season_toml(season: Season) -> None:
    assert Season(season.root / "season.toml").root == season.root


def test_new_never_overwrites(season: Season, tmp_path: Path) -> None:
    before = snapshot(season.root)
    with pytest.raises(SeasonError, match="is a season already"):
        Season.create(season.root)
    (tmp_path / "t" / "builds").mkdir(parents=True)
    (tmp_path / "t" / "builds" / "b.toml").write_text("mine")
    with pytest.raises(SeasonError, match="is there already"):
        Season.create(tmp_path / "t", files=FILES)
    assert snapshot(season.root) == before and snapshot(tmp_path / "t") == {"builds/b.toml": b"mine"}


@pytest.mark.parametrize(
    ("files", "message"),
    [
        ({"builds/b.toml": BUILD.replace("gauge", "gague")}, 'Did you mean "gauge"'),
        ({"builds/c.toml": BUILD}, "is not the name of the file"),
        ({"matches/m1.toml": '[match]\nid = "m1"\nbuild = "zz"\n'}, "names a build that is not there"),
    ],
)
def test_new_with_a_wrong_description_writes_nothing(tmp_path: Path, files: dict[str, str], message: str) -> None:
    with pytest.raises(DescriptionError, match=message):
        Season.create(tmp_path / "s", files=files)
    assert not (tmp_path / "s").exists()


def test_files_dropped_in_by_hand_are_found_and_their_name_must_be_their_id(season: Season) -> None:
    (season.root / "packs" / "p9.toml").write_text(PACK.format(id="p9"), "utf-8")
    assert season.pack("p9").cells == 6
    (season.root / "packs" / "p8.toml").write_text(PACK.format(id="p7"), "utf-8")
    with pytest.raises(DescriptionError, match=r"p8.toml, line 2, pack.id.*found 'p7'.*rename the file to p7.toml"):
        season.pack("p8")
    survey = season.survey()
    assert [pack.id for pack in survey.packs] == ["p1", "p2", "p9"] and len(survey.problems) == 1


@pytest.mark.parametrize("name", ["../b", "..", "/etc/passwd", "b/../b", "B", "", "a" * 41, "b\0", "b.toml"])
def test_an_id_can_not_lead_out_of_the_season(season: Season, name: str) -> None:
    for ask in (season.build, season.pack, season.match, season.telemetry_path):
        with pytest.raises(SeasonError, match="is not the id"):
            ask(name)


def test_a_link_out_of_the_season_is_refused(season: Season, tmp_path: Path) -> None:
    (tmp_path / "p3.toml").write_text(PACK.format(id="p3"), "utf-8")
    (season.root / "packs" / "p3.toml").symlink_to(tmp_path / "p3.toml")
    with pytest.raises(SeasonError, match="leads out of the season"):
        season.pack("p3")


def test_a_missing_id_gets_the_nearest(season: Season) -> None:
    with pytest.raises(SeasonError, match=r"there is no pack 'p11'.*Did you mean \"p1\""):
        season.pack("p11")


def test_a_match_that_names_what_is_not_there_is_located(season: Season) -> None:
    path = season.root / "matches" / "m1.toml"
    path.write_text('[match]\nid = "m1"\nbuild = "bb"\npack = "p1"\n', "utf-8")
    with pytest.raises(DescriptionError, match=r'm1.toml, line 3, match.build: names a build.*Did you mean "b"'):
        season.match("m1")
    path.write_text('[match]\nid = "m1"\nbuild = "b"\n[packs]\npack = ["p1", "p5"]\n', "utf-8")
    with pytest.raises(DescriptionError, match=r"line 5, packs.pack: names a pack"):
        season.match("m1")
    path.write_text('[match]\nid = "m1"\nbuild = "b"\n[packs]\nweapon_pack = "p1"\n', "utf-8")
    with pytest.raises(DescriptionError, match=r"is no \[\[pack\]\] of build b"):
        season.match("m1")


def test_matches_are_in_the_order_of_time(season: Season) -> None:
    for name, start in (("m1", "2026-05-10"), ("m2", "2026-05-09T14:20:00"), ("m3", "2026-05-09T14:20:00+05:00")):
        text = f'[match]\nid = "{name}"\nstart = {start}\n'
        (season.root / "matches" / f"{name}.toml").write_text(text, "utf-8")
    assert [match.id for match in season.matches()] == ["m3", "m2", "m1"]


# Adding


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
    with pytest.raises(
        SeasonError, match=r"samples of weapon.csv are missing.*afterbout add .*originals.*--match m1"
    ):
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


# Disks that fail


class FailingLayer(FileLayer):
    """Fails at the n-th call of one kind, with one error; may also write short."""

    def __init__(self, kind: str, at: int, error: int, short: bool = False) -> None:
        self.kind, self.left, self.error, self.short = kind, at, error, short

    def _count(self, kind: str) -> None:
        if kind == self.kind:
            self.left -= 1
            if self.left < 0:
                raise OSError(self.error, os.strerror(self.error))

    def create(self, path):  # type: ignore[no-untyped-def]
        self._count("create")
        return super().create(path)

    def write(self, file, data):  # type: ignore[no-untyped-def]
        self._count("write")
        return super().write(file, data[: max(1, len(data) // 2)] if self.short else data)

    def sync(self, file):  # type: ignore[no-untyped-def]
        self._count("sync")
        super().sync(file)

    def replace(self, source: Path, target: Path) -> None:
        self._count("replace")
        super().replace(source, target)

    def make_folder(self, path: Path) -> None:
        self._count("folder")
        super().make_folder(path)


def _files(tmp_path: Path) -> list[Path]:
    return [log_file(tmp_path, "a.csv", plain_text(400)), log_file(tmp_path, "b.csv", plain_text(500))]


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO, errno.EROFS])
@pytest.mark.parametrize("kind", ["create", "write", "sync", "replace", "folder"])
def test_wherever_the_disk_fails_the_season_stands_as_it_was(
    season: Season, tmp_path: Path, kind: str, error: int
) -> None:
    season.add([log_file(tmp_path)], "m1")
    before = snapshot(season.root)
    failures = 0
    for at in range(1000):
        layer = FailingLayer(kind, at, error, short=True)
        try:
            Season(season.root, Store(layer)).add(_files(tmp_path), "m1")
            break
        except StoreError as failed:
            failures += 1
            assert os.strerror(error) in str(failed) and failed.mend
            assert failed.exit_code == 1
        assert snapshot(season.root) == before, (kind, at)
    assert failures >= 3
    assert [log.samples for log in season.log("m1")] == [250, 400, 500]
    assert season.verify() == []


def test_a_disk_that_cannot_even_remove_leaves_only_what_nothing_refers_to(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")

    class Stuck(FailingLayer):
        def remove(self, path: Path) -> None:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    match = (season.root / "matches" / "m1.toml").read_bytes()
    with pytest.raises(StoreError, match=os.strerror(errno.ENOSPC)):
        Season(season.root, Store(Stuck("replace", 4, errno.ENOSPC))).add(_files(tmp_path), "m1")
    assert (season.root / "matches" / "m1.toml").read_bytes() == match
    assert season.verify() and all(problem.harmless for problem in season.verify())
    season.add(_files(tmp_path), "m1")
    assert season.verify() == []


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the superuser writes into read-only folders")
def test_a_read_only_season(season: Season, tmp_path: Path) -> None:
    season.root.chmod(0o500)
    try:
        with pytest.raises(StoreError, match="cannot be locked"):
            season.add([log_file(tmp_path)], "m1")
    finally:
        season.root.chmod(0o700)


# Interruptions, in processes of their own

SCRIPT = textwrap.dedent("""
    import sys
    from ingest import formats
    from tests.ingest.plain_format import PLAIN
    formats.formats = lambda: (PLAIN,)
    from ingest.season import Season
    Season(sys.argv[1]).add(sys.argv[3:], sys.argv[2])
    print("done", flush=True)
""")


def start_add(season: Season, match_id: str, files: list[Path]) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", SCRIPT, str(season.root), match_id, *map(str, files)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_ctrl_c_leaves_nothing_behind(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    before = snapshot(season.root)
    slow = log_file(tmp_path, "slow.csv", plain_text(5, extra="wait\n1,2\n"))
    process = start_add(season, "m1", [log_file(tmp_path, "a.csv", plain_text(9)), slow])
    assert process.stdout is not None and process.stdout.readline() == "reading\n"
    process.send_signal(signal.SIGINT)
    _, stderr = process.communicate(timeout=20)
    assert process.returncode != 0 and "KeyboardInterrupt" in stderr
    assert snapshot(season.root) == before


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_a_killed_add_leaves_a_season_that_opens_and_the_next_add_sweeps(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    match = (season.root / "matches" / "m1.toml").read_bytes()
    slow = log_file(tmp_path, "slow.csv", plain_text(5, extra="wait\n1,2\n"))
    process = start_add(season, "m1", [log_file(tmp_path, "a.csv", plain_text(9)), slow])
    assert process.stdout is not None and process.stdout.readline() == "reading\n"
    process.kill()
    process.communicate(timeout=20)
    assert (season.root / "matches" / "m1.toml").read_bytes() == match
    left = season.verify()
    assert left and all(problem.harmless for problem in left)
    assert [log.samples for log in Season(season.root).log("m1")] == [250]
    result = season.add([log_file(tmp_path, "a.csv", plain_text(9))], "m1")
    assert result.logs[0].status == "added"
    assert not list(season.root.rglob("*.part"))


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("delay_s", [0.0, 0.004, 0.012, 0.03])
def test_killed_at_any_moment_the_match_is_as_before_or_complete(
    season: Season, tmp_path: Path, delay_s: float
) -> None:
    season.add([log_file(tmp_path)], "m1")
    files = [log_file(tmp_path, f"{n}.csv", plain_text(3000 + n)) for n in range(4)]
    process = start_add(season, "m1", files)
    while not list((season.root / "originals").glob("*.part")) and process.poll() is None:
        time.sleep(0.001)
    time.sleep(delay_s)
    process.kill()
    process.communicate(timeout=20)
    samples = [log.samples for log in Season(season.root).log("m1")]
    assert samples in ([250], [250, 3000, 3001, 3002, 3003])
    assert all(problem.harmless for problem in season.verify())
    season.add(files, "m1")
    assert [log.samples for log in season.log("m1")] == [250, 3000, 3001, 3002, 3003]
    assert season.verify() == []


def test_two_adds_at_once_both_happen(season: Season, tmp_path: Path) -> None:
    groups = [[log_file(tmp_path, f"{g}_{n}.csv", plain_text(100 * g + n)) for n in range(1, 4)] for g in (1, 2, 3)]
    running = [start_add(season, "m1", group) for group in groups]
    for process in running:
        stdout, stderr = process.communicate(timeout=60)
        assert (process.returncode, stdout) == (0, "done\n"), stderr
    names = [entry.name for entry in season.match("m1").logs]
    assert sorted(names) == sorted(path.name for group in groups for path in group)
    assert season.verify() == []


def test_who_holds_the_season_is_said(season: Season, tmp_path: Path) -> None:
    message = rf"is in use: adding to match m9, process {os.getpid()}.*Wait until"
    with season.locked("adding to match m9"), pytest.raises(SeasonError, match=message):
        season.add([log_file(tmp_path)], "m1", lock_timeout_s=0.2)
    season.add([log_file(tmp_path)], "m1")


# Noting, verifying, results


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
