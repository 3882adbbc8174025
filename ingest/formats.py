"""The formats this project reads, in the order in which they are tried.

A format declares itself in one frozen value and is listed in FORMATS by hand: no registration by import.
"""

from __future__ import annotations

import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from ingest.errors import UnreadableLog
from ingest.log import Log, LogReader, collect

if TYPE_CHECKING:
    from ingest.readings import Reading

HEAD_BYTES = 1 << 16


@dataclass(frozen=True)
class ReadOptions:
    """What the user may say about a file: a reading, a sample rate, a CAN database, the parts of the build."""

    reading: Reading | None = None
    readings: tuple[Reading, ...] = ()
    rate_Hz: float | None = None
    dbc: Path | None = None
    parts: dict[str, str] = field(default_factory=dict)  # part id -> kind (controller, motor, wire, ...)
    pole_pairs: dict[str, int] = field(default_factory=dict)  # controller or motor id -> pole pairs
    name: str | None = None  # the user's own file name, where the path is a stored copy
    of_bytes: Mapping[str, Reading] = field(default_factory=dict)  # SHA-256 of a file -> the reading of that file alone
    counts_only: bool = False  # a CAN trace without its database: counted (inspect) instead of refused


@dataclass(frozen=True)
class Format:
    """name, description, specification; looks_like(head, path) and open(path, options)."""

    name: str
    description: str
    specification: str
    looks_like: Callable[[bytes, Path], bool]
    open: Callable[[Path, ReadOptions], LogReader]


def formats() -> tuple[Format, ...]:
    """Every format, most specific first; delimited text is last because it is the least specific.

    Each imports its library only when it opens a file.
    """
    from ingest.can_bus import CAN_BUS
    from ingest.delimited.reader import DELIMITED
    from ingest.dronecan import DRONECAN
    from ingest.frames import FRAMES
    from ingest.mavlink import MAVLINK
    from ingest.mdf import MDF4
    from ingest.record.log_format import RECORDING

    return (RECORDING, FRAMES, MDF4, MAVLINK, DRONECAN, CAN_BUS, DELIMITED)


def read_head(path: Path) -> bytes:
    """The first bytes of an ordinary file, or a located refusal for anything else."""
    try:
        status = path.stat()
    except FileNotFoundError:
        raise UnreadableLog("there is no such file", file=path, mend="Check the name.") from None
    except OSError as error:  # a symlink loop, a name too long, no permission on the folder
        raise UnreadableLog(
            f"cannot be opened: {error.strerror}", file=path, mend="Copy the log here and try again."
        ) from None
    if stat.S_ISDIR(status.st_mode):
        raise UnreadableLog("is a folder, not a log", file=path, mend="Name the files in it.")
    if not stat.S_ISREG(status.st_mode):
        raise UnreadableLog("is not an ordinary file", file=path, mend="To capture live, use: afterbout record")
    if status.st_size == 0:
        raise UnreadableLog("is empty (0 bytes)", file=path, mend="Copy it from the logger again.")
    try:
        with path.open("rb") as stream:
            return stream.read(HEAD_BYTES)
    except OSError as error:
        raise UnreadableLog(f"cannot be read: {error.strerror}", file=path, mend="Check its permissions.") from None


def detect(path: Path, options: ReadOptions) -> Format:
    """The first format whose probe accepts the file; a located refusal where none does.

    A binary reading wins: the one that was named, else a saved one whose frames the file begins with.
    """
    head = read_head(path)
    if (recording := formats()[0]).looks_like(head, path):
        return recording
    if options.reading is not None and options.reading.kind == "binary":
        return _frames()
    if options.reading is None and any(reading.kind == "binary" for reading in options.readings):
        from ingest.frames import reading_for

        if reading_for(head, options.readings, options.name or path.name) is not None:
            return _frames()
    for candidate in formats():
        if candidate.looks_like(head, path):
            return candidate
    raise UnreadableLog(
        "is none of the kinds of log that are known here",
        file=path,
        found=head[:16],
        mend="For binary telemetry write a reading file (see docs/readings.md) and name it with --reading.",
    )


def _frames() -> Format:
    from ingest.frames import FRAMES

    return FRAMES


def open_log(path: str | Path, options: ReadOptions | None = None) -> LogReader:
    """A reader that gives the samples piece by piece. Raises UnreadableLog, ReadingError, MissingExtra."""
    file = Path(path)
    chosen = options or ReadOptions()
    return detect(file, chosen).open(file, chosen)


def read_log(path: str | Path, reading: Reading | None = None, options: ReadOptions | None = None) -> Log:
    """A whole file as a Log. `reading` says how its columns are meant, where the file does not say it."""
    chosen = options or ReadOptions(reading=reading)
    return collect(open_log(path, chosen))
