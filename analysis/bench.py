"""A pack on the bench: where a log is the two-step discharge of IEC 61960-3 and no match, its d.c. resistance."""

from __future__ import annotations

import numpy as np

from analysis.match_data import MatchData
from analysis.pack_model import iec_61960_dc_resistance
from analysis.signal import Measured, Signal
from ingest.log import Log

# A two-step discharge is a bench log: few levels of current, each held (our choice: a match has hundreds).
BENCH_LEVELS = 6


def bench_resistance(data: MatchData) -> Measured | None:
    """The standard's d.c. resistance in mΩ; None where the log is not its two-step discharge."""
    current, volts = data.get("pack_current_A"), data.get("pack_voltage_V")
    if current is None or volts is None or not data.same_clock("pack_current_A", "pack_voltage_V"):
        return None
    good = current.good()
    if len(good) < 20 or levels(good) > BENCH_LEVELS:
        return None
    found = iec_61960_dc_resistance(good, volts.good())
    return found if isinstance(found, Measured) else None


def bench_of_log(log: Log) -> Measured | None:
    """The same of one log alone."""
    from analysis.review import prepare  # which itself needs this module

    return bench_resistance(prepare([log], None, None))


def levels(current: Signal) -> int:
    """How many levels of current hold 98 % of the samples, in classes of a fiftieth of the largest."""
    width = max(float(np.abs(current.x).max()) / 50.0, 4.0 * current.noise, 1e-6)
    _, count = np.unique(np.round(current.x / width), return_counts=True)
    share = np.cumsum(np.sort(count)[::-1]) / len(current)
    return int(np.searchsorted(share, 0.98)) + 1
