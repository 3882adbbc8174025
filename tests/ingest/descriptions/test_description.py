"""Lines of keys, strict loading, and errors that say file, line, key, what was found and the mend."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.description import MAX_BYTES, parse_document, read_document
from ingest.errors import AfterboutError, DescriptionError
from ingest.toml_lines import KeyPath, key_lines
from ingest.toml_text import edit, table_text, toml_string, toml_value

# Lines of keys

EVERY_FORM = '''# remark with = and [brackets]
title = "a # no remark"   # a remark
"quoted key" = 1
'single.quoted' = 2
a.b.c = 3
a."d e" = [1,
  2, # two
  [3, "]"],
]
text = """
[not a table]
key = 1
"quoted" \\""" still
"""
more = """ends with quotes"""""
raw = \'\'\'
[[nor this]]
\'\'\'
inline = { x = 1, y = { z = "}" }, list = [{ k = 1 }, { k = 2 }] }
when = 2026-05-09 14:20:00
[table]
x = 1
[ table . "sub table" ]
y = 2

[[wire]]
id = "one"
[[wire]]

id = "two"
[wire.extra]
z = 3
[[wire.part]]
n = 1
[[ wire . part ]]
n = 2
'''


def test_every_form_of_toml_is_walked() -> None:
    lines = key_lines(EVERY_FORM)
    rows = EVERY_FORM.splitlines()
    expected: dict[KeyPath, str] = {
        ("title",): "title =", ("quoted key",): '"quoted key"', ("single.quoted",): "'single", ("a", "b", "c"): "a.b.c",
        ("a", "d e"): 'a."d e"', ("a", "d e", 1): "  2,", ("a", "d e", 2, 1): "  [3", ("text",): "text =",
        ("more",): "more", ("raw",): "raw", ("inline", "y", "z"): "inline", ("inline", "list", 1, "k"): "inline",
        ("when",): "when", ("table",): "[table]", ("table", "x"): "x = 1", ("table", "sub table"): "[ table .",
        ("table", "sub table", "y"): "y = 2", ("wire", 0, "id"): 'id = "one"', ("wire", 1): "[[wire]]",
        ("wire", 1, "id"): 'id = "two"', ("wire", 1, "extra", "z"): "z = 3", ("wire", 1, "part", 1): "[[ wire",
        ("wire", 1, "part", 1, "n"): "n = 2",
    }  # fmt: skip
    for path, start in expected.items():
        assert rows[lines[path] - 1].startswith(start), path
    assert lines["wire", 1] == rows.index('id = "two"') - 1


def paths(value: Any, base: KeyPath = ()) -> set[KeyPath]:
    found = {base} if base else set()
    if isinstance(value, dict):
        for key, entry in value.items():
            found |= paths(entry, (*base, key))
    elif isinstance(value, list):
        for i, entry in enumerate(value):
            found |= paths(entry, (*base, i))
    return found


_TEXT = st.text(st.characters(blacklist_categories=["Cs", "Cc"]), max_size=12)
_KEYS = st.one_of(st.from_regex(r"[A-Za-z0-9_-]{1,6}", fullmatch=True), _TEXT.filter(bool))
_LEAVES = st.one_of(
    st.integers(-(2**60), 2**60), st.booleans(), _TEXT, st.floats(allow_nan=False, allow_infinity=False), st.dates()
)
_VALUES = st.recursive(
    _LEAVES,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_KEYS, inner, max_size=3)),
    max_leaves=12,
)


@given(st.dictionaries(_KEYS, _VALUES, max_size=5))
@settings(max_examples=150, deadline=None)
def test_every_value_of_any_text_has_a_line_and_no_other_has(data: dict[str, Any]) -> None:
    text = tomlkit.dumps(data)
    if tomllib.loads(text) != data:  # the library that makes the text has faults of its own
        return
    lines = key_lines(text)
    assert set(lines) == paths(data)
    count = text.count("\n") + 1
    assert all(1 <= line <= count for line in lines.values())


@given(st.text(max_size=200))
@settings(max_examples=200, deadline=None)
def test_any_text_loads_or_is_refused_with_an_error_of_ours(text: str) -> None:
    try:
        parse_document(text, file="x.toml")
    except DescriptionError as error:
        assert error.file == "x.toml" and error.mend


# What is no description


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"", r"is empty.*Copy one that `afterbout new` made"),
        (b" \n\t\n", "is empty"),
        (b"[build]\nid = \"\xe9\"\n", r"line 2, byte 14: is not text in UTF-8.*Save it as UTF-8"),
        ("[build]\nid = 1".encode("utf-16"), r"is not text in UTF-8"),
        (b"a = 1\n" + b"#" * MAX_BYTES, r"is too large for a description; expected at most 1000000 bytes"),
        (b"a = " + b"[" * 100_000, r"nested too deeply|is not valid TOML"),
        (b"a = " + b"[" * 500 + b"]" * 500, r"nested too deeply"),
        (b"a = " + b"1" * 5000, r"a value that cannot be read"),
        (b"[build]\nid = b\n", r"line 2, column 6: is not valid TOML: invalid value \(found 'id = b'\).*in quotes"),
        (b"[build]\nid = \"b\n", r"line 2, column \d+: is not valid TOML.*quotes"),
        (b"[build\n", r"line 1, column \d+: is not valid TOML"),
        (b"[build]\nid = 1\nid = 2\n", r"line 3, column \d+: is not valid TOML.*stands twice"),
        (b"[build]\n[build]\n", r"line 2, column \d+: is not valid TOML.*stands twice"),
        (b"[build]\nid\n", r"line 2.*is not valid TOML.*key = value"),
        (b"x = [1, 2\n", r"is not valid TOML.*closing \] is missing"),
        (b"x = 2026-02-30\n", r"line 1.*no such day"),
        (b"x = 2026-13-45\n", r"line 1.*a date is written 2026-05-09"),
        (b"x = 220 mm\n", r"line 1.*a figure without its unit"),
        (b"x = 1 y = 2\n", r"line 1.*One key on a line"),
        (b"a = 1\x00\n", r"is not valid TOML"),
    ],
)  # fmt: skip
def test_what_is_no_description_is_refused_with_its_place(tmp_path: Path, raw: bytes, message: str) -> None:
    path = tmp_path / "b.toml"
    path.write_bytes(raw)
    with pytest.raises(DescriptionError, match=message) as caught:
        read_document(path)
    assert str(path) in str(caught.value) and caught.value.mend


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match=r"there is no such file.*Check the name"):
        read_document(tmp_path / "none.toml")
    with pytest.raises(DescriptionError, match="is a folder"):
        read_document(tmp_path)
    with pytest.raises(DescriptionError, match="is not a file name"):
        read_document("a\0b")


def test_a_byte_order_mark_and_the_line_ends_of_another_system_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    path.write_bytes(b'\xef\xbb\xbf[build]\r\nid = "b"\r\nx = """a\r\nb"""\r\ny = 1\r\n')
    document = read_document(path)
    assert document.data == {"build": {"id": "b", "x": "a\nb", "y": 1}}
    assert document.line(("build", "y")) == 5


def test_the_line_of_a_missing_key_is_its_table_and_labels_use_ids() -> None:
    document = parse_document('a = 1\n[[wire]]\nid = "lead"\n[[wire]]\nx = 1\n', file="f")
    assert document.line(("wire", 0, "gauge")) == 2 and document.line(("nothing",)) is None
    assert document.label(("wire", 0, "gauge")) == "wire.lead.gauge"
    assert document.label(("wire", 1, "x")) == "wire.2.x"


# Writing


@given(_TEXT)
def test_text_survives_being_written(text: str) -> None:
    assert tomllib.loads(f"x = {toml_string(text)}")["x"] == text


@given(st.text(st.characters(blacklist_categories=["Cs"]), max_size=20))
def test_control_characters_are_escaped(text: str) -> None:
    assert tomllib.loads(f"x = {toml_string(text)}")["x"] == text


@given(st.one_of(_LEAVES, st.lists(st.one_of(st.integers(), _TEXT), max_size=4)))
def test_values_survive_being_written(value: object) -> None:
    assert tomllib.loads(f"x = {toml_value(value)}")["x"] == value


_TABLES = st.dictionaries(st.from_regex(r"[a-z_]{1,6}", fullmatch=True), st.one_of(_TEXT, st.integers()), min_size=1)


@given(st.lists(_TABLES, max_size=3), st.lists(_TABLES, min_size=1, max_size=3), st.sampled_from(["\n", "\r\n"]))
@settings(max_examples=80, deadline=None)
def test_appending_keeps_everything_else(before: list[dict[str, Any]], added: list[dict[str, Any]], end: str) -> None:
    text = "# remark\n[match]\nid = 1 # one\n" + "".join(table_text("[[log]]", table) for table in before)
    text = text.replace("\n", end)
    changed = edit(text, file="f", keys={("match",): {"new": "x"}}, append=[("log", table) for table in added])
    assert tomllib.loads(changed) == {"match": {"id": 1, "new": "x"}, "log": before + added}
    assert "# remark" in changed and "id = 1 # one" in changed
    assert changed.count("\r\n") == (changed.count("\n") if end == "\r\n" else 0)


def test_a_key_can_be_taken_out_and_a_form_that_cannot_be_added_to_is_refused() -> None:
    assert edit("[match]\nid = 1\nx = 2\n", file="f", keys={("match",): {"x": None}}) == "[match]\nid = 1\n"
    with pytest.raises(DescriptionError, match=r"form that cannot be added to.*\[\[log\]\]"):
        edit("log = [{a = 1}]\n", file="f", append=[("log", {"a": 2})])


def test_every_error_of_ours_prints_in_one_line_with_its_mend() -> None:
    with pytest.raises(AfterboutError) as caught:
        parse_document("x = ", file="f.toml")
    assert "\n" not in str(caught.value) and str(caught.value).endswith(".")
