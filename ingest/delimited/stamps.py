"""Dates and times as text: recognised by their shape, read into whole nanoseconds.

Calendar: proleptic Gregorian, no leap seconds (as POSIX time). Zones: ISO 8601 offsets and Z; without a zone the
stamps count on the logger's own wall clock. Where day and month cannot be told apart, `StampStyle.sure` is False.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

NS = 1_000_000_000
DAY_NS = 86_400 * NS
MISSING_NS = np.iinfo(np.int64).min

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH_NUMBER = {name: k + 1 for k, name in enumerate(_MONTHS)} | {"mai": 5, "okt": 10, "dez": 12, "mrz": 3, "mär": 3}
_DATE = (
    r"(?:(?P<y>\d{4})(?P<s1>[-/.])(?P<m>\d{1,2})(?P=s1)(?P<d>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<s2>[-/.])(?P<b>\d{1,2})(?P=s2)(?P<y2>\d{4}|\d{2})"
    r"|(?P<d3>\d{1,2})[-\s.]+(?P<mon>[A-Za-zä]{3,9})\.?[-\s,]+(?P<y3>\d{4}|\d{2})"
    r"|(?P<mon4>[A-Za-z]{3,9})\s+(?P<d4>\d{1,2}),?\s+(?P<y4>\d{4})"
    r"|(?P<y5>(?:19|20)\d{2})(?P<m5>[01]\d)(?P<d5>[0-3]\d))"
)
_TIME = (
    r"(?:(?P<H>\d{1,4}):(?P<M>\d{2})(?::(?P<S>\d{2}))?(?:[.,:](?P<f>\d{1,9})\d*)?(?:\s*(?P<ap>[AaPp])\.?\s?[Mm]\.?)?"
    r"|(?P<H2>\d{1,2})h(?P<M2>\d{1,2})m(?P<S2>\d{1,2})(?:[.,](?P<f2>\d{1,9}))?s?"
    r"|(?<=T)(?P<H3>\d{2})(?P<M3>\d{2})(?P<S3>\d{2})(?:[.,](?P<f3>\d{1,9}))?)"
)
_ZONE = r"(?:\s*(?P<z>Z|UTC|GMT|[+-]\d{2}:?(?:\d{2})?))?"
_DAYS = r"(?:(?P<days>\d{1,5})\s*(?:d|days?|D|:(?=\d{1,2}:\d{2}:\d{2}(?!\d))|[.](?=\d\d:)|\s(?=\d{1,2}:))[\s,]*)?"
FULL_PATTERN = re.compile(rf"{_DATE}(?:(?:T|\s*[,;_]?\s*|\s+-\s+){_TIME}{_ZONE})?")
CLOCK_PATTERN = re.compile(rf"(?P<neg>-)?{_DAYS}{_TIME}{_ZONE}")
_EPOCH = date(1970, 1, 1).toordinal()
_WEEKDAY = re.compile(r"^(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)[a-z]*,?\s+", re.IGNORECASE)


@dataclass(frozen=True)
class StampStyle:
    """How the stamps of one column are written.

    shape      "datetime", "date" or "time" (of day, or elapsed)
    day_first  12.3. before 3/12; None where it was never needed
    minutes    "12:34" means minutes and seconds, not hours and minutes
    sure       False where day and month, or hours and minutes, cannot be told apart
    zoned      the stamps carry a zone
    compact    bare digits: YYYYMMDD, HHMMSS
    """

    shape: str
    day_first: bool | None = None
    minutes: bool = False
    sure: bool = True
    zoned: bool = False
    passes_day: bool = False
    compact: bool = False


_LONG_FORM = re.compile(r"^(?:[A-Za-z]{3,9},?\s+)?([A-Za-z]{3})\s+(\d{1,2})\s+(\d{1,2}:\d\d:\d\d\S*)\s+(\d{4})$")


def _plain_order(text: str) -> str:
    """Without the weekday, and "May  9 14:20:00 2026" as "9-May-2026 14:20:00"."""
    found = _LONG_FORM.match(text)
    return f"{found[2]}-{found[1]}-{found[4]} {found[3]}" if found else _WEEKDAY.sub("", text)


def shape_of(text: str) -> str | None:
    """ "datetime", "date", "time", or None where the text is no stamp."""
    if len(text) < 4 or len(text) > 48 or not any(c.isdigit() for c in text):
        return None
    marks = ":" in text or any(text.count(mark) >= 2 for mark in "-/.")
    if not marks and not any(c.isalpha() for c in text):
        return None
    full = FULL_PATTERN.fullmatch(_plain_order(text))
    if full is not None:
        if full["y5"] and full["H"] is None and full["H3"] is None:
            return None  # eight bare digits are a number until a neighbour says otherwise
        month = full["mon"] or full["mon4"]
        if month and month.lower()[:3] not in _MONTH_NUMBER:
            return None
        if full["y2"] and not (1 <= int(full["a"]) <= 31 and 1 <= int(full["b"]) <= 31):
            return None
        timed = full["H"] is not None or full["H2"] is not None or full["H3"] is not None
        return "datetime" if timed else "date"
    clock = CLOCK_PATTERN.fullmatch(text)
    if clock is None or int(clock["M"] or clock["M2"] or 0) > 59 or int(clock["S"] or clock["S2"] or 0) > 59:
        return None
    return "time"


def style_of(cells: Sequence[str]) -> StampStyle | None:
    """The style of a column from its cells; None where fewer than nine in ten are stamps of one shape."""
    shapes = [shape_of(text) for text in cells if text]
    if not shapes:
        return None
    shape = max(("datetime", "date", "time"), key=shapes.count)
    if shapes.count(shape) < 0.9 * len(shapes):
        return None
    good = [text for text, found in zip(cells, shapes, strict=False) if found == shape]
    style = StampStyle(shape)
    if shape == "time":
        return _time_style(good, style)
    matches = [m for m in (FULL_PATTERN.fullmatch(_plain_order(text)) for text in good) if m is not None]
    style = replace(style, zoned=any(m["z"] for m in matches))
    pairs = [(int(m["a"]), int(m["b"]), m["s2"]) for m in matches if m["a"]]
    if not pairs:
        return style
    if any(a > 12 for a, _, _ in pairs):
        return replace(style, day_first=True)
    if any(b > 12 for _, b, _ in pairs):
        return replace(style, day_first=False)
    if all(mark == "." for _, _, mark in pairs):
        return replace(style, day_first=True)  # common practice: dots are day.month.year
    if len({a for a, _, _ in pairs}) != len({b for _, b, _ in pairs}):
        # Within one log it is the day that changes, the month stays.
        return replace(style, day_first=len({a for a, _, _ in pairs}) > len({b for _, b, _ in pairs}), sure=False)
    return replace(style, day_first=True, sure=all(a == b for a, b, _ in pairs))


def _time_style(good: Sequence[str], style: StampStyle) -> StampStyle:
    matches = [m for m in (CLOCK_PATTERN.fullmatch(text) for text in good) if m is not None]
    two_part = [m for m in matches if m["H"] and not m["S"] and not m["ap"]]
    beyond = any(m["days"] for m in matches) or any(int(m["H"] or 0) > 23 for m in matches)
    if two_part and len(two_part) == len(matches):
        if any(m["f"] for m in two_part) or beyond:
            return replace(style, minutes=True)
        return replace(style, minutes=False, sure=False)
    return replace(style, passes_day=beyond, zoned=any(m["z"] for m in matches))


def _ordinal_ns(match: re.Match[str], day_first: bool | None) -> int | None:
    try:
        if match["y"]:
            year, month, day = int(match["y"]), int(match["m"]), int(match["d"])
        elif match["a"]:
            day, month = int(match["a"]), int(match["b"])
            if not day_first:
                day, month = month, day
            year = _century(match["y2"])
        elif match["mon"]:
            year, day = _century(match["y3"]), int(match["d3"])
            month = _MONTH_NUMBER[match["mon"].lower()[:3]]
        elif match["mon4"]:
            year, month, day = int(match["y4"]), _MONTH_NUMBER[match["mon4"].lower()[:3]], int(match["d4"])
        else:
            year, month, day = int(match["y5"]), int(match["m5"]), int(match["d5"])
        if not 1900 <= year <= 2199:  # what 64 bits of nanoseconds hold, and what a logger can mean
            return None
        return (date(year, month, day).toordinal() - _EPOCH) * DAY_NS
    except (ValueError, KeyError):
        return None


def month_of(name: str) -> int | None:
    """1 to 12 of a month's name, its first three letters counting."""
    return _MONTH_NUMBER.get(name.lower()[:3])


def _century(text: str) -> int:
    year = int(text)
    return year if len(text) == 4 else 2000 + year if year < 70 else 1900 + year


def _time_ns(match: re.Match[str], minutes: bool) -> int | None:
    if match["H"] is not None:
        hours, mins, secs, fraction = match["H"], match["M"], match["S"] or "0", match["f"] or ""
        if minutes and match["S"] is None:
            hours, mins, secs = "0", match["H"], match["M"]
    elif match["H2"] is not None:
        hours, mins, secs, fraction = match["H2"], match["M2"], match["S2"], match["f2"] or ""
    else:
        hours, mins, secs, fraction = match["H3"], match["M3"], match["S3"], match["f3"] or ""
    hour = int(hours)
    if int(secs) > 60 or (int(mins) > 59 and not minutes):
        return None
    half = match["ap"]
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half in "Pp" else 0)
    total = ((hour * 60 + int(mins)) * 60 + int(secs)) * NS
    total += int(fraction.ljust(9, "0")) if fraction else 0
    zone = match["z"]
    if zone and zone not in ("Z", "UTC", "GMT"):
        digits = zone[1:].replace(":", "").ljust(4, "0")
        shift = (int(digits[:2]) * 60 + int(digits[2:])) * 60 * NS
        total += -shift if zone[0] == "+" else shift
    return total


_DIGITS = re.compile(r"(\d{1,6})(?:[.,](\d{1,9}))?")


def compact_time_ns(text: str) -> int | None:
    """Nanoseconds since midnight of HHMMSS, zeros in front possibly lost; None where it is no time of day."""
    match = _DIGITS.fullmatch(text)
    if match is None:
        return None
    digits = match[1].zfill(6)
    hours, minutes, seconds = int(digits[:2]), int(digits[2:4]), int(digits[4:])
    if hours > 23 or minutes > 59 or seconds > 59:
        return None
    fraction = (match[2] or "").ljust(9, "0")
    return ((hours * 60 + minutes) * 60 + seconds) * NS + int(fraction)


def parse_stamp(text: str, style: StampStyle) -> int | None:
    """Nanoseconds since 1970 (datetime, date), or since midnight or the start (time); None where it is none."""
    text = text.strip().strip('"')
    if style.compact and style.shape == "time":
        return compact_time_ns(text)
    if style.shape == "time":
        match = CLOCK_PATTERN.fullmatch(text)
        if match is None:
            return None
        value = _time_ns(match, style.minutes)
        if value is None:
            return None
        if match["days"]:
            value += int(match["days"]) * DAY_NS
        return -value if match["neg"] else value
    if style.compact and style.shape == "datetime" and len(text) in (14, 17) and text.isdigit():
        text = f"{text[:8]}T{text[8:14]}" + (f".{text[14:]}" if len(text) == 17 else "")
    match = FULL_PATTERN.fullmatch(_plain_order(text))
    if match is None:
        return None
    days = _ordinal_ns(match, style.day_first)
    if days is None:
        return None
    if match["H"] is None and match["H2"] is None and match["H3"] is None:
        return days if style.shape == "date" else None
    clock = _time_ns(match, False)
    return None if clock is None else days + clock


def wall_text(ns: int, zoned: bool) -> str:
    """ISO 8601 text of a wall time, to the microsecond; Z where the zone is known."""
    moment = datetime(1970, 1, 1) + timedelta(microseconds=ns // 1000)
    return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds") + ("Z" if zoned else "")
