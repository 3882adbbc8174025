"""What each column of the table is, from a sample of its cells."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from ingest.delimited.numbers import (
    FLAGS,
    NumberStyle,
    column_style,
    decimals_of,
    is_code,
    is_missing,
    is_overrange,
    number_and_unit,
    plain_number,
    says_no_mark,
    tidy,
    whole_64,
)
from ingest.delimited.plan import ColumnPlan
from ingest.delimited.stamps import StampStyle, shape_of, style_of
from ingest.delimited.units import split_unit, unit_of

MILLISECONDS = ("ms", "msec", "millis", "millisec", "milliseconds", "millisecond", "time ms", "time_ms")
FEW_WORDS = 64  # our choice: a state column has a handful of words; more than this is free text


def plan_columns(names: Sequence[str], rows: Sequence[Sequence[str]], decimal: str | None) -> list[ColumnPlan]:
    """One plan per column. rows: cells of sampled rows. decimal: what the reading says, if it does."""
    columns = [[tidy(row[k]) for row in rows] for k in range(len(names))]
    fallback = _majority(columns, decimal)
    return [plan_column(k, names[k], cells, fallback, decimal) for k, cells in enumerate(columns)]


def _majority(columns: Sequence[Sequence[str]], decimal: str | None) -> NumberStyle:
    """The decimal mark that most columns with a mark show beyond doubt; not sure where some show the other one."""
    if decimal is not None:
        return NumberStyle(decimal)
    votes: Counter[str] = Counter()
    unclear: Counter[str] = Counter()
    for cells in columns:
        filled = [c for c in cells if c and not is_missing(c)]
        filled = filled[:: 1 + len(filled) // 200]  # a group mark may come only where a clock passes 999
        filled = [c for c in filled if shape_of(c) is None]  # the points of a date are no decimal marks
        style = column_style(filled, NumberStyle(sure=False))
        if style is not None and style.sure and any(style.decimal in c for c in filled):
            (unclear if says_no_mark(filled) else votes)[style.decimal] += 1
        elif style is not None and style.sure and style.thousands and any(style.thousands in c for c in filled):
            votes[style.decimal] += 1  # what groups the thousands of one column is no decimal mark of another
    if not votes:
        return NumberStyle(unclear.most_common(1)[0][0]) if unclear else NumberStyle(sure=False)
    return NumberStyle(votes.most_common(1)[0][0], sure=len(votes) == 1)


def plan_column(index: int, name: str, cells: Sequence[str], fallback: NumberStyle, decimal: str | None) -> ColumnPlan:
    """The kind and the style of one column. cells are tidied."""
    filled = [c for c in cells if not is_missing(c) and not is_overrange(c)]
    plan = ColumnPlan(index, name, "number", NumberStyle(fallback.decimal))
    if not filled:
        plan.empty = True
        return plan
    if all(c.lower() in FLAGS for c in filled) or _mostly(filled, lambda c: c.lower() in FLAGS):
        plan.kind = "flag"
        return plan
    stamp = style_of(filled)
    if stamp is not None:
        plan.kind, plan.stamp = "time", says_minutes(stamp, name)
        return plan
    if _are_codes(filled) and name.lower().strip(" .[]()") not in MILLISECONDS:
        plan.kind = "text"
        plan.few_words = len(set(filled)) <= FEW_WORDS
        return plan
    style = NumberStyle(decimal) if decimal else column_style(filled, fallback)
    if decimal and style is not None:
        grouped = column_style(filled, NumberStyle(decimal))
        style = grouped if grouped is not None and grouped.decimal == decimal else style
    if style is not None:
        plan.style = style
        readable = [number_and_unit(c, style) for c in filled]
        good = [r for r in readable if r is not None]
        words = [c for c, r in zip(filled, readable, strict=True) if r is None and not is_overrange(c)]
        if good and (len(good) >= 0.5 * (len(good) + len(words))) and _words_are_rare(good, words):
            _finish_number(plan, filled, good)
            return plan
    plan.kind = "text"
    plan.few_words = len(set(filled)) <= FEW_WORDS and (len(set(filled)) < 0.5 * len(filled) or len(filled) < 8)
    return plan


def says_minutes(stamp: StampStyle, text: str) -> StampStyle:
    """The style where a name or a unit says "mm:ss", or "hh:mm": two figures alone could be either."""
    if stamp.shape != "time" or stamp.sure or ":" not in text:
        return stamp
    if re.search(r"\bm{1,2}:s{1,2}\b|\bmin:sec\b", text, re.IGNORECASE):
        return replace(stamp, minutes=True, sure=True)
    return replace(stamp, sure=True) if re.search(r"\bh{1,2}:m{1,2}\b", text, re.IGNORECASE) else stamp


def _mostly(cells: Sequence[str], test: Callable[[str], bool]) -> bool:
    hits = sum(test(c) for c in cells)
    return hits >= 0.95 * len(cells) and len(cells) >= 20


def _words_are_rare(good: Sequence[object], words: Sequence[str]) -> bool:
    """A number column with a few odd cells; a text column in which many cells happen to be numbers stays text."""
    return len(words) <= 0.2 * len(good) or len(set(words)) <= 3


def _are_codes(filled: Sequence[str]) -> bool:
    """Integers with leading zeros of one width: a code such as 0012, unless they count up like a clock."""
    codes = [c for c in filled if is_code(c)]
    if not codes or any(not c.isdecimal() for c in filled):
        return False
    if len({len(c) for c in filled}) > 1 and len(codes) < len(filled):
        return len(codes) >= 0.5 * len(filled)
    values = [(len(c.lstrip("0")), c.lstrip("0")) for c in filled]  # as numbers, of any length
    rising = sum(b > a for a, b in pairwise(values))
    return not (len(values) > 3 and rising >= 0.9 * (len(values) - 1))


def _finish_number(plan: ColumnPlan, filled: Sequence[str], good: Sequence[tuple[float, str | None]]) -> None:
    units = Counter(unit for _, unit in good if unit is not None)
    if units:
        commonest = units.most_common(1)[0][0]
        base = unit_of(commonest)
        if sum(units.values()) >= 0.5 * len(good) or base is None:
            plan.unit = commonest
        else:
            plan.unit = commonest
    whole = all(plan.style.decimal not in c for c in filled)
    plan.marked = not whole
    if whole and any(abs(value) > 2.0**53 for value, _ in good):
        plan.exact = all(whole_64(c) is not None for c in filled)


def decimals(plan: ColumnPlan, cells: Sequence[str]) -> int:
    """The most digits after the decimal mark among sampled cells."""
    if plan.kind != "number":
        return 0
    bare = [split_unit(tidy(c))[0] for c in cells]
    found = (decimals_of(c, plan.style) for c in bare if plain_number(c, plan.style) is not None)
    return max(found, default=0)
