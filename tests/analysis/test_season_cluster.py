"""The season run on a real scheduler with two worker processes on loopback, one of which is killed midway."""

from __future__ import annotations

import io
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analysis import season_worker
from analysis.cluster import cluster_executor
from analysis.season_run import run_season
from analysis.season_tables import FINDINGS_FILE, METRICS_FILE
from ingest.errors import SeasonError
from ingest.season import Season
from tests.analysis.s3_server import environment, file_system, put_folder, s3_server
from tests.analysis.test_season_run import make
from tests.conftest import run_command
from tests.ports import unused_port

distributed = pytest.importorskip("distributed", reason="the cluster extra is not installed")
ROOT = Path(__file__).resolve().parents[2]


Cluster = tuple[str, list[subprocess.Popen[bytes]]]


def start(env: Mapping[str, str], *words: str) -> subprocess.Popen[bytes]:
    path = os.pathsep.join([str(ROOT), env.get("PYTHONPATH", "")])
    return subprocess.Popen([sys.executable, "-m", *words], env={**env, "PYTHONPATH": path}, stderr=subprocess.DEVNULL)


@contextmanager
def two_workers(folder: Path, env: Mapping[str, str]) -> Iterator[Cluster]:
    """(address, worker processes) of a scheduler on loopback; env is that of the workers."""
    port = unused_port()
    address = f"tcp://127.0.0.1:{port}"
    scheduler = start(
        env, "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"
    )
    workers: list[subprocess.Popen[bytes]] = []
    try:
        deadline = time.monotonic() + 120
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                assert time.monotonic() < deadline, "the scheduler did not come up"
                time.sleep(0.2)
        more = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", str(folder / "work"))
        workers += [start(env, "distributed.cli.dask_worker", address, *more) for _ in range(2)]
        with distributed.Client(address, timeout=120, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=240)
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait(120)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    with two_workers(tmp_path, os.environ) as found:
        yield found


def test_two_workers_one_killed_midway_give_the_tables_of_one_thread(cluster: Cluster, tmp_path: Path) -> None:
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


def test_a_cluster_without_workers_is_said_and_what_is_done_is_kept(
    cluster: Cluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address, workers = cluster
    count = 16
    season = make(tmp_path / "s", matches=count)
    monkeypatch.setattr("analysis.season_run.LOOK_S", 0.2)
    reviewed = []

    def kill_both(done: int, total: int, match: str) -> None:
        reviewed.append(match)
        if done == 2:
            monkeypatch.setattr("analysis.season_run.NOBODY_S", 1.0)  # not before: they may take long to start
            for worker in workers:
                worker.kill()

    with pytest.raises(SeasonError, match="no worker is left"), cluster_executor(address) as executor:
        run_season(season, executor=executor, progress=kill_both)
    assert 2 <= len(reviewed) < count
    again = run_season(season)
    assert again.reused >= len(reviewed) and again.made == count - again.reused


def test_workers_that_read_an_object_store_one_killed_midway(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The season is on an S3-compatible server alone: run, workers and tables know nothing of the local copy."""
    season = make(tmp_path / "s", matches=8)
    here = run_season(season)
    assert here.made == 8
    local = [pq.read_table(season.results_path / name) for name in (METRICS_FILE, FINDINGS_FILE)]
    with s3_server() as endpoint:
        env = environment(endpoint)
        fs = file_system(endpoint)
        for key in ("club/one", "club/two"):
            put_folder(season.root, fs, key)

        def stored(key: str) -> list[pa.Table]:
            found = []
            for name in (METRICS_FILE, FINDINGS_FILE):
                with fs.open_input_file(f"{key}/results/{name}") as file:
                    found.append(pq.read_table(io.BytesIO(file.read())))
            return found

        with two_workers(tmp_path, env) as (address, workers):
            words = ("season", "--season", "s3://club/one", "--cluster", address, "--json")
            ran = run_command(*words, env=env)
            assert ran.code == 0, ran.err
            assert (ran.json["run"]["made"], ran.json["run"]["failed"]) == (8, [])
            assert stored("club/one") == local
            again = run_command(*words, env=env)
            assert (again.json["run"]["made"], again.json["run"]["reused"]) == (0, 8)

            for name, value in env.items():
                monkeypatch.setenv(name, value)

            def kill_one(done: int, total: int, match: str) -> None:
                if done == 2:
                    workers[0].kill()

            with cluster_executor(address) as executor:
                there = run_season(Season("s3://club/two"), executor=executor, progress=kill_one)
            assert (there.made, there.failed, there.gone, there.saved) == (8, (), (), True)
            assert workers[0].wait(120) == -signal.SIGKILL
            assert stored("club/two") == local
    assert not list((season.root / "results").rglob("*.part"))


def test_no_scheduler_there_is_said_without_the_clients_patience(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library's client tries an address again and again for seconds: it is not even asked."""
    monkeypatch.setattr("distributed.Client", lambda *_, **__: pytest.fail("the client was asked"))
    for address in ("tcp://127.0.0.1:9", "127.0.0.1:9", "nonsense", "tcp://127.0.0.1:port"):
        with pytest.raises(SeasonError, match="no scheduler answers"), cluster_executor(address):
            pass
    ran = run_command("season", "--season", make(tmp_path / "s", matches=1).root, "--cluster", "tcp://127.0.0.1:9")
    assert ran.code == 1
    assert "no scheduler answers" in ran.err and "Traceback" not in ran.err


def test_a_worker_with_another_version_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    season = make(tmp_path / "s", matches=1)
    monkeypatch.setattr(season_worker, "app_version", lambda: "another")
    with ThreadPoolExecutor(1) as pool:
        found = run_season(season, executor=pool)
    assert "another version of afterbout" in found.failed[0].reason
