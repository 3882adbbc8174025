"""How a line falls into cells: delimiter, quotes, comment marks; chosen by what explains the lines best."""

from __future__ import annotations

import csv
import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from ingest.delimited.fixed import column_cuts, cut_line
from ingest.delimited.labelled import labelled_cells, labels_of
from ingest.delimited.numbers import FLAGS, is_missing, is_overrange, looks_numeric, tidy
from ingest.delimited.stamps import shape_of

COMMENT_MARKS = ("#", ";", "%", "//", "!", "*", "'", "REM ")
WHITESPACE = " "
# In the order of preference where several explain the lines equally well.
_CANDIDATES = ("\t", ";", ",", "|", WHITESPACE)
_SPACED = re.compile(r"[+-]?\d{1,3} \d{3}")
_STAMPED = re.compile(
    r"\s*(?:\[\s*(?P<a>\d[\d:.,\-/ T]{0,31})\]|(?P<b>[\d:.,\-/ T]{5,32}?)\s*->)\s*(?P<rest>.*)$", re.DOTALL
)
_RUNS = re.compile(r"[ \t]+")


@dataclass(frozen=True)
class Dialect:
    """delimiter "" is one bare column; " " is any run of spaces and tabs.

    wrapped: each line stands in quotes. cuts: columns by position. stamped: a terminal put "12:00:00.123 -> " or
    "[12:00:00.123] " before each line; that stamp is the first cell. labels: each line names its figures so.
    """

    delimiter: str
    wrapped: bool = False
    comment: str = ""
    cuts: tuple[int, ...] = ()
    stamped: bool = False
    labels: tuple[str, ...] = ()


def is_comment(line: str, dialect: Dialect) -> bool:
    mark = dialect.comment
    return bool(mark) and line.lstrip().startswith(mark)


def strip_comment(line: str) -> tuple[str, bool]:
    """The line without its comment mark and whether there was one."""
    text = line.lstrip()
    for mark in COMMENT_MARKS:
        if mark != ";" and mark != "'" and text.startswith(mark):
            return text[len(mark) :].lstrip("#%/!* "), True
    return line, False


def unwrap(line: str) -> str:
    """A line that was quoted as a whole, without its quotes."""
    text = line.strip()
    if len(text) > 1 and text[0] == '"' and text[-1] == '"':
        return text[1:-1].replace('""', '"')
    return line


def split_line(line: str, dialect: Dialect) -> list[str]:
    """The cells of one line, as written (quotes taken off)."""
    if dialect.wrapped:
        line = unwrap(line)
    if dialect.cuts:
        return cut_line(line, dialect.cuts)
    delimiter = dialect.delimiter
    if dialect.stamped:
        found = _STAMPED.match(line)
        if found is not None:
            rest = split_line(found["rest"], Dialect(delimiter, labels=dialect.labels))
            return [(found["a"] or found["b"]).strip(), *rest]
    if dialect.labels:
        return labelled_cells(line, dialect.labels)
    if delimiter == "":
        text = line.strip()
        return [text[1:-1] if len(text) > 1 and text[0] == '"' == text[-1] else text]
    if delimiter == WHITESPACE:
        if '"' in line:
            return _quoted_cells(_RUNS.sub(" ", line.strip()), " ")
        return line.split()
    if '"' in line:
        return _quoted_cells(line, delimiter)
    return line.split(delimiter)


def _quoted_cells(line: str, delimiter: str) -> list[str]:
    """Cells of which some are quoted; a line whose quotes make no sense is split where its delimiters stand."""
    flat = line.replace("\n", "\x1e").replace("\r", "\x1f")
    try:
        cells = next(csv.reader([flat], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return line.split(delimiter)
    if "\n" in line or "\r" in line:
        return [c.replace("\x1e", "\n").replace("\x1f", "\r") for c in cells]
    return cells


def cell_class(cell: str) -> str:
    """See _word_class; plain numbers are answered without further ado."""
    try:
        float(cell)
    except ValueError:
        return _word_class(cell)
    return "E" if is_missing(cell.strip()) else "X" if "_" in cell else "N"


@lru_cache(maxsize=8192)
def _word_class(cell: str) -> str:
    """E empty, "no value" or over range; N number (unit allowed), G number grouped by spaces, T date or time,
    F flag word, X other text."""
    text = tidy(cell)
    low = text.lower()
    if is_missing(low) or is_overrange(low):
        return "E"
    if low in FLAGS:
        return "F"
    if shape_of(text) is not None:
        return "T"
    if not looks_numeric(text):
        return "X"
    return "G" if _SPACED.match(text) else "N"


_WEIGHT = {"N": 1.0, "G": 0.6, "T": 1.0, "E": 0.7, "F": 0.9, "X": 0.25}


def choose_dialect(lines: Sequence[str], delimiter: str | None = None) -> Dialect:
    """The dialect of the sampled lines (data and whatever stands around it).

    Each candidate is scored by the share of lines that have the commonest number of cells, times how much of those
    cells is numbers and times, with a small bonus for more columns.
    """
    body = [line for line in lines if line.strip()]
    quoted = [line for line in body if line.lstrip().startswith('"') and line.rstrip().endswith('"')]
    wrapped = len(quoted) > 0.7 * len(body) and _all_in_one_quote(quoted)
    if wrapped:
        body = [unwrap(line) for line in body]
    stamped = sum(_STAMPED.match(line) is not None for line in body) > 0.7 * len(body)
    if stamped:
        body = [found["rest"] for line in body if (found := _STAMPED.match(line)) is not None]
    if delimiter is None and (labels := labels_of(body)):
        return Dialect(",", wrapped, stamped=stamped, labels=labels)
    candidates = _CANDIDATES if delimiter is None else (delimiter,)
    best = Dialect(delimiter or "", wrapped)
    best_score = 0.0
    for candidate in candidates:
        if candidate == WHITESPACE and best_score and _is_explicit(body, best):
            continue  # the blanks that are left group digits or stand inside stamps
        score = _score(body, Dialect(candidate, False))
        # Blanks also stand inside stamps and texts: they must explain the lines clearly better.
        if score > best_score * (1.15 if candidate == WHITESPACE else 1.02):
            best, best_score = Dialect(candidate, wrapped), score
    if delimiter is None and _score(body, Dialect("")) > best_score * 1.02:
        best = Dialect("", wrapped)
    if best.delimiter == WHITESPACE and not wrapped and not stamped:
        best = replace(best, cuts=column_cuts(body))
    return replace(best, stamped=stamped)


def _all_in_one_quote(lines: Sequence[str]) -> bool:
    """Whether the quotes enclose whole lines with delimiters in them, rather than single cells."""
    hits = 0
    for line in lines:
        inner = line.strip()[1:-1].replace('""', "")
        hits += '"' not in inner and any(mark in inner for mark in ";,\t|")
    if hits <= 0.7 * len(lines):
        return False
    if all(not re.search("[;\t|]", line) for line in lines):
        # One bare quoted column with a decimal comma looks alike: two or more commas, or it is one number.
        return any(line.count(",") != 1 for line in lines)
    return True


_TWO_FIGURES = re.compile(r"\d\s+[+-]?[\d.,]")


def _is_explicit(lines: Sequence[str], dialect: Dialect) -> bool:
    """Whether a delimiter other than blanks cuts nearly every line into equally many cells that each make sense.

    A comma may also be the decimal mark between blanks; then some of its cells hold the ends of two figures.
    """
    if dialect.delimiter not in ("\t", ";", "|", ","):
        return False
    rows = [split_line(line, dialect) for line in lines[:: 1 + len(lines) // 100]]
    width = Counter(map(len, rows)).most_common(1)[0][0]
    same = [row for row in rows if len(row) == width]
    if len(same) < 0.95 * len(rows):
        return False
    cells = [cell for row in same for cell in row[:64]]
    words = [cell for cell in cells if cell_class(cell) == "X"]
    two = sum(_TWO_FIGURES.search(cell) is not None for cell in words)
    return len(words) < 0.5 * len(cells) and (dialect.delimiter != "," or two <= 0.02 * len(cells))


def _score(lines: Sequence[str], dialect: Dialect) -> float:
    rows = [split_line(line, dialect) for line in lines]
    counts = Counter(len(row) for row in rows if dialect.delimiter == "" or len(row) > 1)
    if not counts:
        return 0.0
    best = 0.0
    for number, times in counts.most_common(3):
        same = [row for row in rows if len(row) == number]
        same = same[:: max(1, len(same) // 60)]
        weights = [_WEIGHT[cell_class(cell)] for row in same for cell in row[:64]]
        goodness = sum(weights) / len(weights)
        if goodness < 0.4:
            continue
        bonus = 1.0 + 0.08 * math.log2(min(number, 64))
        best = max(best, (times / len(rows)) * goodness**2 * bonus)
    return best
