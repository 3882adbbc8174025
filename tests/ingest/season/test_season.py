"""The season folder: making, opening, reading what lies in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.errors import DescriptionError, SeasonError
from ingest.season import Season
from ingest.season_file import Setting
from tests.ingest.season.plain_format import BUILD, FILES, PACK, log_file, snapshot


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
