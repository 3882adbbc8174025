"""Reading files: what a person says about one kind of log, so that the next one of its kind is read at once.

A reading is found again by its fingerprint: the SHA-256 of the header's names and units, in order, whatever the
delimiter. A column that the reading does not mention is named as if there were no reading.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol

from ingest.errors import ReadingError
from ingest.readings_examples import EXAMPLE_BINARY_READING, EXAMPLE_TEXT_READING, reading_text
from ingest.toml_lines import MAX_BYTES

if TYPE_CHECKING:
    from ingest.log import Provenance


__all__ = [
    "EXAMPLE_BINARY_READING",
    "EXAMPLE_TEXT_READING",
    "Reading",
    "ReadingChecksum",
    "ReadingColumn",
    "ReadingField",
    "ReadingFrame",
    "find_reading",
    "fingerprint",
    "load_reading",
    "normal_name",
    "parse_reading",
    "reading_from",
]


@dataclass(frozen=True)
class ReadingColumn:
    """What the user says of one column; None where nothing is said.

    value in `unit` = source value * scale + offset; `unit` is then converted to the channel's own.
    pole_pairs turns electrical revolutions into those of the shaft.
    sentinels: () says that there is none, None leaves the search on.
    """

    source: str
    channel: str | None = None
    unit: str | None = None
    scale: float | None = None
    offset: float | None = None
    pole_pairs: int | None = None
    sentinels: tuple[float, ...] | None = None
    ignore: bool = False


@dataclass(frozen=True)
class ReadingField:
    """One field of a binary frame. offset_byte counts from the frame's first byte."""

    name: str
    offset_byte: int
    type: str
    bit: int | None = None
    bits: int | None = None


@dataclass(frozen=True)
class ReadingFrame:
    """The layout of a binary frame; sync is in hexadecimal. Bytes before the first sync are skipped."""

    length_bytes: int
    sync: bytes = b""
    byte_order: Literal["little", "big"] = "little"
    skip_bytes: int = 0


@dataclass(frozen=True)
class ReadingChecksum:
    """The checksum over bytes first_byte ≤ i < end_byte of a frame, standing at at_byte.

    kind "crc" is given by width_bits, polynomial (without its top term), start, reflect and xor_out, as the catalogue
    of parametrised CRC algorithms writes them.
    """

    kind: str
    at_byte: int
    first_byte: int = 0
    end_byte: int | None = None
    byte_order: Literal["little", "big"] | None = None
    width_bits: int | None = None
    polynomial: int | None = None
    start: int = 0
    reflect: bool = False
    xor_out: int = 0


@dataclass(frozen=True)
class Reading:
    """How one kind of log is read. Lines are 1-based. `columns` is keyed by the name as written in the file."""

    name: str
    kind: Literal["text", "binary"] = "text"
    fingerprint: str | None = None
    file_name_hint: str | None = None
    part: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    header_line: int | None = None
    units_line: int | None = None
    first_data_line: int | None = None
    time_column: str | None = None
    time_unit: str | None = None
    rate_Hz: float | None = None
    note: str = ""
    columns: Mapping[str, ReadingColumn] = field(default_factory=dict)
    frame: ReadingFrame | None = None
    checksum: ReadingChecksum | None = None
    fields: tuple[ReadingField, ...] = ()
    path: str | None = None


class _Evidence(Protocol):
    """What fingerprint() reads of a ColumnEvidence."""

    @property
    def source(self) -> str: ...
    @property
    def unit_text(self) -> str | None: ...
    @property
    def unit_note(self) -> str | None: ...


def normal_name(text: str | None) -> str:
    """A header name or unit without what differs between two exports of the same kind: case, space, composition."""
    folded = unicodedata.normalize("NFKC", text or "").casefold()
    return re.sub(r"\s+", " ", folded.strip().strip('"').strip())


def fingerprint(columns: Iterable[tuple[str, str | None]] | Iterable[_Evidence]) -> str:
    """SHA-256 (hexadecimal) of the names and units of a header, in order. Independent of delimiter and encoding.

    columns: (name as written, its cell of the units row or None) pairs, or ColumnEvidence. Only a units row counts
    as units: a unit in brackets or a suffix is part of the name, and one that was guessed is not the file's.
    """
    digest = hashlib.sha256()
    for column in columns:
        if isinstance(column, tuple):
            name, unit = column
        else:
            name = column.source
            unit = column.unit_text if column.unit_note == "units row" else None
        digest.update(f"{normal_name(name)}\x1f{normal_name(unit)}\x1e".encode())
    return digest.hexdigest()


def find_reading(readings: Sequence[Reading], wanted: str, file_name: str | None = None) -> Reading | None:
    """The reading with this fingerprint whose file_name_hint, where it has one, is in the file's name.

    A hint in the name goes before none. None where no reading fits, or where several do: left and right drive write
    the same header, and the reading of the one must not be taken for the other.
    """
    same = [r for r in readings if r.fingerprint == wanted]
    if file_name is not None:
        stem = Path(file_name).name.casefold()
        hinted = [r for r in same if r.file_name_hint and r.file_name_hint.casefold() in stem]
        same = hinted or [r for r in same if not r.file_name_hint]
    return same[0] if len(same) == 1 else None


def load_reading(path: str | Path) -> Reading:
    """A reading file. Raises ReadingError with file, line, key, what was found and the nearest known key."""
    file = Path(path)
    try:
        with file.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
        text = raw.decode("utf-8-sig")
    except FileNotFoundError:
        raise ReadingError("there is no such reading file", file=file, mend="Check the name.") from None
    except IsADirectoryError:
        raise ReadingError("is a folder, not a reading file", file=file, mend="Name one file in it.") from None
    except UnicodeDecodeError as error:
        raise ReadingError(
            "is not text in UTF-8", file=file, byte=error.start, mend="Save it as UTF-8 and try again."
        ) from None
    except OSError as error:
        raise ReadingError(f"cannot be read: {error.strerror}", file=file, mend="Check its permissions.") from None
    if len(raw) > MAX_BYTES:
        expected = f"at most {MAX_BYTES} bytes"
        mend = "Name the .toml file, not the log."
        raise ReadingError("is too large for a reading", file=file, expected=expected, mend=mend)
    return parse_reading(text, file=file)


def parse_reading(text: str, *, file: object = None) -> Reading:
    """A reading from its TOML text. Raises ReadingError, located."""
    from ingest.readings_check import checked_reading

    return checked_reading(text, file)


def reading_from(
    provenance: Provenance,
    answers: Mapping[str, Mapping[str, Any]] | None = None,
    reading: Reading | None = None,
) -> str:
    """The text of a commented reading file for the kind of file that `provenance` describes.

    answers maps a source name to the keys that settle it (channel, unit, scale, ...). What is certain or likely is
    written as it was read; what is only a guess stands as a comment below its question, to be confirmed.
    reading: what a binary log was read with; its layout is kept. Raises ReadingError for a binary log without it.
    """
    return reading_text(provenance, answers or {}, reading)
