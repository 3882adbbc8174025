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
