"""Weight classes and what is usual in them, for the templates of a new season."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ingest.tables.names import UnknownName

KG_PER_LB = 0.45359237  # the international pound, exact by definition (1959)


@dataclass(frozen=True)
class WeightClass:
    """One class and what is usual in it (common practice, no source). length_mm: of the battery lead, one way."""

    name: str
    limit_kg: float
    cells: int
    capacity_Ah: float
    main_gauge: str
    weapon_gauge: str
    drive_gauge: str
    length_mm: int


WEIGHT_CLASSES: dict[str, WeightClass] = {
    c.name: c
    for c in (
        WeightClass("150g", 0.150, 2, 0.30, "20 AWG", "22 AWG", "26 AWG", 60),
        WeightClass("1lb", 1 * KG_PER_LB, 3, 0.45, "18 AWG", "20 AWG", "24 AWG", 80),
        WeightClass("3lb", 3 * KG_PER_LB, 4, 0.85, "16 AWG", "16 AWG", "20 AWG", 120),
        WeightClass("6lb", 6 * KG_PER_LB, 4, 1.30, "14 AWG", "14 AWG", "18 AWG", 140),
        WeightClass("12lb", 12 * KG_PER_LB, 6, 1.80, "12 AWG", "12 AWG", "16 AWG", 180),
        WeightClass("15lb", 15 * KG_PER_LB, 6, 2.20, "12 AWG", "12 AWG", "16 AWG", 200),
        WeightClass("30lb", 30 * KG_PER_LB, 6, 3.30, "10 AWG", "12 AWG", "14 AWG", 220),
        WeightClass("60lb", 60 * KG_PER_LB, 8, 5.00, "8 AWG", "8 AWG", "12 AWG", 300),
        WeightClass("120lb", 120 * KG_PER_LB, 10, 8.00, "8 AWG", "8 AWG", "10 AWG", 400),
        WeightClass("220lb", 220 * KG_PER_LB, 12, 10.0, "6 AWG", "6 AWG", "10 AWG", 500),
        WeightClass("250lb", 250 * KG_PER_LB, 12, 12.0, "6 AWG", "6 AWG", "8 AWG", 500),
    )
}
DEFAULT_CLASS = "30lb"


def parse_weight_class(text: str) -> str:
    """The class that "30 lb", "30lb", "13.6 kg" or "150 g" means. Raises UnknownName with the known ones.

    A mass in kilograms means the class whose limit is within 1 %, as limits are printed rounded.
    """
    compact = "".join(text.lower().split()).removesuffix("s")
    if compact in WEIGHT_CLASSES:
        return compact
    figure = re.fullmatch(r"(\d+(?:\.\d+)?)(g|kg|lb)", compact)
    if figure:
        kg = float(figure[1]) * {"g": 0.001, "kg": 1.0, "lb": KG_PER_LB}[figure[2]]
        for name, each in WEIGHT_CLASSES.items():
            if abs(kg - each.limit_kg) <= 0.01 * each.limit_kg:
                return name
    known = ", ".join(WEIGHT_CLASSES)
    raise UnknownName(text, "weight class", tuple(WEIGHT_CLASSES), f"known: {known}; any other is a matter of editing")
