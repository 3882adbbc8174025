"""What killed commands leave, and that the next command of the same kind takes it away and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.season_run import run_season
from benchmarks.crash_works import make_logs, make_season, run
from ingest.season import Season


@pytest.fixture
def season(tmp_path: Path) -> Season:
    make_logs(tmp_path / "logs")
    make_season(tmp_path / "s", tmp_path / "logs")
    return Season(tmp_path / "s")


def test_note_and_add_sweep_the_season_and_a_run_sweeps_the_results(season: Season, tmp_path: Path) -> None:
    own = [season.root / ".m.toml.12ab34cd.part", season.root / "matches" / ".m01.toml.12ab34cd.part"]
    derived = [season.results_path / ".metrics.parquet.12ab34cd.part"]
    derived.append(next(p for p in season.results_path.iterdir() if p.is_dir()) / ".x.json.12ab34cd.part")
    for path in own + derived:
        path.write_bytes(b"half")
    mine = season.root / "matches" / "mine.part"
    mine.write_bytes(b"not hidden: not ours")
    assert run("note", "m01", "--season", season.root, "--part", "pack", "--quantity", "temp", "--value", "61",
               "--unit", "degC") == 0  # fmt: skip
    assert [path.exists() for path in own + derived] == [False, False, True, True]
    run_season(season)
    assert not any(path.exists() for path in derived)
    assert mine.exists()


def test_samples_that_a_killed_add_replaced_go_with_the_next_add(season: Season, tmp_path: Path) -> None:
    entry = season.match("m02").logs[0]
    folder = season.telemetry_path("m02")
    older = folder / f"clockless_2_{entry.sha256[:8]}.parquet"
    older.write_bytes((folder / f"{entry.file}.parquet").read_bytes())
    mine = [folder / "mine.parquet", folder / "somebodys_0123abcd.parquet"]
    for path in mine:
        path.write_bytes(b"PAR1")
    add = ("add", tmp_path / "logs" / "clockless.csv", "--rate", "50", "--season", season.root, "--match", "m02")
    assert run(*add) == 0
    assert not older.exists()
    assert all(path.exists() for path in mine)
    assert all(log.samples for log in season.log("m02"))
