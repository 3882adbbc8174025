"""Line by line: for ragged rows, units in cells, odd number styles and whatever stands between the rows."""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ingest.delimited.dialect import is_comment, split_line
from ingest.delimited.lines import joined_lines
from ingest.delimited.numbers import FLAGS, MISSING, is_missing, is_overrange, number_and_unit, tidy, whole_64
from ingest.delimited.plan import ColumnPlan, OddLine, Parsed, Plan
from ingest.delimited.source import MAX_LINE_BYTES, Block, too_long
from ingest.delimited.stamps import parse_stamp
from ingest.delimited.table import row_classes
from ingest.delimited.units import unit_of

_WORDS_FOR_NOTHING = pa.array(sorted(MISSING))
_SHOWN = 80
_ENOUGH_ROWS = 8


def numbered_lines(block: Block, plan: Plan) -> tuple[list[tuple[int, str]], int]:
    """The block's lines with their numbers, rows whose quotes run over a line end joined; and encoding faults."""
    faults = 0
    try:
        text = block.data.decode("utf-8")
    except UnicodeDecodeError:
        text = block.data.decode(plan.fallback_codec, errors="replace")
        faults = 1
    lines = text.split("\n")
    if lines and lines[-1] == "":
        lines.pop()
    numbered = list(enumerate(lines, block.line))
    if len(block.data) > MAX_LINE_BYTES:
        for number, line in numbered:
            if len(line) > MAX_LINE_BYTES:
                raise too_long(plan.file, number)
    if '"' in text and any(line.count('"') % 2 for line in lines):
        numbered = list(joined_lines(numbered))
    return numbered, faults


def parse_rough(block: Block, plan: Plan) -> Parsed:
    """Every good row of a block; the others are listed with their line and what is wrong with them."""
    numbered, encoding_faults = numbered_lines(block, plan)
    rows: list[list[str]] = []
    lines: list[int] = []
    odd: list[OddLine] = []
    width = plan.width
    stop = plan.stop_line
    bare_line = numbered[-1][0] if numbered and block.last and not block.ended else -1
    for number, text in numbered:
        if number < plan.first_data_line or (stop is not None and number >= stop):
            continue
        if "\0" in text:
            if text.strip("\0 \r\t"):
                odd.append(OddLine(number, "nul", 0, text.replace("\0", "")[:_SHOWN], len(rows), number == bare_line))
            continue
        stripped = text.strip("\r \t\x1a")
        if not stripped:
            if plan.keep_blank and not plan.dialect.delimiter:
                rows.append([""])
                lines.append(number)
            continue
        if is_comment(text, plan.dialect):
            odd.append(OddLine(number, "comment", 0, stripped[:_SHOWN], len(rows), number == bare_line))
            continue
        cells = split_line(text.rstrip("\r"), plan.dialect)
        if plan.pairs and len(cells) == 2 * width:
            cells = [f"{a},{b}" for a, b in zip(cells[::2], cells[1::2], strict=True)]
        if plan.dialect.cuts and width > 2 and sum(bool(cell.strip()) for cell in cells) == 1:
            cells = [stripped]  # cut short: a stamp alone, perhaps not whole
        if plan.pad_short and plan.least_width <= len(cells) < width:
            cells = cells + [""] * (width - len(cells))
        if len(cells) != width:
            if len(cells) > width and not any(c.strip() for c in cells[width:]):
                cells = cells[:width]
            else:
                kind = _kind_of_odd(cells, plan, stripped)
                odd.append(OddLine(number, kind, len(cells), stripped[:_SHOWN], len(rows), number == bare_line))
                continue
        rows.append(cells)
        lines.append(number)
    return _columns(rows, lines, odd, plan, encoding_faults, bare_line)


def _kind_of_odd(cells: list[str], plan: Plan, text: str) -> str:
    if tuple(c.strip() for c in cells) == plan.header:
        return "repeat"
    classes = row_classes([c for c in cells if c.strip()])
    numbers = classes.count("N")
    if numbers * 2 < max(1, len(classes)) or (plan.dialect.delimiter == " " and numbers * 2 <= len(classes)):
        return "text"
    return "short" if len(cells) < plan.width else "long"


def _columns(
    rows: list[list[str]], lines: list[int], odd: list[OddLine], plan: Plan, encoding_faults: int, bare_line: int
) -> Parsed:
    parsed = Parsed([], len(rows), np.array(lines, dtype=np.int64), odd, {}, encoding_faults, True)
    bad_in_row = np.zeros(len(rows), dtype=np.int32)
    clock_bad = np.zeros(len(rows), dtype=bool)
    failures: list[tuple[int, int, str, str]] = []  # column, row, code, text
    numeric = 0
    by_column = list(zip(*rows, strict=True)) if rows else [()] * plan.width
    for column in plan.columns:
        cells = list(by_column[column.index])
        if column.kind in ("number", "flag"):
            numeric += 1
            values, failed = to_numbers(cells, column)
            for row, code, text in failed:
                failures.append((column.index, row, code, text))
                if code == "bad_number":
                    bad_in_row[row] += 1
                    clock_bad[row] |= column.index in plan.clock_columns or column.index == plan.guard
            if (column.index in plan.clock_columns or column.index == plan.guard) and values.null_count:
                clock_bad |= pc.is_null(values).to_numpy(zero_copy_only=False)
            parsed.columns.append(values)
        else:
            parsed.columns.append(_to_text(cells))
            if column.kind == "time" and column.index in plan.clock_columns and column.stamp is not None:
                numeric += 1
                for row, text in enumerate(cells):
                    if parse_stamp(text, column.stamp) is None:
                        bad_in_row[row] += 1
                        clock_bad[row] = True
    # A row with a good stamp is a row, whatever else is missing from it.
    gone = clock_bad if plan.clock_columns or not numeric else clock_bad | (bad_in_row * 2 >= numeric)
    if bad_in_row.any():
        gone = gone | (bad_in_row > 0) & _sparse(parsed, plan)
    for row in map(int, np.flatnonzero(gone)):
        kind = _kind_of_text_row(rows[row], plan)
        text = plan.dialect.delimiter.join(rows[row]) if plan.dialect.delimiter else rows[row][0]
        odd.append(OddLine(lines[row], kind, plan.width, text[:_SHOWN], 0, lines[row] == bare_line))
    if gone.any():
        keep = pa.array(~gone)
        parsed.columns = [values.filter(keep) for values in parsed.columns]
        parsed.rows = int(np.count_nonzero(~gone))
        parsed.lines = parsed.lines[~gone]
        for entry in odd:
            entry.position = int(np.searchsorted(parsed.lines, entry.line))
        odd.sort(key=lambda entry: entry.line)
    for column_index, row, code, text in failures:
        if not gone[row]:
            parsed.count_cell(code, column_index, lines[row], text)
    return parsed


def _sparse(parsed: Parsed, plan: Plan) -> NDArray[np.bool_]:
    """Rows with less than half of the figures that most rows have: with a word among them they are of another kind."""
    filled = np.zeros(parsed.rows, dtype=np.int64)
    for column, values in zip(plan.columns, parsed.columns, strict=True):
        if column.kind == "number":
            filled += pc.is_valid(values).to_numpy(zero_copy_only=False)
    usual = float(np.median(filled)) if parsed.rows >= _ENOUGH_ROWS else 0.0
    return filled < 0.5 * usual


def _kind_of_text_row(cells: list[str], plan: Plan) -> str:
    """A row with the right number of cells but without the numbers: names again, units again, other names, text."""
    named = tuple(c.strip() for c in cells)
    if named == plan.header:
        return "repeat"
    if named == plan.units:
        return "units"
    filled = [c for c in named if c]
    text = row_classes(filled).count("X") if filled else 0
    shares = bool(set(filled) & set(plan.header))
    all_named = text == len(filled) and len(filled) >= 0.8 * plan.width and len(set(filled)) == len(filled)
    if all_named and (plan.width >= 3 or (shares and plan.width == 2)):
        return "new_header"
    return "text" if 2 * text >= len(filled) else "bad"


def to_numbers(cells: list[str], column: ColumnPlan) -> tuple[pa.Array, list[tuple[int, str, str]]]:
    """float64 (or int64) with nulls, and (row, code, text) of every cell that is no plain number."""
    style = column.style
    if column.kind == "number":
        fast = _cast(cells, column)
        if fast is not None:
            return fast, []
    values: list[float | int | None] = []
    failed: list[tuple[int, str, str]] = []
    base = unit_of(column.unit) if column.unit else None
    for row, cell in enumerate(cells):
        text = tidy(cell)
        if is_missing(text):
            values.append(None)
            continue
        if column.kind == "flag":
            value = FLAGS.get(text.lower())
            if value is None and text in ("0", "1"):
                value = float(text)
            if value is None:
                failed.append((row, "bad_number", cell))
            values.append(value)
            continue
        if column.exact and (whole := whole_64(text)) is not None:
            values.append(whole)
            continue
        found = number_and_unit(text, style)
        if found is None or (found[1] is not None and not _same_base(found[1], base)):
            code = "overrange" if is_overrange(text) else "bad_number"
            failed.append((row, code, cell))
            values.append(None)
            continue
        number, unit = found
        if unit is not None and base is not None and unit != column.unit:
            theirs = unit_of(unit)
            number = _rescaled(number, theirs[1] if theirs else 1.0, base[1])
        if column.exact and not abs(number) < 2.0**63:
            failed.append((row, "overrange", cell))
            values.append(None)
            continue
        values.append(int(number) if column.exact else number)
    return pa.array(values, pa.int64() if column.exact else pa.float64()), failed


def _rescaled(number: float, theirs: float, mine: float) -> float:
    ratio = theirs / mine
    if ratio < 1:
        return number / round(1 / ratio, 9)
    return number * round(ratio, 9)


def _same_base(unit: str, base: tuple[str, float] | None) -> bool:
    theirs = unit_of(unit)
    return base is None or (theirs is not None and theirs[0] == base[0])


def _cast(cells: list[str], column: ColumnPlan) -> pa.Array | None:
    """All cells at once; None where one of them needs a closer look."""
    style, exact = column.style, column.exact
    texts = pc.utf8_trim_whitespace(pa.array(cells, pa.string()))
    nothing = pc.is_in(pc.utf8_lower(texts), value_set=_WORDS_FOR_NOTHING)
    texts = pc.if_else(nothing, pa.scalar(None, pa.string()), texts)
    if column.unit is not None:
        texts = pc.replace_substring_regex(texts, rf"\s*\[?{re.escape(column.unit)}\]?$", "")
    texts = pc.replace_substring_regex(pc.replace_substring(texts, "\u2212", "-"), r"^\+\s*", "")
    if style.thousands:
        mark, point = re.escape(style.thousands), re.escape(style.decimal)
        grammar = rf"^-?(?:[1-9]\d{{0,2}}(?:{mark}\d{{3}})+|\d+)(?:{point}\d+)?$"
        if not pc.all(pc.match_substring_regex(texts, grammar), min_count=0).as_py():
            return None
        texts = pc.replace_substring(texts, style.thousands, "")
    if style.decimal == ",":
        if pc.any(pc.match_substring(texts, ".")).as_py():
            return None
        texts = pc.replace_substring(texts, ",", ".")
    try:
        values = texts.cast(pa.int64() if exact else pa.float64())
    except pa.ArrowInvalid:
        return None
    if not exact and not pc.all(pc.is_finite(values), min_count=0).as_py():
        return None
    return values


def _to_text(cells: list[str]) -> pa.Array:
    return pa.array([None if not (text := cell.strip()) else text for cell in cells], pa.string())


def merge(parts: list[Parsed]) -> Parsed:
    """Several parsed pieces as one, in order."""
    columns = [pa.concat_arrays([p.columns[k] for p in parts]) for k in range(len(parts[0].columns))]
    merged = Parsed(columns, sum(p.rows for p in parts), np.concatenate([p.lines for p in parts]))
    before = 0
    for part in parts:
        for entry in part.odd:
            entry.position += before
        merged.odd.extend(part.odd)
        for key, (count, line, example) in part.cells.items():
            merged.cells.setdefault(key, [0, line, example])[0] += count
        merged.encoding_faults += part.encoding_faults
        merged.rough = merged.rough or part.rough
        before += part.rows
    return merged
