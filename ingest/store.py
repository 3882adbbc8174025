"""The only way to write a file.

A file appears whole or not at all: it is written beside its place under a hidden name, synced, renamed, and the
folder synced (store_output.py). Everything goes through a FileLayer (file_layer.py), so that a full disk or a failing
one can be tried.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from ingest.errors import StoreError, UnreadableLog
from ingest.file_layer import FileLayer, not_lasting, store_error, translated
from ingest.parquet_output import ParquetOutput
from ingest.store_output import BLOCK_BYTES, PART_SUFFIX, GoOn, Output

__all__ = [
    "PART_SUFFIX",
    "FileLayer",
    "GoOn",
    "Original",
    "Output",
    "Store",
    "hash_file",
    "store_error",
    "translated",
]


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
            while block := stream.read(BLOCK_BYTES):
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
