"""From a TOML description file to a checked model, with errors that name the file, line, key and the mend."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from ingest.description_words import ANY_MEND, KEY_MENDS, complaint_text, key_mend
from ingest.errors import DescriptionError
from ingest.places import place
from ingest.toml_lines import MAX_BYTES, KeyPath, key_lines, refuse_deep_keys

MAX_TABLES = 300  # our choice: the largest robot has some fifty runs; what is said of a tree takes their square
_MORE_SHOWN = 3

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True)
class Complaint:
    """One thing wrong at one key; `key` is added to the path where the key itself is missing."""

    path: KeyPath
    what: str
    found: object = None
    expected: str | None = None
    mend: str = ""
    key: str | None = None


@dataclass(frozen=True)
class Document:
    """A parsed description file: its values, and the line of each key."""

    file: str
    data: dict[str, Any]
    text: str = field(default="", repr=False)

    @cached_property
    def lines(self) -> Mapping[KeyPath, int]:
        """The line of each key; looked for when first asked for, as most files have nothing wrong."""
        try:
            return key_lines(self.text)
        except RecursionError:  # nested as deeply as the parser just bears: then the file alone is named
            return {}

    def line(self, path: KeyPath) -> int | None:
        """The line of a key, or of the nearest table around it; None where the file holds nothing."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return None

    def value(self, path: KeyPath) -> Any:
        return _follow(self.data, path)[1]

    def label(self, path: KeyPath, key: str | None = None) -> str:
        """`wire.battery_lead.gauge`: the id stands for the place in the list where there is one."""
        words: list[str] = []
        for length, part in enumerate(path, start=1):
            if isinstance(part, str):
                words.append(part)
                continue
            table = self.value(path[:length])
            name = table.get("id") if isinstance(table, dict) else None
            words.append(name if isinstance(name, str) else str(part + 1))
        return ".".join([*words, key] if key else words)

    def error(self, complaints: Sequence[Complaint]) -> DescriptionError:
        """One error for all complaints: the first in full, the others by their place."""
        # A missing key comes last: it is often the one that stands there misspelt.
        ordered = sorted(complaints, key=lambda c: (c.key is not None, self.line(c.path) or 0))
        first = ordered[0]
        places = list(dict.fromkeys(self._place(c) for c in ordered[1:]))
        mend = first.mend
        if places:
            shown = "; ".join(places[:_MORE_SHOWN]) + ("; …" if len(places) > _MORE_SHOWN else "")
            mend = f"{mend} Wrong too: {shown}.".strip()
        return DescriptionError(
            first.what,
            file=self.file,
            line=self.line(first.path),
            column=self.label(first.path, first.key) or None,
            found=_short(first.found),
            expected=first.expected,
            mend=mend,
        )

    def _place(self, complaint: Complaint) -> str:
        return f"line {self.line(complaint.path)} {self.label(complaint.path, complaint.key)}".strip()


def read_document(path: str | Path) -> Document:
    """A description file. Raises DescriptionError for anything that is not a small, valid TOML text in UTF-8."""
    return parse_document(read_description(path), file=path)


def read_description(path: str | Path) -> str:
    """The text of a description file, its line ends as they stand. Raises DescriptionError."""
    file = place(path)
    try:
        with file.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise DescriptionError("there is no such file", file=path, mend="Check the name.") from None
    except IsADirectoryError:
        raise DescriptionError("is a folder, not a file", file=path, mend="Name a .toml file in it.") from None
    except OSError as error:
        why = error.strerror or str(error)
        raise DescriptionError(f"cannot be read: {why}", file=path, mend="Check its permissions.") from None
    except ValueError:  # a NUL in the name
        raise DescriptionError("is not a file name", file=path, mend="Check the name.") from None
    if len(raw) > MAX_BYTES:
        raise DescriptionError(
            "is too large for a description", file=path, expected=f"at most {MAX_BYTES} bytes",
            mend="Name the .toml file, not the log.",
        )  # fmt: skip
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise DescriptionError(
            "is not text in UTF-8", file=path, line=line, byte=error.start,
            found=raw[error.start : error.start + 8], mend="Save it as UTF-8 in your editor.",
        ) from None  # fmt: skip


def parse_document(text: str, *, file: object) -> Document:
    """A TOML text with the line of each key. Raises DescriptionError with the line of a syntax error."""
    if not text.strip():
        raise DescriptionError("is empty", file=file, mend="Copy one that `afterbout new` made and change its figures.")
    try:
        refuse_deep_keys(text)
        data = tomllib.loads(text)
        json.dumps(data, default=str)  # what is nested too deeply for us fails here, not later
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(str(error), text, file) from None
    except RecursionError:
        raise DescriptionError("is nested too deeply", file=file, mend="Write plain tables.") from None
    except ValueError as error:  # an integer of thousands of digits
        raise DescriptionError(f"holds a value that cannot be read: {error}", file=file, mend=ANY_MEND) from None
    return Document(str(file), data, text)


def _syntax_error(message: str, text: str, file: object) -> DescriptionError:
    found = re.search(r"^(?P<what>.*?) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)", message)
    if found is None:
        return DescriptionError(f"is not valid TOML: {message}", file=file, mend=ANY_MEND)
    rows = text.splitlines() or [""]
    line = int(found["line"]) if found["line"] else len(rows)
    row = rows[min(line, len(rows)) - 1].strip()
    what = found["what"][:1].lower() + found["what"][1:]
    return DescriptionError(
        f"is not valid TOML: {what}",
        file=file,
        line=line,
        column=f"column {found['column']}" if found["column"] else None,
        found=_short(row),
        mend=next((mend for start, mend in KEY_MENDS if found["what"].startswith(start)), ANY_MEND),
    )


def check_tables(document: Document, known: Mapping[str, str]) -> None:
    """Every top-level name is known and of the right form: "table", "list" (of tables), "either" or "value"."""
    complaints = []
    for name, value in document.data.items():
        form = known.get(name)
        if form is None:
            mend = key_mend(name, [f"{key}" for key in known])
            complaints.append(Complaint((name,), f'there is no "{name}" in this kind of file', mend=mend))
        elif form == "table" and not isinstance(value, dict):
            complaints.append(Complaint((name,), "is not one table", mend=f"Write it once, as [{name}]."))
        elif form == "list" and not _is_list_of_tables(value):
            complaints.append(Complaint((name,), "is not a list of tables", mend=f"Write [[{name}]], twice bracketed."))
        elif isinstance(value, list) and len(value) > MAX_TABLES:
            what = f"is a list of {len(value):,} tables"
            most = f"at most {MAX_TABLES}"
            complaints.append(Complaint((name,), what, expected=most, mend="Leave out what is not fitted."))
        elif form == "either" and not (isinstance(value, dict) or _is_list_of_tables(value)):
            complaints.append(Complaint((name,), "is not a table", mend=f"Write [{name}] or several [[{name}]]."))
    if complaints:
        raise document.error(complaints)


def need_table(document: Document, name: str, what: str) -> dict[str, Any]:
    table = document.data.get(name)
    if table is None:
        raise document.error([Complaint((), f"has no [{name}]", mend=f"{what} starts with [{name}] and its id.")])
    assert isinstance(table, dict)  # check_tables has seen to it
    return table


def _is_list_of_tables(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(entry, dict) for entry in value)


def build_model(
    model: type[Model],
    data: Mapping[str, Any],
    document: Document,
    to_file: Callable[[KeyPath], KeyPath] = lambda path: path,
) -> Model:
    """The model of `data`, strictly: no text for a number, no number for a flag. "unknown" is the same as left out.

    to_file turns a place in `data` into the place in the file. Raises DescriptionError.
    """
    misnamed: list[Complaint] = []
    kept = _prepared(data, model, (), misnamed, to_file)
    try:
        made = model.model_validate_json(json.dumps(kept, default=str), strict=True)
    except ValidationError as error:
        raise document.error(misnamed + _complaints(error, model, document, to_file)) from None
    if misnamed:
        raise document.error(misnamed)
    return made


def _prepared(
    value: Any,
    model: type[BaseModel] | None,
    path: KeyPath,
    misnamed: list[Complaint],
    to_file: Callable[[KeyPath], KeyPath],
) -> Any:
    """The values without those that are "unknown" (where a field may be), and complaints about inner names."""
    if isinstance(value, list):
        return [_prepared(entry, model, (*path, i), misnamed, to_file) for i, entry in enumerate(value)]
    if not isinstance(value, Mapping) or model is None:
        return value
    kept = {}
    for key, entry in value.items():
        name, found = _field(model, key)
        if found is not None and found.alias is not None and found.alias != key and name == key:
            mend = f'Did you mean "{found.alias}"?'
            misnamed.append(Complaint(to_file((*path, key)), f'"{key}" is not a key here', mend=mend))
        if isinstance(entry, str) and entry == "unknown" and found is not None and not found.is_required():
            continue
        inner = None if found is None else _model_in(found.annotation)
        kept[key] = _prepared(entry, inner, (*path, key), misnamed, to_file)
    return kept


def _complaints(
    error: ValidationError,
    model: type[BaseModel],
    document: Document,
    to_file: Callable[[KeyPath], KeyPath],
) -> list[Complaint]:
    by_place: dict[tuple[KeyPath, str | None], Complaint] = {}
    for fault in error.errors():
        place = to_file(tuple(fault["loc"]))
        path, found = _follow(document.data, place)
        key = str(place[-1]) if fault["type"] == "missing" else None
        if fault["type"] == "extra_forbidden":
            what, expected = f'"{path[-1]}" is not a key of [{document.label(path[:-1])}]', None
            mend, found = key_mend(str(path[-1]), _keys_at(model, fault["loc"][:-1])), None
        else:
            what, expected, mend = complaint_text(fault, str(path[-1]) if path else "", found)
            found = None if fault["type"] == "missing" else found
        by_place.setdefault((path, key), Complaint(path, what, found, expected, mend, key))
    return list(by_place.values())


def _field(model: type[BaseModel], key: object) -> tuple[str, FieldInfo | None]:
    """The field that a key of a file, or its name in Python, stands for."""
    for name, found in model.model_fields.items():
        if key == (found.alias or name) or key == name:
            return name, found
    return "", None


def _keys_at(model: type[BaseModel], where: Iterable[str | int]) -> list[str]:
    """The keys a user may write in the table at a place of a model."""
    here: type[BaseModel] | None = model
    for part in where:
        if isinstance(part, str) and here is not None:
            found = _field(here, part)[1]
            here = None if found is None else _model_in(found.annotation)
    fields = {} if here is None else here.model_fields
    return [f.alias or n for n, f in fields.items() if n != "source_name"]


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_in(inner)
        if found is not None:
            return found
    return None


def _follow(data: Any, path: KeyPath) -> tuple[KeyPath, Any]:
    """As far along a path as the data go, and what stands there."""
    here = data
    for length, part in enumerate(path):
        in_table = isinstance(here, dict) and part in here
        in_list = isinstance(here, list) and isinstance(part, int) and part < len(here)
        if not (in_table or in_list):
            return path[:length], here
        here = here[part]
    return path, here


def _short(found: object) -> object:
    if isinstance(found, str) and len(found) > 60:
        return found[:57] + "…"
    if isinstance(found, dict | list) and len(repr(found)) > 60:
        return repr(found)[:57] + "…"
    return found
