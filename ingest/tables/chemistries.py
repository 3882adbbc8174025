"""Cell chemistries: full, nominal and lowest working voltage of one cell.

Full charge 4.20 V (4.35 V only for cells so marked) and nominal 3.7 V of lithium-polymer are printed on
general battery pages; the rest is from memory. The working minimum of 3.3 V is common practice, no source.
Only lithium-polymer has a default minimum: for the others the pack file must state one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from .names import find_name


@dataclass(frozen=True)
class Chemistry:
    """One chemistry.

    full_V, nominal_V     of one cell; None for "other"
    default_minimum_V     lowest voltage of one cell under load; None: the pack file must state it
    charge_from_voltage   whether the rest voltage tells the charge state (flat curves do not)
    remark                where the figures come from
    """

    name: str
    full_V: float | None
    nominal_V: float | None
    default_minimum_V: float | None
    charge_from_voltage: bool
    remark: str


_ALL: Final = (
    Chemistry(
        "lithium-polymer", 4.20, 3.7, 3.3, True,
        "4.20 and 3.7 V: general battery pages; 3.3 V: common practice, no source",
    ),
    Chemistry(
        "lithium-polymer-hv", 4.35, 3.8, None, True,
        "4.35 V only where the pack is marked so; nominal from memory",
    ),
    Chemistry("lithium-ion", 4.20, 3.6, None, True, "4.20 V: general battery pages; nominal from memory"),
    Chemistry(
        "lithium-iron-phosphate", 3.65, 3.2, None, False,
        "from memory; the rest voltage is flat over most of the charge",
    ),
    Chemistry("other", None, None, None, False, "state the voltages in the pack file"),
)  # fmt: skip

CHEMISTRIES: Final = {entry.name: entry for entry in _ALL}
CHEMISTRY_NAMES: Final = tuple(CHEMISTRIES)

_ALIASES: Final = {
    "lipo": "lithium-polymer",
    "li-po": "lithium-polymer",
    "lipo hv": "lithium-polymer-hv",
    "lihv": "lithium-polymer-hv",
    "li-ion": "lithium-ion",
    "lifepo4": "lithium-iron-phosphate",
    "lfp": "lithium-iron-phosphate",
}


def parse_chemistry(text: str) -> Chemistry:
    """The chemistry that `text` names; raises UnknownName with the nearest names."""
    return CHEMISTRIES[find_name(text, CHEMISTRY_NAMES, "chemistry", _ALIASES)]
