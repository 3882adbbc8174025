"""The tables of ratings and physical constants: read, checked, looked up. Each value has its source.

The values stand in `ratings_data/*.csv`, one source per row:

    name, key     which value ("fuse_opening_min", "ISO 8820-3 | 1.35")
    value, unit   the figure; a row with a unit this module does not know is an error
    conditions    ambient, duration, material
    document, edition, where, kind    the source; document and kind are never empty

`kind` is one of KINDS. A row without a source, with a repeated name and key, or with a value that is not a
finite number makes the first use of any rating fail with a RatingsError that names file, line and mend.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Final, Literal, get_args

Kind = Literal["standard", "maker", "measured", "common practice", "memory", "our choice", "stated"]

# standard: a standard, code or public specification (also where read in a secondary copy: `where` says so)
# maker: a maker's data; measured: published measurements; common practice: the trade, no source;
# memory: recalled, to be confirmed before it is relied on; our choice: `where` says why; stated: the user's file
KINDS: Final = get_args(Kind)

UNITS: Final = frozenset(
    (
        *("1", "A", "V", "mV", "s", "mm", "K", "degC", "pct", "pct/K", "1/K", "kg/m3", "V2/K2"),
        *("mohm/m", "ohm mm2/m", "A s^0.5/mm2", "J/(kg K)", "J/(m3 K)", "W/(m K)"),
    )
)

COLUMNS: Final = ("name", "key", "value", "unit", "conditions", "document", "edition", "where", "kind")


class RatingsError(ValueError):
    """A table of ratings is at fault: file, line (1-based), column, what was found, and the mend."""

    def __init__(self, file: str, line: int, column: str, found: str, mend: str) -> None:
        self.file, self.line, self.column, self.found, self.mend = file, line, column, found, mend
        super().__init__(f"{file}, line {line}, column {column!r}: found {found!r}; {mend}")


@dataclass(frozen=True)
class Source:
    """Where a value is from: document, edition, table or clause, and what kind of source that is."""

    document: str
    edition: str
    where: str
    kind: Kind

    def __post_init__(self) -> None:
        if not self.document.strip():
            raise ValueError("a source needs a document")
        if self.kind not in KINDS:
            raise ValueError(f"unknown kind of source {self.kind!r}; one of {', '.join(KINDS)}")

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.document, self.edition, self.where) if part)
        return f"{place} ({self.kind})"


@dataclass(frozen=True)
class Rating:
    """A value that something is held against or computed with, its conditions and its source."""

    name: str
    value: float
    unit: str
    conditions: str
    source: Source
    key: str = ""

    @property
    def is_memory(self) -> bool:
        """True where the value was recalled and not looked up: confirm it before relying on it."""
        return self.source.kind == "memory"


def stated(name: str, value: float, unit: str, file: str, where: str, conditions: str = "") -> Rating:
    """A rating from the user's own description file: stated("limit", 105, "degC", "builds/b.toml", "wire.x")."""
    return Rating(name, value, unit, conditions, Source(file, "", where, "stated"))


def read_ratings(text: str, file: str) -> tuple[Rating, ...]:
    """The ratings of one table (text of a CSV file with the columns above); raises RatingsError."""
    reader = csv.DictReader(io.StringIO(text), strict=True)
    if tuple(reader.fieldnames or ()) != COLUMNS:
        found = ",".join(reader.fieldnames or ())
        raise RatingsError(file, 1, "(header)", found, f"write the header {','.join(COLUMNS)}")
    return tuple(_rating(row, file, reader.line_num) for row in reader)


def _rating(row: dict[str, str], file: str, line: int) -> Rating:
    if None in row or None in row.values():
        raise RatingsError(file, line, "(row)", str(list(row.values())), f"write {len(COLUMNS)} cells")
    for column in ("name", "unit", "document", "kind"):
        if not row[column].strip():
            mend = "every rating needs its source" if column in ("document", "kind") else "must not be empty"
            raise RatingsError(file, line, column, "", mend)
    if row["kind"] not in KINDS:
        raise RatingsError(file, line, "kind", row["kind"], f"one of {', '.join(KINDS)}")
    if row["unit"] not in UNITS:
        raise RatingsError(file, line, "unit", row["unit"], f"one of {', '.join(sorted(UNITS))}")
    if row["kind"] == "our choice" and not row["where"].startswith("our choice: "):
        raise RatingsError(file, line, "where", row["where"], 'write "our choice: " and the reason')
    try:
        value = float(row["value"])
    except ValueError:
        raise RatingsError(file, line, "value", row["value"], "write a number") from None
    if not math.isfinite(value):
        raise RatingsError(file, line, "value", row["value"], "write a finite number")
    source = Source(row["document"], row["edition"], row["where"], row["kind"])  # type: ignore[arg-type]
    return Rating(row["name"], value, row["unit"], row["conditions"], source, row["key"])


def index_ratings(tables: Iterable[tuple[str, str]]) -> MappingProxyType[tuple[str, str], Rating]:
    """(file, text) pairs to one lookup by (name, key); raises RatingsError where two rows share both."""
    found: dict[tuple[str, str], Rating] = {}
    for file, text in tables:
        for number, rating in enumerate(read_ratings(text, file), start=2):
            place = (rating.name, rating.key)
            if place in found:
                raise RatingsError(file, number, "name", " ".join(place), "remove the repeated row")
            found[place] = rating
    return MappingProxyType(found)


@cache
def all_ratings() -> MappingProxyType[tuple[str, str], Rating]:
    """Every rating by (name, key), read once."""
    folder = resources.files("analysis.ratings_data")
    files = sorted((item for item in folder.iterdir() if item.name.endswith(".csv")), key=lambda item: item.name)
    return index_ratings((item.name, item.read_text(encoding="utf-8")) for item in files)


def rating(name: str, key: str = "") -> Rating:
    """The rating of that name and key; KeyError with the known keys where there is none."""
    try:
        return all_ratings()[name, key]
    except KeyError:
        known = [other for one, other in all_ratings() if one == name]
        raise KeyError(f"no rating {name!r} with key {key!r}; known keys: {known}") from None


def ratings(name: str | None = None) -> tuple[Rating, ...]:
    """Every rating, or every rating of that name, in the order of the tables."""
    return tuple(entry for (one, _), entry in all_ratings().items() if name is None or one == name)


def value(name: str, key: str = "") -> float:
    """The figure alone, in the unit of its row."""
    return rating(name, key).value
