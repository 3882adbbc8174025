"""Fuse curves: the gates of ISO 8820-3 or a table of the user's, and times between the gates.

A gate says: at this multiple of the rating the fuse does not open before min_s and has opened by max_s. Between
gates the time is a straight line in log(time) over log(multiple): a convention, not in the standard. Below the
lowest gate nothing opens; below the lowest gate that has a max nothing must open. Above the highest gate both
times fall with 1/i²: the element melts without loss, so more current never needs more i²t than the gate allows;
the longest time keeps at least 5 ms for the arc.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
import numpy.typing as npt

from ingest.tables.curves import parse_fuse_curve, parse_fuse_table

from .ratings import Rating, Source, ratings
from .signal import Bools, Floats

# Our choice: rows of the tabulated rates up to this multiple of the highest gate; currents above count as there.
_TABLE_TOP = 4.0
_TABLE_ROWS = 16_384
# Our choice: time that the arc of a blade fuse may add at the voltages of a robot; a few ms is usual, recalled.
ARC_S = 0.005


@dataclass(frozen=True, eq=False)
class FuseCurve:
    """The gates of one kind of fuse.

    multiple, min_s, max_s   (g,) rising multiples; max_s is inf where the fuse need not open
    memory                   (g,) True where a gate rests on a recalled value
    sources                  the ratings behind the gates, one or two per gate
    """

    name: str
    multiple: Floats
    min_s: Floats
    max_s: Floats
    memory: Bools
    sources: tuple[Rating, ...]

    def opening_s(self, multiple: npt.ArrayLike) -> tuple[Floats, Floats]:
        """(least, longest) opening time in s at a multiple of the rating, log-log between gates; inf for never."""
        m = np.atleast_1d(np.asarray(multiple, dtype=np.float64))
        log_m = np.log(np.maximum(m, 1e-12))
        gates = np.log(self.multiple)
        least = np.exp(np.interp(log_m, gates, np.log(self.min_s)))
        least = np.where(m < self.multiple[0], np.inf, least)
        top = self.multiple[-1]
        least = np.where(m > top, self.min_s[-1] * (top / np.maximum(m, 1e-12)) ** 2, least)
        finite = np.isfinite(self.max_s)
        longest = np.full_like(m, np.inf)
        if finite.any():
            longest = np.exp(np.interp(log_m, gates[finite], np.log(self.max_s[finite])))
            longest = np.where(m < self.multiple[finite][0], np.inf, longest)
            longest = np.where(m > top, _arc(self.max_s[-1], top, m), longest)
        shape = np.shape(multiple)
        return least.reshape(shape), longest.reshape(shape)

    @property
    def highest(self) -> float:
        return float(self.multiple[-1])

    @property
    def lowest(self) -> float:
        """The multiple at and below which it carries current without opening."""
        return float(self.multiple[0])

    @property
    def lowest_sure(self) -> float:
        """The lowest multiple at which it must open at all; inf where no gate says so."""
        finite = np.isfinite(self.max_s)
        return float(self.multiple[finite][0]) if finite.any() else math.inf


@dataclass(frozen=True, eq=False)
class RateTable:
    """Damage per second over the multiple of the rating, on an even grid of `per_unit` points per 1 × rating.

    early, late   1/min_s and 1/max_s; below the lowest gate of each the line is carried on, so that a straight
                  line between grid points is right up to the gate: the caller cuts there
    early_step, late_step   to the next point
    recalled      0…1, how far a multiple rests on recalled gates (linear in log between gates)
    """

    per_unit: float
    early: Floats
    late: Floats
    early_step: Floats
    late_step: Floats
    recalled: Floats


@cache
def named_curve(name: str) -> FuseCurve:
    """The curve of that name ("ISO 8820-3", "ISO 8820-3 type E"); UnknownName for another."""
    known = parse_fuse_curve(name)
    low, high = _gates("fuse_opening_min", known), _gates("fuse_opening_max", known)
    multiples = sorted(low)
    return FuseCurve(
        known,
        np.array(multiples),
        np.array([low[m].value for m in multiples]),
        np.array([high[m].value if m in high else math.inf for m in multiples]),
        np.array([low[m].is_memory or (m in high and high[m].is_memory) for m in multiples]),
        tuple(gate[m] for m in multiples for gate in (low, high) if m in gate),
    )


def _gates(name: str, curve: str) -> dict[float, Rating]:
    found = {}
    for row in ratings(name):
        of, multiple = row.key.split(" | ")
        if of == curve:
            found[float(multiple)] = row
    return found


def curve_of_table(rows: Sequence[Sequence[float]], file: str = "build file") -> FuseCurve:
    """The curve of a table [[multiple, min_s, max_s], …] stated by the user; ValueError names a wrong row."""
    gates = parse_fuse_table(rows)
    source = Source(file, "", "fuse curve", "stated")
    stated = tuple(
        Rating(name, value, "s", "stated table", source, f"{multiple:g}")
        for multiple, least, longest in gates
        for name, value in (("fuse_opening_min", least), ("fuse_opening_max", longest))
    )
    columns = np.array(gates, dtype=np.float64).T
    return FuseCurve("stated table", columns[0], columns[1], columns[2], np.zeros(len(gates), dtype=bool), stated)


@lru_cache(maxsize=64)
def rate_table(curve: FuseCurve) -> RateTable:
    """The curve as rates on an even grid of multiples, for logs of 100,000 samples; 0.1 % between points."""
    top = curve.highest * _TABLE_TOP
    multiple = np.linspace(0.0, top, _TABLE_ROWS)
    log_m = np.log(np.maximum(multiple, top / _TABLE_ROWS))
    early = np.exp(-_carried_down(log_m, curve.multiple, curve.min_s))
    beyond = multiple > curve.highest
    early[beyond] = np.square(multiple[beyond] / curve.highest) / curve.min_s[-1]
    sure = np.isfinite(curve.max_s)
    late = np.zeros_like(multiple)
    if sure.any():
        late = np.exp(-_carried_down(log_m, curve.multiple[sure], curve.max_s[sure]))
        late[beyond] = 1 / _arc(curve.max_s[-1], curve.highest, multiple[beyond])
    return RateTable(
        (_TABLE_ROWS - 1) / top,
        early,
        late,
        np.diff(early, append=early[-1:]),
        np.diff(late, append=late[-1:]),
        np.interp(log_m, np.log(curve.multiple), curve.memory.astype(np.float64)),
    )


def _arc(last_s: float, highest: float, multiple: Floats) -> Floats:
    """Longest opening time above the highest gate: 1/i², and at least ARC_S (or the gate, if that is less)."""
    return np.maximum(last_s * np.square(highest / np.maximum(multiple, 1e-12)), min(ARC_S, last_s))


def _carried_down(log_m: Floats, multiple: Floats, time_s: Floats) -> Floats:
    """log(time) over log(multiple), below the first gate carried on with the slope of the first two."""
    gates, times = np.log(multiple), np.log(time_s)
    found = np.interp(log_m, gates, times)
    if gates.shape[0] > 1:
        below = log_m < gates[0]
        slope = (times[1] - times[0]) / (gates[1] - gates[0])
        found[below] = times[0] + slope * (log_m[below] - gates[0])
    return found
