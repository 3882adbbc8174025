"""afterbout whatif: from a match of the demo to before and after, and what it refuses."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

Demo = tuple[Path, dict[str, Any]]


def validator() -> Draft202012Validator:
    texts = {n: (files("dashboard") / "schemas" / f"{n}.schema.json").read_text("utf-8") for n in ("review", "whatif")}
    schemas = {name: json.loads(text) for name, text in texts.items()}
    resources = [(s["$id"], Resource.from_contents(s)) for s in schemas.values()]
    return Draft202012Validator(schemas["whatif"], registry=Registry().with_resources(resources))


def joint_runs(document: dict[str, Any]) -> list[str]:
    """Every run that the joint may sit in."""
    leads = {"battery_lead", "weapon_lead", "left_lead", "right_lead", "supply_lead"}
    joint = next(f for f in document["findings"] if f["check"] == "joint")
    return sorted(leads & {joint["part"], *joint["could_be"]})


def test_the_joint_of_match_6_remade(demo: Demo, afterbout: Any) -> None:
    folder, documents = demo
    sets = [f"--set=wire.{run}.joints=remade" for run in joint_runs(documents["m06"])]
    ran = afterbout("whatif", "m06", "--season", folder, *sets, "--json")
    assert ran.code == 0, ran.err
    validator().validate(ran.json)
    before, after = ran.json["before"], ran.json["after"]
    assert before["match"]["verdict"] == "over"
    assert after["match"]["verdict"] in ("within", "close")
    assert not [f for f in after["findings"] if f["cause"] in ("joint_step", "contact_heating")]
    assert ran.json["adds_g"] == 0
    pack = next(e for e in after["estimates"] if e["name"] == "pack_minimum_V")
    assert pack["low"] < pack["value"] < pack["high"]


def test_the_page_says_what_went_and_what_moved(demo: Demo, afterbout: Any) -> None:
    folder, documents = demo
    sets = [f"--set=wire.{run}.joints=remade" for run in joint_runs(documents["m06"])]
    ran = afterbout("whatif", "m06", "--season", folder, *sets)
    assert ran.code == 0, ran.err
    assert "OVER before, WITHIN after" in ran.out
    assert "Gone" in ran.out and "Margins that moved" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 110


def test_a_clipped_match_is_refused_with_the_reason(demo: Demo, afterbout: Any) -> None:
    ran = afterbout("whatif", "m07", "--season", demo[0], "--set", "pack=p1", "--json")
    assert ran.code == 1
    validator().validate(ran.json)
    assert ran.json["after"] is None
    assert "pack_current_A stands at its sensor's top" in ran.json["refused"]


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("wire.batery_lead.gauge=10 AWG", 'Did you mean "battery_lead"?'),
        ("wire.battery_lead.gauge=60 AWG", "AWG goes from 0000 to 40"),
        ("pack=p9", 'there is no pack "p9"'),
    ],
)
def test_a_wrong_setting_names_the_mend(demo: Demo, afterbout: Any, setting: str, words: str) -> None:
    ran = afterbout("whatif", "m06", "--season", demo[0], "--set", setting)
    assert ran.code == 1
    assert words in ran.err
    assert "Traceback" not in ran.err and ran.out == ""


def test_without_a_build_there_is_nothing_to_change(tmp_path: Path, afterbout: Any) -> None:
    log = tmp_path / "pack.csv"
    rows = "".join(f"{i / 50:.2f},{24 - 0.02 * (i % 40):.3f},{5 + (i % 40):.2f}\n" for i in range(1500))
    log.write_text("time_s,pack_voltage_V,pack_current_A\n" + rows, encoding="utf-8")
    ran = afterbout("whatif", log, "--cells", "6", "--set", "pack.parallel=2")
    assert ran.code == 1
    assert "no build is named" in ran.err and "--build" in ran.err


def test_the_pit_plan_of_the_demo_holds_to_its_schema(demo: Demo, afterbout: Any) -> None:
    ran = afterbout("pit", "--season", demo[0], "--minutes", "40", "--json")
    assert ran.code == 0, ran.err
    schema = json.loads((files("dashboard") / "schemas" / "pit.schema.json").read_text("utf-8"))
    Draft202012Validator(schema).validate(ran.json)
    assert ran.json["match"] == "m12"  # logged at 2 Hz: its peaks are not known
    assert ran.json["ending"] == "not checked"
    words = {pack["pack"]: pack["verdict"]["word"] for pack in ran.json["packs"]}
    assert words["p2"] == "retire"  # the weak cell of match 4
    assert words["p1"] == "watch"  # cold or ageing in match 11
    page = afterbout("pit", "--season", demo[0], "--minutes", "40")
    assert "NOT CHECKED" in page.out and "[ ] Main disconnect" in page.out
    assert max(len(line) for line in page.out.splitlines()) <= 100


def test_the_pit_plan_of_an_empty_season_says_what_is_missing(tmp_path: Path, afterbout: Any) -> None:
    assert afterbout("new", tmp_path / "s", "--class", "30lb", "--yes").code == 0
    ran = afterbout("pit", "--season", tmp_path / "s")
    assert ran.code == 1 and "no match of this season has logs yet" in ran.err
