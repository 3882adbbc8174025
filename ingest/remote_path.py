"""A path at an address (s3://bucket/folder), which answers to the calls of pathlib that reading needs.

Renaming and locking do not hold on an object store: what is there is read only, and each result is one whole object
(ingest/store.py). What pyarrow and fsspec raise becomes the OSError that a disk would give.
"""

from __future__ import annotations

import fnmatch
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import IO, Any, cast

import pyarrow as pa
import pyarrow.fs as pafs

from ingest.errors import SeasonError

LISTED_S = 5.0  # our choice: one command sees one state of a folder, and a page shows a change soon


@dataclass(frozen=True)
class _Stat:
    """The two of os.stat_result that are asked for."""

    st_size: int
    st_mtime_ns: int


@dataclass
class Remote:
    """One opened file system: `shown` and `query` around a path give its address."""

    fs: pafs.FileSystem
    shown: str
    query: str
    listed: dict[str, tuple[float, dict[str, pafs.FileInfo]]] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def known(self, folder: str) -> dict[str, pafs.FileInfo] | None:
        """What was listed a moment ago."""
        with self.lock:
            at, names = self.listed.get(folder, (-LISTED_S, None))
            return names if time.monotonic() - at < LISTED_S else None

    def listing(self, folder: str) -> dict[str, pafs.FileInfo]:
        """name -> what is known of it; empty where the folder is not there."""
        known = self.known(folder)
        if known is not None:
            return known
        found = self.fs.get_file_info(pafs.FileSelector(folder, allow_not_found=True))
        names = {info.base_name: info for info in found}
        with self.lock:
            self.listed[folder] = (time.monotonic(), names)
        return names

    def forget(self, folder: str) -> None:
        with self.lock:
            self.listed.pop(folder, None)


class RemotePath:
    """A file or folder at an address. `address` opens it again anywhere; str() leaves the query out."""

    def __init__(self, remote: Remote, key: str) -> None:
        self._remote, self._key = remote, key.strip("/")

    # Names

    @property
    def name(self) -> str:
        return self._key.rpartition("/")[2]

    @property
    def stem(self) -> str:
        return PurePosixPath(self.name).stem

    @property
    def suffix(self) -> str:
        return PurePosixPath(self.name).suffix

    @property
    def parent(self) -> RemotePath:
        return RemotePath(self._remote, self._key.rpartition("/")[0])

    @property
    def address(self) -> str:
        return str(self) + (f"?{self._remote.query}" if self._remote.query else "")

    def __truediv__(self, more: str) -> RemotePath:
        return RemotePath(self._remote, f"{self._key}/{more}")

    def with_name(self, name: str) -> RemotePath:
        return self.parent / name

    def __str__(self) -> str:
        return f"{self._remote.shown}{self._key}"

    as_posix = __str__

    def __repr__(self) -> str:
        return f"RemotePath({str(self)!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, RemotePath) and self.address == other.address

    def __lt__(self, other: RemotePath) -> bool:
        return self._key < other._key

    def __hash__(self) -> int:
        return hash(self.address)

    def resolve(self) -> RemotePath:
        return self

    def relative_to(self, other: RemotePath) -> PurePosixPath:
        return PurePosixPath(self._key).relative_to(other._key)

    def is_relative_to(self, other: RemotePath) -> bool:
        return ".." not in PurePosixPath(self._key).parts and PurePosixPath(self._key).is_relative_to(other._key)

    # What is there. Raises SeasonError where the store cannot be reached.

    def _info(self) -> pafs.FileInfo | None:
        """By the listing of its folder where there is a fresh one, else by one question: a folder may be large."""
        folder, _, name = self._key.rpartition("/")
        with _reached(self):
            known = self._remote.known(folder)
            info = known.get(name) if known is not None else self._remote.fs.get_file_info(self._key)
        return info if info is not None and bool(info.type == pafs.FileType.File) else None

    def exists(self) -> bool:
        return self.is_dir() or self.is_file()

    def is_file(self) -> bool:
        return self._info() is not None

    def is_dir(self) -> bool:
        """An object store has no empty folders."""
        with _reached(self):
            return bool(self._remote.listing(self._key))

    def is_symlink(self) -> bool:
        return False

    def stat(self) -> _Stat:
        info = self._info()
        if info is None:
            raise FileNotFoundError(2, "there is no such file", str(self))
        return _Stat(int(info.size or 0), int(info.mtime_ns or 0))

    def iterdir(self) -> Iterator[RemotePath]:
        with _reached(self):
            names = sorted(self._remote.listing(self._key))
        return (self / name for name in names)

    def glob(self, pattern: str) -> Iterator[RemotePath]:
        """One step only: "*.toml"; several joined by "/" one after the other."""
        first, _, rest = pattern.partition("/")
        for path in self.iterdir():
            if fnmatch.fnmatchcase(path.name, first):
                if rest:
                    yield from path.glob(rest)
                else:
                    yield path

    def rglob(self, pattern: str) -> Iterator[RemotePath]:
        with _reached(self):
            found = self._remote.fs.get_file_info(pafs.FileSelector(self._key, recursive=True, allow_not_found=True))
        for info in sorted(found, key=lambda i: i.path):
            if fnmatch.fnmatchcase(info.base_name, pattern):
                yield RemotePath(self._remote, info.path)

    # Reading

    def open(self, mode: str = "rb", **_: Any) -> IO[bytes]:
        """For reading, with seek(). The store alone opens anything for writing."""
        if mode != "rb":
            raise ValueError(f"a remote file is opened to read bytes, not {mode!r}")
        with _spoken(self):
            return cast(IO[bytes], self._remote.fs.open_input_file(self._key))

    def read_bytes(self) -> bytes:
        with self.open() as file, _spoken(self):
            return bytes(file.read())

    def read_text(self, encoding: str = "utf-8", errors: str = "strict") -> str:
        return self.read_bytes().decode(encoding, errors)

    @property
    def location(self) -> tuple[pafs.FileSystem, str]:
        """What pyarrow itself reads from."""
        return self._remote.fs, self._key

    # For ingest/store.py alone

    def put(self) -> Any:
        """A stream whose bytes become the object when it is closed."""
        self._remote.forget(self._key.rpartition("/")[0])
        return self._remote.fs.open_output_stream(self._key, compression=None)

    def delete(self) -> None:
        self._remote.forget(self._key.rpartition("/")[0])
        with _spoken(self):
            self._remote.fs.delete_file(self._key)


@contextmanager
def _spoken(path: RemotePath) -> Iterator[None]:
    """What pyarrow and fsspec say, as a disk would: callers know that."""
    try:
        yield
    except FileNotFoundError:
        raise FileNotFoundError(2, "there is no such file", str(path)) from None
    except (OSError, pa.ArrowException) as error:
        raise OSError(5, first_line(error), str(path)) from None


@contextmanager
def _reached(path: RemotePath) -> Iterator[None]:
    try:
        yield
    except (OSError, pa.ArrowException) as error:
        what = f"cannot be reached: {first_line(error)}"
        raise SeasonError(what, file=str(path), mend="Check the address, the network and the keys.") from None


def first_line(error: BaseException) -> str:
    return (str(error).splitlines() or ["no reason given"])[0][:300]
