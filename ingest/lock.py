"""One writer at a time in a season."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from ingest.errors import SeasonError
from ingest.places import is_remote
from ingest.store import Store, store_error

LOCK_TIMEOUT_S = 60.0  # our choice: longer than adding a usual log takes
LOCK_NAME = ".lock"
OWNER_NAME = ".lock_owner"


@contextmanager
def locked(folder: Path, store: Store, doing: str, timeout_s: float = LOCK_TIMEOUT_S) -> Iterator[None]:
    """Hold the season's lock. Raises SeasonError that says whom to wait for, StoreError where it cannot be locked.

    The operating system frees the lock of a process that was killed.
    """
    if is_remote(folder):
        raise SeasonError(
            "is on an object store, where nothing can be locked: only results are written there", file=str(folder),
            mend="Change a copy of the season on a disk, then copy that there.",
        )  # fmt: skip
    lock = FileLock(folder / LOCK_NAME)
    owner = folder / OWNER_NAME
    try:
        lock.acquire(timeout=timeout_s, poll_interval=0.05)
    except Timeout:
        mend = "Wait until it has finished, then run the command again."
        raise SeasonError(f"is in use: {_who(owner)}", file=folder, mend=mend) from None
    except OSError as error:
        raise store_error(error, folder, "cannot be locked for writing") from None
    try:
        store.write_text(owner, f"{doing}, process {os.getpid()}, since {time.strftime('%H:%M:%S')}", durable=False)
        yield
    finally:
        lock.release()


def _who(owner: Path) -> str:
    try:
        return owner.read_text("utf-8", errors="replace")[:200]
    except OSError:
        return "another command is writing to it"
