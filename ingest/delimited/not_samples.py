"""Tables whose rows are no instants: a spectrum has one row a frequency, a summary one row a cycle of a test."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.clock import TIME_WORDS, words_of
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.plan import Parsed, Plan
from ingest.delimited.words import cut
from ingest.errors import UnreadableLog

_FREQUENCY: Final = re.compile(r"\bfreq|fr[ée]quen[cz]|\bf\s*[\[(/]\s*hz", re.IGNORECASE)
_RESPONSE: Final = re.compile(
    r"impedan|reactan|admittan|\bgain\b|magnitude|verst[äa]rkung|\|z\||\bz['\"′″]|\bz\b|\bz_?(?:re|im|mod|real|imag)"
    r"|\b(?:re|im)\s*\(?\s*z",
    re.IGNORECASE,
)
_WIDE: Final = 100.0  # our choice: a sweep covers two decades at least; a mains or a motor's frequency moves by less
_ONE_WAY: Final = 0.9  # our choice: share of steps that go one way, so that several sweeps in one file count too
_LEAST: Final = 5  # rows
_CYCLE: Final = frozenset(("cycle", "zyklus", "cyc", "ciclo"))
_AMOUNT: Final = frozenset(
    ("charge", "discharge", "capacity", "energy", "efficiency", "retention", "ah", "mah", "wh", "mwh", "ladung",
     "entladung", "kapazitaet", "capacite", "capacidad")
)  # fmt: skip
_LIKE_THE_OTHERS: Final = 0.3  # our choice: a cycle's amount is at least this share of the largest; a count starts at 0


def refuse_no_samples(evidence: Sequence[ColumnEvidence], file: str | None, line: int) -> None:
    """Raises UnreadableLog for a spectrum and for a summary of cycles."""
    sweep = next((e for e in evidence if _FREQUENCY.search(e.source) and _swept(_known(e))), None)
    if sweep is not None and any(e is not sweep and _RESPONSE.search(e.source) for e in evidence):
        raise UnreadableLog(
            f'each of its rows is a frequency ("{sweep.source}"), not an instant: it is a spectrum, no log',
            file=file,
            line=line,
            column=sweep.source,
            mend="Export the voltage and current over time instead.",
        )
    cycle = next((e for e in evidence if _CYCLE & set(cut(e.source)) and _counts(_known(e))), None)
    if cycle is None:
        return
    amounts = [e for e in evidence if e.kind == "number" and _AMOUNT & set(cut(e.source))]
    if len(amounts) >= 2 and all(_alike(_known(e)) for e in amounts):
        raise UnreadableLog(
            f'each of its rows sums up a whole cycle ("{cycle.source}"), none is an instant',
            file=file,
            line=line,
            column=cycle.source,
            mend="Export the samples of the test, with their time.",
        )


def refuse_sideways(plan: Plan, parsed: Parsed) -> None:
    """Raises UnreadableLog for a table on its side: each row is a channel, its name in the first cell."""
    first = parsed.columns[0] if parsed.columns else None
    figures = [values for column, values in zip(plan.columns, parsed.columns, strict=True) if column.kind == "number"]
    if first is None or plan.columns[0].kind != "text" or not 2 <= parsed.rows < len(figures):
        return
    names = [str(name or "") for name in first.to_pylist()]
    for row, name in enumerate(names):
        timed = any(word in TIME_WORDS for word in words_of(name)) or name.strip().lower() in ("s", "ms")
        values = [column[row].as_py() for column in figures]
        known = [value for value in values if value is not None]
        if timed and len(known) >= _LEAST and all(b > a for a, b in itertools.pairwise(known)):
            raise UnreadableLog(
                f'lies on its side: each of its rows is a channel, and the times stand in the row "{name}"',
                file=plan.file or None,
                line=plan.first_data_line,
                mend="Export it with a column for each channel, or turn it in a spreadsheet (transpose).",
            )


def _known(column: ColumnEvidence) -> NDArray[np.float64]:
    return column.values[np.isfinite(column.values)]


def _swept(values: NDArray[np.float64]) -> bool:
    if values.size < _LEAST or not values.min() > 0 or values.max() < _WIDE * values.min():
        return False
    steps = np.diff(values)
    return bool(max(np.mean(steps < 0), np.mean(steps > 0)) >= _ONE_WAY)


def _counts(values: NDArray[np.float64]) -> bool:
    return bool(values.size >= 2 and np.mean(np.diff(values) == 1.0) >= _ONE_WAY)


def _alike(values: NDArray[np.float64]) -> bool:
    if not values.size:
        return False
    low, high = np.percentile(values, (5.0, 95.0))
    return bool(low > 0 and low >= _LIKE_THE_OTHERS * high)
