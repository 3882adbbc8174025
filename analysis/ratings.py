"""Ratings with their sources, copper, wire sizes, and the temperature limit of a run.

The values stand in `ratings_data/*.csv` and are read by `rating_tables`, whose names are passed on here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Final, Literal

from ingest.tables.gauges import parse_gauge
from ingest.tables.insulations import parse_insulation

from .rating_tables import (
    COLUMNS,
    KINDS,
    Rating,
    RatingsError,
    Source,
    all_ratings,
    index_ratings,
    rating,
    ratings,
    read_ratings,
    stated,
    value,
)
from .signal import Measured

__all__ = [
    "COLUMNS",
    "COPPER_RANGE_DEGC",
    "KINDS",
    "OutsideValidity",
    "Rating",
    "RatingsError",
    "Source",
    "Strand",
    "WireSize",
    "copper_factor",
    "copper_mohm_per_m",
    "index_ratings",
    "insulation_limit",
    "rating",
    "ratings",
    "read_ratings",
    "stated",
    "value",
    "weakest_limit",
    "wire_size",
]

Strand = Literal["class5", "solid"]  # IEC 60228: fine strands, or one solid conductor


class OutsideValidity(ValueError):
    """An input lies outside the range where an equation or a rating holds; a check turns it into NotChecked.

    reason  why there is no figure
    mend    what to state, log or change to get one
    """

    def __init__(self, reason: str, mend: str = "") -> None:
        self.reason = reason
        self.mend = mend
        super().__init__(f"{reason}. {mend}" if mend else reason)


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
    row = all_ratings().get(("class5_resistance_max", f"{area_mm2:g} mm2"))
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
