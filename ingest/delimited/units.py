"""Recognising that a piece of text is a unit, so that units rows, brackets and glued units are found.

Only recognition and the scale between prefixes of one unit; what a column then means is decided in meaning.py.
Units and prefixes: SI brochure, 9th edition, tables 2, 4, 7 and 8; the spellings are common practice, no source.
"""

from __future__ import annotations

import re

from ingest.delimited.mojibake import mended

_TABLE: dict[str, tuple[str, float]] = {}


def _add(base: str, factor: float, *spellings: str) -> None:
    for spelling in spellings:
        _TABLE[spelling] = (base, factor)


_MICRO = ("µ", "μ", "u")
for _base, _symbols in {
    "V": ("V", "Vdc", "VDC", "Vrms"), "A": ("A", "Adc", "ADC", "Arms"), "W": ("W",), "Wh": ("Wh",), "Ah": ("Ah",),
    "ohm": ("Ω", "\u2126", "ohm", "Ohm", "Ohms", "ohms"), "Hz": ("Hz",), "VA": ("VA",), "J": ("J",), "N": ("N",),
    "F": ("F",), "H": ("H",), "C": (), "eu": (), "bit/s": ("bps", "bit/s"),
}.items():  # fmt: skip
    for _symbol in _symbols:
        _add(_base, 1.0, _symbol)
        for _prefix, _factor in (("n", 1e-9), *((m, 1e-6) for m in _MICRO), ("m", 1e-3), ("k", 1e3), ("M", 1e6)):
            _add(_base, _factor, _prefix + _symbol)
_add("V", 1e-2, "cV")
_add("V", 1e-1, "dV")
_add("A", 1e-2, "cA")
_add("A", 1e-1, "dA")
_add("s", 1.0, "s", "sec", "secs", "second", "seconds", "Sec", "Seconds", "Second", "sek", "Sek.", "sec.", "S")
_add("s", 1e-3, "ms", "msec", "millisecond", "milliseconds", "millis", "mS", "Milliseconds", "msecs")
_add("s", 1e-6, *(m + "s" for m in _MICRO), "usec", "µsec", "microsecond", "microseconds", "micros", "uS")
_add("s", 1e-9, "ns", "nsec", "nanosecond", "nanoseconds", "nS")
_add("s", 60.0, "min", "mins", "minute", "minutes", "Min", "Minutes")
_add("s", 3600.0, "h", "hr", "hrs", "hour", "hours", "std", "Hours")
_add("s", 86400.0, "d", "day", "days")
_add("V", 1.0, "volt", "volts", "Volt", "Volts")
_add("V", 1e-3, "millivolt", "millivolts", "Millivolts", "mVolt")
_add("A", 1.0, "amp", "amps", "ampere", "amperes", "Amp", "Amps", "Ampere")
_add("A", 1e-3, "milliamp", "milliamps", "milliampere", "mAmp", "mAmps")
_add("W", 1.0, "watt", "watts", "Watt", "Watts")
_add("ohm", 1e-3, "mohm", "mOhm", "milliohm")
_add(
    "degC",
    1.0,
    "°C",
    "℃",
    "degC",
    "deg C",
    "Deg C",
    "DegC",
    "deg. C",
    "C",
    "celsius",
    "Celsius",
    "°c",
    "º C",
    "ºC",
    "° C",
    "oC",
)
_add("degF", 1.0, "°F", "℉", "degF", "deg F", "Deg F", "DegF", "F", "fahrenheit", "Fahrenheit", "ºF", "° F")
_add("K", 1.0, "K", "kelvin", "Kelvin")
_add("%", 1.0, "%", "pct", "percent", "Pct", "%RH", "%rh", "% RH")
_add("rpm", 1.0, "rpm", "RPM", "r/min", "1/min", "U/min", "min-1", "min^-1", "rev/min", "eRPM", "erpm", "ERPM")
_add("rpm", 60.0, "rps", "rev/s", "1/s")
_add("g", 1.0, "g", "G", "gn")
_add("m/s2", 1.0, "m/s2", "m/s²", "m/s^2", "m/s/s")
_add("deg/s", 1.0, "deg/s", "°/s", "dps", "deg/sec")
_add("rad/s", 1.0, "rad/s")
_add("deg", 1.0, "deg", "°", "degrees")
_add("dBm", 1.0, "dBm", "dbm")
_add("dB", 1.0, "dB", "db")
_add("m", 1.0, "m", "meter", "metre")
_add("m", 1e-3, "mm")
_add("m", 1e-2, "cm")
_add("m", 1e3, "km")
_add("m/s", 1.0, "m/s")
_add("m/s", 1 / 3.6, "km/h", "kph")
_add("Pa", 1.0, "Pa")
_add("Pa", 1e2, "hPa", "mbar")
_add("Pa", 1e3, "kPa")
_add("Pa", 1e5, "bar", "Bar")
_add("psi", 1.0, "psi", "PSI")
_add("Nm", 1.0, "Nm", "N·m", "N.m", "N*m")
_add("kg", 1.0, "kg")
_add("samples", 1.0, "samples", "sample", "#", "n", "count", "counts", "cnt", "ticks", "LSB", "lsb", "raw", "index")
_add("1", 1.0, "-", "1", "none", "[]", "()", "bool", "on/off", "0/1", "bit", "hex", "text", "enum", "unitless")
_add("us", 1.0, "us pulse")
_add("clock", 1.0, "hh:mm:ss", "HH:MM:SS", "hh:mm:ss.sss", "yyyy-mm-dd", "YYYY-MM-DD", "dd.mm.yyyy", "mm:ss",
     "dd/mm/yyyy", "mm/dd/yyyy", "hh:mm", "h:m:s", "HH:mm:ss", "HH:mm:ss.SSS", "hh:mm:ss.ms", "yyyy-mm-dd hh:mm:ss",
     "UTC", "local", "iso", "ISO", "datetime", "time", "date", "unix", "epoch")  # fmt: skip

_LONGEST_FIGURE = 40  # with its unit: our choice, twice what 17 digits and any unit here take
_GLUED = re.compile(
    r"(?P<number>[+-]?\s?(?:\d[\d.,' ’]*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*[\[(]?\s*(?P<unit>[^\d\s\])][^\])]*?)\s*[\])]?"
)
_BRACKETS = re.compile(r"[\[({<]\s*(?P<unit>[^\[\](){}<>]{0,24}?)\s*[\])}>]")
_NOT_GLUED = frozenset(("-", "1", "none", "[]", "()", "#", "n", "text", "enum", "hex", "raw", "local", "time", "date"))


def unit_of(text: str) -> tuple[str, float] | None:
    """(base unit, factor to it) of a unit as written, brackets allowed; None where it is no unit known here."""
    return _known(text.strip().strip("[](){}<>").strip())


def _known(text: str) -> tuple[str, float] | None:
    return _TABLE.get(text) or _TABLE.get(mended(text))


def is_unit(text: str) -> bool:
    return unit_of(text) is not None


def split_unit(text: str) -> tuple[str, str | None]:
    """("12.3", "V") of "12.3V", "12.3 V" or "12.3 [V]"; (text, None) where nothing is glued to it."""
    if not text or text[-1].isdigit() or len(text) > _LONGEST_FIGURE:
        return text, None
    found = _GLUED.fullmatch(text)
    if found is None:
        return text, None
    unit = found["unit"].strip()
    known = _known(unit)
    if unit in _NOT_GLUED or known is None or known[0] == "clock":
        return text, None
    return found["number"].strip(), unit


def bracketed_unit(name: str) -> str | None:
    """The unit in the last brackets of a column name: "Ibat [mA]", "Voltage (V)". Unknown text there counts too."""
    found = list(_BRACKETS.finditer(name))
    return found[-1]["unit"].strip() or None if found else None


# From the first of several signs only, so that a row of thousands of them is looked at once.
_SUFFIX = re.compile(r"(?:^|(?<![_\s/,.:|-])[_\s/,.:|-]+)(?P<unit>[^\s_/,:|]+)$")
# Single letters and short words at the end of a name are too often part of the name itself.
_WEAK_SUFFIX = frozenset(
    ("C", "F", "K", "S", "m", "n", "d", "g", "G", "H", "J", "N", "#", "-", "1", "count", "counts", "time", "date",
     "raw", "index", "sample", "samples", "none", "text", "bit", "local", "Min", "min", "day", "hour", "second",
     "cnt", "UTC", "minute", "iso", "unix", "epoch", "std")
)  # fmt: skip

# "Time in min" and "Zeit min" are minutes; "Voltage min" is a minimum.
_SPANS = frozenset(("min", "Min", "minute", "hour", "day", "second", "std"))
_OF_TIME = re.compile(r"\b(?:time|t|zeit|temps|tiempo|tempo|elapsed|duration|laufzeit|dauer)(?:\s+in)?$", re.IGNORECASE)


def suffix_unit(name: str) -> str | None:
    """The unit at the end of a name, after an underscore, comma or space: "t_ms", "U_bat_mV", "Voltage, V"."""
    if "/" in name:
        whole = name.partition("/")[2].strip()
        if "/" in whole and whole in _TABLE:
            return whole  # "Speed/1/min", "v/km/h"
        head, _, tail = (part.strip() for part in name.rpartition("/"))
        before = re.split(r"[\s_(\[]", head)[-1]
        if before not in _TABLE and before not in ("r", "rev", "U", "rad", "L", "l", "1") and tail in _TABLE:
            return tail  # the quantity over its unit, "time/s"
    found = _SUFFIX.search(name.strip())
    if found is None or found.start() == 0:
        return None
    unit = found["unit"]
    weak = unit in _WEAK_SUFFIX and "," not in found[0] and not (unit in "CFKS" and "_" in found[0])
    if weak and not (unit in _SPANS and _OF_TIME.search(name[: found.start()])):
        return None
    known = _known(unit)
    return unit if known is not None and known[0] != "clock" else None
