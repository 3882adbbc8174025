"""A file while it is being written: under a hidden name until it is whole, or growing in its place."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from ingest.errors import StoreError
from ingest.file_layer import FileLayer, store_error, translated

PART_SUFFIX = ".part"  # hidden files with this ending are unfinished; nothing ever reads them
BLOCK_BYTES = 1 << 20


@dataclass(frozen=True)
class GoOn:
    """Where a file grows again: at `size`, of the `was` bytes that it must still have; keep() saves those between."""

    size: int
    was: int
    keep: Callable[[], None]


class Output(io.RawIOBase):
    """A file being written under a hidden name beside `path`. finish(), then commit(); or discard().

    close() does nothing, so that a library it is handed to cannot end it early.
    """

    def __init__(
        self,
        path: Path,
        layer: FileLayer,
        *,
        in_place: bool = False,
        durable: bool = True,
        go_on: GoOn | None = None,
    ) -> None:
        """go_on: write on in a file that is there."""
        super().__init__()
        self.path = path
        self.temp = path if in_place else path.with_name(f".{path.name}.{secrets.token_hex(4)}{PART_SUFFIX}")
        self._layer = layer
        self._durable = durable
        self._pending = bytearray()
        self._size = 0
        self._file: IO[bytes] | None = None
        with translated(path):
            if go_on is None:
                layer.make_folder(path.parent)
                self._file = layer.create(self.temp)
            else:
                self._file = layer.reopen(path)
        if in_place:
            self._begin(go_on)

    def _begin(self, go_on: GoOn | None) -> None:
        file = self._file
        assert file is not None
        try:
            self._layer.lock(file)
            if go_on is not None:
                if os.fstat(file.fileno()).st_size != go_on.was:
                    raise StoreError("was written to meanwhile", file=self.path, mend="Run the same command again.")
                go_on.keep()
                self._layer.truncate(file, go_on.size)
                self._layer.sync(file)
                file.seek(go_on.size)
                self._size = go_on.size
        except (OSError, StoreError) as error:
            self.abandon()
            if isinstance(error, BlockingIOError | PermissionError):
                mend = "End that recording first, or name another file."
                raise StoreError("is being written by another program", file=self.path, mend=mend) from None
            raise (error if isinstance(error, StoreError) else store_error(error, self.path)) from None

    def abandon(self) -> None:
        """Close the file with what it has; what was not handed over yet is gone."""
        self._pending.clear()
        if self._file is not None:
            file, self._file = self._file, None
            with contextlib.suppress(OSError):
                file.close()

    def writable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._size

    def write(self, data: Any) -> int:
        if self._file is None:  # discarded: a library that tidies up after a failure may still write
            return len(data)
        view = memoryview(data).cast("B")
        self._size += len(view)
        if len(view) >= BLOCK_BYTES:
            self._send()
            self._write_all(view)
        else:
            self._pending += view
            if len(self._pending) >= BLOCK_BYTES:
                self._send()
        return len(view)

    def flush(self) -> None:
        if self._file is not None:
            self._send()

    def sync(self) -> None:
        """What was written so far survives a power loss."""
        with translated(self.path):
            self._send()
            if self._file is not None and self._durable:
                self._layer.sync(self._file)

    def close(self) -> None:
        """Nothing: finish() or discard() ends it."""

    def finish(self) -> None:
        """Everything on the disk, the file closed, still under its hidden name."""
        self.sync()
        if self._file is not None:
            with translated(self.path):
                self._file.close()
            self._file = None

    def commit(self) -> None:
        """Rename to `path`, replacing what stood there, and sync the folder."""
        self.rename()
        with translated(self.path):
            self.sync_folder()

    def rename(self) -> None:
        """The first half of commit(): from here on the file stands under its name."""
        self.finish()
        with translated(self.path):
            if self.temp != self.path:
                self._layer.replace(self.temp, self.path)
                self.temp = self.path

    def sync_folder(self) -> None:
        """The second half of commit(): the name outlasts a loss of power. Raises OSError."""
        if self._durable:
            self._layer.sync_folder(self.path.parent)

    def discard(self) -> None:
        """Take it away; harmless after commit()."""
        self._pending.clear()
        if self._file is not None:
            file, self._file = self._file, None
            file.close()
        if self.temp != self.path:
            with translated(self.path):
                self._layer.remove(self.temp)

    def _send(self) -> None:
        pending, self._pending = self._pending, bytearray()
        self._write_all(memoryview(pending))

    def _write_all(self, view: memoryview) -> None:
        done = 0
        while done < len(view) and self._file is not None:
            count = self._layer.write(self._file, view[done:])
            if not count:
                raise OSError(errno.EIO, "the disk took nothing")
            done += count
