"""Voltage drop across a contact against published limits, and the temperature of the contact spot.

Holm (recalled): T_max² = T_0² + U²/(4·L), L = 2.44e-8 V²/K², temperatures in kelvin; clean metal, one
constriction. U is the drop of the constriction alone: of a whole contact only an upper bound is known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from .cooling import KELVIN
from .ratings import OutsideValidity, Rating, rating, value

# MIL-DTL-83454A table VIII tests stud terminals at 25 to 43 A; our choice: outside it the limit says nothing.
STUD_TEST_A: Final = (25.0, 43.0)


@dataclass(frozen=True)
class DropCheck:
    """A drop against its limit: mV at current_A, the limit's rating, and whether it is kept."""

    drop_mV: float
    current_A: float
    limit: Rating
    within: bool


def contact_heat_W(current_A: float, r_mohm: float) -> float:
    """P = I²·R of one pole in W (Joule)."""
    return current_A**2 * r_mohm * 1e-3


def drop_mV(current_A: float, r_mohm: float) -> float:
    """U = I·R of one pole in mV (Ohm)."""
    return current_A * r_mohm


def stud_terminal_check(r_mohm: float, test_A: float) -> DropCheck:
    """A stud terminal's drop against the 7.5 mV of MIL-DTL-83454A (paragraph 4.5.3, table VIII).

    test_A  25…43 A, the test currents of that table; else OutsideValidity.
    """
    if not STUD_TEST_A[0] <= test_A <= STUD_TEST_A[1]:
        raise OutsideValidity(f"the stud-terminal limit is for 25 to 43 A, not {test_A:g} A", "compare at 43 A or less")
    limit = rating("stud_terminal_drop_max")
    drop = drop_mV(test_A, r_mohm)
    return DropCheck(drop, test_A, limit, drop <= limit.value)


def holm_temperature_degC(drop_V: float, bulk_degC: float = 20.0) -> float:
    """Hottest temperature of a contact spot with that drop across its constriction (Holm), °C.

    drop_V 0…1 V, bulk −50…250 °C; above the metal's melting voltage the spot melts and the figure means that.
    Raises OutsideValidity for a drop outside 0 to 1 V or a bulk outside -50 to 250 °C.
    """
    if not 0 <= drop_V <= 1 or not -50 <= bulk_degC <= 250:
        raise OutsideValidity(f"a spot drop of {drop_V:g} V at {bulk_degC:g} degC is outside 0 to 1 V, -50 to 250 degC")
    bulk = bulk_degC + KELVIN
    return math.sqrt(bulk**2 + drop_V**2 / (4 * value("lorenz_number"))) - KELVIN


def holm_voltage_V(spot_degC: float, bulk_degC: float = 20.0) -> float:
    """The constriction drop at which the spot reaches that temperature: the inverse of holm_temperature_degC.

    Raises OutsideValidity where the spot would be cooler than its bulk.
    """
    if spot_degC < bulk_degC:
        raise OutsideValidity("a contact spot is not cooler than its bulk")
    squares = (spot_degC + KELVIN) ** 2 - (bulk_degC + KELVIN) ** 2
    return math.sqrt(4 * value("lorenz_number") * squares)


def softening_voltage(metal: str) -> Rating:
    """Drop at which a spot of that metal softens (Holm's table, memory): copper, silver, gold, tin, nickel."""
    return rating("softening_voltage", metal)


def melting_voltage(metal: str) -> Rating:
    """Drop at which a spot of that metal melts (Holm's table, memory)."""
    return rating("melting_voltage", metal)
