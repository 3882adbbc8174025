"""Names of fuse curves and motor insulation classes, and the shape of a fuse table written out by the user.

The gates behind a curve's name, each with its source, are in `analysis/ratings_data/fuses.csv`; the limits of
the classes (IEC 60085) are in `analysis/ratings_data/motors.csv`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from .names import UnknownName, find_name

# ISO 8820-3 is the blade-fuse part of the standard; types C and F (small and medium blade) share their
# gates, type E is the large blade.
FUSE_CURVES: Final = ("ISO 8820-3", "ISO 8820-3 type E")
_CURVE_ALIASES: Final = {
    "ISO 8820-3 type C": "ISO 8820-3",
    "ISO 8820-3 type F": "ISO 8820-3",
    "blade": "ISO 8820-3",
    "large blade": "ISO 8820-3 type E",
}

# Letters of IEC 60085, coolest first.
MOTOR_CLASSES: Final = ("Y", "A", "E", "B", "F", "H", "N", "R")

Gate = tuple[float, float, float]


def parse_fuse_curve(text: str) -> str:
    """The known name of a fuse curve; raises UnknownName with the mend."""
    return find_name(text, FUSE_CURVES, "fuse curve", _CURVE_ALIASES)


def parse_motor_class(text: str) -> str:
    """The letter of a motor insulation class: "F", "class F"; raises UnknownName with the mend."""
    written = str(text).strip()
    letter = written[5:].strip() if written.casefold().startswith("class") else written
    if letter.upper() in MOTOR_CLASSES:
        return letter.upper()
    mend = f"write one of the IEC 60085 letters {', '.join(MOTOR_CLASSES)}, or limit_degC"
    raise UnknownName(written, "motor insulation class", (), mend)


def parse_fuse_table(rows: Sequence[Sequence[float]]) -> tuple[Gate, ...]:
    """Rows [multiple, min_s, max_s] of a fuse's own curve, checked and returned as float tuples.

    multiple  current as a multiple of the rating, above 1 and rising from row to row
    min_s     it does not open before; above 0, not rising from row to row
    max_s     it has opened by then; not below min_s, `inf` where it need not open at all

    Raises ValueError that names the row (counted from 1) and the mend.
    """
    if not isinstance(rows, Sequence) or isinstance(rows, str) or len(rows) < 2:
        raise ValueError("a fuse table needs at least two rows [multiple, min_s, max_s]")
    gates: list[Gate] = []
    for number, row in enumerate(rows, start=1):
        gate = _gate(row, number)
        if gates:
            before = gates[-1]
            if gate[0] <= before[0]:
                raise ValueError(f"fuse table row {number}: the multiple must rise; order the rows by it")
            if gate[1] > before[1] or gate[2] > before[2]:
                raise ValueError(f"fuse table row {number}: more current must not take longer to open")
        gates.append(gate)
    return tuple(gates)


def _gate(row: Sequence[float], number: int) -> Gate:
    if not isinstance(row, Sequence) or isinstance(row, str) or len(row) != 3:
        raise ValueError(f"fuse table row {number}: write three numbers [multiple, min_s, max_s]")
    for value in row:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or math.isnan(value):
            raise ValueError(f"fuse table row {number}: {value!r} is not a number")
    multiple, min_s, max_s = (float(value) for value in row)
    if not 1 < multiple < math.inf:
        raise ValueError(f"fuse table row {number}: the multiple of the rating must be above 1")
    if not 0 < min_s < math.inf:
        raise ValueError(f"fuse table row {number}: min_s must be above 0 and finite")
    if max_s < min_s:
        raise ValueError(f"fuse table row {number}: max_s {max_s:g} is below min_s {min_s:g}")
    return multiple, min_s, max_s
