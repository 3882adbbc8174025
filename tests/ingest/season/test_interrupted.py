"""Interrupted, killed and simultaneous adds, in processes of their own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from ingest.errors import SeasonError
from ingest.season import Season
from tests.ingest.season.plain_format import log_file, plain_text, snapshot

ROOT = Path(__file__).parents[3]


# A shell's background job ignores Ctrl-C and hands that down; the process under test shall hear it. It sees to that
# itself: code between fork and exec may stand still for ever where the forking process has threads.
SCRIPT = textwrap.dedent("""
    import signal, sys
    signal.signal(signal.SIGINT, signal.default_int_handler)
    from ingest import formats
    from tests.ingest.season.plain_format import PLAIN
    formats.formats = lambda: (PLAIN,)
    from ingest.season import Season
    Season(sys.argv[1]).add(sys.argv[3:], sys.argv[2])
    print("done", flush=True)
""")


def start_add(season: Season, match_id: str, files: list[Path]) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", SCRIPT, str(season.root), match_id, *map(str, files)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_ctrl_c_leaves_nothing_behind(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    before = snapshot(season.root)
    slow = log_file(tmp_path, "slow.csv", plain_text(5, extra="wait\n1,2\n"))
    process = start_add(season, "m1", [log_file(tmp_path, "a.csv", plain_text(9)), slow])
    assert process.stdout is not None and process.stdout.readline() == "reading\n"
    process.send_signal(signal.SIGINT)
    _, stderr = process.communicate(timeout=120)
    assert process.returncode != 0 and "KeyboardInterrupt" in stderr
    assert snapshot(season.root) == before


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_a_killed_add_leaves_a_season_that_opens_and_the_next_add_sweeps(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")
    match = (season.root / "matches" / "m1.toml").read_bytes()
    slow = log_file(tmp_path, "slow.csv", plain_text(5, extra="wait\n1,2\n"))
    process = start_add(season, "m1", [log_file(tmp_path, "a.csv", plain_text(9)), slow])
    assert process.stdout is not None and process.stdout.readline() == "reading\n"
    process.kill()
    process.communicate(timeout=120)
    assert (season.root / "matches" / "m1.toml").read_bytes() == match
    left = season.verify()
    assert left and all(problem.harmless for problem in left)
    assert [log.samples for log in Season(season.root).log("m1")] == [250]
    result = season.add([log_file(tmp_path, "a.csv", plain_text(9))], "m1")
    assert result.logs[0].status == "added"
    assert not list(season.root.rglob("*.part"))


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("delay_s", [0.0, 0.004, 0.012, 0.03])
def test_killed_at_any_moment_the_match_is_as_before_or_complete(
    season: Season, tmp_path: Path, delay_s: float
) -> None:
    season.add([log_file(tmp_path)], "m1")
    files = [log_file(tmp_path, f"{n}.csv", plain_text(3000 + n)) for n in range(4)]
    process = start_add(season, "m1", files)
    while not list((season.root / "originals").glob("*.part")) and process.poll() is None:
        time.sleep(0.001)
    time.sleep(delay_s)
    process.kill()
    process.communicate(timeout=120)
    samples = [log.samples for log in Season(season.root).log("m1")]
    assert samples in ([250], [250, 3000, 3001, 3002, 3003])
    assert all(problem.harmless for problem in season.verify())
    season.add(files, "m1")
    assert [log.samples for log in season.log("m1")] == [250, 3000, 3001, 3002, 3003]
    assert season.verify() == []


def test_two_adds_at_once_both_happen(season: Season, tmp_path: Path) -> None:
    groups = [[log_file(tmp_path, f"{g}_{n}.csv", plain_text(100 * g + n)) for n in range(1, 4)] for g in (1, 2, 3)]
    running = [start_add(season, "m1", group) for group in groups]
    for process in running:
        stdout, stderr = process.communicate(timeout=300)
        assert (process.returncode, stdout) == (0, "done\n"), stderr
    names = [entry.name for entry in season.match("m1").logs]
    assert sorted(names) == sorted(path.name for group in groups for path in group)
    assert season.verify() == []


def test_who_holds_the_season_is_said(season: Season, tmp_path: Path) -> None:
    message = rf"is in use: adding to match m9, process {os.getpid()}.*Wait until"
    with season.locked("adding to match m9"), pytest.raises(SeasonError, match=message):
        season.add([log_file(tmp_path)], "m1", lock_timeout_s=0.2)
    season.add([log_file(tmp_path)], "m1")
