"""Ratings and physical constants, each with its source; the limit of a wire run.

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
from itertools import pairwise
from types import MappingProxyType
from typing import Final, Literal, get_args

from ingest.tables.gauges import parse_gauge
from ingest.tables.insulations import parse_insulation

from .signal import Measured

Strand = Literal["class5", "solid"]  # IEC 60228: fine strands, or one solid conductor
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


class OutsideValidity(ValueError):
    """An input lies outside the range where an equation or a rating holds; a check turns it into NotChecked.

    reason  why there is no figure
    mend    what to state, log or change to get one
    """

    def __init__(self, reason: str, mend: str = "") -> None:
        self.reason = reason
        self.mend = mend
        super().__init__(f"{reason}. {mend}" if mend else reason)


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
def _all() -> MappingProxyType[tuple[str, str], Rating]:
    folder = resources.files("analysis.ratings_data")
    files = sorted((item for item in folder.iterdir() if item.name.endswith(".csv")), key=lambda item: item.name)
    return index_ratings((item.name, item.read_text(encoding="utf-8")) for item in files)


def rating(name: str, key: str = "") -> Rating:
    """The rating of that name and key; KeyError with the known keys where there is none."""
    try:
        return _all()[name, key]
    except KeyError:
        known = [other for one, other in _all() if one == name]
        raise KeyError(f"no rating {name!r} with key {key!r}; known keys: {known}") from None


def ratings(name: str | None = None) -> tuple[Rating, ...]:
    """Every rating, or every rating of that name, in the order of the tables."""
    return tuple(entry for (one, _), entry in _all().items() if name is None or one == name)


def value(name: str, key: str = "") -> float:
    """The figure alone, in the unit of its row."""
    return rating(name, key).value


# -- copper ---------------------------------------------------------------------------------------------------

COPPER_RANGE_DEGC: Final = (-50.0, 250.0)  # IEC 60028's linear law is good to about 1 % here (00_equations)


def copper_factor(temp_degC: float) -> float:
    """R(T)/R(20 °C) = 1 + 0.00393·(T − 20) (IEC 60028). Raises OutsideValidity beyond −50…250 °C."""
    if not COPPER_RANGE_DEGC[0] <= temp_degC <= COPPER_RANGE_DEGC[1]:
        raise OutsideValidity(f"copper at {temp_degC:g} degC: the resistance law holds from -50 to 250 degC")
    return 1 + value("copper_temperature_coefficient", "20 degC") * (temp_degC - 20)


def copper_mohm_per_m(area_mm2: float, temp_degC: float = 20.0, strand: Strand = "class5") -> Measured:
    """Resistance of one copper conductor in mΩ/m: R = (1000/58)/A·(1 + 0.00393·(T − 20)).

    area_mm2   nominal copper area, above 0
    temp_degC  −50…250 °C (IEC 60028, about 1 %); outside it OutsideValidity is raised
    strand     "solid" is exact by the equation. "class5" (fine strands) has the equation as value and low end;
               the high end is the IEC 60228 class 5 maximum where the area is a row of its table 3, else 13 %
               above. Tinned strands may lie 2…3 % higher still (IEC 60228).
    """
    if not area_mm2 > 0 or not math.isfinite(area_mm2):
        raise OutsideValidity(f"a copper area of {area_mm2:g} mm2 has no resistance", "state the gauge")
    factor = copper_factor(temp_degC)
    nominal = 1000 * value("copper_resistivity", "20 degC") / area_mm2 * factor
    if strand == "solid":
        return Measured.exact(nominal, "IEC 60028")
    row = _all().get(("class5_resistance_max", f"{area_mm2:g} mm2"))
    if row is not None:
        return Measured(nominal, nominal, max(nominal, row.value * factor), "IEC 60228 class 5 maximum")
    high = nominal * value("class5_resistance_factor")
    return Measured(nominal, nominal, high, "fine strands: -0/+13 % (IEC 60228 class 5)")


# -- wire -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class WireSize:
    """One conductor with its jacket.

    copper_diameter_mm    solid round of the same area; strand_diameter_mm is the jacket's bore, 1.15 times
                          that for fine strands
    outer_diameter_mm     of the jacket; diameter_spread_pct is its half width (0 where it was stated)
    copper_g_per_m, jacket_g_per_m
    material              which row of the jacket tables was taken: "silicone", "thermoplastic" or "bare"
    from_memory           True where the outer diameter comes from the recalled table
    """

    area_mm2: float
    copper_diameter_mm: float
    strand_diameter_mm: float
    outer_diameter_mm: float
    diameter_spread_pct: float
    copper_g_per_m: float
    jacket_g_per_m: float
    material: str
    from_memory: bool

    @property
    def jacket_area_mm2(self) -> float:
        return max(0.0, math.pi / 4 * (self.outer_diameter_mm**2 - self.strand_diameter_mm**2))

    @property
    def mass_g_per_m(self) -> float:
        return self.copper_g_per_m + self.jacket_g_per_m


def wire_size(
    area_mm2: float,
    insulation: str = "silicone",
    outer_diameter_mm: float | None = None,
    strand: Strand = "class5",
) -> WireSize:
    """Dimensions and mass of one conductor.

    The outer diameter is interpolated in log(area) from the recalled tables of silicone or thin-wall
    thermoplastic wire (marked memory, spread 8 %), unless it is stated. Masses: copper 8890 kg/m³, jacket
    1150 (silicone) or 1400 kg/m³ (others). Raises OutsideValidity outside the table, UnknownName for an
    unknown insulation.
    """
    name = parse_insulation(insulation).name
    bare = name == "bare"
    material = "silicone" if name == "silicone" else "thermoplastic"
    solid = math.sqrt(4 * area_mm2 / math.pi)
    bore = solid * (1.0 if bare or strand == "solid" else value("strand_diameter_factor"))
    copper_g = area_mm2 * value("copper_density") * 1e-3
    if bare:
        return WireSize(area_mm2, solid, solid, solid, 0.0, copper_g, 0.0, "bare", False)
    outer, spread = outer_diameter_mm, 0.0
    if outer is None:
        outer, spread = _table_diameter(area_mm2, material), value("jacket_diameter_spread")
    if outer < bore:
        raise OutsideValidity(
            f"an outer diameter of {outer:g} mm is less than the copper's {bore:.2f} mm",
            "state the gauge and the outer diameter of the same wire",
        )
    jacket_g = math.pi / 4 * (outer**2 - bore**2) * value("jacket_density", material) * 1e-3
    recalled = outer_diameter_mm is None
    return WireSize(area_mm2, solid, bore, outer, spread, copper_g, jacket_g, material, recalled)


@cache
def _diameters(material: str) -> tuple[tuple[float, float], ...]:
    rows = ratings(f"jacket_diameter {material}")
    return tuple(sorted((parse_gauge(row.key), row.value) for row in rows))


def _table_diameter(area_mm2: float, material: str) -> float:
    table = _diameters(material)
    if not table[0][0] * 0.999 <= area_mm2 <= table[-1][0] * 1.001:
        raise OutsideValidity(
            f"no usual outer diameter is known for {area_mm2:g} mm2 of {material} wire",
            f"known from {table[0][0]:.3g} to {table[-1][0]:.3g} mm2; state the outer diameter",
        )
    for (area_0, outer_0), (area_1, outer_1) in pairwise(table):
        if area_mm2 <= area_1 * 1.001:
            share = math.log(area_mm2 / area_0) / math.log(area_1 / area_0)
            return outer_0 + share * (outer_1 - outer_0)
    return table[-1][1]


# -- limits ---------------------------------------------------------------------------------------------------


def insulation_limit(insulation: str) -> Rating | None:
    """The temperature class that an insulation gets by default; None for bare wire. UnknownName if unknown."""
    entry = parse_insulation(insulation)
    return None if entry.class_degC is None else rating("insulation_class", f"{entry.class_degC} degC")


def weakest_limit(
    insulation: str | None,
    solder: bool = True,
    stated_degC: Rating | float | None = None,
    housing: bool = False,
) -> Rating:
    """The temperature limit of a run: its weakest part, unless the user stated one.

    The least of the insulation's class, the melting of 63/37 solder (183 °C) where the run has soldered ends,
    and 105 °C where it ends in a connector housing (`housing`, memory). 200 °C insulation is a ceiling, not a
    target. Raises OutsideValidity where nothing at all is known.
    """
    if isinstance(stated_degC, Rating):
        return stated_degC
    if stated_degC is not None:
        return stated("wire_limit", stated_degC, "degC", "build file", "limit_degC")
    limits = [insulation_limit(insulation)] if insulation is not None else []
    if solder:
        limits.append(rating("solder_melting", "63/37"))
    if housing:
        limits.append(rating("housing_limit"))
    known = [limit for limit in limits if limit is not None]
    if insulation is None or not known:
        raise OutsideValidity("nothing limits the run's temperature", "state insulation or limit_degC")
    return min(known, key=lambda limit: limit.value)
