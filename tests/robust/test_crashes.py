"""SIGKILL at any moment of add, note, upload and a season run, in processes of their own (benchmarks/crashes.py)."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
KILLS = 147


def test_the_kills_that_are_published_are_those_that_run() -> None:
    from tests.dashboard import test_record_go_on
    from tests.ingest.record import test_go_on, test_killed

    runs = (KILLS, test_killed.KILLS, test_go_on.ROUNDS, test_record_go_on.KILLS)
    assert sum(runs) >= 200
    text = (ROOT / "docs" / "robustness.md").read_text("utf-8")
    assert f"{sum(runs)} in all" in text and all(f"| {count}" in text for count in runs)


@pytest.mark.skipif(os.name == "nt", reason="fork and SIGKILL are POSIX")
def test_killed_at_any_moment_nothing_older_is_lost_and_the_same_command_ends_right() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.crashes", "--kills", str(KILLS), "--json"],
        cwd=ROOT, capture_output=True, text=True, timeout=1200, check=False,
    )  # fmt: skip
    assert done.stdout, done.stderr
    document = json.loads(done.stdout)
    assert document["faults"] == [], done.stderr
    assert document["kills"] >= KILLS
    assert all(row["kills"] >= KILLS // len(document["commands"]) for row in document["commands"])
    assert all(row["calls"] >= 5 for row in document["commands"]), "the kills no longer meet the calls that write"
