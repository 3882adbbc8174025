"""afterbout whatif over every match of a build, and the lightest wiring, as commands."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

Demo = tuple[Path, dict[str, Any]]


def validator(name: str) -> Draft202012Validator:
    schema = json.loads((files("dashboard") / "schemas" / f"{name}.schema.json").read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def test_every_match_of_a_build(demo: Demo, afterbout: Any) -> None:
    folder, documents = demo
    ran = afterbout("whatif", "--season", folder, "--build", "b", "--set", "wire.battery_lead.gauge=10 AWG", "--json")
    assert ran.code == 0, ran.err
    validator("whatif_all").validate(ran.json)
    rows = {row["match"]: row for row in ran.json["matches"]}
    assert set(rows) == {m for m, d in documents.items() if d["match"]["build"] == "b"}
    assert "sensor's top" in rows["m07"]["refused"] and rows["m07"]["smallest"] is None
    assert ran.json["worst"] == "m06" and ran.json["replayed"] == 3
    assert "In the worst of three matches (m06)" in ran.json["sentence"]
    assert "Not replayed, and not counted: m07." in ran.json["sentence"]
    assert ran.json["adds_g"] == pytest.approx(10, abs=3)
    worst = rows["m06"]["smallest"]
    assert worst["margin_low_pct"] <= worst["margin_pct"] < 0


def test_a_match_with_all_means_its_build(demo: Demo, afterbout: Any) -> None:
    ran = afterbout("whatif", "m10", "--season", demo[0], "--all", "--set", "pack=p1")
    assert ran.code == 0, ran.err
    assert "Build c, 4 matches" in ran.out and "m12" in ran.out and "not replayed" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 110


@pytest.mark.parametrize("which", [("--build", "c"), ("m06",)])
def test_the_lightest_wiring(demo: Demo, afterbout: Any, which: tuple[str, ...]) -> None:
    ran = afterbout("whatif", *which, "--season", demo[0], "--lightest", "--json")
    assert ran.code == 0, ran.err
    document = ran.json
    validator("lightest").validate(document)
    assert document["tried"] >= 1000 and document["proved"]
    best = document["best"]
    assert best["adds_g"] <= 0 and best["margin_pct"] >= document["need_pct"]
    assert document["room_g"] is None or best["adds_g"] <= document["room_g"]
    assert all(run["peak_degC"] < run["limit_degC"] for run in best["runs"])
    # The wiring as it is needs no replay.
    assert [row["match"] for row in document["replayed"]] == (document["matches"] if best["sets"] else [])
    assert all(not row["new"] for row in document["replayed"])
    if "m06" in which:
        assert document["joints_remade"] == ["m06"]
    else:
        assert [row["match"] for row in document["refused"]] == ["m12"]


def test_the_lightest_as_text(demo: Demo, afterbout: Any) -> None:
    ran = afterbout("whatif", "m09", "--season", demo[0], "--lightest")
    assert ran.code == 0, ran.err
    assert "Grams against the smallest margin" in ran.out and "saves g" in ran.out
    assert "never made thinner" in ran.out and "another opponent may load the robot more" in ran.out


def test_a_match_that_cannot_be_used_is_no_answer(demo: Demo, afterbout: Any) -> None:
    ran = afterbout("whatif", "m07", "--season", demo[0], "--lightest")
    assert ran.code == 1
    assert "None" in ran.out and "sensor's top" in ran.out


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("--set", "pack=p1"), 2, "Name a match, or give --build: a, b, c."),
        (("--build", "zz", "--set", "pack=p1"), 1, "there is no build 'zz'"),
        (("--build", "b"), 2, "nothing is to be changed"),
        (("m06", "--build", "b", "--set", "pack=p1"), 2, "names its own build"),
        (("--build", "b", "--set", "wire.nope.gauge=3"), 1, 'no wire "nope"'),
        (("--build", "b", "--lightest", "--set", "pack=p1"), 2, "Leave out --set."),
        (("m05", "m06", "--all", "--set", "pack=p1"), 2, "name one match or none"),
    ],
)
def test_wrong_usage_names_the_mend(demo: Demo, afterbout: Any, args: tuple[str, ...], code: int, words: str) -> None:
    ran = afterbout("whatif", "--season", demo[0], *args)
    assert ran.code == code and words in ran.err, (ran.code, ran.err)
    assert "Traceback" not in ran.err
