"""What a cell says: the grammar of numbers, words for "no value", flags and units glued to a value."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ingest.delimited.units import split_unit

MISSING = frozenset(
    ("", "nan", "na", "n/a", "#n/a", "null", "none", "nil", "-", "--", "---", "----", "?", "*", "n.a.", "-nan",
     "1.#qnan", "-1.#ind", "nan(ind)", "-nan(ind)", "missing", "void", "invalid", "no data", "nodata")
)  # fmt: skip
# Words a meter writes when the value is beyond its range: there is no number, which is not the same as "empty".
OVERRANGE = frozenset(
    ("ol", "o.l", "o.l.", "-ol", "+ol", "0l", "ovr", "over", "ovld", "overload", "ovrflw", "over range", "overrange",
     "inf", "+inf", "-inf", "infinity", "-infinity", "1.#inf", "-1.#inf", "open", "error", "err", "fault", "fail",
     "#div/0!", "#value!", "#ref!", "#num!")
)  # fmt: skip
_TRUE = frozenset(("on", "true", "yes", "ein", "wahr", "ja"))
_FALSE = frozenset(("off", "false", "no", "aus", "falsch", "nein"))
FLAGS = {**dict.fromkeys(_TRUE, 1.0), **dict.fromkeys(_FALSE, 0.0)}

_SPACES = "\u00a0\u202f\u2009\u2007"
_TIDY = str.maketrans({"\u2212": "-", "\u2013": "-", "\ufeff": "", "\u200b": "", **dict.fromkeys(_SPACES, " ")})
# Each digit can be taken in one way only: a row of thousands that is no number is turned away in one pass.
_DOT = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eEdD][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(?:\d+(?:,\d*)?|,\d+)(?:[eEdD][+-]?\d+)?")
_HEX = re.compile(r"[+-]?0[xX][0-9a-fA-F]+")
_WHOLE = re.compile(r"[+-]?[0-9]{1,20}")
_CODE = re.compile(r"0\d+")
# Groups of three after one to three digits; the mark must be the same between all groups.
_GROUPED = re.compile(r"(?P<sign>[+-]?)(?P<int>[1-9]\d{0,2}(?:(?P<mark>[.,' ’_])\d{3})(?:(?P=mark)\d{3})*)(?P<rest>.*)")
# Below zero as book-keeping and some spreadsheets write it: "(12.5)" and "12.5-".
_MINUS_BEHIND = re.compile(r"\((?P<a>[\d.,]+)\)|(?P<b>[\d.,]+)-")
_ANY_NUMBER = re.compile(r"[+-]?\s?(?:\d[\d.,' ’_]*|[.,]\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class NumberStyle:
    """How one column writes its numbers. thousands "" means no group marks."""

    decimal: str = "."
    thousands: str = ""
    sure: bool = True


PLAIN = NumberStyle()


def tidy(cell: str) -> str:
    """The cell without quotes, odd spaces and typographic minus signs."""
    text = cell.strip()
    if not text.isascii():
        text = text.translate(_TIDY).strip()
    if len(text) > 2 and text[0] == "=" and text[1] == '"' and text[-1] == '"':
        text = text[2:-1].strip()  # the spreadsheet habit of ="0012"
    if len(text) > 1 and text[0] == text[-1] and text[0] in "\"'":
        text = text[1:-1].strip()
    return text


def is_overrange(text: str) -> bool:
    """A word or a row of signs that a meter writes when the value is beyond its range."""
    return text.lower() in OVERRANGE or (len(text) > 2 and not text.strip("+*>"))


def is_missing(text: str) -> bool:
    return text.lower() in MISSING


def plain_number(text: str, style: NumberStyle) -> float | None:
    """A number without any unit, written in this style; hexadecimal counts. None where it is something else."""
    if style.thousands and style.thousands in text:
        grouped = _GROUPED.fullmatch(text)
        if grouped is None or grouped["mark"] != style.thousands or grouped["rest"][:1].isdigit():
            return None
        text = grouped["sign"] + grouped["int"].replace(style.thousands, "") + grouped["rest"]
    if text[:1] in "+-" and text[1:2] == " ":
        text = text[0] + text[1:].lstrip()
    elif text[-1:] in ("-", ")") and (behind := _MINUS_BEHIND.fullmatch(text)) is not None:
        text = "-" + (behind["a"] or behind["b"])
    pattern = _DOT if style.decimal == "." else _COMMA
    if pattern.fullmatch(text):
        value = float(text.replace(",", ".").replace("d", "e").replace("D", "e"))
        return value if math.isfinite(value) else None
    if _HEX.fullmatch(text):
        return float(int(text, 16)) if len(text) < 20 else None
    return None


def whole_64(text: str) -> int | None:
    """A whole number that 64 bits hold; None where it is none."""
    value = int(text) if _WHOLE.fullmatch(text) else None
    return value if value is not None and -(2**63) <= value < 2**63 else None


def number_and_unit(text: str, style: NumberStyle) -> tuple[float, str | None] | None:
    """The value and the unit glued to it, if any; None where the cell is no number."""
    value = plain_number(text, style)
    if value is not None:
        return value, None
    head = _ANY_NUMBER.match(text)
    if head is None or head.end() == 0:
        return None
    number, unit = split_unit(text)
    if unit is None:
        return None
    value = plain_number(number, style)
    return None if value is None else (value, unit)


def looks_numeric(text: str) -> bool:
    """Whether the cell is a number in any style, with or without a unit."""
    return any(number_and_unit(text, style) is not None for style in _ALL_STYLES)


_ALL_STYLES = (
    NumberStyle("."),
    NumberStyle(","),
    NumberStyle(".", ","),
    NumberStyle(",", "."),
    NumberStyle(".", "'"),
    NumberStyle(".", "’"),
    NumberStyle(",", " "),
    NumberStyle(".", " "),
)


def column_style(cells: Iterable[str], fallback: NumberStyle) -> NumberStyle | None:
    """The style that explains the cells of one column.

    None where nothing explains most of them. `sure` is False where two styles explain them equally and differ in
    value: every cell with a mark has exactly three digits after it and nothing else decides.
    """
    numbers = [text for text in cells if text and any(c.isdigit() for c in text)]
    bare = [_without_unit(text) for text in numbers]
    marked = [text for text in bare if any(mark in text for mark in ".,' ’")]
    if not marked:
        return NumberStyle(fallback.decimal)
    scored = []
    for style in _ALL_STYLES:
        hits = sum(plain_number(text, style) is not None for text in bare)
        scored.append((hits, style))
    best = max(hits for hits, _ in scored)
    if best == 0 or best < 0.5 * len(bare):
        return None
    fit = [style for hits, style in scored if hits == best]
    bare = [text for text in bare if any(plain_number(text, style) is not None for style in fit)]  # no garbled ones
    marked = [text for text in bare if any(mark in text for mark in ".,' ’")]
    if not marked:
        return NumberStyle(fallback.decimal)
    return _decide(marked, bare, fit, fallback)


def _decide(
    marked: Sequence[str], bare: Sequence[str], fit: Sequence[NumberStyle], fallback: NumberStyle
) -> NumberStyle:
    marks = {mark for text in marked for mark in ".,' ’" if mark in text}
    used = [style for style in fit if marks <= {style.decimal, style.thousands}]
    if len(used) == 1:
        return used[0]
    single = [style for style in used if not style.thousands or style.thousands in marks]
    decimal_only = [style for style in single if not style.thousands]
    grouped = [style for style in single if style.thousands and style.decimal not in marks]
    if decimal_only and not grouped:
        return decimal_only[0]
    if grouped and not decimal_only:
        return _prefer(grouped, fallback)
    if decimal_only and grouped:
        mark = decimal_only[0].decimal
        if fallback.sure and fallback.decimal == mark:
            return decimal_only[0]  # the other columns show it
        if fallback.sure:
            return NumberStyle(fallback.decimal, mark)  # the other columns show that this is no decimal mark
        without = [text for text in bare if mark not in text]
        if without:
            # Three digits behind every mark, and cells without a mark only below one thousand: group marks.
            small = all(len(text.lstrip("+-")) <= 3 for text in without)
            several = len(set(without)) >= 3  # a page number among the cells is none
            if small and (several or mark == ","):
                return NumberStyle("." if mark == "," else ",", mark, sure=several)
            return decimal_only[0]
        if mark == ".":
            return decimal_only[0]
        return NumberStyle(mark, sure=False)
    return _prefer(list(fit), fallback)


_THREE_BEHIND = re.compile(r"[+-]?(?:[1-9]\d{0,2}[.,]\d{3}|\d{1,3})")


def says_no_mark(cells: Iterable[str]) -> bool:
    """Whether every mark has three digits behind it and stands alone: it may be the decimal one or group thousands."""
    return all(_THREE_BEHIND.fullmatch(_without_unit(text)) for text in cells if any(c.isdigit() for c in text))


def _prefer(styles: Sequence[NumberStyle], fallback: NumberStyle) -> NumberStyle:
    return next((s for s in styles if s.decimal == fallback.decimal), styles[0])


def _without_unit(text: str) -> str:
    number, unit = split_unit(text)
    return number if unit is not None else text


def decimals_of(text: str, style: NumberStyle) -> int:
    """Digits after the decimal mark."""
    mantissa = re.split("[eEdD]", text)[0]
    return sum(c.isdigit() for c in mantissa.partition(style.decimal)[2])


def is_code(text: str) -> bool:
    """An integer with leading zeros: a code, not a number."""
    return len(text) > 1 and _CODE.fullmatch(text) is not None
