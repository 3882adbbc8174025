"""Bad input ends in one clear located message and exit 1: nothing lost, nothing half-written, no traceback."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent

BUILD = """[build]
id = "b"

[pack]
cells = 6

[[wire]]
id = "battery_lead"
from = "pack"
to = "weapon"
gauge = "12 AWG"
length_mm = 220
insulation = "silicone"

[[controller]]
id = "weapon"
continuous_A = 80
"""
PACK = """[pack]
id = "p1"
cells = 6
capacity_Ah = 3.3
"""
MATCH = """[match]
id = "m01"
build = "b"
pack = "p1"
"""


def log_text(rows: int = 400) -> str:
    lines = ["Time [s],Pack voltage [V],Pack current [A]"]
    lines += [f"{i * 0.02:.2f},{25.0 - 0.02 * (i % 50):.2f},{(i % 50) * 1.0:.1f}" for i in range(rows)]
    return "\n".join(lines) + "\n"


@pytest.fixture
def season(tmp_path: Path) -> Path:
    root = tmp_path / "season"
    for folder, name, text in (
        ("builds", "b.toml", BUILD),
        ("packs", "p1.toml", PACK),
        ("matches", "m01.toml", MATCH),
    ):
        (root / folder).mkdir(parents=True, exist_ok=True)
        (root / folder / name).write_text(text)
    (root / "season.toml").write_text('[season]\nname = "trial"\n')
    return root


@pytest.fixture
def good_log(tmp_path: Path) -> Path:
    path = tmp_path / "pack_logger.csv"
    path.write_text(log_text())
    return path


def snapshot(root: Path) -> dict[str, bytes]:
    """Every file of the season but the lock."""
    return {
        str(p.relative_to(root)): p.read_bytes()
        for p in sorted(root.rglob("*"))
        if p.is_file() and "lock" not in p.name
    }


def refused(ran: Any, *words: str) -> None:
    assert ran.code == 1, (ran.out, ran.err)
    assert "Traceback" not in ran.err
    for word in words:
        assert word in ran.err + ran.out, (word, ran.err, ran.out)


LOGS: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "empty"),
    "binary": (bytes(range(256)) * 64, ""),
    "header only": (b"Time [s],Pack voltage [V]\n", ""),
    "a zip renamed": (b"PK\x03\x04" + bytes(500), ""),
    "text without numbers": (b"dear diary\nthe robot did well\n" * 20, ""),
}


@pytest.mark.parametrize("name", LOGS)
def test_logs_that_cannot_be_read(name: str, season: Path, tmp_path: Path, afterbout: Callable[..., Any]) -> None:
    data, word = LOGS[name]
    path = tmp_path / "weapon.csv"
    path.write_bytes(data)
    before = snapshot(season)
    for ran in (
        afterbout("review", path, "--cells", "6"),
        afterbout("add", path, "--season", season, "--match", "m01"),
        afterbout("inspect", path),
    ):
        refused(ran, "weapon.csv", word)
    assert snapshot(season) == before


def test_a_truncated_log_is_read_and_said(season: Path, tmp_path: Path, afterbout: Callable[..., Any]) -> None:
    path = tmp_path / "pack_logger.csv"
    path.write_text(log_text()[:-12])
    ran = afterbout("review", path, "--cells", "6", "--json")
    assert ran.code == 0, ran.err
    assert "truncated" in {note["code"] for note in ran.json["quality"]}


def test_no_time_column_is_said_and_not_invented(tmp_path: Path, afterbout: Callable[..., Any]) -> None:
    path = tmp_path / "pack_logger.csv"
    body = "\n".join(line.split(",", 1)[1] for line in log_text().splitlines())
    path.write_text(body + "\n")
    inspected = afterbout("inspect", path, "--json")
    entry = inspected.json["files"][0]
    if entry["refused"] is None:
        assert entry["clock"] is None
        assert "clock_missing" in {fault["code"] for fault in entry["faults"]}
    blind = afterbout("review", path, "--cells", "6", "--json")
    assert "Traceback" not in blind.err
    if blind.code == 0:
        assert blind.json["match"]["verdict"] == "unknown" and not blind.json["passed"]
        assert "clock_missing" in {note["code"] for note in blind.json["quality"]}
    ran = afterbout("review", path, "--cells", "6", "--rate", "50", "--json")
    assert ran.code == 0, ran.err


def test_two_time_columns_are_told_apart(tmp_path: Path, afterbout: Callable[..., Any]) -> None:
    path = tmp_path / "pack_logger.csv"
    rows = [f"{i * 0.02:.2f},{i * 20},{25.0 - i % 7 * 0.1:.1f}" for i in range(300)]
    path.write_text("Time [s],Time [ms],Pack voltage [V]\n" + "\n".join(rows) + "\n")
    ran = afterbout("inspect", path, "--json")
    assert ran.code == 0, ran.err
    clock = ran.json["files"][0]["clock"]
    assert clock["duration_s"] == pytest.approx(5.98)


BUILDS: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "a missing node": ('to = "weapon"', 'to = "wepon"', ("b.toml", "line", "wepon")),
    "a negative length": ("length_mm = 220", "length_mm = -220", ("b.toml", "line", "length_mm")),
    "an unknown gauge": ('gauge = "12 AWG"', 'gauge = "12 AGW"', ("b.toml", "line", "12 AGW")),
    "an unknown key": ("continuous_A = 80", "continous_A = 80", ("b.toml", "line", "continuous_A")),
    "broken TOML": ("cells = 6", "cells = = 6", ("b.toml", "line")),
}


@pytest.mark.parametrize("name", BUILDS)
def test_builds_that_are_wrong(name: str, season: Path, good_log: Path, afterbout: Callable[..., Any]) -> None:
    old, new, words = BUILDS[name]
    path = season / "builds" / "b.toml"
    path.write_text(BUILD.replace(old, new, 1))
    refused(afterbout("check", path), *words)
    before = snapshot(season)
    refused(afterbout("add", good_log, "--season", season, "--match", "m01"), *words)
    assert snapshot(season) == before


def test_a_loop_in_the_tree(season: Path, afterbout: Callable[..., Any]) -> None:
    path = season / "builds" / "b.toml"
    loop = '\n[[wire]]\nid = "loop_lead"\nfrom = "weapon"\nto = "battery_bar"\n'
    loop += '\n[[wire]]\nid = "back_lead"\nfrom = "battery_bar"\nto = "weapon"\n'
    path.write_text(BUILD + loop)
    refused(afterbout("check", path), "b.toml", "line")


def test_a_pack_without_capacity(season: Path, afterbout: Callable[..., Any]) -> None:
    path = season / "packs" / "p1.toml"
    path.write_text(PACK.replace("capacity_Ah = 3.3\n", ""))
    refused(afterbout("check", season / "builds" / "b.toml", "--pack", path), "p1.toml", "capacity_Ah")


def test_a_match_that_names_a_missing_pack(season: Path, good_log: Path, afterbout: Callable[..., Any]) -> None:
    path = season / "matches" / "m01.toml"
    path.write_text(MATCH.replace('"p1"', '"p9"'))
    before = snapshot(season)
    refused(afterbout("add", good_log, "--season", season, "--match", "m01"), "p9", "p1")
    assert snapshot(season) == before


def test_a_folder_that_is_no_season(tmp_path: Path, good_log: Path, afterbout: Callable[..., Any]) -> None:
    refused(afterbout("review", "m01", "--season", tmp_path), "season.toml", "afterbout new")


def test_the_same_bytes_twice_change_nothing(season: Path, good_log: Path, afterbout: Callable[..., Any]) -> None:
    assert afterbout("add", good_log, "--season", season, "--match", "m01").code == 0
    before = snapshot(season)
    ran = afterbout("add", good_log, "--season", season, "--match", "m01", "--json")
    assert ran.code == 0
    assert ran.json["changed"] is False
    assert snapshot(season) == before


def test_results_may_be_deleted_and_come_back(season: Path, good_log: Path, afterbout: Callable[..., Any]) -> None:
    assert afterbout("add", good_log, "--season", season, "--match", "m01").code == 0
    first = afterbout("review", "m01", "--season", season, "--json").json
    shutil.rmtree(season / "results", ignore_errors=True)
    assert afterbout("review", "m01", "--season", season, "--json").json == first


def test_two_adds_at_once(season: Path, tmp_path: Path, afterbout: Callable[..., Any]) -> None:
    paths = [tmp_path / "pack_logger.csv", tmp_path / "weapon.csv"]
    paths[0].write_text(log_text(20_000))
    paths[1].write_text(
        log_text(20_001).replace("Pack voltage", "Input voltage").replace("Pack current", "Input current")
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-m", "dashboard.cli", "add", str(p), "--season", str(season), "--match", "m01"],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
        for p in paths
    ]
    errors = [process.communicate(timeout=300)[1] for process in running]
    assert [process.returncode for process in running] == [0, 0], errors
    text = (season / "matches" / "m01.toml").read_text()
    assert text.count("[[log]]") == 2
    assert afterbout("review", "m01", "--season", season, "--json").code == 0


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT cannot be sent to one process on Windows")
def test_ctrl_c_in_the_middle_of_an_add(season: Path, tmp_path: Path, afterbout: Callable[..., Any]) -> None:
    path = tmp_path / "pack_logger.csv"
    path.write_text(log_text(600_000))
    before = snapshot(season)
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", "add", str(path), "--season", str(season), "--match", "m01"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    while process.poll() is None and not list(season.rglob("*.lock")):
        time.sleep(0.01)
    time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    error = process.communicate(timeout=300)[1].decode()
    assert "Traceback" not in error
    if process.returncode != 0:  # it was still at work: what stood before still stands, and it can be done again
        kept = {name: data for name, data in snapshot(season).items() if name in before}
        assert kept == before
    assert afterbout("add", path, "--season", season, "--match", "m01").code == 0
    assert afterbout("review", "m01", "--season", season, "--json").code == 0


def test_wrong_usage_is_exit_2(season: Path, afterbout: Callable[..., Any]) -> None:
    for args in (("review",), ("fly",), ("add", "x.csv"), ("explain", "flux", "capacitor")):
        ran = afterbout(*args)
        assert ran.code == 2, (args, ran.err)
        assert "Traceback" not in ran.err


def test_strict_is_exit_3_where_nothing_could_be_said(good_log: Path, afterbout: Callable[..., Any]) -> None:
    ran = afterbout("review", good_log, "--strict", "--json")
    assert ran.code == 3
    assert ran.json["match"]["verdict"] == "unknown"
