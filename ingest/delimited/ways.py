"""Which way a row's current flows, where a word beside it says so.

Battery testers write "D" and 2.50 A, then "C" and 1.50 A: the current has no sign of its own, the state gives it.
The words are those of test benches in English, German, French and Spanish: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ingest.delimited.plan import Parsed, Plan
from ingest.delimited.scripts import spelled
from ingest.delimited.words import STATE, cut, fold, one_of

_DISCHARGE: Final = re.compile(r"dis[ _-]?ch|(?<![a-z])d[ _-]?ch|dchg|(?<![a-z])dsg|entlad|decharg|descarg")
_CHARGE: Final = re.compile(r"ch(?:ar)?g|(?<![a-z])cha(?:r)?(?![a-z0-9])|laden|ladung|(?<![a-z])lade|carga")
_REST: Final = re.compile(r"rest|paus|idle|stop|ruhe|repos|ocv|open|wait|finish|standby|(?<![a-z])off(?![a-z])")
_LETTERS: Final = {"c": -1.0, "d": 1.0, "r": 0.0, "p": 0.0, "i": 0.0, "s": 0.0, "o": 0.0}
_MOST: Final = 64  # our choice: more different words are remarks
_NAMES: Final = STATE | one_of(
    "type md modus betriebsart phase operation action process task etat estado schritt etape regime function chg"
)


def way_of(word: str, letters: bool = False) -> float:
    """1 where the word says discharge, -1 where it says charge, 0 at rest, NaN where it says none of them.

    letters: the column holds single letters, C and D among them.
    """
    text = fold(spelled(word)).strip()
    if letters:
        return _LETTERS.get(text, np.nan)
    rest = _DISCHARGE.sub(" ", text)
    used, charged = rest != text, _CHARGE.search(rest) is not None
    if used != charged:
        return 1.0 if used else -1.0
    return 0.0 if not used and _REST.search(text) else np.nan


def are_letters(source: str, words: Sequence[str]) -> bool:
    """Whether a column of states writes C and D."""
    small = {word.strip().lower() for word in words}
    return bool(set(cut(source)) & _NAMES and small & {"c", "d"}) and all(len(word) == 1 for word in small)


def ways_of(source: str, words: pa.Array) -> NDArray[np.float64] | None:
    """The way of each row of a text column; None where its words tell none."""
    if not pa.types.is_string(words.type):
        return None
    kinds = [str(word) for word in pc.unique(words).to_pylist() if word]
    if not 1 <= len(kinds) <= _MOST:
        return None
    letters = are_letters(source, kinds)
    known = {word: way_of(word, letters) for word in kinds}
    found = {way for way in known.values() if abs(way) == 1.0}
    if not found or (len(found) == 1 and not set(cut(source)) & _NAMES):
        return None
    return np.array([known.get(word, np.nan) for word in words.to_pylist()], dtype=np.float64)


def apply_ways(parsed: Parsed, plan: Plan) -> None:
    """Give a current without a sign that of the state beside it; where the state tells no way it is missing."""
    place = {column.index: k for k, column in enumerate(plan.columns)}
    for k, column in enumerate(plan.columns):
        if column.way_column is None or not parsed.rows:
            continue
        words = parsed.columns[place[column.way_column]].to_pylist()
        known = {word: way_of(word or "", column.way_letters) for word in set(words)}
        ways = np.array([known[word] for word in words], dtype=np.float64)
        values: NDArray[np.float64] = parsed.columns[k].cast(pa.float64()).to_numpy(zero_copy_only=False)
        unknown = np.isnan(ways) & np.isfinite(values) & (values != 0.0)
        signed = np.where(ways == -1.0, -values, values)
        if unknown.any():
            first = int(np.argmax(unknown))
            parsed.count_cell("no_way", column.index, int(parsed.lines[first]), str(words[first]))
            parsed.cells[("no_way", column.index)][0] = int(unknown.sum())
        parsed.columns[k] = pa.array(signed, mask=unknown | ~np.isfinite(values))
