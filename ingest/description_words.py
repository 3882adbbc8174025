"""The words of errors about description files: what is wrong with a value, and how it is written."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from ingest.errors import nearest
from ingest.tables.names import UnknownName

ID_RULE = "a letter a to z, then a to z, 0 to 9 or _, at most 40 in all"

ANY_MEND = "A line reads: key = value, a heading: [build]; compare it with a file that `afterbout new` makes."

# What the standard library's reader says -> the mend.
KEY_MENDS = (
    ("Invalid value", 'Text stands in quotes: robot = "Gristmote"; a decimal has a point; true and false are small.'),
    ("Cannot overwrite a value", "This key stands twice; keep one."),
    ("Cannot declare", "This table stands twice; several parts of one kind are written as [[wire]], [[wire]]."),
    ("Expected '='", 'A line reads: key = value, a heading: [build]; a remark starts with "#".'),
    (
        "Expected newline",
        "One key on a line; text stands in quotes, a figure without its unit; a date is written 2026-05-09.",
    ),
    ("Unterminated string", "The closing quote is missing."),
    ("Illegal character", "Text stands in quotes that open and close on the same line."),
    ("Unescaped '\\\\'", "Write a backslash twice, or use single quotes."),
    ("Unclosed array", "The closing ] is missing."),
    ("Unclosed inline table", "The closing } is missing on this line."),
    ("Invalid initial character for a key", "A key is made of a to z, 0 to 9, _ and -."),
    ("Invalid date or datetime", "There is no such day or time; write 2026-05-09 or 2026-05-09T14:20:00."),
)

_UNITS = {
    "mm": "millimetres", "mm2": "square millimetres", "A": "amperes", "V": "volts", "s": "seconds", "g": "grams",
    "kg": "kilograms", "degC": "degrees Celsius", "mohm": "milliohms", "K": "kelvins", "Ah": "ampere hours",
    "C": "multiples of the capacity", "W": "watts", "pct": "per cent", "ppm": "parts per million",
}  # fmt: skip
# Other units in which people state the same figures.
_OTHER_UNITS = {
    "m", "cm", "in", "inch", "ft", "mAh", "mA", "mV", "ohm", "uohm", "ms", "min", "lb", "lbs", "oz", "degF", "F",
    "awg", "AWG", "kW", "us",
}  # fmt: skip


def key_mend(key: str, known: Sequence[str]) -> str:
    """The nearest known key; a right name with another unit is told its unit."""
    stem, _, unit = key.rpartition("_")
    if stem and (unit in _OTHER_UNITS or unit in _UNITS):
        same = [k for k in known if k.rpartition("_")[0] == stem]
        if same:
            return f"The unit of this figure is in its name: {same[0]} ({unit_words(same[0])})."
    else:
        same = [k for k in known if k.rpartition("_")[0] == key]
        if len(same) == 1:
            return f"The unit is part of the name: {same[0]}."
    return nearest(key, known)


def unit_words(key: str) -> str:
    unit = key.rpartition("_")[2]
    return _UNITS.get(unit, unit)


def complaint_text(fault: Mapping[str, Any], key: str, found: object) -> tuple[str, str | None, str]:
    """(what, expected, mend) for one fault that the model found in a value."""
    kind, context = fault["type"], fault.get("ctx") or {}
    if kind == "missing":
        return f'the key "{fault["loc"][-1]}" is missing', None, f"Add a line: {fault['loc'][-1]} = …"
    if found == "unknown":
        return 'cannot be "unknown"', None, "Without it nothing can be said; measure it or look it up."
    if kind in ("float_type", "int_type", "float_parsing", "int_parsing", "finite_number"):
        return _not_a_number(kind, key, found)
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        return _out_of_range(kind, context, key)
    if kind == "literal_error":
        names = re.findall(r"'([^']*)'", str(context.get("expected", "")))
        mend = nearest(found, names) if isinstance(found, str) else ""
        return "is not one of the known words", " or ".join(f'"{name}"' for name in names), mend
    if kind == "string_pattern_mismatch":
        return "is not in the form of an id", ID_RULE, _id_mend(found)
    if kind == "value_error":
        error = context.get("error")
        if isinstance(error, UnknownName):
            return f"is not a known {error.kind}", None, _sentence(error.mend)
        return _lower(str(error)), None, ""
    words = {
        "string_type": (
            "is not text",
            "text in quotes",
            f'Write: {key} = "{found}"' if isinstance(found, int | float) else "",
        ),
        "bool_type": ("is neither true nor false", "true or false, without quotes", ""),
        "tuple_type": ("is not a list", "a list in square brackets", f'Write: {key} = ["…", "…"]'),
        "date_type": ("is not a date", "a date such as 2026-01-10, without quotes", ""),
        "date_parsing": ("is not a date", "a date such as 2026-01-10, without quotes", ""),
        "date_from_datetime_parsing": ("is not a date", "a date such as 2026-01-10, without quotes", ""),
        "date_from_datetime_inexact": ("is not a date", "a date such as 2026-01-10, without a time", ""),
        "datetime_type": ("is not a date and time", "such as 2026-05-09T14:20:00, without quotes", ""),
        "datetime_parsing": ("is not a date and time", "such as 2026-05-09T14:20:00, without quotes", ""),
        "datetime_from_date_parsing": ("is not a date and time", "such as 2026-05-09T14:20:00, without quotes", ""),
        "dict_type": ("is not a table", "a table", ""),
        "model_type": ("is not a table", "a table", ""),
    }
    return words.get(kind, (_lower(str(fault["msg"])), None, ""))


def _not_a_number(kind: str, key: str, found: object) -> tuple[str, str | None, str]:
    if kind == "finite_number":
        return "is not a finite number", "a finite number", 'Write "unknown" where it is not known.'
    if kind.startswith("int") and isinstance(found, float):
        return "is not a whole number", "a whole number", f"Write: {key} = {found:.0f}" if found.is_integer() else ""
    figure = re.match(r"\s*(-?\d+(?:[.,]\d+)?)", found) if isinstance(found, str) else None
    whole = "a whole number" if kind.startswith("int") else "a number"
    unit = f" of {unit_words(key)}" if key.rpartition("_")[2] in _UNITS else ""
    mend = f"Write: {key} = {figure[1].replace(',', '.')}" if figure else ""
    if figure is None and isinstance(found, str):
        mend = 'Where it is not known write "unknown" or leave the line out.'
    return "is not a number", f"{whole}{unit}, without quotes or unit", mend


def _out_of_range(kind: str, context: Mapping[str, Any], key: str) -> tuple[str, str | None, str]:
    words = {
        "greater_than": "above",
        "greater_than_equal": "at least",
        "less_than": "below",
        "less_than_equal": "at most",
    }
    bound = next(iter(context.values()))
    unit = key.rpartition("_")[2]
    shown = f"{bound:g} {unit}" if unit in _UNITS else f"{bound:g}"
    mend = 'Where it is not known write "unknown" or leave the line out.' if kind == "greater_than" else ""
    return "is out of range", f"{words[kind]} {shown}", mend


def _id_mend(found: object) -> str:
    if not isinstance(found, str):
        return ""
    made = re.sub(r"[^a-z0-9]+", "_", found.lower()).strip("_")[:40].strip("_")
    return f'For example "{made}".' if re.fullmatch(r"[a-z][a-z0-9_]*", made) else ""


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "." if text else ""
