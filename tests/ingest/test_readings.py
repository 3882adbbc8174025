"""Reading files: what they hold, how their mistakes are told, and how they are found again."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import ReadingError
from ingest.log import Clock, Column, Provenance
from ingest.readings import (
    EXAMPLE_BINARY_READING,
    EXAMPLE_TEXT_READING,
    Reading,
    find_reading,
    fingerprint,
    load_reading,
    parse_reading,
    reading_from,
)

MARK = "ab" * 32


def test_the_text_example_loads() -> None:
    reading = parse_reading(EXAMPLE_TEXT_READING)
    assert (reading.name, reading.kind, reading.part) == ("weapon-controller", "text", "weapon")
    assert (reading.header_line, reading.units_line, reading.first_data_line) == (14, 15, 16)
    assert reading.columns["RPM"].pole_pairs == 7
    assert reading.columns["T1"].sentinels == (-127.0, 999.0)
    assert reading.columns["dbg"].ignore
    assert reading.columns["I"].scale == -0.01


def test_the_binary_example_loads() -> None:
    reading = parse_reading(EXAMPLE_BINARY_READING)
    assert reading.frame is not None and reading.checksum is not None
    assert (reading.frame.length_bytes, reading.frame.sync) == (14, b"\xaa\x55")
    assert [f.name for f in reading.fields] == ["t", "voltage", "current", "flags"]
    assert reading.checksum.kind == "crc16-ccitt"


@pytest.mark.parametrize("example", [EXAMPLE_TEXT_READING, EXAMPLE_BINARY_READING])
def test_the_examples_name_every_key(example: str) -> None:
    from ingest import readings_check

    tables = ("reading", "column", "frame", "checksum", "field")
    used = EXAMPLE_TEXT_READING + EXAMPLE_BINARY_READING
    for table in tables:
        for key in readings_check._TABLES[table]:
            assert f"{key} =" in used, f"[{table}] {key}"
    assert example.isprintable() or all(c.isprintable() or c == "\n" for c in example)


HEAD = '[reading]\nname = "r"\n'
WRONG = [
    # text, line, column, part of the message, part of the mend
    ("# nothing", 1, None, "no [reading] table", "[reading]"),
    ("[reading]\nname = 'a", 2, None, "not valid TOML", "quotes"),
    ("[reding]\nname = 'a'", 1, "[reding]", "unknown table", '"reading"'),
    ("[reading]\n\nnme = 'a'", 3, "[reading] nme", "unknown key", '"name"'),
    ("[reading]\nkind = 'text'", 1, "[reading]", "lacks a key", "name"),
    (HEAD + "kind = 'txt'", 3, "[reading] kind", "not known", '"text"'),
    (HEAD + "header_line = 0", 3, "[reading] header_line", "too small", "Correct"),
    (HEAD + "header_line = true", 3, "[reading] header_line", "wrong kind", "Correct"),
    (HEAD + "header_line = 1.5", 3, "[reading] header_line", "wrong kind", "Correct"),
    (HEAD + "rate_Hz = 0", 3, "[reading] rate_Hz", "above zero", "samples per second"),
    (HEAD + "rate_Hz = inf", 3, "[reading] rate_Hz", "ordinary number", "Correct"),
    (HEAD + "decimal = ';'", 3, "[reading] decimal", "not known", "Known"),
    (HEAD + "time_unit = 'sec'", 3, "[reading] time_unit", "not known", "Known: date"),
    (HEAD + "fingerprint = 'abc'", 3, "[reading] fingerprint", "no fingerprint", "--save-reading"),
    (HEAD + "part = 'Left Drive'", 3, "[reading] part", "not an id", "small letters"),
    ("column = 3\n" + HEAD, 1, "[column]", "two brackets", "[[column]]"),
    (HEAD + "[[column]]\nunit = 'V'", 3, "[column]", "lacks a key", "source"),
    (HEAD + "[[column]]\nsource='a'\n\n[[column]]\nsource='b'\nunit='mVV'",
        8, "[column] unit", "unknown unit", '"mV"'),
    (HEAD + "[[column]]\nsource='a'\nchannel='weapon_volt_V'", 5, "[column] channel", "no channel", "voltage_V"),
    (
        HEAD + "[[column]]\nsource='a'\nchannel='pack_voltage_V'\nunit='A'",
        6, "[column] unit", "does not fit", "Correct",
    ),
    (HEAD + "[[column]]\nsource='a'\nscale=0", 5, "[column] scale", "zero", "count"),
    (HEAD + "[[column]]\nsource='a'\nsentinels=[1, 'x']", 5, "[column] sentinels", "no number", "numbers only"),
    (HEAD + "[[column]]\nsource='a'\n[[column]]\nsource='a'", 6, "[column] source", "twice", "one of them"),
    (
        HEAD + "[[column]]\nsource='a'\nchannel='pack_voltage_V'\n[[column]]\nsource='b'\nchannel='pack_voltage_V'",
        8, "[column] channel", "one channel to two columns", '"a"',
    ),
    (HEAD + "[frame]\nlength_bytes = 4", 3, "[frame]", "binary reading", 'kind = "binary"'),
    (HEAD + "kind = 'binary'", 1, "[reading]", "lacks a table", "[frame]"),
    (HEAD + "kind='binary'\n[frame]\nlength_bytes=4", 4, "[frame]", "lacks a table", "[[field]]"),
    (HEAD + "kind='binary'\n[frame]\nlength_bytes=4\nsync='XY'", 6, "[frame] sync", "hexadecimal", "AA 55"),
    (
        HEAD + "kind='binary'\n[frame]\nlength_bytes=4\n[[field]]\nname='a'\noffset_byte=2\ntype='u32'",
        8, "[field] offset_byte", "past the end", "length_bytes",
    ),
    (
        HEAD + "kind='binary'\n[frame]\nlength_bytes=4\n[[field]]\nname='a'\noffset_byte=0\ntype='u33'",
        9, "[field] type", "not known", '"u32"',
    ),
    *(
        (
            HEAD + f"kind='binary'\n[frame]\nlength_bytes=8\n[[field]]\nname='a'\noffset_byte=0\ntype='u16'\n"
            f"[checksum]\nkind='{kind}'\nat_byte={at}",
            12, "[checksum] at_byte", "past the end", f"at most {most}",
        )
        for kind, at, most in (("sum8", 8, 7), ("crc16-modbus", 7, 6), ("crc32", 5, 4))
    ),
    (
        HEAD + "kind='binary'\n[frame]\nlength_bytes=4\n[[field]]\nname='volts'\noffset_byte=0\ntype='u32'\n"
        "[[column]]\nsource='volt'",
        11, "[column] source", "names no field", '"volts"',
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "column", "what", "mend"), WRONG)
def test_mistakes_are_told_with_line_key_and_mend(
    text: str, line: int, column: str | None, what: str, mend: str
) -> None:
    with pytest.raises(ReadingError) as caught:
        parse_reading(text, file="r.toml")
    assert (caught.value.file, caught.value.line, caught.value.column) == ("r.toml", line, column)
    assert what in caught.value.what
    assert mend in caught.value.mend or mend in str(caught.value.expected)


def test_a_key_inside_a_long_text_is_no_key() -> None:
    text = HEAD + 'note = """\nkind = "oops"\n"""\nkind = "txt"\n'
    with pytest.raises(ReadingError) as caught:
        parse_reading(text)
    assert caught.value.line == 6


@pytest.mark.parametrize(
    ("content", "what"), [(None, "no such"), (b"\xff\xfe\x00", "UTF-8"), (b"", "no [reading]"), (b"\x00", "TOML")]
)
def test_files_that_cannot_be_read(tmp_path: Path, content: bytes | None, what: str) -> None:
    path = tmp_path / "r.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ReadingError, match=r".") as caught:
        load_reading(path)
    assert what in caught.value.what and caught.value.file == str(path)


def test_a_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(ReadingError, match="folder"):
        load_reading(tmp_path)


def test_a_byte_order_mark_and_other_line_ends_load(tmp_path: Path) -> None:
    path = tmp_path / "r.toml"
    path.write_bytes(b"\xef\xbb\xbf" + EXAMPLE_TEXT_READING.replace("\n", "\r\n").encode())
    assert load_reading(path).columns["T1"].unit == "degF"


@given(st.text(max_size=60))
def test_any_text_loads_or_is_told(text: str) -> None:
    try:
        reading = parse_reading(text)
    except ReadingError as error:
        assert str(error)
    else:
        assert isinstance(reading, Reading)


# fingerprints


def test_the_fingerprint_does_not_see_case_space_and_quotes() -> None:
    one = fingerprint([("Voltage [V]", None), ("Current", "A")])
    assert one == fingerprint([('"voltage  [v]" ', ""), (" CURRENT", " a ")])
    assert one != fingerprint([("Current", "A"), ("Voltage [V]", None)])
    assert one != fingerprint([("Voltage [V]", None), ("Current", "mA")])
    assert len(one) == 64


@given(st.lists(st.tuples(st.text(max_size=8), st.text(max_size=4)), max_size=4))
def test_a_fingerprint_keeps_names_and_units_apart(columns: list[tuple[str, str | None]]) -> None:
    assert fingerprint(columns) == fingerprint(list(columns))
    assert fingerprint([*columns, ("x1", "y")]) != fingerprint([*columns, ("x", "1y")])


def test_a_reading_is_found_by_fingerprint_and_file_name() -> None:
    one = Reading("one", fingerprint=MARK)
    left = Reading("left", fingerprint=MARK, file_name_hint="left")
    right = Reading("right", fingerprint=MARK, file_name_hint="Right")
    assert find_reading([one], MARK) is one
    assert find_reading([one], "0" * 64) is None
    assert find_reading([left, right], MARK, "m06_right.csv") is right
    assert find_reading([left, right], MARK, "weapon.csv") is None
    assert find_reading([one, left], MARK, "weapon.csv") is one
    assert find_reading([one, one], MARK, "weapon.csv") is None


# a reading file made from a log


def _column(source: str, channel: str | None, source_unit: str | None, **more: object) -> Column:
    base = Column(source, "number", "voltage", channel, "V", source_unit, "certain", "the words say so")
    return replace(base, **more)  # type: ignore[arg-type]


PROVENANCE = Provenance(
    file="logs/weapon.csv",
    sha256=MARK,
    format="delimited text",
    dialect={"encoding": "utf-8", "delimiter": ";", "decimal": ",", "header_line": 3, "units_line": None,
             "first_data_line": 4},
    columns=(
        _column("t", None, "ms", quantity="time"),
        _column("Ubat", "pack_voltage_V", "mV", scale=0.001),
        _column("I", "pack_current_A", "A", scale=-1.0, quantity="current", unit="A"),
        _column("Throttle", "weapon_command_pct", "us", scale=0.1, offset=-100.0, quantity="command", unit="%"),
        _column("Temp", None, None, sure="unknown", question='Which unit?\n[[column]]\nsource = "Temp"'),
        _column("bar [bar]", None, "bar", quantity="pressure"),
        _column('odd "name"\\ \n', "weapon_voltage_V", "V"),
        _column("", "x_voltage_V", "V"),
    ),
    clock=Clock("t", "ms", "certain", 0.0, 10.0, 100.0),
)  # fmt: skip


def test_a_reading_written_from_a_log_reads_it_the_same_way() -> None:
    text = reading_from(PROVENANCE, {"Temp": {"channel": "weapon_temp_degC", "unit": "degF"}})
    reading = parse_reading(text)
    assert (reading.name, reading.delimiter, reading.decimal, reading.time_column) == ("weapon", ";", ",", "t")
    assert (reading.time_unit, reading.header_line, reading.first_data_line) == ("ms", 3, 4)
    assert reading.fingerprint == fingerprint([(c.source, None) for c in PROVENANCE.columns])
    assert reading.columns["Ubat"].unit == "mV" and reading.columns["Ubat"].scale is None
    assert reading.columns["I"].scale == -1.0
    assert reading.columns["Temp"].unit == "degF"
    throttle = reading.columns["Throttle"]
    assert throttle.scale is not None and throttle.offset is not None
    assert 0.2 * (1500.0 * throttle.scale + throttle.offset) - 300.0 == pytest.approx(50.0)
    assert 'odd "name"\\ \n' in reading.columns


def test_what_is_only_asked_is_not_written_as_said() -> None:
    text = reading_from(PROVENANCE, None)
    assert "Temp" not in parse_reading(text).columns
    assert '# source = "Temp"' in text


def test_a_binary_log_keeps_its_layout() -> None:
    """Written again from the reading it was read with; without that there is nothing to write."""
    declared = parse_reading(EXAMPLE_BINARY_READING)
    about = replace(PROVENANCE, format="binary telemetry", reading=declared.name, dialect={}, columns=(
        _column("voltage", "left_drive_voltage_V", "mV", scale=1e-3), _column("flags", None, None),
    ))  # fmt: skip
    written = parse_reading(reading_from(about, reading=declared))
    assert (written.kind, written.frame, written.checksum) == ("binary", declared.frame, declared.checksum)
    assert (written.fields, written.time_column, written.time_unit) == (declared.fields, "t", "ms")
    assert written.columns["voltage"] == declared.columns["voltage"]
    with pytest.raises(ReadingError, match="is binary") as refused:
        reading_from(about)
    assert "drive-telemetry" in refused.value.mend


@given(st.text(max_size=20), st.text(max_size=20))
def test_any_name_can_be_written(source: str, file: str) -> None:
    column = _column(source, "pack_voltage_V", "V", why=file)
    text = reading_from(replace(PROVENANCE, file=file, columns=(column,), clock=None), None)
    reading = parse_reading(text)
    assert list(reading.columns) == ([source] if source else [])
    assert json.dumps(reading.name)


def test_the_document_names_every_key() -> None:
    from ingest import readings_check

    text = (Path(__file__).parents[2] / "docs" / "readings.md").read_text("utf-8")
    for table, keys in readings_check._TABLES.items():
        assert f"[{table}]" in text
        for key in keys:
            assert f"`{key}`" in text, f"[{table}] {key}"
    for word in (*readings_check.CHECKSUM_KINDS, *readings_check.FIELD_TYPES, *readings_check.TIME_UNITS):
        assert f"`{word}`" in text, word
