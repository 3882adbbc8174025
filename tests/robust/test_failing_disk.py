"""A disk that fails at any one call: a clear error and exit 1, the season as it was, and all well once it is mended.

The failures are those of errno.h: ENOSPC and EIO, after writes that took only a part of what was given.
"""

from __future__ import annotations

import errno
import itertools
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from benchmarks.crash_works import SAID, WORKS, Work, hashes, make_logs, make_season
from benchmarks.crashes import CALLS
from ingest.season import Season
from ingest.store import FileLayer

BY_NAME = {work.name: work for work in WORKS}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("disk")
    make_logs(folder / "logs")
    make_season(folder / "s", folder / "logs")
    return folder


class Disk:
    """Every call that changes files, counted; the one numbered `at` fails, and writes are short."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.at: int | None = None
        self.error = errno.ENOSPC
        self.numbers: Iterator[int] = itertools.count()
        self.failed = False
        for name in CALLS:
            monkeypatch.setattr(FileLayer, name, self._wrapped(name, getattr(FileLayer, name)))

    def _wrapped(self, name: str, plain: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any) -> Any:
            if next(self.numbers) == self.at:
                self.failed = True
                if name == "write":  # a part of it was taken before the disk failed
                    plain(*given[:2], given[2][: len(given[2]) // 3])
                raise OSError(self.error, os.strerror(self.error))
            if name == "write" and len(given[2]) > 1000:
                return plain(*given[:2], given[2][: len(given[2]) // 2])
            return plain(*given)

        return call

    def fail(self, at: int | None, error: int = errno.ENOSPC) -> None:
        self.at, self.error, self.numbers, self.failed = at, error, itertools.count(), False


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    return Disk(monkeypatch)


def undisturbed(work: Work, made: Path, root: Path, disk: Disk) -> tuple[int, dict[str, str]]:
    """How many calls the command makes, and what it leaves."""
    fresh(work, made, root)
    disk.fail(None)
    assert work.command(root, made / "logs") == 0
    return next(disk.numbers), hashes(root)


def fresh(work: Work, made: Path, root: Path) -> dict[str, str]:
    shutil.rmtree(root, ignore_errors=True)
    shutil.copytree(made / "s", root)
    work.before(root)
    return hashes(root)


def own(found: dict[str, str]) -> dict[str, str]:
    """Without what is derived: results may be deleted at any time."""
    return {name: digest for name, digest in found.items() if not name.startswith("results/")}


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO], ids=["ENOSPC", "EIO"])
@pytest.mark.parametrize("name", ["add a match", "read again", "note", "upload"])
def test_wherever_the_disk_fails_nothing_changes_and_the_command_says_why(
    made: Path, tmp_path: Path, disk: Disk, name: str, error: int
) -> None:
    work, root, logs = BY_NAME[name], tmp_path / "s", made / "logs"
    calls, done = undisturbed(work, made, root, disk)
    refused = 0
    step = 1 if error == errno.ENOSPC and name != "upload" else 3  # every call once, and a third of them otherwise
    for at in range(0, calls, step):
        before = own(fresh(work, made, root))
        disk.fail(at, error)
        code = work.command(root, logs)
        disk.at = None
        if code != 0:
            refused += 1
            assert code == 1
            assert os.strerror(error) in SAID[0]
            assert "Traceback" not in SAID[0]
            if "was written" in SAID[0]:  # all is there, only the last sync of the folder failed
                assert own(hashes(root)) == own(done), f"call {at}"
            else:
                assert own(hashes(root)) == before, f"call {at}"
        else:  # it failed where nothing depends on it: the ledger of checksums, or what is only tidied away
            assert own(hashes(root)) == own(done), f"call {at}"
        assert [p for p in Season(root).verify() if not p.harmless] == [], f"call {at}"
    assert refused >= calls // step // 2
    fresh(work, made, root)
    assert work.command(root, logs) == 0


def test_a_season_run_goes_on_without_keeping_or_says_why(made: Path, tmp_path: Path, disk: Disk) -> None:
    work, root, logs = BY_NAME["season run"], tmp_path / "s", made / "logs"
    calls, done = undisturbed(work, made, root, disk)
    for at in range(calls):
        before = own(fresh(work, made, root))
        disk.fail(at, errno.ENOSPC)
        code = work.command(root, logs)
        disk.at = None
        assert code in (0, 1)
        assert "Traceback" not in SAID[0]
        if code == 1:
            assert os.strerror(errno.ENOSPC) in SAID[0]
        assert own(hashes(root)) == before
        assert [p for p in Season(root).verify() if not p.harmless] == [], f"call {at}"
        if at % 6 == 0:
            assert work.command(root, logs) == 0
            again = {name for name, digest in hashes(root).items() if done.get(name) != digest}
            assert again <= {"results/season_keys.json", "results/checksums.json"}
