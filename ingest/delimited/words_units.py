"""Units as bench instruments, controllers and home-made loggers write them, and how to convert them.

Factors are exact by definition (SI prefixes, 1 Ah = 3600 C, 0 degC = 273.15 K, degC = (degF - 32) x 5/9: BIPM,
The International System of Units, 9th edition; NIST SP 811, appendix B for degF, psi and standard gravity).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Final

from ingest.delimited.mojibake import mended


@dataclass(frozen=True)
class Unit:
    """A unit that was read from a file. value_in_unit = source_value * scale + offset.

    kind        the quantity it belongs to; "percent" and "pulse" belong to a command, a duty or a link
    unit        the unit that is stored
    electrical  electrical revolutions: mechanical = electrical / pole pairs
    """

    text: str
    kind: str
    unit: str
    scale: float = 1.0
    offset: float = 0.0
    electrical: bool = False


_PREFIX: Final = {"": 1.0, "k": 1e3, "d": 1e-1, "c": 1e-2, "m": 1e-3, "u": 1e-6}
_PREFIX_WORD: Final = {"": "", "k": "kilo", "d": "deci", "c": "centi", "m": "milli", "u": "micro"}
_LONGEST: Final = 40  # our choice: no unit is written longer
_GRAVITY: Final = 9.80665  # m/s2, standard gravity (NIST SP 811)
_PSI_KPA: Final = 6.894757  # NIST SP 811, appendix B.8

# kind, stored unit, factor of the plain unit to the stored one, prefixes, symbols, words
_BASES: Final = (
    ("voltage", "V", 1.0, "kdcmu", ("V",), ("volt", "volts", "vdc", "vrms")),
    ("current", "A", 1.0, "dcmu", ("A",), ("amp", "amps", "ampere", "amperes", "adc", "arms")),
    ("charge", "mAh", 1000.0, "mk", ("Ah", "A.h", "A*h"), ("amphour", "amphours", "amperehours", "amperehour")),
    ("energy", "Wh", 1.0, "mk", ("Wh", "W.h", "W*h"), ("watthour", "watthours")),
    ("energy", "Wh", 1.0 / 3600.0, "k", ("J", "Ws"), ("joule", "joules")),
    ("power", "W", 1.0, "kdcm", ("W",), ("watt", "watts")),
    ("resistance", "mohm", 1000.0, "kmu", ("ohm", "R"), ("ohms",)),
    ("time", "s", 1.0, "mu", ("s", "sec"), ("second", "seconds", "sekunden")),
    ("acceleration", "g", 1.0, "m", ("g",), ("gee", "gees", "gravity")),
    ("pressure", "kPa", 1e-3, "k", ("Pa",), ("pascal",)),
    ("pressure", "kPa", 100.0, "m", ("bar",), ()),
)
_NOT_A_PREFIXED_UNIT: Final = {"kV.", "mR", "uR", "kR", "kg", "ug", "dW", "cW", "dR"}

_DEG: Final = ("degC", "C", "°C", "deg C", "celsius", "centigrade", "gradC", "oC", "grad celsius")
_FAHRENHEIT: Final = ("degF", "F", "°F", "deg F", "fahrenheit", "gradF", "oF")


def _table() -> dict[str, Unit]:
    table: dict[str, Unit] = {}

    def put(text: str, kind: str, unit: str, scale: float = 1.0, offset: float = 0.0, e: bool = False) -> None:
        table.setdefault(text, Unit(text, kind, unit, scale, offset, e))

    for kind, unit, factor, prefixes, symbols, words in _BASES:
        for prefix in ("", *prefixes):
            for symbol in symbols:
                if prefix + symbol not in _NOT_A_PREFIXED_UNIT:
                    put(prefix + symbol, kind, unit, factor * _PREFIX[prefix])
            for word in words:
                put(_PREFIX_WORD[prefix] + word, kind, unit, factor * _PREFIX[prefix])
    for prefix, factor in (("", 1.0), ("d", 0.1), ("c", 0.01), ("m", 0.001)):
        for text in _DEG if not prefix else ("degC", "°C"):
            put(prefix + text, "temperature", "degC", factor)
        for text in _FAHRENHEIT if not prefix else ("degF", "°F"):
            put(prefix + text, "temperature", "degC", factor * 5 / 9, -160 / 9)
    for text in ("K", "kelvin", "degK"):
        put(text, "temperature", "degC", 1.0, -273.15)
    for text in (
        *("rpm", "U/min", "1/min", "min-1", "min^-1", "/min", "tr/min", "rev/min", "revs/min", "r/min", "umin"),
        *("upm", "umdr/min", "revolutions per minute", "rpm mech"),
    ):
        put(text, "speed", "rpm")
    for text in ("erpm", "rpm el", "rpm elec", "el.rpm", "electrical rpm"):
        put(text, "speed", "rpm", 1.0, 0.0, True)
    put("krpm", "speed", "rpm", 1000.0)
    put("kerpm", "speed", "rpm", 1000.0, 0.0, True)
    for text in ("rps", "rev/s", "U/s", "1/s", "tr/s", "r/s"):
        put(text, "speed", "rpm", 60.0)
    for text in ("Hz", "hertz"):
        put(text, "frequency", "Hz")
    for text in ("rad/s", "rad.s-1", "rad/sec"):
        put(text, "rotation", "deg/s", 180.0 / math.pi)
    put("mrad/s", "rotation", "deg/s", 0.18 / math.pi)
    for text in ("deg/s", "dps", "°/s", "deg/sec", "degrees/s"):
        put(text, "rotation", "deg/s")
    put("mdps", "rotation", "deg/s", 1e-3)
    for text in ("m/s2", "m/s^2", "m/s/s", "ms-2", "m.s-2"):
        put(text, "acceleration", "g", 1.0 / _GRAVITY)
    for text in ("m/s", "km/h", "kph", "mph"):
        put(text, "linear speed", "m/s", {"m/s": 1.0, "mph": 0.44704}.get(text, 1 / 3.6))
    for text in ("%", "pct", "percent", "prozent", "pourcent", "proz"):
        put(text, "percent", "%")
    for text in ("‰", "permille", "per mille", "promille", "per-mille", "0/00"):
        put(text, "percent", "%", 0.1)
    for text in (
        "0..1",
        "0-1",
        "ratio",
        "frac",
        "fraction",
        "norm",
        "normalised",
        "normalized",
        "-1..1",
        "+/-1",
        "pu",
    ):
        put(text, "percent", "%", 100.0)
    for text in ("h", "hr", "hours", "hour", "std", "stunden"):
        put(text, "time", "s", 3600.0)
    for text in ("min", "minutes", "minute", "mins"):
        put(text, "time", "s", 60.0)
    for text in ("msec", "millis", "msecs"):
        put(text, "time", "s", 1e-3)
    for text in ("usec", "micros"):
        put(text, "time", "s", 1e-6)
    for text in ("ns", "nsec", "nanoseconds"):
        put(text, "time", "s", 1e-9)
    for text in ("psi", "psig"):
        put(text, "pressure", "kPa", _PSI_KPA)
    put("hPa", "pressure", "kPa", 0.1)
    put("MPa", "pressure", "kPa", 1000.0)
    for text in ("coulomb", "coulombs", "As", "A.s"):
        put(text, "charge", "mAh", 1 / 3.6)
    put("dBm", "strength", "dBm")
    put("dB", "other", "dB")
    return table


_TABLE: Final = _table()
_FOLDED: Final[dict[str, Unit]] = {}
for _text, _unit in _TABLE.items():
    _FOLDED.setdefault(_text.lower(), _unit)
# A motor's speed constant is written kv or KV in the trade; kilovolts are never logged in a robot.
for _text in ("kv", "mpa", "r", "h"):
    _FOLDED.pop(_text, None)
KNOWN_SPELLINGS: Final = tuple(sorted(_TABLE))

_FACTOR = re.compile(
    r"^[x×*]?\s*(?P<n>\d+(?:[.,]\d+)?(?:e-?\d+)?|1/\d+)\s*[x×*]?\s*(?P<unit>[^\d\s].*)$", re.IGNORECASE
)


def clean_unit(text: str) -> str:
    """One spelling for the signs that differ between encodings; brackets and outer space removed."""
    text = mended(text.strip().strip("[](){}<>").strip().rstrip("."))
    for old, new in (("µ", "u"), ("μ", "u"), ("Ω", "ohm"), ("\u2126", "ohm"), ("℃", "°C"), ("℉", "°F"), ("º", "°")):
        text = text.replace(old, new)
    for old, new in (("²", "2"), ("⁻¹", "-1"), ("⁻²", "-2"), ("·", "."), ("˚", "°")):
        text = text.replace(old, new)
    return re.sub(r"\s+", " ", re.sub(r"°\s+", "°", text))


def parse_unit(text: str | None, kind: str | None = None) -> Unit | None:
    """The unit that `text` writes, or None where it is no unit known here.

    kind is what the column's words say it is, used where one sign has two meanings: C is degrees for a temperature
    and coulombs for a charge; us is a pulse for a command; rad/s turns a motor or the chassis.
    A factor before the unit ("0.1 V", "x10 mV") multiplies; a factor after it ("V/10") has two readings: None.
    """
    if not text or len(text) > _LONGEST:
        return None
    cleaned = clean_unit(text)
    found = _TABLE.get(cleaned) or _FOLDED.get(cleaned.lower())
    if found is None:
        factor = _FACTOR.match(cleaned)
        if factor is None:
            return None
        found = _TABLE.get(factor["unit"]) or _FOLDED.get(factor["unit"].lower())
        if found is None or found.kind in ("percent", "frequency"):
            return None
        number = factor["n"].replace(",", ".")
        times = 1 / float(number[2:]) if number.startswith("1/") else float(number)
        if not 1e-9 <= times <= 1e9:
            return None
        found = replace(found, scale=found.scale * times)
    return _for_kind(replace(found, text=cleaned), kind)


def _for_kind(unit: Unit, kind: str | None) -> Unit:
    """Settle a sign that has two meanings by what the column is about."""
    if kind == "charge" and unit.text == "C":
        return Unit("C", "charge", "mAh", 1 / 3.6)
    if kind == "command" and unit.kind == "time" and unit.text.lower() in ("us", "usec", "ms", "microseconds"):
        # (pulse - 1500 us) / 500 us is the normalised command: common practice, no source
        return Unit(unit.text, "pulse", "%", 200.0 if unit.text.lower() == "ms" else 0.2, -300.0)
    if unit.kind == "rotation":
        if kind == "speed":
            return Unit(unit.text, "speed", "rpm", unit.scale / 6.0)
        return replace(unit, kind="spin")
    if unit.kind == "frequency" and kind == "speed":
        return Unit(unit.text, "speed", "rpm", 60.0, 0.0, True)
    return unit


def temperature_unit_without_scale(text: str | None) -> bool:
    """True for "deg" or "°": a temperature, but in which degrees is not said."""
    return bool(text) and clean_unit(text or "").lower() in ("deg", "°", "degree", "degrees", "grad", "degres")
