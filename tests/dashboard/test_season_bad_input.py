"""`afterbout season` and `compare` where something is wrong: few matches, others at work, killed, damaged, older."""

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

import pyarrow.parquet as pq
import pytest

from ingest.season import Season
from tests.analysis.test_season_run import PACK, add, make
from tests.conftest import ROOT, run_command

Command = Callable[..., Any]
TABLES = ("metrics.parquet", "findings.parquet")
MANY = 24  # enough that two processes are at it for a second or so


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make(tmp_path_factory.mktemp("many") / "s", MANY).root


@pytest.fixture(scope="module")
def undisturbed(many: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Any]:
    """The tables of a run that nothing came between."""
    season = copy_of(many, tmp_path_factory.mktemp("alone"))
    assert run_command("season", "--season", season).code == 0
    return tables(season)


def copy_of(season: Path, folder: Path) -> Path:
    return Path(shutil.copytree(season, folder / "s"))


def begun(season: Path, kept: int = 2) -> subprocess.Popen[bytes]:
    """A run under way in a process of its own, which has kept some rows."""
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", "season", "--season", str(season), "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    deadline = time.monotonic() + 120
    while True:
        ended = process.poll() is not None  # before the count: it may end in between
        if len(list((season / "results" / "season_match").glob("*.json"))) >= kept:
            return process
        assert not ended and time.monotonic() < deadline
        time.sleep(0.005)


def tables(season: Path) -> list[Any]:
    return [pq.read_table(season / "results" / name) for name in TABLES]


def sound(ran: Any) -> None:
    assert "Traceback" not in ran.out + ran.err


def test_one_match_is_reviewed_and_compared_with_nothing(tmp_path: Path, afterbout: Command) -> None:
    season = make(tmp_path / "s", 1).root
    ran = afterbout("season", "--season", season)
    assert ran.code == 0, ran.err
    assert "1 match |" in ran.out
    for words in (("--by", "build"), ("--by", "pack"), ("m01", "m01")):
        refused = afterbout("compare", *words, "--season", season)
        assert refused.code in (1, 2), words
        assert "afterbout: " in refused.err
        sound(refused)


def test_builds_without_shared_packs_are_called_confounded(tmp_path: Path, afterbout: Command) -> None:
    season = make(tmp_path / "s", 3)
    (season.root / "packs" / "p2.toml").write_text(PACK.replace('"p1"', '"p2"').replace("20", "22"), encoding="utf-8")
    (season.root / "builds" / "b.toml").write_text('[build]\nid = "b"\n[pack]\ncells = 6\n', encoding="utf-8")
    for number in range(3, 6):
        match = f"m{number + 1:02d}"
        add(Season(season.root), match, number)
        path = season.root / "matches" / f"{match}.toml"
        text = path.read_text(encoding="utf-8").replace('build = "a"', 'build = "b"').replace('"p1"', '"p2"')
        path.write_text(text, encoding="utf-8")
    ran = afterbout("compare", "--by", "build", "--season", season.root, "--json")
    assert ran.code == 0, ran.err
    rows = {row["metric"]: row for row in ran.json["rows"]}
    lowest = rows["pack_minimum_V"]
    assert "pack (p1 against p2)" in lowest["confounded"]
    assert lowest["paired"] is None
    assert {row["verdict"] for row in ran.json["rows"]} <= {
        "no difference shown",
        "not compared",
    }  # three against three
    words = " ".join(afterbout("compare", "--by", "build", "--season", season.root).out.split())
    assert "Confounded with pack (p1 against p2)" in words
    assert "With the same pack" not in words


def test_a_match_deleted_while_the_run_goes_on(many: Path, tmp_path: Path) -> None:
    season = copy_of(many, tmp_path)
    process = begun(season)
    last = f"m{MANY}"
    (season / "matches" / f"{last}.toml").unlink()
    shutil.rmtree(season / "telemetry" / f"match={last}")
    out, err = process.communicate(timeout=300)
    assert process.returncode == 0, err
    assert b"Traceback" not in err
    after = run_command("season", "--season", season, "--json")
    assert (after.code, after.json["run"]["matches"], after.json["run"]["gone"]) == (0, MANY - 1, [])
    assert last not in set(tables(season)[0].column("match").to_pylist())
    assert out.startswith(b"{")


def test_a_match_whose_samples_are_deleted_is_named_and_the_rest_stand(many: Path, tmp_path: Path) -> None:
    season = copy_of(many, tmp_path)
    shutil.rmtree(season / "telemetry" / "match=m03")
    bad = next((season / "telemetry" / "match=m05").glob("*.parquet"))
    bad.write_bytes(b"PAR1" + b"\0" * 200)
    ran = run_command("season", "--season", season)
    assert ran.code == 1
    assert "Not reviewed: 2" in ran.out and "m03" in ran.out and "m05" in ran.out
    sound(ran)
    assert len(set(tables(season)[0].column("match").to_pylist())) == MANY - 2
    club = run_command("season", "--seasons", tmp_path)
    assert club.code == 1
    assert "2 could not be" in club.out and "m03" in club.err and "m05" in club.err


def test_two_runs_at_once_review_every_match_once(many: Path, tmp_path: Path, undisturbed: list[Any]) -> None:
    season = copy_of(many, tmp_path)
    first = begun(season)
    second = run_command("season", "--season", season, "--json")
    _, err = first.communicate(timeout=300)
    assert first.returncode == 0, err
    assert second.code == 0, second.err
    assert (second.json["run"]["made"], second.json["run"]["reused"]) == (0, MANY)
    assert tables(season) == undisturbed


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks for the worker processes in /proc")
def test_a_killed_run_leaves_no_process_and_goes_on_where_it_was(
    many: Path, tmp_path: Path, undisturbed: list[Any]
) -> None:
    for attempt in range(20):  # a machine that lets this test sleep may end the run before it is killed
        season = copy_of(many, tmp_path / str(attempt))
        process = begun(season, kept=4)
        family = descendants(process.pid)
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=300)
        if process.returncode == -signal.SIGKILL and len(family) >= 2:  # the workers and what starts them
            break
    else:
        raise AssertionError("it was never killed at work")
    deadline = time.monotonic() + 120
    while alive := [pid for pid in family if Path(f"/proc/{pid}").exists()]:
        assert time.monotonic() < deadline, alive
        time.sleep(0.05)
    kept = len(list((season / "results" / "season_match").glob("*.json")))
    assert kept >= 4
    ran = run_command("season", "--season", season, "--json")
    assert ran.code == 0, ran.err
    assert (ran.json["run"]["made"], ran.json["run"]["reused"]) == (MANY - kept, kept)
    assert list((season / "results").rglob("*.part")) == []
    assert tables(season) == undisturbed


def descendants(pid: int) -> list[int]:
    """Process ids under this one."""
    parents = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents[int(stat.parent.name)] = int(stat.read_text().rsplit(")", 1)[1].split()[1])
        except OSError:  # gone meanwhile
            continue
    found = [pid]
    for one in found:
        found += [child for child, parent in parents.items() if parent == one]
    return found[1:]


def test_results_of_another_version_are_made_anew(many: Path, tmp_path: Path) -> None:
    """The other version is a copy of the code with one line more; the results are really its own."""
    season = copy_of(many, tmp_path)
    code = tmp_path / "code"
    for package in ("ingest", "analysis", "dashboard", "sample_data"):
        shutil.copytree(ROOT / package, code / package, ignore=shutil.ignore_patterns("__pycache__"))
    with (code / "analysis" / "metric_kinds.py").open("a", encoding="utf-8") as file:
        file.write("# an older one\n")
    older = run_command("season", "--season", season, "--json", env={"PYTHONPATH": str(code)}, cwd=code)
    assert older.json["run"]["made"] == MANY
    before = {path.name for path in (season / "results" / "season_match").glob("*.json")}
    ran = run_command("season", "--season", season, "--json", env={"PYTHONPATH": str(ROOT)}, cwd=ROOT)
    assert ran.code == 0, ran.err
    assert (ran.json["run"]["made"], ran.json["run"]["reused"]) == (MANY, 0)
    after = {path.name for path in (season / "results" / "season_match").glob("*.json")}
    assert len(after) == MANY and not after & before  # nothing of the other version is left


def test_broken_results_do_not_reach_an_answer(tmp_path: Path) -> None:
    """Rows, keys, ledger and tables each made to nonsense, cut short or taken away: the next query is right again."""
    season = make(tmp_path / "s", 3).root
    ask = ("season", "--season", season, "--query", "select count(*) n, sum(value) s from metrics", "--json")
    right = run_command(*ask).json["rows"]
    results = season / "results"
    files = [next((results / "season_match").glob("*.json")), *results.glob("*.json"), *results.glob("*.parquet")]
    assert len(files) == 5

    def damaged(path: Path, how: str) -> None:
        whole = path.read_bytes()
        middle = len(whole) // 2
        kinds = {
            "empty": b"", "cut short": whole[:middle], "of another kind": b"[]",
            "one bit": whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :],
        }  # fmt: skip
        path.write_bytes(kinds[how])

    for how in ("empty", "cut short", "of another kind", "one bit", "gone"):
        for path in files:
            path.unlink() if how == "gone" else damaged(path, how)
        ran = run_command(*ask)
        assert (ran.code, ran.json["rows"]) == (0, right), (how, ran.err)
    for path in files:  # and each alone, the others sound
        damaged(path, "one bit")
        ran = run_command(*ask)
        assert (ran.code, ran.json["rows"]) == (0, right), (path.name, ran.err)
