"""Normalised samples on the disk: how a log's Parquet files are named and read back."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from ingest.errors import AfterboutError, SeasonError
from ingest.log import METADATA_KEY, Log, Provenance, Stream
from ingest.matches import LogEntry
from ingest.places import parquet_source
from ingest.store import hash_file

STREAM_KEY = b"afterbout.stream"
ORDER_KEY = b"afterbout.order"
READ_AS_KEY = b"afterbout.read_as"  # what decided the reading: the same again need not be read again
# What damaged samples and their metadata make of pyarrow, json and the account of a log.
_DAMAGE = (OSError, pa.ArrowException, ValueError, KeyError, TypeError, AttributeError, RecursionError)
# Our choice: 25 million rows of 20 channels are taken as they are; more must be worth a thousandth of it on the disk
# (the clock of a real log alone takes more).
MOST_UNQUESTIONED_BYTES = 4_000_000_000
MOST_PACKED = 1000
_SLUG_LENGTH = 40  # our choice: recognisable, and far from the limits of file names


def slug(name: str) -> str:
    """A file name without its ending, in a to z, 0 to 9 and _: "Weapon log (2).csv" -> "weapon_log_2"."""
    made = re.sub(r"[^a-z0-9]+", "_", Path(name).stem.lower()).strip("_")[:_SLUG_LENGTH].strip("_")
    return made or "log"


def log_stem(name: str, sha256: str, number: int = 1) -> str:
    """`<log>`: slug of the name and eight digits of the hash; a number between where that is taken."""
    middle = f"_{number}" if number > 1 else ""
    return f"{slug(name)}{middle}_{sha256[:8]}"


def stem_of(entry: LogEntry) -> str:
    return entry.file or log_stem(entry.name, entry.sha256)


def stream_file(stem: str, stream: str, only: bool) -> str:
    """`<log>.parquet`, or `<log>.<stream>.parquet` where a log has several streams."""
    return f"{stem}.parquet" if only else f"{stem}.{slug(stream + '.x')}.parquet"


def telemetry_files(folder: Path, stem: str) -> list[Path]:
    """The Parquet files of one log, in the order of its streams."""
    single = folder / f"{stem}.parquet"
    if single.is_file():
        return [single]
    several = [path for path in folder.glob(f"{stem}.*.parquet") if not path.name.startswith(".")]
    return sorted(several, key=lambda path: (_order(path), path.name))


def read_entry(folder: Path, entry: LogEntry, columns: Sequence[str] | None, mend: str) -> Log:
    """The log of one [[log]] entry. Raises SeasonError where its samples are missing or damaged."""
    files = telemetry_files(folder, stem_of(entry))
    if not files:
        raise SeasonError(f"the samples of {entry.name} are missing", file=folder, mend=mend)
    return read_files(files, entry, columns, mend)


def read_files(files: Sequence[Path], entry: LogEntry, columns: Sequence[str] | None = None, mend: str = "") -> Log:
    """Parquet files as one Log, the checksum of every page looked at. Raises SeasonError."""
    streams = []
    provenance: Provenance | None = None
    for path in files:
        try:
            with pq.ParquetFile(parquet_source(path), page_checksum_verification=True) as file:
                about = file.metadata.metadata or {}
                names = file.schema_arrow.names
                _check_claim(file.metadata)
                wanted = None if columns is None else [n for n in names if n in ("time_s", "recording", *columns)]
                table = file.read(columns=wanted)
            if provenance is None and METADATA_KEY in about:
                provenance = Provenance.from_json(about[METADATA_KEY].decode("utf-8"))
        except _DAMAGE as error:
            first = (str(error).splitlines() or ["no reason given"])[0]
            raise SeasonError(f"the samples cannot be read: {first}", file=path, mend=mend) from None
        if "time_s" not in table.column_names:
            raise SeasonError("holds no time_s", file=path, mend=mend)
        name = about.get(STREAM_KEY, b"samples").decode("utf-8", errors="replace")
        streams.append(Stream(name, table))
    rows = max((stream.table.num_rows for stream in streams), default=0)
    return Log(tuple(streams), provenance or Provenance(entry.name, entry.sha256, "parquet", rows=rows))


def _check_claim(about: pq.FileMetaData) -> None:
    """Raises ValueError where a small file claims samples that no memory holds: run lengths and nulls allow it."""
    claimed = about.num_rows * about.num_columns * 8
    if claimed <= MOST_UNQUESTIONED_BYTES:
        return
    groups = (about.row_group(k) for k in range(about.num_row_groups))
    held = sum(group.column(c).total_compressed_size for group in groups for c in range(group.num_columns))
    if claimed > MOST_PACKED * held:
        raise ValueError(f"it claims {about.num_rows:,} rows in {held:,} bytes")


def intact(files: Sequence[Path], entry: LogEntry) -> bool:
    """Whether samples are those that were written: by their hashes, or where none are stated by their checksums."""
    try:
        if entry.samples_sha256:
            return tuple(hash_file(path) for path in files) == entry.samples_sha256
        read_files(files, entry)
    except AfterboutError:
        return False
    return True


def account(files: Sequence[Path]) -> Provenance | None:
    """The account of the log that lies with its samples; None where it is not there or damaged."""
    about = file_metadata(files[0]) if files else {}
    try:
        return Provenance.from_json(about[METADATA_KEY].decode("utf-8"))
    except _DAMAGE:
        return None


def file_metadata(path: Path) -> dict[bytes, bytes]:
    """The metadata of a Parquet file; empty where it cannot be read."""
    try:
        with pq.ParquetFile(parquet_source(path)) as file:
            return dict(file.metadata.metadata or {})
    except (OSError, pa.ArrowException):
        return {}


def _order(path: Path) -> int:
    order = file_metadata(path).get(ORDER_KEY, b"0")
    return int(order) if order.isdigit() else 0
