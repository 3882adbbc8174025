"""The commands as a user types them: what they print, what they leave, and their documents against the contract."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from jsonschema import Draft202012Validator

from analysis.glossary import GLOSSARY, look_up

ROOT = Path(__file__).resolve().parent.parent.parent
SCHEMAS = ROOT / "dashboard" / "schemas"
Demo = tuple[Path, dict[str, Any]]
Command = Callable[..., Any]


def schema(name: str) -> Draft202012Validator:
    return Draft202012Validator(json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8")))


@pytest.fixture
def own(demo: Demo, tmp_path: Path) -> Path:
    """A copy of the demo season that a test may change."""
    target = tmp_path / "season"
    shutil.copytree(demo[0], target, ignore=shutil.ignore_patterns("raw", "sheets"))
    return target


def test_every_demo_review_fits_the_schema(demo: Demo) -> None:
    validator = schema("review")
    for document in demo[1].values():
        validator.validate(document)


def test_review_of_a_stored_match_repeats_what_the_demo_said(demo: Demo, afterbout: Command) -> None:
    ran = afterbout("review", "m05", "--season", demo[0], "--json")
    assert ran.code == 0
    assert ran.json == demo[1]["m05"]


def test_review_in_words_opens_with_the_answer(demo: Demo, afterbout: Command) -> None:
    ran = afterbout("review", "m06", "--season", demo[0])
    lines = ran.out.splitlines()
    assert ran.code == 0
    assert lines[0].startswith("m06 | ")
    first = [line.split()[0] for line in lines if line.startswith(("What ", "Why ", "Do "))]
    assert first[:3] == ["What", "Why", "Do"]
    assert all(len(line) <= 100 for line in lines)


def test_strict_exit_codes(demo: Demo, afterbout: Command) -> None:
    assert afterbout("review", "m06", "--season", demo[0], "--strict").code == 3
    assert afterbout("review", "m09", "--season", demo[0], "--strict").code == 0


def test_bare_files_with_build_and_pack_give_the_same_cause(demo: Demo, afterbout: Command) -> None:
    folder = demo[0]
    raw = folder / "raw" / "m05"
    files = [
        raw / name for name in ("pack_logger.csv", "weapon.csv", "left_drive.txt", "right_drive.txt", "receiver.log")
    ]
    ran = afterbout(
        "review", *files, "--build", folder / "builds" / "b.toml", "--pack", folder / "packs" / "p1.toml", "--json"
    )
    assert ran.code == 0, ran.err
    assert [f["cause"] for f in ran.json["findings"] if f["verdict"] != "note"] == ["radio_loss"]


def test_the_order_of_the_files_changes_no_verdict(demo: Demo, afterbout: Command) -> None:
    """By name, so a slow controller's log comes first and is the match clock: the joint is found all the same."""
    folder = demo[0]
    files = sorted((folder / "raw" / "m06").iterdir())
    given = ("--build", folder / "builds" / "b.toml", "--pack", folder / "packs" / "p1.toml", "--json")
    ran = afterbout("review", *files, *given)
    assert ran.code == 0, ran.err
    joint = next(f for f in ran.json["findings"] if f["cause"] == "joint_step")
    offset = next(row["clock_offset_s"] for row in ran.json["match"]["logs"] if row["name"] == "pack_logger.csv")
    assert joint["part"] == "battery_lead"
    assert joint["start_s"] - offset == pytest.approx(74.0, abs=0.5)
    assert ran.json["match"]["verdict"] == demo[1]["m06"]["match"]["verdict"]


def test_a_bare_file_needs_no_typing_but_the_cells(demo: Demo, afterbout: Command) -> None:
    ran = afterbout("review", demo[0] / "raw" / "m01" / "pack_logger.csv", "--cells", "6", "--json")
    assert ran.code == 0, ran.err
    assert ran.json["match"]["verdict"] == "unknown"
    assert {"pack_resistance_1s_mohm", "charge_used_Ah"} <= {row["name"] for row in ran.json["estimates"]}
    assert {row["check"] for row in ran.json["passed"]} >= {"pack_sag", "cell_minimum"}
    assert "build" in {row["check"] for row in ran.json["not_checked"]}


def test_within_says_how_few_checks_it_rests_on(demo: Demo, afterbout: Command, tmp_path: Path) -> None:
    """Match 12 has one slow logger: most checks could not be made, and the word alone would reassure."""
    document = demo[1]["m12"]
    made, missing = len(document["passed"]), len(document["not_checked"])
    assert missing > made
    target = tmp_path / "m12.html"
    out = afterbout("review", "m12", "--season", demo[0], "--sheet", target).out
    assert f"WITHIN, {made} of {made + missing} checks" in out
    assert f"{made} of {made + missing} checks" in target.read_text(encoding="utf-8")
    assert "WITHIN\n" in afterbout("review", "m09", "--season", demo[0]).out


def test_without_a_build_the_three_lines_say_the_facts(demo: Demo, afterbout: Command) -> None:
    file = demo[0] / "raw" / "m01" / "pack_logger.csv"
    document = afterbout("review", file, "--cells", "6", "--json").json
    figures = {e["name"]: e["value"] for e in document["estimates"] if e["part"] == "pack"}
    assert document["match"]["verdict"] == "unknown"
    assert document["lines"][0] == (
        f"The pack gave up to {figures['pack_peak_A']:.0f} A, {figures['pack_mean_A']:.0f} A on average, "
        f"{figures['charge_used_Ah']:.2f} Ah in all; at the lowest {figures['pack_minimum_V']:.1f} V."
    )
    assert "No build is named" in document["lines"][1] and "--build" in document["lines"][2]
    assert "of the pack only its cells are known" in afterbout("review", file, "--cells", "6").out


def test_sheet_is_one_file_without_script(demo: Demo, tmp_path: Path, afterbout: Command) -> None:
    target = tmp_path / "m06.html"
    assert afterbout("review", "m06", "--season", demo[0], "--sheet", target).code == 0
    text = target.read_text(encoding="utf-8")
    assert "<script" not in text and "http://" not in text.replace("http://www.w3.org", "")
    shared = tmp_path / "shared.html"
    assert afterbout("review", "m06", "--season", demo[0], "--sheet", shared, "--share").code == 0
    assert "Sir Dovetail" in text and "Sir Dovetail" not in shared.read_text(encoding="utf-8")


def test_inspect_document_of_every_demo_file(demo: Demo, afterbout: Command) -> None:
    files = sorted((demo[0] / "raw" / "m06").iterdir())
    ran = afterbout("inspect", *files, "--build", demo[0] / "builds" / "b.toml", "--json")
    assert ran.code == 0, ran.err
    schema("inspect").validate(ran.json)
    channels = {c["channel"] for entry in ran.json["files"] for c in entry["columns"]}
    assert {"pack_current_A", "weapon_speed_rpm", "left_drive_motor_current_A", "link_quality_pct"} <= channels
    assert not any("bench" in entry for entry in ran.json["files"])


def test_inspect_says_the_resistance_of_a_two_step_discharge(tmp_path: Path, afterbout: Command) -> None:
    """R = (U1 - U2)/(I2 - I1) (IEC 61960-3): 24 mΩ by the volts and amperes written here. A match has no such steps."""
    rows = []
    for k in range(320):
        t = k / 20
        amps = 0.0 if t < 3 else 0.66 if t < 13 else 3.3 if t < 14.2 else 0.0
        rows.append(f"{t:.2f},{25.0 - 0.024 * amps:.4f},{amps:.2f}")
    file = tmp_path / "bench.csv"
    file.write_text("time_s,pack_voltage_V,pack_current_A\n" + "\n".join(rows) + "\n", encoding="utf-8")
    ran = afterbout("inspect", file, "--json")
    assert ran.code == 0, ran.err
    schema("inspect").validate(ran.json)
    bench = ran.json["files"][0]["bench"]
    assert bench["value"] == pytest.approx(24.0, rel=0.01) and bench["low"] <= 24.0 <= bench["high"]
    page = afterbout("inspect", file)
    assert "24.0" in page.out and "IEC 61960-3" in page.out


def test_a_saved_reading_is_found_and_used(demo: Demo, tmp_path: Path, afterbout: Command) -> None:
    file = demo[0] / "raw" / "m01" / "pack_logger.csv"
    target = tmp_path / "pack.toml"
    assert afterbout("inspect", file, "--save-reading", target).code == 0
    text = target.read_text(encoding="utf-8").replace("pack_temp_degC", "chassis_temp_degC")
    target.write_text(text, encoding="utf-8")
    ran = afterbout("inspect", file, "--reading", target, "--json")
    assert ran.code == 0, ran.err
    assert "chassis_temp_degC" in {c["channel"] for c in ran.json["files"][0]["columns"]}
    assert afterbout("inspect", file, "--save-reading", target).code == 2  # never written over


def test_a_reading_in_the_season_is_found_again_by_its_header(own: Path, demo: Demo, afterbout: Command) -> None:
    file = demo[0] / "raw" / "m02" / "pack_logger.csv"
    (own / "readings").mkdir(exist_ok=True)
    target = own / "readings" / "pack.toml"
    assert afterbout("inspect", file, "--save-reading", target).code == 0
    text = target.read_text(encoding="utf-8").replace("pack_temp_degC", "chassis_temp_degC")
    target.write_text(text, encoding="utf-8")
    assert afterbout("add", file, "--season", own, "--match", "m20", "--build", "a", "--pack", "p1").code == 0
    (stored,) = (own / "telemetry" / "match=m20").glob("*.parquet")
    assert "chassis_temp_degC" in pq.read_schema(stored).names


def test_note_and_export(own: Path, tmp_path: Path, afterbout: Command) -> None:
    noted = afterbout(
        "note", "m01", "--season", own, "--part", "weapon", "--quantity", "temperature", "--value", "61",
        "--unit", "degC", "--by", "thermometer",
    )  # fmt: skip
    assert noted.code == 0, noted.err
    assert "[[noted]]" in (own / "matches" / "m01.toml").read_text(encoding="utf-8")
    for name in ("m12.csv", "m12.parquet", "m12.xlsx"):
        ran = afterbout("export", "m12", "--season", own, "--to", tmp_path / name)
        assert ran.code == 0, ran.err
    table = pq.read_table(tmp_path / "m12.parquet")
    head = (tmp_path / "m12.csv").read_text(encoding="utf-8").splitlines()
    assert table.num_rows == len(head) - 1
    assert "pack_current_A" in table.column_names
    assert afterbout("export", "m12", "--season", own, "--to", tmp_path / "m12.doc").code == 2


def test_check_of_a_demo_build(demo: Demo, afterbout: Command) -> None:
    ran = afterbout("check", demo[0] / "builds" / "b.toml", "--pack", demo[0] / "packs" / "p1.toml", "--json")
    assert ran.code == 0, ran.err
    schema("check").validate(ran.json)
    assert ran.json["before_power"][0].startswith("Main disconnect")
    assert {row["check"] for row in ran.json["findings"] + ran.json["passed"]} >= {"fuse_protects_wire", "mass"}


@pytest.mark.parametrize("weight_class", ["150g", "3lb", "30lb", "250lb"])
def test_new_gives_a_season_that_is_valid_at_once(weight_class: str, tmp_path: Path, afterbout: Command) -> None:
    folder = tmp_path / "season"
    assert afterbout("new", folder, "--class", weight_class, "--robot", "Trial").code == 0
    ran = afterbout("check", folder / "builds" / "b.toml", "--pack", folder / "packs" / "p1.toml", "--json")
    assert ran.code == 0, ran.err
    again = afterbout("new", folder, "--class", weight_class)
    assert again.code == 1 and "Traceback" not in again.err


def test_explain_knows_everyday_words(afterbout: Command) -> None:
    assert afterbout("explain", "ESC").out.startswith("controller: ")
    assert afterbout("explain", "internal", "resistance").code == 0
    for word in ("BEC", "desync", "fight", "sag", "brownout"):
        assert look_up(word) is not None
    assert all(text.endswith(".") and "\n" not in text for text in GLOSSARY.values())


def test_help_of_every_command_has_an_example(afterbout: Command) -> None:
    from dashboard.cli import COMMANDS

    for name in COMMANDS:
        ran = afterbout(name, "--help")
        assert ran.code == 0
        assert f"Example: afterbout {name}" in " ".join(ran.out.split())
