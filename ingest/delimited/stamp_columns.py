"""Columns of stamps that all have one layout, read all at once: digits by their place, as bytes."""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ingest.delimited.stamps import (
    CLOCK_PATTERN,
    DAY_NS,
    FULL_PATTERN,
    MISSING_NS,
    NS,
    StampStyle,
    month_of,
    parse_stamp,
)

Fields = dict[str, NDArray[np.int64]]


def stamps_ns(cells: pa.Array, style: StampStyle) -> NDArray[np.int64]:
    """All stamps of a string column in nanoseconds; MISSING_NS where a cell is none."""
    if len(cells) > 64 and cells.null_count == 0 and not style.compact:
        fast = _same_layout(cells, style)
        if fast is not None:
            return fast
    known: dict[str | None, int] = {None: MISSING_NS}
    result = np.empty(len(cells), dtype=np.int64)
    for k, text in enumerate(cells.to_pylist()):
        value = known.get(text)
        if value is None:
            parsed = parse_stamp(text, style) if text else None
            value = MISSING_NS if parsed is None else parsed
            if len(known) < 100_000:
                known[text] = value
        result[k] = value
    return result


def _same_layout(cells: pa.Array, style: StampStyle) -> NDArray[np.int64] | None:
    """None where the cells differ in length or in anything but digits, or hold what only the slow way can judge."""
    lengths = pc.min_max(pc.binary_length(cells))
    size = lengths["min"].as_py()
    if size is None or size != lengths["max"].as_py() or size == 0:
        return None
    first = cells[0].as_py()
    if not first.isascii():
        return None
    pattern = CLOCK_PATTERN if style.shape == "time" else FULL_PATTERN
    match = pattern.fullmatch(first)
    if match is None or match["ap"] or (style.shape == "datetime") != _has_time(match, style):
        return None
    chars = _characters(cells, size)
    if chars is None:
        return None
    digits = np.array([c.isdecimal() for c in first])
    if not np.array_equal(chars[:, ~digits], np.broadcast_to(chars[0, ~digits], (len(cells), int((~digits).sum())))):
        return None
    figures = chars[:, digits] - np.uint8(48)
    if figures.size and figures.max() > 9:
        return None
    fields = {name: _number(chars, *match.span(name)) for name, text in match.groupdict().items()
              if text is not None and text.isdecimal()}  # fmt: skip
    if match["z"] and not np.all(chars[:, match.start("z") :] == chars[0, match.start("z") :]):
        return None
    total = np.zeros(len(cells), dtype=np.int64)
    if style.shape != "time":
        days = _days(match, fields, style.day_first)
        if days is None:
            return None
        total += days * DAY_NS
    elif "days" in fields:
        total += fields["days"] * DAY_NS
    if style.shape != "date":
        clock = _clock(match, fields, style)
        if clock is None:
            return None
        total += clock
    if style.shape == "time" and match["neg"]:
        total = -total
    return total


def _has_time(match: re.Match[str], style: StampStyle) -> bool:
    if style.shape == "time":
        return False
    return any(match[name] is not None for name in ("H", "H2", "H3"))


def _characters(cells: pa.Array, size: int) -> NDArray[np.uint8] | None:
    """(rows, size) bytes of a string array without nulls whose strings all have one length."""
    _, offsets, data = cells.buffers()
    if data is None:
        return None
    places = np.frombuffer(offsets, dtype=np.int32)[cells.offset : cells.offset + len(cells) + 1]
    start = int(places[0])
    return np.frombuffer(data, dtype=np.uint8)[start : start + size * len(cells)].reshape(len(cells), size)


def _number(chars: NDArray[np.uint8], start: int, stop: int) -> NDArray[np.int64]:
    value = np.zeros(chars.shape[0], dtype=np.int64)
    for k in range(start, stop):
        value = value * 10 + (chars[:, k].astype(np.int64) - 48)
    return value


def _days(match: re.Match[str], fields: Fields, day_first: bool | None) -> NDArray[np.int64] | None:
    rows = next(iter(fields.values())).size
    if match["y"]:
        year, month, day = fields["y"], fields["m"], fields["d"]
    elif match["a"]:
        day, month = (fields["a"], fields["b"]) if day_first else (fields["b"], fields["a"])
        year = fields["y2"] if len(match["y2"]) == 4 else np.where(fields["y2"] < 70, 2000, 1900) + fields["y2"]
    elif match["mon"] or match["mon4"]:
        number = month_of(match["mon"] or match["mon4"])
        if number is None:
            return None
        short = len(match["y3"] or "0000") == 2
        year = fields["y3"] if match["mon"] else fields["y4"]
        year = np.where(year < 70, 2000, 1900) + year if short else year
        day, month = fields["d3"] if match["mon"] else fields["d4"], np.full(rows, number)
    else:
        year, month, day = fields["y5"], fields["m5"], fields["d5"]
    if year.min() < 1900 or year.max() > 2199 or month.min() < 1 or month.max() > 12 or day.min() < 1:
        return None
    months = (year - 1970) * 12 + (month - 1)
    begin = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    following = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    days = begin + day - 1
    return days if np.all(days < following) else None


def _clock(match: re.Match[str], fields: Fields, style: StampStyle) -> NDArray[np.int64] | None:
    rows = next(iter(fields.values())).size
    mark = "" if match["H"] else "2" if match["H2"] else "3"
    zero = np.zeros(rows, dtype=np.int64)
    hours, minutes = fields["H" + mark], fields["M" + mark]
    seconds = fields.get("S" + mark, zero)
    if style.minutes and match["S"] is None and not mark:
        hours, minutes, seconds = zero, hours, minutes
    elif minutes.max() > 59:
        return None
    if seconds.max() > 60 or (style.shape == "datetime" and hours.max() > 24):
        return None
    total = ((hours * 60 + minutes) * 60 + seconds) * NS
    fraction = fields.get("f" + mark)
    if fraction is not None:
        total += fraction * 10 ** (9 - len(match["f" + mark]))
    zone = match["z"]
    if zone and zone[0] in "+-":
        digits = zone[1:].replace(":", "").ljust(4, "0")
        shift = (int(digits[:2]) * 60 + int(digits[2:])) * 60 * NS
        total += -shift if zone[0] == "+" else shift
    return total
