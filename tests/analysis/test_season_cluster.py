"""The season run on a real scheduler with two worker processes on loopback, one of which is killed midway."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from analysis import season_worker
from analysis.cluster import cluster_executor
from analysis.season_run import run_season
from analysis.season_tables import FINDINGS_FILE, METRICS_FILE
from ingest.errors import SeasonError
from tests.analysis.test_season_run import make
from tests.conftest import run_command

pytest.importorskip("distributed", reason="the cluster extra is not installed")
ROOT = Path(__file__).resolve().parents[2]


def start(*words: str) -> subprocess.Popen[bytes]:
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    return subprocess.Popen(
        [sys.executable, "-m", *words], env={**os.environ, "PYTHONPATH": path}, stderr=subprocess.DEVNULL
    )


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    scheduler = start("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard")
    workers: list[subprocess.Popen[bytes]] = []
    try:
        deadline = time.monotonic() + 60
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                assert time.monotonic() < deadline, "the scheduler did not come up"
                time.sleep(0.2)
        more = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", str(tmp_path / "work"))
        workers += [start("distributed.cli.dask_worker", address, *more) for _ in range(2)]
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def test_two_workers_one_killed_midway_give_the_tables_of_one_thread(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    address, workers = cluster
    season = make(tmp_path / "s", matches=6)

    def kill_one(done: int, total: int, match: str) -> None:
        if done == 2:
            workers[0].kill()

    with cluster_executor(address) as executor:
        there = run_season(season, executor=executor, progress=kill_one)
    assert (there.made, there.failed, there.gone) == (6, (), ())
    tables = [pq.read_table(season.results_path / name) for name in (METRICS_FILE, FINDINGS_FILE)]
    here = run_season(season, rebuild=True)
    assert here.made == 6
    assert [pq.read_table(season.results_path / name) for name in (METRICS_FILE, FINDINGS_FILE)] == tables


def test_no_scheduler_there_is_said_in_a_moment(tmp_path: Path) -> None:
    began = time.monotonic()
    for address in ("tcp://127.0.0.1:9", "127.0.0.1:9", "nonsense", "tcp://127.0.0.1:port"):
        with pytest.raises(SeasonError, match="no scheduler answers"), cluster_executor(address):
            pass
    assert time.monotonic() - began < 5
    ran = run_command("season", "--season", make(tmp_path / "s", matches=1).root, "--cluster", "tcp://127.0.0.1:9")
    assert ran.code == 1
    assert "no scheduler answers" in ran.err and "Traceback" not in ran.err


def test_a_worker_with_another_version_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    season = make(tmp_path / "s", matches=1)
    monkeypatch.setattr(season_worker, "app_version", lambda: "another")
    with ThreadPoolExecutor(1) as pool:
        found = run_season(season, executor=pool)
    assert "another version of afterbout" in found.failed[0].reason
