"""Writing TOML: single values, and changes to a user's file that keep the rest of it as it stands."""

from __future__ import annotations

import copy
import datetime as dt
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ingest.errors import DescriptionError

Table = Mapping[str, Any]


def toml_string(text: str) -> str:
    """A TOML basic string on one line."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'


def toml_value(value: object) -> str:
    """Text, number, flag, date, or a list of them."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return toml_string(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(entry) for entry in value) + "]"
    return repr(value)


def table_text(header: str, table: Table) -> str:
    """`[[log]]` and its keys, one on a line."""
    return "\n".join([header, *(f"{key} = {toml_value(value)}" for key, value in table.items())]) + "\n"


def edit(
    text: str,
    *,
    file: object,
    keys: Mapping[tuple[str | int, ...], Table] | None = None,
    append: Sequence[tuple[str, Table]] = (),
) -> str:
    """A TOML text with keys set and tables appended to arrays of tables; remarks, order and line ends stay.

    keys    path of an existing table -> the keys to set in it; None takes a key out
    append  (name, table): written as [[name]] at the end of the text

    The result is read back and compared; raises DescriptionError where the text's form does not allow the change.
    """
    ends = "\r\n" if text.count("\r\n") * 2 > text.count("\n") else "\n"
    plain = text.replace("\r\n", "\n")
    wanted: dict[str, Any] = copy.deepcopy(tomllib.loads(plain))
    if keys:
        plain = _with_keys(plain, keys, wanted)
    for name, table in append:
        wanted.setdefault(name, []).append(dict(table))
        separator = "" if not plain else "\n" if plain.endswith("\n") else "\n\n"
        plain += separator + table_text(f"[[{name}]]", table)
    try:
        read_back = tomllib.loads(plain)
    except tomllib.TOMLDecodeError:
        read_back = {}
    if read_back != wanted:
        names = ", ".join(f"[[{name}]]" for name, _ in append) or "one key on a line"
        raise DescriptionError(
            "is written in a form that cannot be added to", file=file, mend=f"Write lists of tables as {names}."
        )
    return plain.replace("\n", ends)


def _with_keys(plain: str, keys: Mapping[tuple[str | int, ...], Table], wanted: dict[str, Any]) -> str:
    try:
        document: Any = tomlkit.parse(plain)
    except TOMLKitError:  # it reads a little less than the standard library's reader
        return plain  # the comparison then refuses the file
    for path, table in keys.items():
        here: Any = document
        there: Any = wanted
        for part in path:
            here, there = here[part], there[part]
        for key, value in table.items():
            if value is None:
                here.pop(key, None)
                there.pop(key, None)
            else:
                here[key] = value
                there[key] = value
    return tomlkit.dumps(document)
