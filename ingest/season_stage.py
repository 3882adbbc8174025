"""Reading one file into samples that stand ready under hidden names, or seeing that the match already has them."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from ingest.errors import AfterboutError, SeasonError, StoreError
from ingest.formats import ReadOptions, open_log
from ingest.log import METADATA_KEY, Log, Provenance
from ingest.matches import LogEntry
from ingest.parquet_output import ParquetOutput
from ingest.store import Original, Store, hash_file
from ingest.telemetry import (
    ORDER_KEY,
    READ_AS_KEY,
    STREAM_KEY,
    account,
    file_metadata,
    intact,
    log_stem,
    read_entry,
    read_files,
    slug,
    stem_of,
    stream_file,
    telemetry_files,
)

Progress = Callable[[str, str, int], None]
Status = Literal["added", "unchanged", "read again"]


@dataclass
class Staged:
    """One file of an add: its entry in the match, and its samples under hidden names with the names they get."""

    entry: LogEntry
    status: Status
    provenance: Provenance
    parquet: tuple[tuple[ParquetOutput, Path], ...] = ()


class Stager:
    """Reads files for one match. known: the entries the match has already; folder: where its samples are."""

    def __init__(
        self, store: Store, folder: Path, known: Sequence[LogEntry], options: ReadOptions, progress: Progress
    ) -> None:
        self.store = store
        self.folder = folder
        self.known = {entry.sha256: entry for entry in known}
        self.options = options
        self.progress = progress
        self.staged: list[Staged] = []

    def take(self, path: Path, original: Original, name: str) -> Staged:
        """Stage the samples of a kept file, unless the match already has them, read in this very way."""
        known = self.known.get(original.sha256)
        name = known.name if known else name
        options = self._options_of(original.sha256)
        read_as = self._read_as(options, name)
        kept = self._kept(known, read_as) if known else None
        if known is not None and kept is not None:
            made = Staged(known, "unchanged", kept)
        else:
            made = self._read(path, original, name, known, read_as, options)
        self.staged.append(made)
        return made

    def log(self, entry: LogEntry) -> Log:
        """The log of an entry, staged or stored."""
        for staged in self.staged:
            if staged.entry.sha256 == entry.sha256 and staged.parquet:
                return read_files([output.temp for output, _ in staged.parquet], entry)
        return read_entry(self.folder, entry, None, "Add it again.")

    def discard(self) -> None:
        """Take the hidden files away; harmless for those that were renamed."""
        for staged in self.staged:
            _discard(output for output, _ in staged.parquet)

    def _options_of(self, sha256: str) -> ReadOptions:
        """The options for one file: its own reading wins."""
        reading = self.options.of_bytes.get(sha256)
        return self.options if reading is None else replace(self.options, reading=reading)

    def _read_as(self, options: ReadOptions, name: str) -> str:
        """What decides how a file is read, as one hash: the same bytes read in the same way give the same samples."""
        dbc = hash_file(options.dbc) if options.dbc is not None else None
        readings = [options.reading] if options.reading is not None else list(options.readings)
        shown = (readings, options.rate_Hz, dbc, sorted(options.parts.items()), options.name or name)
        return hashlib.sha256(repr(shown).encode("utf-8", "replace")).hexdigest()

    def _kept(self, entry: LogEntry, read_as: str) -> Provenance | None:
        """The provenance of whole samples that are there and were read in this very way."""
        files = telemetry_files(self.folder, stem_of(entry))
        about = file_metadata(files[0]) if files else {}
        if about.get(READ_AS_KEY) != read_as.encode() or not intact(files, entry):
            return None
        return account(files)

    def _read(
        self, path: Path, original: Original, name: str, known: LogEntry | None, read_as: str, options: ReadOptions
    ) -> Staged:
        options = replace(options, name=options.name or name)
        stem = self._free_stem(name, original.sha256)
        outputs: dict[str, ParquetOutput] = {}
        done = False
        rows = 0
        try:
            reader = open_log(original.path, options)
            for stream, batch in reader.batches():
                if stream not in outputs:
                    outputs[stream] = self.store.stage_parquet(self.folder / f"{stem}.{len(outputs)}", batch.schema)
                outputs[stream].write(batch)
                rows += batch.num_rows
                self.progress(name, "reading", rows)
            provenance = replace(reader.provenance, file=name)
            if provenance.sha256 != original.sha256:
                raise StoreError(
                    "reads back otherwise than it was written",
                    file=original.path,
                    mend="Check the disk, then try again.",
                )
            if not outputs:
                raise SeasonError("holds no samples", file=path, mend="Look at it with: afterbout inspect")
            same = known is not None and self._same_as(known, provenance)
            if not same:
                about = {
                    METADATA_KEY.decode(): provenance.to_json(),
                    READ_AS_KEY.decode(): read_as,
                }
                for order, (stream, output) in enumerate(outputs.items()):
                    output.finish(about | {STREAM_KEY.decode(): stream, ORDER_KEY.decode(): str(order)})
                samples = tuple(hash_file(output.temp) for output in outputs.values())
            done = not same
        except AfterboutError as error:
            if error.file == str(original.path):  # the user knows the file by the name that was given
                error.file = str(path)
            raise
        finally:
            if not done:
                _discard(outputs.values())
        if same and known is not None:
            return Staged(known, "unchanged", provenance)
        entry = known or LogEntry(sha256=original.sha256, name=name)
        entry = entry.model_copy(update={"reading": provenance.reading, "file": stem, "samples_sha256": samples})
        targets = tuple(zip(outputs.values(), self._targets(stem, list(outputs)), strict=True))
        return Staged(entry, "added" if known is None else "read again", provenance, targets)

    def _same_as(self, entry: LogEntry, provenance: Provenance) -> bool:
        """Read with other options, but to the same end: an unrelated reading was added to the season."""
        files = telemetry_files(self.folder, stem_of(entry))
        before = account(files)
        return before is not None and before.to_json() == provenance.to_json() and intact(files, entry)

    def _free_stem(self, name: str, sha256: str) -> str:
        """A name for new samples that no entry refers to, so that the match file alone switches to them."""
        used = {
            stem_of(entry)
            for entry in self.known.values()
            if entry.sha256 != sha256 or telemetry_files(self.folder, stem_of(entry))
        } | {staged.entry.file for staged in self.staged}
        number = 1
        while log_stem(name, sha256, number) in used:
            number += 1
        return log_stem(name, sha256, number)

    def _targets(self, stem: str, streams: list[str]) -> list[Path]:
        slugs: list[str] = []
        for stream in streams:
            made = slug(f"{stream}.x")
            slugs.append(made if made not in slugs else f"{made}_{len(slugs) + 1}")
        return [self.folder / stream_file(stem, made, len(streams) == 1) for made in slugs]


def _discard(outputs: Iterable[ParquetOutput]) -> None:
    for output in outputs:
        with contextlib.suppress(StoreError):  # a failing disk: what is left over is hidden, the next add sweeps it
            output.discard()
