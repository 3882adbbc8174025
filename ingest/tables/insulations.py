"""Wire insulations and the temperature class each gets where the file states no limit.

The class is a ceiling of the insulation alone; the classes themselves (60, 75, 80, 90, 105, 125, 150, 200,
250 °C) are ratings with their sources in `analysis/ratings_data/insulation.csv`. Which class a material gets
by default is common practice, no source; a maker's data sheet or the print on the wire comes first, and
`limit_degC` in the build file states it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

from .names import find_name


@dataclass(frozen=True)
class Insulation:
    """One insulation: its name in a build file, its default class in °C (None: nothing softens), a remark."""

    name: str
    class_degC: int | None
    remark: str


_ALL: Final = (
    Insulation("silicone", 200, "fine-strand silicone wire is sold as 200 °C class"),
    Insulation("pvc", 80, "plain PVC wire; 105 °C types carry it in print: write \"pvc 105\""),
    Insulation("pvc 105", 105, "heat-resisting PVC, only where the wire is so marked"),
    Insulation("polyethylene", 75, "thermoplastic polyethylene"),
    Insulation("xlpe", 90, "cross-linked, of power cable; 125 °C types are marked: write \"xlpe 125\""),
    Insulation("xlpe 125", 125, "cross-linked polyethylene wire, only where it is so marked"),
    Insulation("rubber", 60, "general rubber"),
    Insulation("epr", 90, "ethylene-propylene rubber"),
    Insulation("ptfe", 200, "sold as 200 °C with silver and 260 °C with nickel plating: the lower is taken"),
    Insulation("fep", 200, "fluoropolymer"),
    Insulation("etfe", 150, "plain ETFE; the cross-linked kind is 200 °C: write \"etfe 200\""),
    Insulation("etfe 200", 200, "cross-linked ETFE, only where it is so marked"),
    Insulation("polyimide", 200, "tape-wrapped wire"),
    Insulation("bare", None, "no insulation: the joints at its ends set the limit"),
)  # fmt: skip

INSULATIONS: Final = {entry.name: entry for entry in _ALL}
INSULATION_NAMES: Final = tuple(INSULATIONS)

_ALIASES: Final = {
    "silicone rubber": "silicone",
    "pvc 80": "pvc",
    "pe": "polyethylene",
    "cross-linked polyethylene": "xlpe",
    "ethylene propylene rubber": "epr",
    "xletfe": "etfe 200",
    "cross-linked etfe": "etfe 200",
    "uninsulated": "bare",
    "none": "bare",
}


@cache
def parse_insulation(text: str) -> Insulation:
    """The insulation that `text` names; raises UnknownName with the nearest names."""
    return INSULATIONS[find_name(text, INSULATION_NAMES, "insulation", _ALIASES)]
