"""`afterbout compare` and `afterbout season` as a user types them, on the demo season."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from jsonschema import Draft202012Validator

SCHEMAS = Path(__file__).resolve().parents[2] / "dashboard" / "schemas"
Demo = tuple[Path, dict[str, Any]]
Command = Callable[..., Any]


def schema(name: str) -> Draft202012Validator:
    return Draft202012Validator(json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def season(demo: Demo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo season for this file: the first command reviews it, the others reuse that."""
    target = tmp_path_factory.mktemp("compare") / "season"
    shutil.copytree(demo[0], target, ignore=shutil.ignore_patterns("raw", "sheets", "results"))
    return target


def test_builds_side_by_side(season: Path, afterbout: Command) -> None:
    ran = afterbout("compare", "a", "b", "--by", "build", "--season", season, "--json")
    assert ran.code == 0, ran.err
    schema("compare").validate(ran.json)
    rows = {row["metric"]: row for row in ran.json["rows"]}
    # Build b has 12 AWG where a has 14 AWG: less resistance in the battery lead, by the wires alone 1.36 mΩ.
    lead = rows["harness_resistance_mohm"]
    assert lead["part"] == "battery_lead"
    assert lead["first_median"] - lead["second_median"] == pytest.approx(1.36, abs=0.35)
    assert rows["hottest_wire_standard_degC"]["shift"] < -5
    # Four against four and ten questions: nothing may be claimed.
    assert {row["verdict"] for row in ran.json["rows"]} == {"no difference shown"}
    assert any("6 against 6" in note for note in ran.json["notes"])


def test_words_fit_a_terminal(season: Path, afterbout: Command) -> None:
    ran = afterbout("compare", "--by", "build", "--season", season)
    assert ran.code == 0, ran.err
    assert "No difference shown" in ran.out
    assert all(len(line) <= 100 for line in ran.out.splitlines())


def test_one_metric_of_two_builds_is_one_question(season: Path, afterbout: Command) -> None:
    ran = afterbout("compare", "a", "b", "--by", "build", "--season", season, "--metric", "spin_up_s", "--json")
    assert ran.code == 0, ran.err
    row = ran.json["rows"][0]
    assert (row["metric"], row["verdict"]) == ("spin_up_s", "differs")
    assert row["p_adjusted"] == pytest.approx(2 / 70, rel=1e-6)


def test_two_matches_of_one_pack(season: Path, afterbout: Command) -> None:
    ran = afterbout("compare", "m01", "m11", "--season", season, "--json")
    assert ran.code == 0, ran.err
    rows = {row["metric"]: row for row in ran.json["rows"]}
    assert any("temperature" in why for why in rows["pack_minimum_V"]["confounded"])
    # m11 was fought cold: at matched temperature nothing is shown, because what cold does is known only roughly.
    assert rows["pack_resistance_matched_mohm"]["verdict"] == "no difference shown"


def test_what_a_user_may_mistype(season: Path, afterbout: Command) -> None:
    alone = afterbout("compare", "m01", "--season", season)
    assert alone.code == 2
    assert "name two matches" in alone.err
    wrong = afterbout("compare", "m01", "m99", "--season", season)
    assert wrong.code == 2
    assert "there is no match 'm99'" in wrong.err
    metric = afterbout("compare", "--by", "pack", "--season", season, "--metric", "spin_up")
    assert metric.code == 2
    assert 'Did you mean "spin_up_s"?' in metric.err
    build = afterbout("compare", "a", "z", "--by", "build", "--season", season)
    assert build.code == 2
    assert "there is no build 'z'" in build.err


def test_a_season_with_one_match(demo: Demo, tmp_path: Path, afterbout: Command) -> None:
    own = tmp_path / "one"
    shutil.copytree(demo[0], own, ignore=shutil.ignore_patterns("raw", "sheets", "results", "m0[2-9]*", "m1*"))
    ran = afterbout("compare", "--by", "build", "--season", own)
    assert ran.code == 1
    assert "no two builds with matches" in ran.err
    assert "Traceback" not in ran.err
    tables = pq.read_table(own / "results" / "metrics.parquet")
    assert set(tables.column("match").to_pylist()) == {"m01"}


def test_season_lists_matches_packs_and_drift(season: Path, afterbout: Command) -> None:
    ran = afterbout("season", "--season", season, "--json")
    assert ran.code == 0, ran.err
    schema("season").validate(ran.json)
    assert [row["id"] for row in ran.json["matches"]] == [f"m{n:02d}" for n in range(1, 13)]
    lives = {life["pack"]: life for life in ran.json["packs"]}
    # p1 ran cold in m11 (9 °C in the hall): one season of five matches cannot tell that from age.
    assert lives["p1"]["trend"] == "confounded"
    cells = {cell["cell"]: cell["last_pct"] for cell in lives["p2"]["cells"]}
    assert cells["cell4"] > 60  # the demo's weak cell
    assert max(abs(v) for name, v in cells.items() if name != "cell4") < 10
    watched = {(d["metric"], d["part"]): d for d in ran.json["drifts"]}
    lead = watched["harness_resistance_mohm", "battery_lead"]
    assert lead["verdict"] in ("changed", "drifts", "possible")
    assert lead["after"] < lead["before"]  # 14, 12, then 10 AWG


def test_season_in_words_and_its_tables(season: Path, afterbout: Command) -> None:
    ran = afterbout("season", "--season", season)
    assert ran.code == 0, ran.err
    assert "nothing new" in ran.out
    assert "Cold and age cannot be told apart" in " ".join(ran.out.split())
    assert all(len(line) <= 100 for line in ran.out.splitlines() if not line.startswith("Table: "))
    table = pq.read_table(season / "results" / "findings.parquet")
    planted = {"stall", "weak_cell", "radio_loss", "joint_step", "disconnect_opened"}
    assert planted <= set(table.column("cause").to_pylist())


def test_season_verify(season: Path, tmp_path: Path, afterbout: Command) -> None:
    sound = afterbout("season", "--season", season, "--verify", "--json")
    assert sound.code == 0, sound.err
    schema("season").validate(sound.json)
    assert sound.json["problems"] == []
    own = tmp_path / "own"
    shutil.copytree(season, own)
    next((own / "telemetry" / "match=m01").glob("*.parquet")).unlink()
    broken = afterbout("season", "--season", own, "--verify")
    assert broken.code == 1
    assert "are missing" in broken.out


def test_several_seasons_and_shared_metrics(season: Path, tmp_path: Path, afterbout: Command) -> None:
    club = tmp_path / "club"
    shutil.copytree(season, club / "one")
    (club / "two").mkdir()
    (club / "two" / "season.toml").write_text("x = [", encoding="utf-8")
    out = tmp_path / "shared.csv"
    ran = afterbout("season", "--seasons", club, "--share", out, "--json")
    assert ran.code == 1  # one of the two cannot be read
    assert "left out" in ran.err
    schema("season").validate(ran.json)
    assert [head["run"]["matches"] for head in ran.json["seasons"]] == [12]
    text = out.read_text(encoding="utf-8")
    assert "robot 1" in text
    for name in ("Gristmote", "Lathe Widow", "Tarnwick", "m06", "battery_lead", "p1"):
        assert name not in text
    nothing = afterbout("season", "--seasons", tmp_path / "none")
    assert nothing.code == 1
    assert "holds no season" in nothing.err


def test_season_wants_one_of_two_and_a_cluster_its_extra(season: Path, afterbout: Command) -> None:
    assert afterbout("season").code == 2
    ran = afterbout("season", "--season", season, "--cluster", "tcp://127.0.0.1:9")
    assert ran.code in (1, 2)
    assert "cluster" in ran.err
    assert "Traceback" not in ran.err
