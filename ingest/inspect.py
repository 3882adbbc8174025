"""How files are read, without storing anything: the document behind `afterbout inspect`.

The document is the contract's `afterbout.inspect/1`: one entry for each file, in the order given; a refused file
keeps its entry and does not hide the others.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, Final

from ingest.errors import AfterboutError
from ingest.formats import ReadOptions, open_log
from ingest.log import Clock, Column, Fault, Provenance

SCHEMA: Final = "afterbout.inspect/1"
_BLOCK: Final = 1 << 20


def inspect_files(paths: Iterable[str | Path], options: ReadOptions | None = None) -> dict[str, Any]:
    """The inspect document of the files: plain values only, ready for JSON. Nothing is written anywhere."""
    chosen = options or ReadOptions()
    return {"schema": SCHEMA, "files": [inspect_one(Path(path), chosen)[0] for path in paths]}


def exit_code(document: Mapping[str, Any]) -> int:
    """1 where a file was refused, else 0."""
    return int(any(entry["refused"] is not None for entry in document["files"]))


def read_provenance(path: Path, options: ReadOptions, progress: Callable[[int], None] | None = None) -> Provenance:
    """A file read to its end with flat memory, only to learn how it is read. Raises as open_log does.

    progress: called with the rows read so far.
    """
    reader = open_log(path, options)
    rows = 0
    for _, batch in reader.batches():
        rows += batch.num_rows
        if progress is not None:
            progress(rows)
    return reader.provenance


def inspect_one(
    path: Path, options: ReadOptions, progress: Callable[[int], None] | None = None
) -> tuple[dict[str, Any], Provenance | None]:
    """One file's entry, and what its reader recorded; a refused file has an entry that says why, and None."""
    wanted = replace(options, name=options.name or path.name, counts_only=True)
    try:
        provenance = read_provenance(path, wanted, progress)
    except AfterboutError as error:
        return _refused(path, error), None
    return entry_of(provenance, path), provenance


def entry_of(provenance: Provenance, path: Path) -> dict[str, Any]:
    """One file's entry from what its reader recorded."""
    return {
        "file": path.name or str(path),
        "path": str(path),
        "sha256": provenance.sha256,
        "format": provenance.format,
        "reading": provenance.reading,
        "dialect": dict(provenance.dialect) or None,
        "rows": provenance.rows,
        "columns": [_column(column) for column in provenance.columns],
        "clock": None if provenance.clock is None else _clock(provenance.clock),
        "faults": [_fault(fault) for fault in provenance.faults],
        "refused": None,
        **_plain(provenance.counts),
    }


def _refused(path: Path, error: AfterboutError) -> dict[str, Any]:
    return {
        "file": path.name or str(path),
        "path": str(path),
        "sha256": _sha256(path),
        "format": None,
        "reading": None,
        "dialect": None,
        "rows": 0,
        "columns": [],
        "clock": None,
        "faults": [],
        "refused": str(error),
    }


def _sha256(path: Path) -> str | None:
    """Of a file that was refused; None where there are no bytes to be had."""
    if not path.is_file():
        return None
    digest = hashlib.sha256()
    try:
        with path.open("rb") as stream:
            while block := stream.read(_BLOCK):
                digest.update(block)
    except OSError:
        return None
    return digest.hexdigest()


def _column(column: Column) -> dict[str, Any]:
    document: dict[str, Any] = {
        "source": column.source,
        "kind": column.kind,
        "quantity": column.quantity,
        "channel": column.channel,
        "unit": column.unit,
        "source_unit": column.source_unit,
        "scale": column.scale,
        "offset": column.offset,
        "min": column.min,
        "max": column.max,
        "source_min": column.source_min,
        "source_max": column.source_max,
        "missing": column.missing,
        "sure": column.sure,
        "why": column.why,
        "alternatives": list(column.alternatives),
        "question": column.question,
    }
    if column.samples is not None:
        document["samples"] = column.samples
    if column.stream is not None:
        document["stream"] = column.stream
    return {key: _plain(value) for key, value in document.items()}


def _clock(clock: Clock) -> dict[str, Any]:
    return {key: _plain(value) for key, value in asdict(clock).items()}


def _fault(fault: Fault) -> dict[str, Any]:
    return {
        "code": fault.code,
        "severity": fault.severity,
        "line": fault.line,
        "column": fault.column,
        "note": fault.note,
        "count": fault.count,
    }


def _plain(value: Any) -> Any:
    """Lists instead of tuples, ordinary numbers, and nothing that JSON cannot say (not-a-number becomes null)."""
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, (str, bytes)):
        return [_plain(inner) for inner in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value
