"""What the store asks of a disk, one call each, so that a full disk or a failing one can be tried."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from ingest.errors import StoreError

_LOCKED_BYTE = 1 << 40

_MENDS = {
    errno.ENOSPC: "Free some space and run the same command again.",
    errno.EDQUOT: "Free some space and run the same command again.",
    errno.EROFS: "The folder is read-only: copy the season to a disk that can be written.",
    errno.EACCES: "Check the permissions of the folder, and that no other program has the file open.",
    errno.EPERM: "Check the permissions of the folder, and that no other program has the file open.",
    errno.EIO: "The disk reports a fault: copy the season to another disk.",
    errno.ENAMETOOLONG: "Use a shorter name or folder.",
}


class FileLayer:
    """The calls of the operating system that change files. Tests make them fail."""

    def create(self, path: Path) -> IO[bytes]:
        return path.open("xb", buffering=0)

    def reopen(self, path: Path) -> IO[bytes]:
        """A file that is there, to be gone on with."""
        return path.open("r+b", buffering=0)

    def truncate(self, file: IO[bytes], size: int) -> None:
        file.truncate(size)

    def lock(self, file: IO[bytes]) -> None:
        """For this process alone until it is closed. Raises BlockingIOError or PermissionError where another has it."""
        if os.name == "nt":
            import msvcrt

            file.seek(_LOCKED_BYTE)  # far behind the end, so that others may still read
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
            file.seek(0)
        else:
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)

    def write(self, file: IO[bytes], data: memoryview) -> int:
        """Bytes written, which may be fewer than given."""
        return file.write(data)

    def sync(self, file: IO[bytes]) -> None:
        os.fsync(file.fileno())

    def sync_folder(self, folder: Path) -> None:
        if os.name == "nt":  # a folder cannot be opened there; the rename is journalled by the file system
            return
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def replace(self, source: Path, target: Path) -> None:
        os.replace(source, target)  # noqa: PTH105 - one call that tests replace

    def remove(self, path: Path) -> None:
        path.unlink(missing_ok=True)

    def make_folder(self, path: Path) -> None:
        path.mkdir(parents=True, exist_ok=True)

    def remove_folder(self, path: Path) -> None:
        """An empty folder."""
        with contextlib.suppress(FileNotFoundError):
            path.rmdir()


def store_error(error: OSError, path: Path, doing: str = "could not be written") -> StoreError:
    """What the operating system said, as an error with its mend. Nothing that stood there has changed."""
    why = error.strerror or str(error)
    mend = _MENDS.get(error.errno or 0, "Check the folder and its disk, and try again.")
    return StoreError(f"{doing}: {why}; nothing was changed", file=path, mend=mend)


def not_lasting(error: OSError, path: Path) -> StoreError:
    """A file that stands under its name, in a folder whose entry could not be put on the disk."""
    what = f"was written, but may not outlast a loss of power: {error.strerror or error}"
    return StoreError(what, file=path, mend="Check the disk, then look with: afterbout season --verify")


@contextmanager
def translated(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise store_error(error, path) from None
