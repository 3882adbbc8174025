"""How ingest/store.py writes to an address: whole objects, sent once."""

from __future__ import annotations

import contextlib
import errno
import tempfile
from pathlib import Path
from typing import IO

import pyarrow as pa

from ingest.places import is_remote
from ingest.store import FileLayer

_BLOCK_BYTES = 1 << 20
_WAITING_BYTES = 8 << 20  # our choice: a table of results is larger, a match's result far smaller


class RemoteLayer(FileLayer):
    """At an address (ingest/places.py): a file is written beside, on this machine, and sent whole under its name.

    Nothing is renamed or locked there, and no unfinished object is ever seen.
    """

    def __init__(self) -> None:
        self._waiting: dict[Path, _Waiting] = {}

    def create(self, path: Path) -> IO[bytes]:
        self._waiting[path] = file = _Waiting(_WAITING_BYTES)
        return file

    def sync(self, file: IO[bytes]) -> None:
        """Nothing: an object is safe once it was sent."""

    def sync_folder(self, folder: Path) -> None:
        """Nothing."""

    def replace(self, source: Path, target: Path) -> None:
        file = self._waiting.pop(source)
        assert is_remote(target)
        try:
            file.seek(0)
            stream = target.put()
            try:
                while block := file.read(_BLOCK_BYTES):
                    stream.write(block)
            except BaseException:
                with contextlib.suppress(OSError):
                    stream.close()
                    target.delete()  # a part of it may stand there
                raise
            stream.close()
        except pa.ArrowException as error:
            raise OSError(errno.EIO, str(error)) from None
        finally:
            file.end()

    def remove(self, path: Path) -> None:
        if path in self._waiting:
            self._waiting.pop(path).end()
        elif is_remote(path):
            with contextlib.suppress(FileNotFoundError):
                path.delete()

    def make_folder(self, path: Path) -> None:
        """Nothing: an object store has none."""


class _Waiting(tempfile.SpooledTemporaryFile[bytes]):
    """Bytes on their way to an object store: in memory, in a nameless file where they are many. close() keeps them."""

    def close(self) -> None:
        self.flush()

    def end(self) -> None:
        super().close()
