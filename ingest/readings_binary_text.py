"""The text of a binary reading: the layout as it was declared, the columns as they were read."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from ingest.errors import ReadingError

if TYPE_CHECKING:
    from ingest.log import Provenance
    from ingest.readings import Reading

BINARY_FORMAT = "binary telemetry"  # ingest.frames.FRAMES.name


def binary_head(provenance: Provenance, reading: Reading | None) -> list[str]:
    """[reading], [frame], [checksum] and the fields. Raises ReadingError where no layout is known.

    Nothing in such a log says how its frames are built: what it was read with is the only source.
    """
    if reading is None or reading.frame is None:
        raise ReadingError(
            "is binary, and its frames cannot be described from the file",
            file=provenance.file,
            mend=f'Change the reading that it was read with ("{provenance.reading}"), or copy it under a new name.',
        )
    head = {"name": reading.name, "kind": "binary", **_said(reading, ("file_name_hint", "part", "time_column"))}
    head |= _said(reading, ("time_unit", "rate_Hz"))
    if reading.note:
        head["note"] = reading.note
    frame = asdict(reading.frame) | {"sync": reading.frame.sync.hex(" ").upper()}
    lines = [*_table("[reading]", head), *_table("\n[frame]", frame)]
    if reading.checksum is not None:
        given = {k: v for k, v in asdict(reading.checksum).items() if v is not None}
        if reading.checksum.kind != "crc":
            given = {k: v for k, v in given.items() if k in ("kind", "at_byte", "first_byte", "end_byte", "byte_order")}
        lines += _table("\n[checksum]", given)
    for field in reading.fields:
        lines += _table("\n[[field]]", {k: v for k, v in asdict(field).items() if v is not None})
    return lines


def said_columns(reading: Reading) -> dict[str, dict[str, Any]]:
    """What the reading says of its columns, by source, as keys of [[column]]."""
    return {
        source: {k: v for k, v in asdict(column).items() if k != "source" and v is not None and v is not False}
        for source, column in reading.columns.items()
    }


def _said(reading: Reading, keys: tuple[str, ...]) -> dict[str, Any]:
    return {key: getattr(reading, key) for key in keys if getattr(reading, key) is not None}


def _table(name: str, keys: dict[str, Any]) -> list[str]:
    from ingest.readings_examples import toml_value

    return [name, *(f"{key} = {toml_value(value)}" for key, value in keys.items())]
