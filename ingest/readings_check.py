"""From the TOML text of a reading file to a Reading; every mistake is told with its line, key and mend."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, Final, NoReturn

from ingest.binary.checksum import size_bytes
from ingest.channels import QUANTITIES, parse_channel
from ingest.delimited.words_units import KNOWN_SPELLINGS, parse_unit
from ingest.errors import ReadingError, nearest
from ingest.readings import Reading, ReadingChecksum, ReadingColumn, ReadingField, ReadingFrame
from ingest.toml_lines import KeyPath, key_lines, refuse_deep_keys

_TEXT: Final = (str,)
_WHOLE: Final = (int,)
_NUMBER: Final = (int, float)
_READING: Final[dict[str, tuple[type, ...]]] = {
    **dict.fromkeys(("name", "kind", "fingerprint", "file_name_hint", "part", "delimiter", "decimal"), _TEXT),
    **dict.fromkeys(("encoding", "time_column", "time_unit", "note"), _TEXT),
    **dict.fromkeys(("header_line", "units_line", "first_data_line"), _WHOLE),
    "rate_Hz": _NUMBER,
}
_COLUMN: Final[dict[str, tuple[type, ...]]] = {
    **dict.fromkeys(("source", "channel", "unit"), _TEXT),
    **dict.fromkeys(("scale", "offset"), _NUMBER),
    "pole_pairs": _WHOLE,
    "sentinels": (list,),
    "ignore": (bool,),
}
_FRAME: Final[dict[str, tuple[type, ...]]] = {
    "length_bytes": _WHOLE,
    "sync": _TEXT,
    "byte_order": _TEXT,
    "skip_bytes": _WHOLE,
}
_CRC_KEYS: Final = ("width_bits", "polynomial", "start", "xor_out", "reflect")
_CHECKSUM: Final[dict[str, tuple[type, ...]]] = {
    "kind": _TEXT,
    "byte_order": _TEXT,
    **dict.fromkeys(("at_byte", "first_byte", "end_byte"), _WHOLE),
    **dict.fromkeys(_CRC_KEYS[:4], _WHOLE),
    "reflect": (bool,),
}
_FIELD: Final[dict[str, tuple[type, ...]]] = {
    **dict.fromkeys(("name", "type"), _TEXT),
    **dict.fromkeys(("offset_byte", "bit", "bits"), _WHOLE),
}
_TABLES: Final = {"reading": _READING, "column": _COLUMN, "frame": _FRAME, "checksum": _CHECKSUM, "field": _FIELD}
FIELD_TYPES: Final = {
    **{f"{sign}{bits}": bits // 8 for sign in "ui" for bits in (8, 16, 24, 32, 64)},
    "f32": 4,
    "f64": 8,
}
CHECKSUM_KINDS: Final = ("sum8", "xor8", "crc8", "crc16-ccitt", "crc16-modbus", "crc32", "crc")
TIME_UNITS: Final = ("s", "ms", "us", "ns", "min", "h", "date")
_KIND_WORD: Final = {str: "text", int: "a whole number", float: "a number", list: "a list", bool: "true or false"}


class _Lines:
    """Where each table and key of a TOML text stands (1-based); a table's own line where the key is not found."""

    def __init__(self, text: str) -> None:
        self._at = key_lines(text)

    def of(self, table: str, place: int, key: str | None) -> int | None:
        paths: list[KeyPath] = [(table, place), (table,)]
        if key is not None:
            paths = [(table, place, key), (table, key), *paths]
        return next((self._at[path] for path in paths if path in self._at), None)


class _Check:
    def __init__(self, text: str, file: object) -> None:
        self.file = file
        self.lines = _Lines(text)

    def fail(
        self,
        what: str,
        table: str,
        place: int,
        key: str | None,
        found: object,
        mend: str,
        expected: str | None = None,
    ) -> NoReturn:
        line = self.lines.of(table, place, key)
        column = f"[{table}] {key}" if key else f"[{table}]"
        raise ReadingError(what, file=self.file, line=line, column=column, found=found, expected=expected, mend=mend)

    def table(self, name: str, place: int, raw: Any) -> dict[str, Any]:
        known = _TABLES[name]
        if not isinstance(raw, Mapping):
            self.fail("is not a table", name, place, None, raw, f"Write it as [{name}] with a key on each line below.")
        for key, value in raw.items():
            if key not in known:
                self.fail("has an unknown key", name, place, key, key, nearest(key, known))
            kinds = known[key]
            right = isinstance(value, kinds) and (bool in kinds or not isinstance(value, bool))
            if not right:
                expected = _KIND_WORD[float if kinds is _NUMBER else kinds[0]]
                self.fail("has a value of the wrong kind", name, place, key, value, "Correct the value.", expected)
            if isinstance(value, float) and not math.isfinite(value):
                self.fail("must be an ordinary number", name, place, key, value, "Correct the value.")
        return dict(raw)

    def need(self, name: str, place: int, raw: Mapping[str, Any], key: str) -> Any:
        if raw.get(key) in (None, ""):
            self.fail("lacks a key that it needs", name, place, None, None, f"Add: {key} = …", key)
        return raw[key]

    def choice(self, name: str, place: int, raw: Mapping[str, Any], key: str, known: Sequence[str]) -> None:
        if key in raw and raw[key] not in known:
            self.fail("has a value that is not known", name, place, key, raw[key], nearest(str(raw[key]), known))

    def at_least(self, name: str, place: int, raw: Mapping[str, Any], low: int, *keys: str) -> None:
        for key in keys:
            if key in raw and raw[key] < low:
                self.fail("is too small", name, place, key, raw[key], "Correct the value.", f"{low} or more")

    def rows(self, name: str, raw: Any) -> list[dict[str, Any]]:
        if not isinstance(raw, list):
            self.fail("must be written with two brackets", name, 0, None, None, f"Write [[{name}]] for each {name}.")
        return [self.table(name, place, row) for place, row in enumerate(raw)]


def checked_reading(text: str, file: object) -> Reading:
    """The Reading that a TOML text holds. Raises ReadingError."""
    try:
        refuse_deep_keys(text)
        raw = tomllib.loads(text)
        check = _Check(text, file)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+), column \d+", str(error))
        what = re.sub(r" \(at .*\)$", "", str(error))
        raise ReadingError(
            f"is not valid TOML: {what}",
            file=file,
            line=int(at[1]) if at else max(1, text.count("\n") + 1),  # else it is the end that is missing
            mend="Put text between quotes, one key on each line.",
        ) from None
    except RecursionError:
        raise ReadingError("is nested too deeply", file=file, mend="Write plain tables.") from None
    except ValueError as error:  # an integer of thousands of digits
        raise ReadingError(f"holds a value that cannot be read: {error}", file=file, mend="Correct it.") from None
    for name in raw:
        if name not in _TABLES:
            check.fail("has an unknown table", name, 0, None, name, nearest(name, _TABLES))
    if "reading" not in raw:
        raise ReadingError("has no [reading] table", file=file, line=1, mend='Begin with: [reading] and name = "…"')
    head = check.table("reading", 0, raw["reading"])
    check.need("reading", 0, head, "name")
    check.choice("reading", 0, head, "kind", ("text", "binary"))
    check.choice("reading", 0, head, "decimal", (".", ","))
    check.choice("reading", 0, head, "time_unit", TIME_UNITS)
    check.at_least("reading", 0, head, 1, "header_line", "units_line", "first_data_line")
    if "fingerprint" in head and not re.fullmatch(r"[0-9a-f]{64}", head["fingerprint"]):
        check.fail(
            "is no fingerprint", "reading", 0, "fingerprint", head["fingerprint"],
            "Leave it out, or take it from: afterbout inspect --save-reading NAME", "64 hexadecimal digits",
        )  # fmt: skip
    if head.get("rate_Hz", 1.0) <= 0:
        check.fail("must be above zero", "reading", 0, "rate_Hz", head["rate_Hz"], "Give samples per second.")
    if "part" in head and not re.fullmatch(r"[a-z][a-z0-9_]*", head["part"]):
        check.fail("is not an id", "reading", 0, "part", head["part"], "Use small letters, digits and _.")
    columns: dict[str, ReadingColumn] = {}
    for place, row in enumerate(check.rows("column", raw.get("column", []))):
        column = _column(check, place, row)
        if column.source in columns:
            check.fail("says the same column twice", "column", place, "source", column.source, "Keep one of them.")
        taken = [c for c in columns.values() if c.channel is not None and c.channel == column.channel]
        if taken:
            mend = f'"{taken[0].source}" has it already; keep one of them.'
            check.fail("gives one channel to two columns", "column", place, "channel", column.channel, mend)
        columns[column.source] = column
    binary = head.get("kind") == "binary"
    for name in ("frame", "checksum", "field"):
        if name in raw and not binary:
            check.fail("belongs to a binary reading", name, 0, None, None, 'Add kind = "binary" under [reading].')
    frame, checksum, fields = _layout(check, raw) if binary else (None, None, ())
    known_fields = [f.name for f in fields]
    for place, source in enumerate(columns):
        if binary and source not in known_fields:
            check.fail("names no field", "column", place, "source", source, nearest(source, known_fields))
    if "rate_Hz" in head:
        head["rate_Hz"] = float(head["rate_Hz"])
    return Reading(
        **head,
        columns=columns,
        frame=frame,
        checksum=checksum,
        fields=fields,
        path=None if file is None else str(file),
    )


def _column(check: _Check, place: int, row: dict[str, Any]) -> ReadingColumn:
    if "source" not in row:
        check.need("column", place, row, "source")
    unit = parse_unit(row.get("unit"))
    if "unit" in row and unit is None:
        mend = nearest(row["unit"], KNOWN_SPELLINGS) + " For another unit give its factor as scale instead."
        check.fail("has an unknown unit", "column", place, "unit", row["unit"], mend)
    if "channel" in row:
        channel = parse_channel(row["channel"])
        if channel is None:
            mend = nearest(row["channel"].split("_", 1)[-1], QUANTITIES) + " A channel is <part>_<quantity>_<unit>."
            check.fail("is no channel", "column", place, "channel", row["channel"], mend)
        fits = unit is None or _fits(parse_unit(row["unit"], channel.quantity.kind), channel.quantity.unit)
        if not fits:
            check.fail(
                "has a unit that does not fit its channel", "column", place, "unit", row["unit"],
                "Correct one of the two.", f"a unit that gives {channel.unit}",
            )  # fmt: skip
    if row.get("scale") == 0:
        check.fail("must not be zero", "column", place, "scale", 0, "Give the unit's worth of one count.")
    check.at_least("column", place, row, 1, "pole_pairs")
    sentinels = row.pop("sentinels", None)
    for value in sentinels or ():
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            check.fail("holds something that is no number", "column", place, "sentinels", value, "Keep numbers only.")
    for key in ("scale", "offset"):
        if key in row:
            row[key] = float(row[key])
    return ReadingColumn(**row, sentinels=None if sentinels is None else tuple(float(v) for v in sentinels))


def _fits(unit: Any, wanted: str) -> bool:
    return unit is not None and (unit.unit == wanted or (wanted == "1" and unit.kind == "percent"))


def _layout(
    check: _Check, raw: Mapping[str, Any]
) -> tuple[ReadingFrame, ReadingChecksum | None, tuple[ReadingField, ...]]:
    if "frame" not in raw:
        check.fail("lacks a table that it needs", "reading", 0, None, None, "Add: [frame] and length_bytes = …")
    row = check.table("frame", 0, raw["frame"])
    check.need("frame", 0, row, "length_bytes")
    check.at_least("frame", 0, row, 1, "length_bytes")
    check.at_least("frame", 0, row, 0, "skip_bytes")
    check.choice("frame", 0, row, "byte_order", ("little", "big"))
    try:
        sync = bytes.fromhex(row.pop("sync", ""))
    except ValueError:
        check.fail("is not hexadecimal", "frame", 0, "sync", raw["frame"]["sync"], 'Write it as "AA 55".')
    frame = ReadingFrame(**row, sync=sync)
    if len(sync) >= frame.length_bytes:
        check.fail("is longer than the frame", "frame", 0, "sync", raw["frame"]["sync"], "Correct length_bytes.")
    fields: dict[str, ReadingField] = {}
    for place, cells in enumerate(check.rows("field", raw.get("field", []))):
        for key in ("name", "offset_byte", "type"):
            check.need("field", place, cells, key)
        check.choice("field", place, cells, "type", tuple(FIELD_TYPES))
        check.at_least("field", place, cells, 0, "offset_byte", "bit")
        check.at_least("field", place, cells, 1, "bits")
        size = FIELD_TYPES[cells["type"]]
        if cells["offset_byte"] + size > frame.length_bytes:
            check.fail(
                "reaches past the end of the frame", "field", place, "offset_byte", cells["offset_byte"],
                "Correct the offset or length_bytes.", f"at most {frame.length_bytes - size}",
            )  # fmt: skip
        if cells.get("bit", 0) + cells.get("bits", 1) > size * 8:
            check.fail("reaches past its type", "field", place, "bit", cells.get("bit", 0), "Take a wider type.")
        if cells["name"] in fields:
            check.fail("is named twice", "field", place, "name", cells["name"], "Give each field its own name.")
        fields[cells["name"]] = ReadingField(**cells)
    if not fields:
        check.fail("lacks a table that it needs", "frame", 0, None, None, "Add a [[field]] for each value.")
    checksum = None
    if "checksum" in raw:
        row = check.table("checksum", 0, raw["checksum"])
        for key in ("kind", "at_byte"):
            check.need("checksum", 0, row, key)
        check.choice("checksum", 0, row, "kind", CHECKSUM_KINDS)
        check.choice("checksum", 0, row, "byte_order", ("little", "big"))
        _crc(check, row)
        check.at_least("checksum", 0, row, 0, "at_byte", "first_byte")
        from ingest.binary.layout import checksum_of

        checksum = ReadingChecksum(**row)
        most = frame.length_bytes - size_bytes(checksum_of(checksum))
        if checksum.at_byte > most:
            expected = f"at most {most}" if most >= 0 else "a longer frame"
            mend = "Correct at_byte or length_bytes."
            check.fail("reaches past the end of the frame", "checksum", 0, "at_byte", checksum.at_byte, mend, expected)
        if row.get("end_byte", 0) > frame.length_bytes:
            check.fail("reaches past the end of the frame", "checksum", 0, "end_byte", row["end_byte"], "Correct it.")
    return frame, checksum, tuple(fields.values())


def _crc(check: _Check, row: Mapping[str, Any]) -> None:
    """The parameters of kind "crc", which no other kind has."""
    if row["kind"] != "crc":
        for key in _CRC_KEYS:
            if key in row:
                mend = 'Write kind = "crc", or leave it out.'
                check.fail("belongs to another kind", "checksum", 0, key, row[key], mend)
        return
    for key in ("width_bits", "polynomial"):
        check.need("checksum", 0, row, key)
    if not 3 <= row["width_bits"] <= 32:
        check.fail("is not possible", "checksum", 0, "width_bits", row["width_bits"], "Correct the value.", "3 to 32")
    for key in ("polynomial", "start", "xor_out"):
        if not 0 <= row.get(key, 0) < 1 << row["width_bits"]:
            check.fail(
                "does not fit its width", "checksum", 0, key, row[key],
                "Leave out the polynomial's top term.", f"{row['width_bits']} bits",
            )  # fmt: skip
