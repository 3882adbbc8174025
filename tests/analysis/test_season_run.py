"""The season run on small made seasons: once, again, changed, damaged, deleted midway, two at once, a dying worker."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import threading
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analysis import season_keys, season_run, season_worker
from analysis.season_rows import METRICS_SCHEMA
from analysis.season_run import run_season
from analysis.season_tables import FINDINGS_FILE, METRICS_FILE, read_metrics
from ingest.errors import MissingExtra, SeasonError
from ingest.season import Season
from tests.conftest import ROOT

BUILD = """
[build]
id = "a"
[pack]
cells = 6
"""
PACK = """
[pack]
id = "p1"
cells = 6
capacity_Ah = 3.3
resistance_mohm = 20
"""


def make(folder: Path, matches: int = 3) -> Season:
    season = Season.create(folder, files={"builds/a.toml": BUILD, "packs/p1.toml": PACK})
    for number in range(matches):
        add(season, f"m{number + 1:02d}", number)
    return season


def add(season: Season, match_id: str, seed: int, **about: Any) -> None:
    """30 s at 20 Hz: steps of load, 20 mΩ, a little noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 30.0, 0.05)
    current = np.where((t > 3) & (t < 27), np.where((t // 1.5) % 2 == 0, 8.0, 50.0 + seed), 0.0)
    volts = 25.0 - 0.02 * current + rng.normal(0, 0.005, len(t))
    file = season.root.parent / f"{season.root.name}_{match_id}.csv"
    lines = "\n".join(f"{a:.2f},{b:.2f},{c:.3f}" for a, b, c in zip(t, current, volts, strict=True))
    file.write_text(f"time_s,pack_current_A,pack_voltage_V\n{lines}\n", encoding="utf-8")
    season.add([file], match_id, build="a", pack="p1", **about)


def run(season: Season, **options: Any) -> season_run.SeasonRun:
    """In one thread: a process pool for three matches would be all start-up."""
    with ThreadPoolExecutor(1) as pool:
        return run_season(season, executor=options.pop("executor", pool), **options)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make(tmp_path_factory.mktemp("made") / "s").root


@pytest.fixture
def season(made: Path, tmp_path: Path) -> Season:
    return Season(shutil.copytree(made, tmp_path / "s"))


def test_first_run_makes_both_tables_and_the_second_does_nothing(season: Season) -> None:
    seen: list[tuple[int, int, str]] = []
    first = run(season, progress=lambda *at: seen.append(at))
    assert (first.made, first.reused, first.failed, first.saved) == (3, 0, (), True)
    assert [at[:2] for at in seen] == [(1, 3), (2, 3), (3, 3)]
    table = read_metrics(season, ["rms_1s_A"])
    assert table.column("match").to_pylist() == ["m01", "m02", "m03"]
    # The upper level of every match is 50 A and its number.
    assert table.column("value").to_pylist() == pytest.approx([50, 51, 52], rel=0.02)
    stamps = [(season.results_path / name).stat().st_mtime_ns for name in (METRICS_FILE, FINDINGS_FILE)]
    second = run(season)
    assert (second.made, second.reused) == (0, 3)
    assert [(season.results_path / name).stat().st_mtime_ns for name in (METRICS_FILE, FINDINGS_FILE)] == stamps
    assert [row.match for row in second.rows()] == ["m01", "m02", "m03"]


def test_only_what_changed_is_done_again(season: Season) -> None:
    run(season)
    path = season.root / "matches" / "m02.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"(?m)^(#\s*)?opponent = .*$", 'opponent = "Old Tuppence"', text), encoding="utf-8")
    assert season.match("m02").opponent == "Old Tuppence"
    again = run(season)
    assert (again.made, again.reused) == (1, 2)
    table = read_metrics(season)
    assert set(table.filter(np.array(table.column("match").to_pylist()) == "m02").column("opponent").to_pylist()) == {
        "Old Tuppence"
    }
    pack = season.root / "packs" / "p1.toml"
    pack.write_text(pack.read_text(encoding="utf-8") + "mass_g = 500\n", encoding="utf-8")
    assert run(season).made == 3
    # What nothing needs any more is gone: one kept row a match.
    assert len(list((season.results_path / "season_match").glob("*.json"))) == 3


def test_rebuild_forgets_what_was_kept(season: Season) -> None:
    run(season)
    assert run(season, rebuild=True).made == 3


def test_results_may_be_deleted_or_of_an_older_version(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    run(season)
    for path in season.results_path.rglob("*.json"):
        path.unlink()
    assert run(season).made == 3
    monkeypatch.setattr(season_keys, "FORM", season_keys.FORM + 1)
    assert run(season).made == 3
    assert len(list((season.results_path / "season_match").glob("*.json"))) == 3


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"key": 1}', '{"key": KEY, "value": {"match": "m01"}}'])
def test_damaged_results_are_made_anew(season: Season, damage: str) -> None:
    run(season)
    for path in sorted((season.results_path / "season_match").glob("*.json")):
        key = json.dumps(json.loads(path.read_text(encoding="utf-8"))["key"])
        path.write_text(damage.replace("KEY", key), encoding="utf-8")
    (season.results_path / "season_keys.json").write_text(damage.replace("KEY", "1"), encoding="utf-8")
    (season.results_path / METRICS_FILE).write_bytes(b"PAR1 not a table")
    again = run(season)
    assert (again.made, again.failed) == (3, ())
    assert read_metrics(season).num_rows > 0


@pytest.mark.parametrize("known", [True, False])
def test_a_table_damaged_in_the_middle_is_made_anew(season: Season, known: bool) -> None:
    """Its last part, with the count of rows and the digest, is whole: only the values show it."""
    run(season)
    path = season.results_path / METRICS_FILE
    whole = path.read_bytes()
    column = pq.read_metadata(path).row_group(0).column(METRICS_SCHEMA.get_field_index("value"))
    at = column.data_page_offset + column.total_compressed_size // 2
    path.write_bytes(whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :])
    if not known:
        (season.results_path / "checksums.json").unlink()
    with pytest.raises((SeasonError, OSError)):
        pq.read_table(path, page_checksum_verification=True)
    again = run(season)
    assert (again.made, again.reused) == (0, 3)
    assert path.read_bytes() == whole


@pytest.mark.parametrize("name", [METRICS_FILE, FINDINGS_FILE])
def test_a_table_that_is_missing_cut_short_or_of_another_form_is_made_anew(season: Season, name: str) -> None:
    run(season)
    path = season.results_path / name
    whole = path.read_bytes()
    other = pa.table({"match": ["m01"], "metric": ["an older one"]})
    for damage in (None, b"", whole[: len(whole) // 2], whole[:-1], "older"):
        if damage is None:
            path.unlink()
        elif isinstance(damage, str):
            pq.write_table(other, path)
        else:
            path.write_bytes(damage)
        assert run(season).reused == 3
        assert path.read_bytes() == whole, damage


def test_one_bad_match_does_not_stop_the_rest(season: Season) -> None:
    (season.root / "matches" / "m04.toml").write_text("[match]\nid = 4\n", encoding="utf-8")
    (season.root / "matches" / "m05.toml").write_text('[match]\nid = "m05"\nbuild = "a"\n', encoding="utf-8")
    sample = next((season.root / "telemetry" / "match=m02").glob("*.parquet"))
    sample.write_bytes(sample.read_bytes()[:100])
    found = run(season)
    assert found.matches == ("m01", "m03")
    reasons = {failure.match: failure.reason for failure in found.failed}
    assert set(reasons) == {"m02", "m04", "m05"}
    assert "m04.toml" in reasons["m04"]
    assert "has no logs yet" in reasons["m05"]
    assert set(read_metrics(season).column("match").to_pylist()) == {"m01", "m03"}
    assert run(season).reused == 2  # the bad ones are tried again


def test_a_defect_in_a_review_is_that_matchs_failure(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    real = season_worker.review_match

    def breaks(s: Season, match_id: str, **options: Any) -> Any:
        if match_id == "m02":
            raise ZeroDivisionError("division by zero")
        return real(s, match_id, **options)

    monkeypatch.setattr(season_worker, "review_match", breaks)
    found = run(season)
    assert found.matches == ("m01", "m03")
    assert "ZeroDivisionError" in found.failed[0].reason


def test_a_match_deleted_midway_is_said_and_not_a_failure(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    real = season_worker.review_match

    def deletes(s: Season, match_id: str, **options: Any) -> Any:
        (s.root / "matches" / "m03.toml").unlink(missing_ok=True)
        return real(s, match_id, **options)

    monkeypatch.setattr(season_worker, "review_match", deletes)
    found = run(season)
    assert (found.matches, found.gone, found.failed) == (("m01", "m02"), ("m03",), ())


def test_two_runs_at_once_take_turns(season: Season) -> None:
    with season_run._held(season, 1.0) as writable:
        assert writable
        with pytest.raises(SeasonError, match="in use: a season run"):
            run(season, lock_timeout_s=0.1)
    runs: list[season_run.SeasonRun] = []
    threads = [threading.Thread(target=lambda: runs.append(run(season))) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    assert sorted(r.made for r in runs) == [0, 3]


def test_adding_a_match_does_not_wait_for_a_run(season: Season) -> None:
    with season_run._held(season, 1.0):
        add(season, "m09", 9)  # one that waited would give up after a minute and raise


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="needs a folder that cannot be written")
def test_a_read_only_season_is_reviewed_all_the_same(season: Season) -> None:
    season.root.chmod(0o555)
    try:
        found = run(season)
    finally:
        season.root.chmod(0o755)
    assert not found.saved
    assert [row.match for row in found.rows()] == ["m01", "m02", "m03"]


def test_a_full_disk_loses_no_review(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing can be written below results/: the rows come back in memory."""
    from ingest.store import FileLayer, Store

    class Full(FileLayer):
        def create(self, path: Path) -> Any:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(season_worker, "Season", lambda root: Season(root, Store(Full())))
    found = run(Season(season.root, Store(Full())))
    assert not found.saved
    assert [row.match for row in found.rows()] == ["m01", "m02", "m03"]


class Dying(Executor):
    """A pool whose worker is killed at the second match, as a process pool then behaves."""

    def __init__(self) -> None:
        self.count = 0

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.count += 1
        if self.count > 2:
            raise BrokenProcessPool("a child process terminated abruptly")
        future: Future[Any] = Future()
        if self.count == 2:
            future.set_exception(BrokenProcessPool("a process in the process pool was terminated abruptly"))
        else:
            future.set_result(fn(*args, **kwargs))
        return future


def test_a_worker_that_dies_loses_nothing(season: Season) -> None:
    found = run(season, executor=Dying())
    assert (found.made, found.failed) == (3, ())


def test_processes_give_the_tables_that_one_thread_gives(tmp_path: Path) -> None:
    season = make(tmp_path / "s", matches=4)
    run(season)
    alone = [pq.read_table(season.results_path / name) for name in (METRICS_FILE, FINDINGS_FILE)]
    run_season(season, rebuild=True)
    assert [pq.read_table(season.results_path / name) for name in (METRICS_FILE, FINDINGS_FILE)] == alone


@pytest.mark.parametrize("guarded", [True, False])
def test_a_script_with_a_guard_and_one_without(tmp_path: Path, guarded: bool) -> None:
    """A worker imports the script first: without a guard it would begin the run again, and wait for itself."""
    season = make(tmp_path / "s", matches=4)
    script = tmp_path / "script.py"
    call = f"print(run_season(Season({str(season.root)!r})).made)\n"
    head = "from analysis.season_run import run_season\nfrom ingest.season import Season\n"
    script.write_text(head + ('if __name__ == "__main__":\n    ' if guarded else "") + call, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=300, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, "4\n"), done.stderr
    assert ("if __name__" in done.stderr) is (not guarded and season_run.cores() > 1)


def test_a_season_without_matches(tmp_path: Path) -> None:
    season = make(tmp_path / "s", matches=0)
    found = run(season)
    assert found.matches == ()
    assert read_metrics(season).num_rows == 0


def test_tables_that_no_run_has_made_name_the_command(season: Season) -> None:
    with pytest.raises(SeasonError, match="afterbout season --season"):
        read_metrics(season)


def test_a_cluster_needs_its_extra_or_a_scheduler() -> None:
    from analysis.cluster import cluster_executor

    with pytest.raises((MissingExtra, SeasonError)), cluster_executor("tcp://127.0.0.1:9"):
        pass


def test_shared_metrics_hold_no_name(season: Season, tmp_path: Path) -> None:
    from analysis.sharing import anonymous

    add(season, "m09", 9, opponent="Old Tuppence", event="Yard Cup")
    found = run(season)
    assert found.matches[-1] == "m09"
    table = anonymous([(list(found.rows()), {b.id: b for b in season.builds()})])
    words = {str(v) for name in table.column_names for v in table.column(name).to_pylist() if isinstance(v, str)}
    assert not any(name in word for word in words for name in ("Tuppence", "Yard", "m09", "p1"))
    assert {"robot 1", "build 1", "pack 1"} <= words
    assert table.num_rows == read_metrics(season).num_rows
