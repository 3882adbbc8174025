"""Long tables: one figure a row, and another column says what it is. Such rows are no samples of one quantity."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ingest.delimited.column import ColumnEvidence
from ingest.delimited.plan import Parsed, Plan
from ingest.delimited.units import unit_of
from ingest.errors import UnreadableLog

_KEYS: Final = re.compile(
    r"channel|signal|sensor|variable|parameter|quantity|measurement|measurand|metric|field|item|tag|property|key"
    r"|kanal|messgr|größe|groesse|grandeur|mesure|voie|capteur",
    re.IGNORECASE,
)
_MOST: Final = 200  # our choice: more words are remarks, not names of channels
_CHANGES: Final = 0.3  # our choice: a state lasts, a key changes from row to row


def refuse_long(plan: Plan, parsed: Parsed, evidence: Sequence[ColumnEvidence], clock: Sequence[int]) -> None:
    """Raises UnreadableLog where the only figures of the table are of what a text beside them names.

    parsed: the sampled rows; clock: the columns that are the time.
    """
    figures = [
        (c, e)
        for c, e in zip(plan.columns, evidence, strict=True)
        if c.kind == "number" and not c.empty and c.index not in clock and np.isfinite(e.values).any()
    ]
    figures = [(c, e) for c, e in figures if e.unit_text is not None or not _counts(e)]
    if len(figures) > 1:
        _refuse_kinds(plan, parsed, [e for _, e in figures])
    if len(figures) != 1:
        return
    column, figure = figures[0]
    for k, other in enumerate(plan.columns):
        if other.kind != "text" or not pa.types.is_string(parsed.columns[k].type):
            continue
        words = parsed.columns[k]
        names = [str(w) for w in pc.unique(words).to_pylist() if w]
        if not 2 <= len(names) <= _MOST or pc.sum(pc.is_valid(words)).as_py() < 0.9 * parsed.rows:
            continue
        if _changes(words) < _CHANGES:
            continue
        told = _KEYS.search(other.source) or _units_differ(names) or _in_turn(words, names)
        if told or _far_apart(words, names, figure):
            few = ", ".join(names[:3]) + (", …" if len(names) > 3 else "")
            where = f'"{other.source}"' if other.source else f"column {other.index + 1}"
            raise UnreadableLog(
                f"is a long table: {where} says of each row what its figure is ({few})",
                file=plan.file or None,
                line=plan.first_data_line,
                column=column.source or None,
                mend="Export it with a column for each channel (a wide table).",
            )


def _refuse_kinds(plan: Plan, parsed: Parsed, figures: Sequence[ColumnEvidence]) -> None:
    """Raises UnreadableLog where the first cell says of what kind the row is, and each kind has other figures."""
    column, words = plan.columns[0], parsed.columns[0]
    if column.index or column.kind != "text" or not pa.types.is_string(words.type) or _changes(words) < _CHANGES:
        return
    kinds = [str(w) for w in pc.unique(words).to_pylist() if w]
    apart = sum(_far_apart(words, kinds, figure) for figure in figures)
    if 2 <= len(kinds) <= _MOST and 2 * apart >= len(figures):
        raise UnreadableLog(
            f"its rows are of several kinds ({', '.join(kinds[:3])}), each with figures of its own",
            file=plan.file or None,
            line=plan.first_data_line,
            column=column.source or None,
            mend="Export each kind as a table of its own.",
        )


def _counts(evidence: ColumnEvidence) -> bool:
    """Numbers the rows."""
    steps = np.diff(evidence.values[np.isfinite(evidence.values)])
    return bool(steps.size) and float(np.mean(steps == 1.0)) > 0.9


def _changes(words: pa.Array) -> float:
    """The share of rows whose word is another one than that of the row above."""
    if len(words) < 4:
        return 0.0
    differ = pc.not_equal(words.slice(1), words.slice(0, len(words) - 1))
    return float(pc.mean(pc.fill_null(differ, False)).as_py() or 0.0)


def _in_turn(words: pa.Array, names: Sequence[str]) -> bool:
    """The same names in the same order, over and over: records of one line a figure."""
    turn = len(names)
    if len(words) < 3 * turn or not all(any(c.isalpha() for c in name) for name in names):
        return False
    again = pc.equal(words.slice(turn), words.slice(0, len(words) - turn))
    return float(pc.mean(pc.fill_null(again, False)).as_py() or 0.0) > 0.9


def _units_differ(names: Sequence[str]) -> bool:
    bases = {found[0] for name in names if (found := unit_of(name)) is not None}
    return len(bases) > 1 and all(unit_of(name) is not None for name in names)


def _far_apart(words: pa.Array, names: Sequence[str], figure: ColumnEvidence) -> bool:
    """Whether the figures of two words lie apart by more than either of them moves."""
    spans = []
    for name in names:
        own = figure.values[pc.fill_null(pc.equal(words, name), False).to_numpy(zero_copy_only=False)]
        own = own[np.isfinite(own)]
        if own.size >= 3:
            spans.append((float(own.min()), float(own.max())))
    spans.sort()
    if len(spans) < 2:
        return False
    return all(b[0] - a[1] > max(a[1] - a[0], b[1] - b[0]) for a, b in itertools.pairwise(spans))
