"""Wire gauges: AWG by the rule of ASTM B258, and square millimetres.

d = 0.127 mm · 92^((36 − n)/39), n the gauge number, with 0, 00, 000, 0000 as 0, −1, −2, −3.
Source: ASTM B258 (No. 36 is 0.005 in, No. 0000 is 0.46 in, 39 equal ratios between). Area of solid round
copper; a stranded wire is sold by a nominal gauge and may hold less.
"""

from __future__ import annotations

import math
import re
from typing import Final

from .names import UnknownName, nearest_names

THICKEST_AWG: Final = -3  # 0000 AWG
THINNEST_AWG: Final = 40  # the thinnest that the rule's usual tables print

# IEC 60228 nominal areas, 0.5 to 300 mm².
METRIC_SIZES_MM2: Final = (
    0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0,
    70.0, 95.0, 120.0, 150.0, 185.0, 240.0, 300.0,
)  # fmt: skip

# Our choice: a lead of a robot; 0.005 mm² is 40 AWG, 300 mm² the end of the IEC 60228 list used here.
AREA_RANGE_MM2: Final = (0.005, 300.0)


def awg_name(number: int) -> str:
    """12 → "12 AWG", −1 → "00 AWG"."""
    if not THICKEST_AWG <= number <= THINNEST_AWG:
        raise ValueError(f"AWG number {number} is outside {THICKEST_AWG}…{THINNEST_AWG}")
    return ("0" * (1 - number) if number <= 0 else str(number)) + " AWG"


AWG_NAMES: Final = tuple(awg_name(number) for number in range(THICKEST_AWG, THINNEST_AWG + 1))
METRIC_NAMES: Final = tuple(f"{size:g} mm2" for size in METRIC_SIZES_MM2)
GAUGE_NAMES: Final = AWG_NAMES + METRIC_NAMES

_AWG = re.compile(r"^(?:awg)?(?:#|no\.?)?(?P<number>0{1,4}|[1-9]\d?|[1-4]/0)(?:awg)?$")
_METRIC = re.compile(r"^(?P<area>\d+(?:\.\d+)?|\.\d+)(?:mm2|mm²|mm\^2|sqmm)$")


def awg_diameter_mm(number: int) -> float:
    """Diameter of solid round AWG wire in mm (ASTM B258; exact). Valid for 0000 (−3) to 40."""
    if not THICKEST_AWG <= number <= THINNEST_AWG:
        raise ValueError(f"AWG number {number} is outside {THICKEST_AWG}…{THINNEST_AWG}")
    return 0.127 * 92.0 ** ((36 - number) / 39)


def awg_area_mm2(number: int) -> float:
    """Area of solid round AWG wire in mm²; same validity as awg_diameter_mm."""
    return math.pi / 4 * awg_diameter_mm(number) ** 2


def parse_gauge(text: str) -> float:
    """The copper area in mm² that a gauge means: "12 AWG", "AWG 12", "00 AWG", "2/0 AWG", "4 mm2", "4 mm²".

    Raises UnknownName (a ValueError) with the mend for anything else, and for an area outside
    0.005…300 mm². A bare number is refused: it may mean either unit.
    """
    if not isinstance(text, str):
        raise UnknownName(repr(text), "gauge", (), f'name the unit: "{text} AWG" or "{text} mm2"')
    compact = "".join(text.casefold().split())
    metric = _METRIC.match(compact)
    if metric:
        area = float(metric["area"])
        if not AREA_RANGE_MM2[0] <= area <= AREA_RANGE_MM2[1]:
            raise UnknownName(text, "gauge", (), f"the copper area must lie in {_range()}")
        return area
    awg = _AWG.match(compact)
    if awg and "awg" in compact and compact.count("awg") == 1:
        digits = awg["number"]
        if "/" in digits:
            number = 1 - int(digits[0])
        elif digits.startswith("0"):
            number = 1 - len(digits)
        else:
            number = int(digits)
        if number <= THINNEST_AWG:
            return awg_area_mm2(number)
        raise UnknownName(text, "gauge", (f"{THINNEST_AWG} AWG",), f"AWG goes from 0000 to {THINNEST_AWG}")
    raise UnknownName(text, "gauge", *_mend(text, compact))


def nearest_gauge(area_mm2: float) -> str:
    """The AWG name whose solid area is nearest in ratio: 3.3 mm² → "12 AWG". Area in 0.005…300 mm²."""
    if not AREA_RANGE_MM2[0] <= area_mm2 <= AREA_RANGE_MM2[1]:
        raise ValueError(f"copper area {area_mm2:g} mm2 is outside {_range()}")
    number = round(36 - 39 * math.log(math.sqrt(4 * area_mm2 / math.pi) / 0.127, 92))
    return awg_name(min(max(number, THICKEST_AWG), THINNEST_AWG))


def _range() -> str:
    return f"{AREA_RANGE_MM2[0]:g}…{AREA_RANGE_MM2[1]:g} mm2"


def _mend(text: str, compact: str) -> tuple[tuple[str, ...], str]:
    number = re.match(r"^\d+(?:[.,]\d+)?$", compact)
    if number:
        return (), f'name the unit: "{compact} AWG" or "{compact} mm2"'
    if re.match(r"^\d+,\d+(?:mm2|mm²)$", compact):
        written = compact.replace(",", ".").replace("mm²", "mm2")
        return (), f'write the decimal with a point: "{written[:-3]} mm2"'
    between = re.match(r"^(?:awg)?(?P<n>-?\d+(?:[.,]\d+)?)(?:awg)?$", compact)
    if between and "awg" in compact:
        return _whole_sizes(float(between["n"].replace(",", ".")))
    near = nearest_names(text, GAUGE_NAMES)
    start = f"did you mean {near[0]!r}? " if near else ""
    return near, start + 'Write it as "12 AWG" (0000…40) or "4 mm2"'


def _whole_sizes(number: float) -> tuple[tuple[str, ...], str]:
    """The sizes on both sides of a gauge number that no wire has, with their areas: thicker first."""
    if not THICKEST_AWG <= number <= THINNEST_AWG:
        return (), f'AWG goes from 0000 to {THINNEST_AWG}; thicker than 0000 write the area, as in "120 mm2"'
    sides = dict.fromkeys((math.floor(number), math.ceil(number)))
    names = tuple(awg_name(n) for n in sides)
    told = " or ".join(f"{awg_name(n)} ({awg_area_mm2(n):.3g} mm2)" for n in sides)
    if len(names) == 1:  # a whole number written as no gauge is: "-1 AWG", "12.0 AWG"
        return names, f"write {told}"
    return names, f"AWG sizes are whole numbers: the nearest are {told}"
