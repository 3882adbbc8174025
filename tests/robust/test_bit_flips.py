"""One bit of any stored file flipped, as a failing disk does: it is found, named, mended, and the rest still works."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from benchmarks.crash_works import make_logs, make_season, run
from ingest.errors import AfterboutError
from ingest.readings import EXAMPLE_TEXT_READING
from ingest.season import Season
from ingest.season_verify import Problem

PASSING = {".lock", ".lock_owner"}  # of no use after the command that made them


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season with two matches, a reading, and the results of a run; all its files have been seen."""
    folder = tmp_path_factory.mktemp("flips")
    make_logs(folder / "logs")
    make_season(folder / "s", folder / "logs")
    (folder / "s" / "readings" / "logger.toml").write_text(EXAMPLE_TEXT_READING, "utf-8")
    assert Season(folder / "s").verify() == []
    return folder / "s"


@pytest.fixture
def season(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made.parent / "logs", tmp_path / "logs")
    return Path(shutil.copytree(made, tmp_path / "s"))


def stored(root: Path) -> list[Path]:
    return sorted(p for p in root.rglob("*") if p.is_file() and p.name not in PASSING)


def flip(path: Path, place: int, bit: int) -> bytes:
    """Flip a bit and leave the time of writing as it was; gives the bytes that stood there."""
    good, status = path.read_bytes(), path.stat()
    bad = bytearray(good)
    bad[place] ^= 1 << bit
    path.write_bytes(bad)
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    return good


def put_back(path: Path, good: bytes) -> None:
    status = path.stat()
    path.write_bytes(good)
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))


def found(root: Path) -> list[Problem]:
    """What verify says; a season.toml that cannot be read any more refuses the whole season, and is named too."""
    try:
        return Season(root).verify()
    except AfterboutError as error:
        return [Problem(error.file or "", error.what, error.mend)]


@seed(20260509)
@settings(max_examples=250, deadline=None, database=None)
@given(data=st.data())
def test_every_flipped_bit_is_found_and_its_file_is_named(made: Path, data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(stored(made)))
    place = data.draw(st.integers(0, path.stat().st_size - 1))
    good = flip(path, place, data.draw(st.integers(0, 7)))
    try:
        named = [p for p in found(made) if p.file == str(path)]
        assert named, f"{path.name}: not found"
        assert all(p.what and p.mend for p in named)
        assert any(not p.harmless for p in named)
    finally:
        put_back(path, good)


def test_every_kind_of_file_is_among_them(made: Path) -> None:
    kinds = {p.relative_to(made).parts[0] for p in stored(made)}
    assert kinds >= {"season.toml", "builds", "packs", "matches", "readings", "telemetry", "originals", "results"}
    assert Season(made).verify() == []  # and it is whole again


PLACES: dict[str, Callable[[Season], Path]] = {
    "original": lambda s: s.original_of(s.match("m02").logs[0]) or Path(),
    "samples": lambda s: next(iter(s.telemetry_path("m02").glob("*.parquet"))),
    "match": lambda s: s.root / "matches" / "m02.toml",
    "results": lambda s: next(iter(s.results_path.rglob("season_match/*.json"))),
    "table": lambda s: s.results_path / "metrics.parquet",
}


@pytest.mark.parametrize("kind", PLACES)
def test_the_rest_of_the_season_still_works(season: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    from dashboard.cli import main

    assert main(["review", "m01", "--season", str(season), "--json"]) == 0
    before = json.loads(capsys.readouterr().out)
    path = PLACES[kind](Season(season))
    flip(path, path.stat().st_size // 2, 0)
    assert main(["season", "--season", str(season), "--verify", "--json"]) == 1
    assert str(path) in {p["file"] for p in json.loads(capsys.readouterr().out)["problems"]}
    assert main(["review", "m01", "--season", str(season), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == before


def test_damaged_samples_are_refused_and_adding_the_log_again_mends_them(season: Path) -> None:
    path = PLACES["samples"](Season(season))
    column = pq.ParquetFile(path).metadata.row_group(0).column(0)
    flip(path, column.data_page_offset + column.total_compressed_size // 2, 3)
    with pytest.raises(AfterboutError, match="samples cannot be read"):
        Season(season).log("m02")
    (problem,) = found(season)
    words = problem.mend.partition("afterbout ")[2].split()
    assert words[0] == "add"
    assert run(*words, "--rate", "50") == 0
    assert found(season) == []
    assert all(log.samples for log in Season(season).log("m02"))


def test_a_damaged_original_is_mended_as_it_is_said(season: Path) -> None:
    path = PLACES["original"](Season(season))
    flip(path, 5, 0)
    (problem,) = found(season)
    assert "remove it and add the logger's own file again" in problem.mend
    path.unlink()
    assert (
        run("add", season.parent / "logs" / "clockless.csv", "--rate", "50", "--season", season, "--match", "m02") == 0
    )
    assert found(season) == []


@pytest.mark.parametrize("kind", ["results", "table"])
def test_damaged_results_are_not_used_and_are_made_again(season: Path, kind: str) -> None:
    path = PLACES[kind](Season(season))
    good = path.read_bytes()
    flip(path, len(good) // 2, 0)
    (problem,) = found(season)
    assert "Remove it" in problem.mend
    path.unlink()
    assert run("season", "--season", season) == 0
    assert found(season) == []
    assert path.exists()


def test_a_figure_in_a_kept_result_cannot_change_unseen(season: Path) -> None:
    made: list[int] = []

    def make() -> dict[str, Any]:
        made.append(1)
        return {"pack_minimum_V": 21.5}

    kept = Season(season)
    kept.result("trial", "m01", make)
    path = next(iter((kept.results_path / "trial").iterdir()))
    text = path.read_text("utf-8")
    path.write_text(text.replace("21.5", "24.5"), "utf-8")
    assert kept.result("trial", "m01", make) == {"pack_minimum_V": 21.5}
    assert len(made) == 2


def test_an_edit_is_welcome_and_a_flip_is_not(season: Path) -> None:
    path = season / "builds" / "b.toml"
    good = path.read_text("utf-8")
    path.write_text(good.replace("length_mm = 220", "length_mm = 240"), "utf-8")
    assert found(season) == []
    edited = path.read_bytes()
    flip(path, edited.index(b"240"), 0)  # 240 becomes 340: valid, and nobody's
    assert Season(season).build("b").wires[0].length_mm == 340
    (problem,) = found(season)
    assert problem.file == str(path)
    assert "nobody wrote to it" in problem.what
    assert len(found(season)) == 1  # looking does not make it right
    put_back(path, edited)
    assert found(season) == []


def test_saving_a_damaged_description_accepts_it_as_it_is(season: Path) -> None:
    path = season / "packs" / "p1.toml"
    flip(path, path.read_bytes().index(b"3.3"), 0)
    assert len(found(season)) == 1
    os.utime(path)
    assert found(season) == []
