"""A robot whose drive and weapon have packs of their own: files to verdicts, against Ohm's law written here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

BUILD = """
[build]
id = "t"
robot = "Twin"
air_degC = 25
[[pack]]
id = "drive_pack"
cells = 4
[[pack]]
id = "weapon_pack"
cells = 6
[[wire]]
id = "drive_lead"
from = "drive_pack"
to = "drive"
gauge = "14 AWG"
length_mm = 200
conductors = 2
insulation = "silicone"
[[wire]]
id = "weapon_lead"
from = "weapon_pack"
to = "weapon"
gauge = "12 AWG"
length_mm = 250
conductors = 2
insulation = "silicone"
through = ["main_disconnect"]
[[contact]]
id = "main_disconnect"
kind = "disconnect"
rated_A = 150
resistance_mohm = 0.3
[[controller]]
id = "drive"
motor_type = "brushed"
continuous_A = 40
burst_A = 80
burst_s = 5
cutoff_V = 11.0
[[controller]]
id = "weapon"
motor_type = "brushless"
continuous_A = 80
burst_A = 160
burst_s = 10
cutoff_V = 18.0
"""
PACK = """
[pack]
id = "{id}"
chemistry = "lithium-polymer"
cells = {cells}
capacity_Ah = {Ah}
continuous_C = 50
burst_C = 100
burst_s = 10
charge_C = 1.0
resistance_mohm = {mohm}
minimum_cell_V = 3.3
limit_degC = 60
"""
MATCH = """
[match]
id = "t1"
event = "Bench"
opponent = "Nobody"
build = "t"
minutes_to_next = 40
[packs]
drive_pack = ["p4"]
weapon_pack = ["p5"]
"""
STEP_S = 0.02
# IEC 60228 / ASTM B258: ohm per metre of copper at 20 °C, 12 and 14 AWG, 16 AWG.
OHM_PER_M = {12: 5.211e-3, 14: 8.286e-3, 16: 13.17e-3}


def loop_ohm(awg: int, length_m: float, contact_ohm: float = 0.0) -> float:
    return 2 * length_m * OHM_PER_M[awg] + contact_ohm


def bursts(rng: np.random.Generator, t: np.ndarray, idle: float, top: float) -> np.ndarray:
    x = np.where((t > 8) & (t < 70), idle, 0.2)
    at = 9.0
    while at < 69:
        length = rng.uniform(0.4, 1.5)
        x[(t > at) & (t < at + length)] = rng.uniform(0.4, 1.0) * top
        at += length + rng.exponential(3.0)
    smooth = np.zeros_like(x)
    for k in range(1, len(x)):
        smooth[k] = 0.87 * smooth[k - 1] + 0.13 * x[k]
    return smooth


def terminal(amps: np.ndarray, cells: int, capacity_Ah: float, ohm: float) -> np.ndarray:
    """Open circuit falling with charge, an immediate resistance and one branch of 8 s."""
    used = np.cumsum(amps) * STEP_S / 3600 / capacity_Ah
    slow = np.zeros_like(amps)
    for k in range(1, len(amps)):
        slow[k] = slow[k - 1] + (amps[k] - slow[k - 1]) * STEP_S / 8.0
    return cells * (4.18 - 0.7 * used) - ohm * amps - 0.3 * ohm * slow


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory, afterbout: Any) -> tuple[Path, dict[str, np.ndarray]]:
    season = tmp_path_factory.mktemp("twin") / "s"
    for folder in ("builds", "packs", "matches"):
        (season / folder).mkdir(parents=True)
    (season / "season.toml").write_text('[season]\nname = "Two packs"\nrobot = "Twin"\n')
    (season / "builds" / "t.toml").write_text(BUILD)
    for name, cells, capacity, mohm in (("p4", 4, 2.2, 21), ("p5", 6, 3.3, 20), ("p6", 6, 3.3, 18)):
        text = PACK.format(id=name, cells=cells, Ah=capacity, mohm=mohm)
        (season / "packs" / f"{name}.toml").write_text(text)
    (season / "matches" / "t1.toml").write_text(MATCH)
    rng = np.random.default_rng(3)
    t = np.arange(0, 78, STEP_S)
    weapon, drive = bursts(rng, t, 12, 120), bursts(rng, t, 5, 45)
    p5, p4 = terminal(weapon, 6, 3.3, 0.020), terminal(drive, 4, 2.2, 0.021)
    truth = {
        "t_s": t, "weapon_A": weapon, "drive_A": drive, "p5_V": p5, "p4_V": p4,
        "weapon_V": p5 - weapon * loop_ohm(12, 0.25, 0.0003), "drive_V": p4 - drive * loop_ohm(14, 0.2),
    }  # fmt: skip
    columns = {
        "time_s": t, "p5_voltage_V": p5, "p5_current_A": weapon, "weapon_voltage_V": truth["weapon_V"],
        "weapon_input_current_A": weapon, "p4_voltage_V": p4, "p4_current_A": drive,
        "drive_voltage_V": truth["drive_V"], "drive_input_current_A": drive,
    }  # fmt: skip
    log = season.parent / "log.csv"
    np.savetxt(log, np.column_stack(list(columns.values())), delimiter=",", header=",".join(columns), comments="",
               fmt="%.3f")  # fmt: skip
    ran = afterbout("add", log, "--season", season, "--match", "t1")
    assert ran.code == 0, ran.err
    return season, truth


def rows(document: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    return {(r["check"], r["part"]): r for r in [*document["passed"], *document["findings"]]}


def test_each_tree_is_held_against_its_own_pack(twin: Any, afterbout: Any) -> None:
    season, truth = twin
    ran = afterbout("review", "t1", "--season", season, "--json")
    assert ran.code == 0, ran.err
    found = rows(ran.json)
    assert ran.json["match"]["verdict"] == "within"
    for part, volts, full, cutoff in (("weapon", "weapon_V", 25.2, 18.0), ("drive", "drive_V", 16.8, 11.0)):
        row = found[("controller_cutoff", part)]
        lowest = float(truth[volts].min())
        assert row["measured"] == pytest.approx(lowest, abs=0.02)
        assert row["margin_pct"] == pytest.approx(100 * (lowest - cutoff) / (full - cutoff), abs=1)
    mohm = {e["part"]: e["value"] for e in ran.json["estimates"] if e["name"] == "pack_resistance_1s_mohm"}
    share = 1 + 0.3 * (1 - np.exp(-1 / 8.0))  # of the immediate resistance, one second after a step
    assert mohm["p5"] == pytest.approx(20 * share, rel=0.05) and mohm["p4"] == pytest.approx(21 * share, rel=0.05)
    assert ("pack_sag", "p4") in found and ("pack_sag", "p5") in found
    assert not [r for r in ran.json["not_checked"] if r["check"] == "fits_build"]
    temperature = next(r for r in ran.json["not_checked"] if (r["check"], r["part"]) == ("pack_temperature", "p4"))
    assert temperature["mend"] == "log p4_temp_degC next time"


def test_a_wire_of_one_tree_is_replayed_and_the_other_stays(twin: Any, afterbout: Any) -> None:
    season, truth = twin
    ran = afterbout("whatif", "t1", "--season", season, "--set", "wire.weapon_lead.gauge=16 AWG", "--json")
    assert ran.code == 0, ran.err
    before, after = rows(ran.json["before"]), rows(ran.json["after"])
    same_current = truth["p5_V"] - truth["weapon_A"] * loop_ohm(16, 0.25, 0.0003)
    row = after[("controller_cutoff", "weapon")]
    assert row["measured"] == pytest.approx(float(same_current.min()), abs=0.25)
    assert row["low"] - 0.05 <= float(same_current.min()) <= row["high"] + 0.05
    assert after[("controller_cutoff", "drive")]["measured"] == before[("controller_cutoff", "drive")]["measured"]
    assert after[("pack_sag", "p4")]["measured"] == before[("pack_sag", "p4")]["measured"]


def test_what_cannot_be_told_of_two_packs_is_refused(twin: Any, afterbout: Any) -> None:
    season, _ = twin
    ran = afterbout("whatif", "t1", "--season", season, "--set", "pack=p6", "--json")
    assert ran.code == 1 and "another pack is not" in ran.json["refused"]
    ran = afterbout("whatif", "t1", "--season", season, "--lightest", "--json")
    assert ran.code == 1 and "robots of one supply" in ran.json["refused"][0]["reason"]


def test_check_and_pit_stand(twin: Any, afterbout: Any) -> None:
    season, _ = twin
    pack = season / "packs" / "p5.toml"
    ran = afterbout("check", season / "builds" / "t.toml", "--pack", pack, "--json")
    assert ran.code == 0, ran.err
    lowest = {e["part"]: e for e in ran.json["estimates"] if e["name"] == "expected_lowest_V"}
    assert set(lowest) == {"weapon"}  # the drive hangs on four cells, of which no pack was named
    expected = 6 * 3.8 - 160 * (0.020 + loop_ohm(12, 0.25, 0.0006))  # two poles of 0.3 mohm at most
    assert lowest["weapon"]["value"] == pytest.approx(expected, abs=0.1)
    ran = afterbout("pit", "--season", season, "--json")
    assert ran.code == 0, ran.err
    assert ran.json["ending"] == "not checked"
    assert {pack["pack"] for pack in ran.json["packs"]} == {"p4", "p5", "p6"}
