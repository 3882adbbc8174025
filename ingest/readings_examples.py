"""The text of reading files: two complete commented examples, and one made from a log that was just inspected."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from ingest.log import Column, Provenance
    from ingest.readings import Reading

EXAMPLE_TEXT_READING: Final = """\
# How one kind of text log is read. Everything but `name` may be left out: what is not said here is worked out
# from the file. `afterbout inspect FILE --save-reading NAME` writes such a file from a log.
[reading]
name = "weapon-controller"
kind = "text"
# The header's names and units as one number; a file with the same header is read with this file by itself.
# fingerprint = "…64 hexadecimal digits, written by inspect --save-reading…"
file_name_hint = "weapon"      # settles it where two kinds of log have the same header
part = "weapon"                # the build's id for a column whose name tells no part
delimiter = ";"                # "," ";" "\\t" or "|"
decimal = ","                  # the decimal mark, "." or ","
encoding = "utf-8"
header_line = 14               # 1-based line with the names
units_line = 15                # and with the units, where there is such a line
first_data_line = 16
time_column = "t"
time_unit = "ms"               # s, ms, us, ns, min, h, or date
# rate_Hz = 100                # only where the file has no time column
note = "weapon controller, exported after each match"

[[column]]
source = "Ubat"                # the name exactly as the file writes it
channel = "weapon_voltage_V"   # <part>_<quantity>_<unit>
unit = "mV"                    # the unit in the file; it is converted

[[column]]
source = "I"
channel = "weapon_input_current_A"
unit = "A"
scale = -0.01                  # value in `unit` = source value * scale + offset; here hundredths, discharge negative
offset = 0.0

[[column]]
source = "RPM"
channel = "weapon_speed_rpm"   # at the motor shaft
unit = "erpm"
pole_pairs = 7                 # electrical revolutions divided by this

[[column]]
source = "T1"
channel = "weapon_temp_degC"
unit = "degF"
sentinels = [-127, 999]        # values that stand for "no value"; [] says that there is none

[[column]]
source = "dbg"
ignore = true
"""

EXAMPLE_BINARY_READING: Final = """\
# How one kind of binary telemetry of fixed-length frames is read.
[reading]
name = "drive-telemetry"
kind = "binary"
file_name_hint = "drive"
part = "left_drive"
time_column = "t"              # a field below; without one give rate_Hz
time_unit = "ms"
note = "home-made telemetry, one frame every 10 ms"

[frame]
length_bytes = 14              # sync, fields and checksum together
sync = "AA 55"                 # how every frame begins, in hexadecimal
byte_order = "little"          # or "big"
skip_bytes = 0                 # a file header before the first frame

[checksum]
kind = "crc16-ccitt"           # sum8, xor8, crc8, crc16-ccitt, crc16-modbus, crc32
first_byte = 2                 # over the bytes from here …
end_byte = 12                  # … up to, but without, this one
at_byte = 12                   # and it stands here
# Another cyclic check: kind = "crc" and its parameters, as the catalogue of CRC algorithms writes them
# width_bits = 16              # 3 to 32
# polynomial = 0x8005          # without its top term
# start = 0xFFFF
# reflect = true               # the lowest bit of each byte first
# xor_out = 0

[[field]]
name = "t"
offset_byte = 2                # from the frame's first byte
type = "u32"                   # u8 i8 u16 i16 u24 i24 u32 i32 u64 i64 f32 f64

[[field]]
name = "voltage"
offset_byte = 6
type = "u16"

[[field]]
name = "current"
offset_byte = 8
type = "i16"

[[field]]
name = "flags"
offset_byte = 10
type = "u8"
bit = 0                        # one bit of it, counted from the lowest
bits = 1

[[column]]
source = "voltage"             # a field's name
channel = "left_drive_voltage_V"
unit = "mV"

[[column]]
source = "current"
channel = "left_drive_input_current_A"
unit = "cA"                    # hundredths of an ampere

[[column]]
source = "flags"
channel = "link_failsafe_active"
"""


def quoted(text: str) -> str:
    """A text as TOML writes it between double quotes; what is no text in a file's name becomes "?"."""
    text = text.encode("utf-8", "replace").decode("utf-8")
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    return repr(value)


def column_lines(source: str, **keys: Any) -> str:
    """The lines of one [[column]] of a reading file, without an empty line at the end."""
    lines = ["[[column]]", f"source = {quoted(source)}"]
    return "\n".join([*lines, *(f"{key} = {toml_value(value)}" for key, value in keys.items() if value is not None)])


def reading_text(
    provenance: Provenance, answers: Mapping[str, Mapping[str, Any]], reading: Reading | None = None
) -> str:
    """See ingest.readings.reading_from."""
    from ingest.readings_binary_text import BINARY_FORMAT, binary_head, said_columns

    stem = provenance.file.replace("\\", "/").rsplit("/", 1)[-1]
    lines = [f"# How logs like {comment(stem)} are read. Correct what is wrong; delete what should be worked out."]
    clock = provenance.clock
    if provenance.format == BINARY_FORMAT:
        lines += binary_head(provenance, reading)
        answers = (said_columns(reading) if reading is not None else {}) | dict(answers)
    else:
        lines += _text_head(provenance, stem)
    seen: set[str] = set()
    for column in provenance.columns:
        if not column.source or column.source in seen or column.kind == "time":
            continue
        if clock is not None and column.source == clock.column:
            continue
        seen.add(column.source)
        lines += ["", *_column_text(column, answers.get(column.source))]
    return "\n".join(lines) + "\n"


def _text_head(provenance: Provenance, stem: str) -> list[str]:
    from ingest.readings import fingerprint

    dialect = provenance.dialect
    name = stem.rsplit(".", 1)[0] or "log"
    lines = ["[reading]"]
    lines += [f"name = {quoted(name)}", 'kind = "text"']
    mark = dialect.get("fingerprint")
    if mark is None and not dialect.get("units_line"):
        mark = fingerprint([(column.source, None) for column in provenance.columns])
    if mark is not None:
        lines.append(f"fingerprint = {quoted(str(mark))}    # the header's names and units")
    for key in ("encoding", "delimiter", "decimal"):
        if isinstance(dialect.get(key), str) and dialect[key]:
            lines.append(f"{key} = {quoted(dialect[key])}")
    for key in ("header_line", "units_line", "first_data_line"):
        if isinstance(dialect.get(key), int):
            lines.append(f"{key} = {dialect[key]}")
    clock = provenance.clock
    if clock is not None and clock.column:
        lines.append(f"time_column = {quoted(clock.column)}")
        if clock.unit in ("s", "ms", "us", "ns", "min", "h"):
            lines.append(f"time_unit = {quoted(clock.unit)}")
    elif clock is not None and clock.rate_Hz:
        lines.append(f"rate_Hz = {clock.rate_Hz!r}")
    return lines


def comment(text: str) -> str:
    """A text that may stand in a comment: without control characters, which TOML forbids there."""
    return "".join(c if c.isprintable() else " " for c in text)


def _column_text(column: Column, answer: Mapping[str, Any] | None) -> list[str]:
    about = [f"# {comment(line)}" for line in (column.why,) if line]
    if answer is not None:
        return column_lines(column.source, **answer).split("\n")
    if column.channel is None and column.sure in ("certain", "likely"):
        return [*about, f"# source = {quoted_comment(column.source)} is kept under its own name"]
    keys = {"channel": column.channel, "unit": column.source_unit, **_extra(column)}
    block = column_lines(column.source, **keys).split("\n")
    if column.sure in ("certain", "likely"):
        return [*about, *block]
    asked = [f"# {comment(line)}" for line in column.question.split("\n")]
    # a guess is not written as if somebody had said it
    return [*(asked or [*about, *(f"# {comment(line)}" for line in block)])]


def quoted_comment(text: str) -> str:
    return comment(quoted(text))


def _extra(column: Column) -> dict[str, float]:
    """scale and offset, only where the unit alone does not give them."""
    from ingest.channels import parse_channel
    from ingest.delimited.words_units import parse_unit

    channel = None if column.channel is None else parse_channel(column.channel)
    unit = parse_unit(column.source_unit, None if channel is None else channel.quantity.kind)
    scale, offset = (1.0, 0.0) if unit is None else (unit.scale, unit.offset)
    if abs(column.scale - scale) <= 1e-9 * abs(scale) and abs(column.offset - offset) <= 1e-9:
        return {}
    # the file's figure times `scale` plus `offset` must stand in the unit that is named
    return {"scale": column.scale / scale, "offset": (column.offset - offset) / scale}
