"""What a person may type after --set, and matches that cannot be replayed: refused with the reason and the mend."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

Demo = tuple[Path, dict[str, Any]]


@pytest.mark.parametrize(
    ("sets", "words"),
    [
        ("wire.nowhere.gauge=10 AWG", "has no wire"),
        ("wire.battery_led.gauge=10 AWG", 'Did you mean "battery_lead"'),
        ("wire.battery_lead.gauge=99 AWG", "AWG goes from 0000 to 40"),
        ("wire.battery_lead.gauge=-4 mm2", "not a known gauge"),
        ("wire.battery_lead.gauge=nan mm2", "not a known gauge"),
        ("wire.battery_lead.gauge=", "is not KEY=VALUE"),
        ("wire.battery_lead.gauge", "is not KEY=VALUE"),
        ("wire.battery_lead.length_mm=-20", "out of range"),
        ("wire.battery_lead.length_mm=0", "out of range"),
        ("wire.battery_lead.length_mm=nan", "not a finite number"),
        ("wire.battery_lead.length_mm=inf", "not a finite number"),
        ("wire.battery_lead.length_mm=1e9", "no figure of a robot"),
        ("contact.pack_plug.resistance_mohm=-1", "out of range"),
        ("contact.pack_plug.resistance_mohm=99999", "no figure of a robot"),
        ("contact.main_disconnect=removed", "not taken out or bypassed"),
        ("motor.weapon_motor.gear_ratio=0", "out of range"),
        ("controller.weapon.current_limit_A=nan", "not a finite number"),
        ("pack=p9", "there is no pack"),
        ("pack.parallel=0", "out of range"),
        ("pack.parallel=1.5", "whole number"),
        ("pack.start_pct=150", "is not a charge"),
    ],
)
def test_a_wrong_change_says_what_and_the_mend(demo: Demo, afterbout: Any, sets: str, words: str) -> None:
    ran = afterbout("whatif", "m06", "--season", demo[0], "--set", sets)
    assert ran.code == 1
    assert words in ran.err
    assert "Traceback" not in ran.err and ran.out == ""


@pytest.mark.parametrize(
    ("match", "sets", "words"),
    [
        ("m06", "pack.cells=4", "Would have to change too: cells of the build"),
        ("m06", "contact.pack_plug.resistance_mohm=900", "the volts would fall to nothing"),
        ("m07", "wire.battery_lead.gauge=8 AWG", "sensor's top"),
        ("m12", "wire.battery_lead.gauge=8 AWG", "samples a second"),
    ],
)
def test_what_cannot_be_replayed_is_refused_with_the_reason(
    demo: Demo, afterbout: Any, match: str, sets: str, words: str
) -> None:
    ran = afterbout("whatif", match, "--season", demo[0], "--set", sets, "--json")
    assert ran.code == 1
    assert ran.json["after"] is None
    assert words in ran.json["refused"]
    assert "Traceback" not in ran.err and "Warning" not in ran.err


def test_an_unknown_match_names_the_nearest(demo: Demo, afterbout: Any) -> None:
    ran = afterbout("whatif", "m99", "--season", demo[0], "--set", "wire.battery_lead.gauge=10 AWG")
    assert ran.code == 1
    assert "there is no match" in ran.err and "Did you mean" in ran.err


@pytest.mark.parametrize(
    ("sets", "words"),
    [
        ("controller.weapon.cutoff_V=6", "1.00 V a cell"),
        ("contact.pack_plug.rated_A=500", "Only the paper changes"),
        ("fuse.weapon_fuse.rated_A=300", "No fuse would protect the weapon lead any more"),
        ("controller.weapon.current_limit_A=400", "cures nothing"),
        ("build.mass_limit_kg=13.0", "over its mass limit already"),
        ("wire.battery_lead.length_mm=4000", "over the mass limit"),
    ],
)
def test_what_a_change_does_that_no_replay_shows_is_said(demo: Demo, afterbout: Any, sets: str, words: str) -> None:
    ran = afterbout("whatif", "m06", "--season", demo[0], "--set", sets)
    assert ran.code == 0, ran.err
    assert words in " ".join(ran.out.split())


@pytest.mark.parametrize("minutes", ["-3", "nan", "inf", "1e9"])
def test_minutes_that_cannot_be_are_wrong_usage(demo: Demo, afterbout: Any, minutes: str) -> None:
    ran = afterbout("pit", "--season", demo[0], f"--minutes={minutes}")
    assert ran.code == 2
    assert "minutes to the next match, 0 to 1440" in ran.err


@pytest.mark.parametrize("minutes", [0, 5, 20, 40, 90])
def test_the_pit_plan_ends_in_one_of_four(demo: Demo, afterbout: Any, minutes: int) -> None:
    from analysis.pit import ENDINGS

    ran = afterbout("pit", "--season", demo[0], "--minutes", minutes, "--json")
    assert ran.code == 0, ran.err
    assert ran.json["ending"] in ENDINGS
    assert ran.json["ending"] == "not checked"  # two samples a second in the last match
    for pack in ran.json["packs"]:
        assert pack["charge_min"] is None  # its temperature is not known, or it was not in the last match
        assert not pack["fits"] or pack["ready_min"] <= minutes


def test_packs_side_by_side_are_refused_with_the_reason(demo: Demo, afterbout: Any, tmp_path: Path) -> None:
    """Two packs on one supply: which of them gave how much the log does not show."""
    text = (demo[0] / "builds" / "b.toml").read_text("utf-8")
    head, _, rest = text.partition("[pack]\ncells = 6\n")
    slots = "".join(f'[[pack]]\nid = "s{i}"\ncells = 6\njoin = "parallel"\n' for i in (1, 2))
    build = tmp_path / "two.toml"
    build.write_text(f"{head}{slots}{rest}", "utf-8")
    logs = sorted((demo[0] / "raw" / "m06").iterdir())
    ran = afterbout("whatif", *logs, "--build", build, "--set", "wire.battery_lead.gauge=10 AWG")
    assert ran.code == 1
    assert "Traceback" not in ran.err
    assert "pack" in ran.out + ran.err


def test_a_match_without_voltage_is_refused_with_the_reason(demo: Demo, afterbout: Any, tmp_path: Path) -> None:
    lines = ["t [s],pack current [A]", *(f"{i / 50:.2f},{20 + 10 * (i % 7)}" for i in range(9000))]
    log = tmp_path / "pack.csv"
    log.write_text("\n".join(lines) + "\n", "utf-8")
    build, pack = demo[0] / "builds" / "b.toml", demo[0] / "packs" / "p1.toml"
    ran = afterbout("whatif", log, "--build", build, "--pack", pack, "--set", "wire.battery_lead.gauge=8 AWG", "--json")
    assert ran.code == 1
    assert "pack_voltage_V was not logged" in ran.json["refused"]
