"""Disks that fail while a log is added."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from ingest.errors import StoreError
from ingest.season import Season
from ingest.store import Store
from tests.ingest.season.failing import FailingLayer
from tests.ingest.season.plain_format import log_file, plain_text, snapshot


def _files(tmp_path: Path) -> list[Path]:
    return [log_file(tmp_path, "a.csv", plain_text(400)), log_file(tmp_path, "b.csv", plain_text(500))]


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO, errno.EROFS])
@pytest.mark.parametrize("kind", ["create", "write", "sync", "replace", "folder"])
def test_wherever_the_disk_fails_the_season_stands_as_it_was(
    season: Season, tmp_path: Path, kind: str, error: int
) -> None:
    season.add([log_file(tmp_path)], "m1")
    before = snapshot(season.root)
    failures = 0
    for at in range(1000):
        layer = FailingLayer(kind, at, error, short=True)
        try:
            Season(season.root, Store(layer)).add(_files(tmp_path), "m1")
            break
        except StoreError as failed:
            failures += 1
            assert os.strerror(error) in str(failed) and failed.mend
            assert failed.exit_code == 1
        assert snapshot(season.root) == before, (kind, at)
    assert failures >= 3
    assert [log.samples for log in season.log("m1")] == [250, 400, 500]
    assert season.verify() == []


def test_a_disk_that_cannot_even_remove_leaves_only_what_nothing_refers_to(season: Season, tmp_path: Path) -> None:
    season.add([log_file(tmp_path)], "m1")

    class Stuck(FailingLayer):
        def remove(self, path: Path) -> None:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    match = (season.root / "matches" / "m1.toml").read_bytes()
    with pytest.raises(StoreError, match=os.strerror(errno.ENOSPC)):
        Season(season.root, Store(Stuck("replace", 4, errno.ENOSPC))).add(_files(tmp_path), "m1")
    assert (season.root / "matches" / "m1.toml").read_bytes() == match
    assert season.verify() and all(problem.harmless for problem in season.verify())
    season.add(_files(tmp_path), "m1")
    assert season.verify() == []


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the superuser writes into read-only folders")
def test_a_read_only_season(season: Season, tmp_path: Path) -> None:
    season.root.chmod(0o500)
    try:
        with pytest.raises(StoreError, match="cannot be locked"):
            season.add([log_file(tmp_path)], "m1")
    finally:
        season.root.chmod(0o700)
