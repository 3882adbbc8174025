"""The season folder on an S3-compatible server (moto) on loopback: one run end to end, the tables of a local folder."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pyarrow.fs as pafs
import pyarrow.parquet as pq
import pytest

from analysis.season_run import run_season
from analysis.season_tables import FINDINGS_FILE, METRICS_FILE
from ingest.errors import SeasonError, UsageError
from ingest.places import is_remote, place
from ingest.season import Season
from tests.analysis.s3_server import environment, file_system, put_folder, s3_server
from tests.analysis.test_season_run import make, run
from tests.conftest import run_command
from tests.ports import unused_port

AT = "s3://club/seasons/one"


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    with s3_server() as endpoint:
        yield endpoint


def test_a_season_on_an_object_store_gives_the_tables_of_a_local_one(server: str, tmp_path: Path) -> None:
    season = make(tmp_path / "s", matches=4)
    run(season)
    local = [pq.read_table(season.results_path / name) for name in (METRICS_FILE, FINDINGS_FILE)]
    fs = file_system(server)
    put_folder(season.root, fs, "club/seasons/one")
    before = sorted(i.path for i in fs.get_file_info(pafs.FileSelector("club", recursive=True)))

    ran = run_command("season", "--season", AT, "--json", env=environment(server))  # in worker processes
    assert ran.code == 0, ran.err
    assert (ran.json["run"]["made"], ran.json["run"]["reused"], ran.json["run"]["failed"]) == (4, 0, [])
    assert ran.json["run"]["tables"][0] == f"{AT}/results/{METRICS_FILE}"
    for name, table in zip((METRICS_FILE, FINDINGS_FILE), local, strict=True):
        with fs.open_input_file(f"club/seasons/one/results/{name}") as file:
            assert pq.read_table(io.BytesIO(file.read())) == table

    after = fs.get_file_info(pafs.FileSelector("club", recursive=True))
    new = [i.path for i in after if i.path not in before and i.type == pafs.FileType.File]
    assert all(path.startswith("club/seasons/one/results/") for path in new)
    assert sum("/season_match/" in path for path in new) == 4  # one object a match
    assert not any(path.endswith(".part") or ".lock" in path for path in new)

    again = run_command("season", "--season", AT, "--json", env=environment(server))
    assert (again.json["run"]["made"], again.json["run"]["reused"]) == (0, 4)
    seasons = run_command("season", "--seasons", "s3://club/seasons", "--json", env=environment(server))
    assert [head["run"]["reused"] for head in seasons.json["seasons"]] == [4]
    two = run_command("compare", "m01", "m02", "--season", AT, "--json", env=environment(server))
    assert two.code == 0, two.err
    query = f"{AT}?endpoint_override={server}&scheme=http"
    env = {**environment(server), "AWS_ENDPOINT_URL": ""}
    one = run_command("review", "m01", "--season", query, "--json", env=env)
    assert one.code == 0, one.err
    assert one.json["match"]["id"] == "m01"


def test_what_cannot_be_done_there_is_said(server: str, tmp_path: Path) -> None:
    season = make(tmp_path / "s", matches=1)
    put_folder(season.root, file_system(server), "club/other")
    log = tmp_path / "log.csv"
    log.write_text("time_s,pack_voltage_V\n0,25\n1,25\n2,25\n", encoding="utf-8")
    for words, says in (
        (("add", log, "--season", "s3://club/other", "--match", "m02"), "nothing can be locked"),
        (("season", "--season", "s3://club/none"), "Check the address"),
        (("season", "--season", "s3://k:secret@club/other"), "must hold no keys"),
        (("new", "s3://club/new", "--yes"), "made on a disk"),
    ):
        ran = run_command(*words, env=environment(server))
        assert ran.code in (1, 2), (words, ran)
        assert says in ran.err, ran.err
        assert "secret" not in ran.err and "Traceback" not in ran.err


def test_a_store_that_does_not_answer_is_said() -> None:
    ran = run_command("season", "--season", "s3://club/one", env=environment(f"127.0.0.1:{unused_port()}"))
    assert ran.code == 1
    assert "cannot be reached" in ran.err and "Traceback" not in ran.err


def test_any_file_system_of_fsspec(tmp_path: Path) -> None:
    """In memory: the same folder, no disk under it; two workers in this process."""
    fsspec = pytest.importorskip("fsspec", reason="comes with the cluster extra")
    season = make(tmp_path / "s", matches=2)
    run(season)
    put_folder(season.root, pafs.PyFileSystem(pafs.FSSpecHandler(fsspec.filesystem("memory"))), "box/s")
    far = Season("memory://box/s")
    assert is_remote(far.root) and far.ids("matches") == ["m01", "m02"]
    found = run_season(far)
    assert (found.matches, found.saved) == (("m01", "m02"), True)
    assert pq.read_table(io.BytesIO((far.results_path / METRICS_FILE).read_bytes())) == pq.read_table(
        season.results_path / METRICS_FILE
    )


def test_addresses_and_paths() -> None:
    assert place("a/b") == Path("a/b")
    assert place("C://x") == Path("C://x")  # a drive
    assert place("file:///tmp/x") == Path("/tmp/x")
    far = place("memory://box/s")
    assert str(far / "builds" / "a.toml") == "memory://box/s/builds/a.toml"
    assert (far / "builds" / "a.toml").relative_to(far).as_posix() == "builds/a.toml"
    assert not (far / ".." / "x").is_relative_to(far)
    assert not place("memory://empty/s").exists()
    with pytest.raises(UsageError, match="cannot be read here"):
        place("nosuchscheme://box/s")
    with pytest.raises(SeasonError, match="there is no such folder"):
        Season("memory://box/none")
