"""The only module that opens files for writing.

A file appears whole or not at all: it is written beside its place under a hidden name, synced, renamed, and the
folder synced. Everything goes through a FileLayer, so that a full disk or a failing one can be tried.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import os
import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import pyarrow as pa

from ingest.errors import StoreError, UnreadableLog
from ingest.parquet_output import ParquetOutput

PART_SUFFIX = ".part"  # hidden files with this ending are unfinished; nothing ever reads them
_BLOCK_BYTES = 1 << 20
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
        if len(view) >= _BLOCK_BYTES:
            self._send()
            self._write_all(view)
        else:
            self._pending += view
            if len(self._pending) >= _BLOCK_BYTES:
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


@contextmanager
def translated(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise store_error(error, path) from None


@dataclass(frozen=True)
class Original:
    """The very bytes of an ingested file in the season's keeping."""

    path: Path
    sha256: str
    size: int
    new: bool


class Store:
    """Writing, with one file layer under it. Every method raises StoreError where the disk does not take it."""

    def __init__(self, layer: FileLayer | None = None) -> None:
        self.layer = layer or FileLayer()

    def stage(self, path: Path, *, durable: bool = True) -> Output:
        """durable: it survives a power loss once committed; what is made anew when damaged need not."""
        return Output(path, self.layer, durable=durable)

    def record(self, path: Path) -> Output:
        """A new file that grows under its own name, for live capture: write, and sync() often."""
        return Output(path, self.layer, in_place=True)

    def go_on(self, path: Path, where: GoOn) -> Output:
        """A file that record() made, to grow again."""
        return Output(path, self.layer, in_place=True, go_on=where)

    @contextmanager
    def atomic(self, path: Path, *, durable: bool = True) -> Iterator[Output]:
        """A binary file that appears under its name only where the block ends well."""
        output = self.stage(path, durable=durable)
        try:
            with translated(path):
                yield output
            output.rename()
            try:
                output.sync_folder()
            except OSError as error:
                raise not_lasting(error, path) from None
        finally:
            output.discard()

    def write_bytes(self, path: Path, data: bytes, *, durable: bool = True) -> None:
        with self.atomic(path, durable=durable) as output:
            output.write(data)

    def write_text(self, path: Path, text: str, *, durable: bool = True) -> None:
        """UTF-8, the line ends as given."""
        self.write_bytes(path, text.encode("utf-8"), durable=durable)

    def stage_parquet(self, path: Path, schema: pa.Schema) -> ParquetOutput:
        return ParquetOutput(self.stage(path), schema, translated)

    def write_parquet(
        self,
        path: Path,
        batches: Iterable[pa.RecordBatch],
        schema: pa.Schema,
        metadata: Mapping[str, str] | None = None,
    ) -> None:
        parquet = self.stage_parquet(path, schema)
        try:
            for batch in batches:
                parquet.write(batch)
            parquet.finish(metadata or {})
            parquet.commit()
        finally:
            parquet.discard()

    def make_folder(self, path: Path) -> None:
        with translated(path):
            self.layer.make_folder(path)

    def remove(self, path: Path) -> None:
        with translated(path):
            self.layer.remove(path)

    def remove_tree(self, folder: Path) -> None:
        """A folder of our own with all that is in it; a link in it goes, what it leads to stays."""
        with translated(folder):
            if not folder.is_dir() or folder.is_symlink():
                return
            for path in list(folder.iterdir()):
                if path.is_dir() and not path.is_symlink():
                    self.remove_tree(path)
                else:
                    self.layer.remove(path)
            self.layer.remove_folder(folder)

    def keep_original(self, source: Path, folder: Path) -> Original:
        """The bytes of `source` as folder/<sha256>.<ext>, hashed while they are copied; kept once, never changed."""
        try:
            size = source.stat().st_size
        except OSError as error:
            raise UnreadableLog(f"cannot be read: {error.strerror}", file=source, mend="Check the file.") from None
        # Only a file of the same size can be the same bytes: hash before copying, to write nothing twice.
        if kept := self._same_size(folder, size):
            sha256 = hash_file(source)
            found = next((path for path in kept if path.name.startswith(f"{sha256}.")), None)
            if found is not None:
                return Original(found, sha256, size, new=False)
        ending = "".join(c for c in source.suffix.lower() if c in "abcdefghijklmnopqrstuvwxyz0123456789")[:10]
        output = self.stage(folder / "original")
        try:
            digest = hashlib.sha256()
            with translated(folder):
                for block in _blocks(source):
                    digest.update(block)
                    output.write(block)
            if output.tell() != size:
                raise UnreadableLog(
                    "changed while it was copied",
                    file=source,
                    mend="Wait until the logger has closed it, and try again.",
                )
            output.path = folder / f"{digest.hexdigest()}.{ending or 'bin'}"
            output.commit()
        except StoreError:
            if output.temp == output.path:  # renamed, but its folder could not be synced: nothing refers to it yet
                with contextlib.suppress(StoreError):
                    self.remove(output.path)
            raise
        finally:
            output.discard()
        return Original(output.path, digest.hexdigest(), size, new=True)

    @staticmethod
    def _same_size(folder: Path, size: int) -> list[Path]:
        if not folder.is_dir():
            return []
        named = (p for p in folder.iterdir() if not p.name.startswith("."))
        return sorted(p for p in named if p.is_file() and p.stat().st_size == size)

    def sweep(self, folder: Path) -> None:
        """Remove what a killed writer left unfinished in a folder. Only under the lock that guards it."""
        for path in folder.glob(f".*{PART_SUFFIX}"):
            self.remove(path)


def _blocks(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb", buffering=0) as stream:
            while block := stream.read(_BLOCK_BYTES):
                yield block
    except OSError as error:
        raise UnreadableLog(
            f"cannot be read: {error.strerror or error}", file=path, mend="Copy it from the logger again."
        ) from None


def hash_file(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal. Raises UnreadableLog."""
    digest = hashlib.sha256()
    for block in _blocks(path):
        digest.update(block)
    return digest.hexdigest()
