"""Two files that claim one clock and do not keep it: what they share says that their stamps are apart."""

from __future__ import annotations

import datetime as dt

import numpy as np

from analysis.findings import QualityNote
from analysis.match_data import MatchData
from analysis.signal import Signal
from ingest.align import PlacedLog
from ingest.align_numeric import align_pair

# Our choices: less than this is a logger that stamps at the end of its block and no fault of its clock; and a wall
# clock written in whole seconds claims no more than a second.
APART_S = 0.05
WHOLE_SECONDS_S = 1.0
ERRORS = 3.0
FAST_S = 0.02  # means of this length are enough for a clock that runs away
PARTS = 3
LEAST_PART_S = 8.0


def clock_skews(data: MatchData) -> list[QualityNote]:
    """A note for every log whose stamps stand off the wall clock that it and the first log both state."""
    if len(data.placed) < 2:
        return []
    found = []
    first = _wall(data.placed[0])
    for index, placed in enumerate(data.placed):
        wall = _wall(placed)
        if index == 0 or first is None or wall is None or (first.tzinfo is None) != (wall.tzinfo is None):
            continue
        claimed = (wall - first).total_seconds()
        whole = first.microsecond == 0 and wall.microsecond == 0
        least = max(APART_S, WHOLE_SECONDS_S if whole and placed.correlation is None else 0.0)
        off, error = placed.offset_s - claimed, placed.error_s
        start, end = _span(data, index)
        part = placed.log.name
        least = max(least, WHOLE_SECONDS_S if whole and claimed != 0.0 else 0.0, ERRORS * (error or 0.0))
        if placed.placed and placed.correlation is not None and error is not None and abs(off) > least:
            much = f"{1e3 * off:+.0f} ms (±{1e3 * error:.0f} ms)"
            note = f"the stamps of {part} are {much} off the clock both files claim"
            found.append(QualityNote("clock_skew", None, "", start, end, note))
            continue
        run = _running_away(data, index)
        if run is not None:
            note = f"{part} runs {1e3 * run:+.0f} ms away over the match from the clock both files claim"
            found.append(QualityNote("clock_skew", None, "", start, end, note))
    return found


def _wall(placed: PlacedLog) -> dt.datetime | None:
    clock = placed.log.provenance.clock
    if clock is None or clock.wall_start is None:
        return None
    try:
        return dt.datetime.fromisoformat(str(clock.wall_start))
    except ValueError:  # a wall clock in words of its own
        return None


def _span(data: MatchData, index: int) -> tuple[float, float]:
    mine = [s for n, s in data.signals.items() if data.source[n] == index and len(s)]
    return (
        min((float(s.t_s[0]) for s in mine), default=0.0),
        max((float(s.t_s[-1]) for s in mine), default=0.0),
    )


def _running_away(data: MatchData, index: int) -> float | None:
    """Seconds by which a log's place moves from the first to the last part of the match; None where it stays."""
    ours, theirs = _bus_voltage(data, index), _bus_voltage(data, 0)
    if ours is None or theirs is None or data.window is None:
        return None
    edges = np.linspace(data.window.start_s, data.window.end_s, PARTS + 1)
    if edges[1] - edges[0] < LEAST_PART_S:
        return None
    places = []
    for k in (0, PARTS - 1):
        a, b = (s.between(edges[k] - 1.0, edges[k + 1] + 1.0) for s in (theirs, ours))
        if len(a) < 40 or len(b) < 40:
            return None
        found = align_pair(*_thinned(a), *_thinned(b), max_offset_s=2.0)
        if not found.accepted:
            return None
        places.append(found)
    moved = places[1].offset_s - places[0].offset_s
    error = float(np.hypot(places[0].offset_error_s, places[1].offset_error_s))
    return -moved if abs(moved) > max(2.0 * APART_S, ERRORS * error) else None


def _bus_voltage(data: MatchData, index: int) -> Signal | None:
    names = [n for n in data.signals if data.source[n] == index and n.endswith("_voltage_V")]
    names = [n for n in names if not n.startswith("cell") and "rail" not in n]
    return data.signals[names[0]].good() if names else None


def _thinned(s: Signal) -> tuple[np.ndarray, np.ndarray]:
    many = round(FAST_S / s.period_s) if s.period_s > 0 else 1
    if many < 2:
        return s.t_s, s.x
    n = len(s) // many * many
    return s.t_s[:n].reshape(-1, many).mean(1), s.x[:n].reshape(-1, many).mean(1)
