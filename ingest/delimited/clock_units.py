"""The unit of a number that counts time: epochs, day numbers, plausible steps, and where counters wrap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.stamps import DAY_NS
from ingest.log import Sure

UNIT_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0, "d": 86400.0}
# Epoch stamps between 2001 and 2050 (in seconds), or 2100; earlier figures are counters.
_EPOCHS = (
    ("s", 978_307_200.0, 2_524_608_000.0),
    ("ms", 9.783072e11, 4.1024448e12),
    ("us", 9.783072e14, 4.1024448e15),
    ("ns", 9.783072e17, 4.1024448e18),
)


def epoch_unit(values: NDArray[np.float64]) -> str | None:
    good = values[np.isfinite(values)]
    if good.size == 0:
        return None
    low, high = float(np.median(good)), float(good[-1])
    for unit, floor, ceiling in _EPOCHS:
        if floor <= low < ceiling and floor <= high < ceiling:
            return unit
    return None


def guess_unit(interval: float, whole: bool, rows: int) -> tuple[str, Sure, str, tuple[str, ...]]:
    """A unit for an unlabelled counter from its step alone (our choice, see the words in each answer)."""
    if whole and 100.0 <= interval < 1000.0 and rows * interval > 7_200_000.0:
        # Our choice: a log of a bout lasts minutes; two hours of milliseconds are more likely microseconds.
        return "us", "guess", f"whole steps of {interval:g} over {rows} rows would be hours in milliseconds", ("ms",)
    if not whole:
        if interval >= 20.0:
            return "ms", "guess", f"steps of {interval:g} with decimals", ("s",)
        sure: Sure = "likely" if 1e-5 <= interval <= 60.0 else "guess"
        return "s", sure, f"a clock with decimals and steps of {interval:g} is most likely in seconds", ("ms",)
    if interval <= 1.0:
        if rows > 20_000:
            return "ms", "guess", f"steps of 1 over {rows} rows would be hours in seconds", ("s", "samples")
        return "s", "guess", "whole steps of 1 can be seconds, milliseconds or row numbers", ("ms", "samples")
    if interval < 5.0:
        return "ms", "guess", f"whole steps of {interval:g}", ("s",)
    if interval < 1000.0:
        return "ms", "likely", f"whole steps of {interval:g} are most likely milliseconds", ("s", "us")
    if interval == 1000.0:
        if rows > 3600:
            return "us", "guess", "steps of 1000 over an hour's worth of rows", ("ms",)
        return "ms", "guess", "whole steps of 1000", ("us",)
    if interval <= 1_000_000.0:
        return "us", "guess", f"whole steps of {interval:g}", ("ms",)
    return "ns", "guess", f"whole steps of {interval:g}", ("us",)


def wraps(unit: str, tick_s: float, whole: bool) -> tuple[float, ...]:
    if unit in ("stamp", "time"):
        return (float(DAY_NS),)
    powers = [2.0**16, 2.0**32, 2.0**24, 2.0**31]
    moduli = list(powers) if whole else []
    # A counter in ms or µs that the logger has divided into seconds, and seconds of the day.
    if not whole:
        moduli += [p * scale / tick_s for p in (2.0**16, 2.0**32) for scale in (1e-3, 1e-6) if scale < tick_s]
    moduli.append(86400.0 / tick_s)
    return tuple(moduli)


def is_day_serial(values: NDArray[np.float64], interval: float) -> bool:
    """Spreadsheet day numbers of the years 2000 to 2099 (ECMA-376 part 1, 18.17.4.1: the 1900 date base)."""
    good = values[np.isfinite(values)]
    return bool(good.size) and good.min() >= 36526.0 and good.max() < 73051.0 and interval < 1.0


# Intervals of loggers, in seconds, that a fraction of a day shows: our choice of the usual ones.
_USUAL_S = (0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0)


def is_day_fraction(values: NDArray[np.float64], interval: float, decimals: int) -> bool:
    """A time of day as the part of a day that is past: it begins within the day and steps by whole seconds of it.

    A clock in seconds that begins above 0.01 s and steps by 1/86400 s or its usual multiples is no logger's.
    """
    good = values[np.isfinite(values)]
    if good.size < 3 or decimals < 5 or not 0.01 <= good[0] < 1.0 or good.max() >= 2.0:
        return False
    step_s = interval * 86400.0
    coarse = 86400.0 * 10.0**-decimals  # what one digit of the last place is
    return any(abs(step_s - usual) <= max(0.003 * usual, 1.01 * coarse) for usual in _USUAL_S if usual > 3.0 * coarse)


SERIAL_SHIFT_S = -25569.0 * 86400.0  # from 30 December 1899 to 1 January 1970


def unit_word(factor: float) -> str:
    return next((word for word, value in UNIT_S.items() if value == factor), "s")
