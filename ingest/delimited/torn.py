"""A row of which only the end is left: its stamp may have lost its first digits and still be a number."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.clock import ClockPlan

_FINE = 0.05  # our choice: a coarser step meets any stamp's last digits by chance


def lost_first_digits(value: float, last: float, following: NDArray[Any], clock: ClockPlan) -> bool:
    """Whether a stamp (ticks) between `last` and `following` would fit what follows but for its first digits.

    True only where what follows is far ahead of `last`: at the seam of two recordings.
    """
    if not following.size or clock.unit in ("time", "datetime") or value < 0:
        return False
    step = float(following[1] - following[0]) if following.size > 1 else clock.interval
    before = float(following[0]) - step
    if following[0] - last <= clock.gap or abs(before - value) <= clock.gap or not 0 < step <= clock.gap:
        return False  # rows that come ever more slowly are whole
    unit = 10.0 ** np.ceil(np.log10(value + 0.5 * step))
    if step <= _FINE * unit and abs((before - value) / unit - np.rint((before - value) / unit)) * unit <= 0.5 * step:
        return True
    texts = (f"{before:.{places}f}" for places in range(7))
    return any(_number(text[k:]) == value for text in texts for k in range(1, len(text)))


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
