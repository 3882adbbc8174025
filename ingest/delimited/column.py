"""What passes between the table reader and the naming of columns: the evidence, and what it means."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ingest.log import Fault, Sure

Kind = Literal["number", "text", "flag", "time"]


@dataclass(frozen=True, eq=False)
class ColumnEvidence:
    """One column of the table as the file shows it.

    index      0-based place in the row
    source     the name exactly as written (duplicates stay duplicates, "" where there is none)
    unit_text  the unit that the file states (units row, brackets, suffix, note, glued to the cells), or None
    unit_note  where that unit was found: "units row", "name", "note", "cells", or None
    kind       number, text, flag (words only), time
    values     float64, up to about 20,000 rows sampled across the file, as written (no scaling); NaN where
               the cell is empty or not a number (flags: 1 and 0); the same rows for every column of the file
    decimals   the most digits after the decimal mark in the sample
    is_clock   this column is (part of) the clock that was chosen
    three_behind  three digits stand behind the only mark of every figure that has one: it may group thousands
    ways       of a text column whose words tell it: 1 in rows of discharge, -1 of charge, 0 of rest, NaN unknown
    """

    index: int
    source: str
    unit_text: str | None
    unit_note: str | None
    kind: Kind
    values: NDArray[np.float64]
    decimals: int
    is_clock: bool
    three_behind: bool = False
    ways: NDArray[np.float64] | None = None
    way_letters: bool = False  # they are C and D
    label: str = ""  # what a list above the table calls it
    shifted: bool = False  # there are more or fewer names than cells: this one may be another column's


@dataclass(frozen=True)
class ColumnMeaning:
    """What a column means. value_in_unit = source_value * scale + offset.

    channel      `<part>_<quantity>_<unit>`, or None where the column is none of the vocabulary
    unit         the unit stored (of the channel, or the source's own); source_unit: as the file writes it
    sentinels    source values that stand for "no value" (they become null)
    question     what the user should be asked where `sure` is not certain, else ""
    faults       found while naming (unit_unknown, sign_normalised, implausible, sentinel)
    way_column   the place of the column whose words give each row's sign, where the figures have none
    """

    quantity: str
    channel: str | None
    unit: str | None
    source_unit: str | None
    scale: float = 1.0
    offset: float = 0.0
    sentinels: tuple[float, ...] = ()
    sure: Sure = "unknown"
    why: str = ""
    alternatives: tuple[str, ...] = ()
    question: str = ""
    faults: tuple[Fault, ...] = field(default=())
    way_column: int | None = None
    way_letters: bool = False
