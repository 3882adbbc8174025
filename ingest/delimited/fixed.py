"""Columns by position: rows of blanks and figures in which an empty cell is blank too."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

ENOUGH = 5


def column_cuts(lines: Sequence[str]) -> tuple[int, ...]:
    """Where each column begins, or () where the lines are not laid out by position.

    Only where some rows have fewer cells than most: with all cells filled, blanks alone separate them. Every word of
    every line must lie within one column.
    """
    rows = [line.rstrip() for line in lines if line.strip() and "\t" not in line]
    counts = Counter(len(row.split()) for row in rows)
    if len(rows) < ENOUGH or len(counts) < 2:
        return ()
    width = max(counts, key=lambda n: (counts[n] >= 0.3 * len(rows), n))
    full = [row for row in rows if len(row.split()) == width]
    short = [row for row in rows if len(row.split()) < width]
    if width < 2 or len(full) < ENOUGH or len(full) + len(short) < 0.95 * len(rows):
        return ()
    used = _occupied(full + short)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], used.view(np.int8), [0]])))
    starts, ends = edges[0::2], edges[1::2]
    if starts.size != width:
        return ()
    cuts = [0]
    for k in range(1, width):
        right_aligned = len({_end_of(row, k) for row in full}) == 1
        cuts.append(int(ends[k - 1]) if right_aligned else int(starts[k]))
    return tuple(cuts)


def _occupied(rows: Sequence[str]) -> NDArray[np.bool_]:
    used = np.zeros(max(map(len, rows)), dtype=bool)
    for row in rows:
        for k, char in enumerate(row):
            if char != " ":
                used[k] = True
    return used


def _end_of(row: str, word: int) -> int:
    place = 0
    for k, text in enumerate(row.split()):
        place = row.index(text, place) + len(text)
        if k == word:
            return place
    return -1


def cut_line(line: str, cuts: Sequence[int]) -> list[str]:
    return [line[a:b].strip() for a, b in zip(cuts, [*cuts[1:], len(line)], strict=True)]
