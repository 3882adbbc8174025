"""Lines that name each of their figures: "t=0.10 V=24.1 I=3.2" or "V: 24.1 V, I: 3.2 A", as boards print them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import Final

_PAIR: Final = re.compile(
    r"(?P<key>[^\W\d][\w ./%°\[\]-]{0,30}?)\s*[=:]\s*"
    r"(?P<value>[+-]?(?:\d(?:[\d.,]*\d)?|\.\d+)(?:[eE][+-]?\d+)?(?:\s?[A-Za-zµμΩ°%][A-Za-zµμΩ°%/]{0,5}(?=[\s,;|]|$))?"
    r"|[A-Za-z_]+(?=[\s,;|]|$))"
)
_BETWEEN: Final = " \t,;|"
_SHARE: Final = 0.7  # our choice: of the lines, so that a board's other messages may stand between
_LEAST: Final = 3  # lines


def labels_of(lines: Sequence[str]) -> tuple[str, ...]:
    """The labels that most lines have in common, "" first where an unnamed cell leads; () where they have none."""
    found = [tuple(label for label, _ in pairs) for line in lines if (pairs := _pairs(line))]
    if len(found) < max(_LEAST, _SHARE * len(lines)):
        return ()
    labels, times = Counter(found).most_common(1)[0]
    named = [label for label in labels if label]
    if times < _SHARE * len(lines) or len(named) < 2 or len(set(named)) < len(named):
        return ()
    return labels


def labelled_cells(line: str, labels: Sequence[str]) -> list[str]:
    """The values under these labels; the line as it is where it has others."""
    pairs = _pairs(line)
    return [value for _, value in pairs] if [label for label, _ in pairs] == list(labels) else [line]


def _pairs(line: str) -> list[tuple[str, str]]:
    """(label, value) of a line that holds nothing else but one cell in front; [] for any other line."""
    pairs: list[tuple[str, str]] = []
    place = 0
    for match in _PAIR.finditer(line):
        between = line[place : match.start()].strip(_BETWEEN)
        if between and pairs:
            return []
        if between:
            pairs.append(("", between))
        pairs.append((match["key"].strip(), match["value"].strip()))
        place = match.end()
    if len(pairs) < 2 or line[place:].strip(_BETWEEN + "\r"):
        return []
    return pairs
