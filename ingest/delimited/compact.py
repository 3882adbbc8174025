"""Dates and times as bare digits: 20260509142000 in one column, or 20260509 beside 142000 or 142000.25."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ingest.delimited.numbers import is_missing, tidy
from ingest.delimited.plan import ColumnPlan
from ingest.delimited.stamps import StampStyle, parse_stamp

_DATE = StampStyle("date", compact=True)
_TIME = StampStyle("time", compact=True)
_BOTH = StampStyle("datetime", compact=True)


def mark_compact(columns: Sequence[ColumnPlan], rows: Sequence[Sequence[str]]) -> None:
    """Turn such number (or code) columns into stamps: only where every cell is a valid one."""
    for column in columns:
        if _all(column, rows, _BOTH, r"(?:19|20)\d{12}(?:\d{3})?"):
            column.kind, column.stamp, column.exact = "time", _BOTH, False
            return
    date = next((c for c in columns if _all(c, rows, _DATE, r"(?:19|20)\d{6}")), None)
    if date is None:
        _mark_utc(columns, rows)
        return
    time = next((c for c in columns if c is not date and _is_time(c, rows)), None)
    if time is None:
        return
    for column, style in ((date, _DATE), (time, _TIME)):
        column.kind, column.stamp, column.exact = "time", style, False


def _mark_utc(columns: Sequence[ColumnPlan], rows: Sequence[Sequence[str]]) -> None:
    """A time of day in six digits without its date: only where the name says so, a count may look alike."""
    for column in columns:
        if re.search(r"utc|hms|hh:?mm:?ss", column.source.lower()) and _all(
            column, rows, _TIME, r"\d{6}(?:[.,]\d{1,9})?"
        ):
            column.kind, column.stamp, column.exact = "time", _TIME, False
            return


def _cells(column: ColumnPlan, rows: Sequence[Sequence[str]]) -> list[str]:
    return [text for row in rows if not is_missing(text := tidy(row[column.index]))]


def _all(column: ColumnPlan, rows: Sequence[Sequence[str]], style: StampStyle, shape: str) -> bool:
    if column.kind not in ("number", "text"):
        return False
    cells = _cells(column, rows)
    return bool(cells) and all(re.fullmatch(shape, c) and parse_stamp(c, style) is not None for c in cells)


def _is_time(column: ColumnPlan, rows: Sequence[Sequence[str]]) -> bool:
    name = column.source.lower()
    named = "time" in name or "utc" in name or "hms" in name or "uhrzeit" in name
    return named and _all(column, rows, _TIME, r"\d{1,6}(?:[.,]\d{1,9})?")
