"""Several logs onto one match clock.

The first log's clock is the match clock: t = t_log * (1 + drift_ppm * 1e-6) + offset_s. Offsets are found by the
cross-correlation of what the logs share (their supply voltage, their currents); a pair that does not correlate is
not placed, and nothing that needs both clocks is then said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ingest.align_numeric import Alignment, align_pair
from ingest.arrays import numbers
from ingest.channels import parse_channel
from ingest.log import Log

Floats = NDArray[np.float64]

# Voltages follow each other most closely, then currents; a voltage dips where a current rises.
_PAIRINGS = (("voltage", "voltage"), ("current", "current"), ("voltage", "current"), ("current", "voltage"))
THE_MATCH_CLOCK = "the match clock"
_GOOD_ENOUGH = 0.5  # our choice: beyond this a further pairing changes the offset by less than its error
_MOST_TRIES = 3  # our choice: bounds the time where a log has many channels of one kind


@dataclass(frozen=True, eq=False)
class PlacedLog:
    """A log with its place on the match clock. placed is False where no place could be found."""

    log: Log
    offset_s: float = 0.0
    drift_ppm: float = 0.0
    correlation: float | None = None
    error_s: float | None = None
    placed: bool = True
    how: str = ""


@dataclass(frozen=True)
class FixedClock:
    """An offset that the user or an earlier alignment states."""

    offset_s: float
    drift_ppm: float = 0.0
    how: str = "by hand"
    correlation: float | None = None
    error_s: float | None = None


def align(logs: Sequence[Log], fixed: Mapping[int, FixedClock] | None = None) -> tuple[PlacedLog, ...]:
    """Place every log on the clock of the first.

    fixed: index of a log -> its stated clock. Logs that share no moving channel with a placed one come back with
    placed=False and the reason in `how`.
    """
    if not logs:
        return ()
    stated = fixed or {}
    if not stated:
        return _on_the_first(_around(logs, _best_reference(logs)))
    first = stated.get(0)
    placed: dict[int, PlacedLog] = {
        0: PlacedLog(logs[0], first.offset_s, first.drift_ppm, None, first.error_s, how=first.how)
        if first
        else PlacedLog(logs[0], how=THE_MATCH_CLOCK)
    }
    for index, clock in stated.items():
        if 0 < index < len(logs):
            placed[index] = PlacedLog(
                logs[index], clock.offset_s, clock.drift_ppm, clock.correlation, clock.error_s, how=clock.how
            )
    return _fill(logs, placed)


def _around(logs: Sequence[Log], reference: int) -> tuple[PlacedLog, ...]:
    """Every log on the clock of one of them."""
    return _fill(logs, {reference: PlacedLog(logs[reference], how=THE_MATCH_CLOCK)}, reference)


def _best_reference(logs: Sequence[Log]) -> int:
    """The log that the others are best compared with: the fastest that carries a moving voltage or current.

    A slow log can be placed to half its interval only; were it the reference, that doubt would lie between all the
    others too, and a joint between two fast taps could not be told.
    """
    best, shortest = 0, float("inf")
    for index, log in enumerate(logs):
        moving = _moving(log, "voltage") or _moving(log, "current")
        period = min((float(np.median(np.diff(t))) for _, t, _ in moving if len(t) > 1), default=float("inf"))
        if period < 0.95 * shortest:
            best, shortest = index, period
    return best


def _on_the_first(placed: tuple[PlacedLog, ...]) -> tuple[PlacedLog, ...]:
    """The same places counted on the first log's own clock, which is the match clock.

    error_s stays each log's error against the common reference: what counts between any two of them.
    """
    first = placed[0]
    if not first.placed:
        return placed
    stretch = 1.0 + first.drift_ppm * 1e-6
    moved = []
    for index, one in enumerate(placed):
        if not one.placed:
            moved.append(one)
            continue
        if index == 0:
            one = replace(one, correlation=None, how=THE_MATCH_CLOCK)
        elif one.how == THE_MATCH_CLOCK:  # the common reference: placed by what placed the first log against it
            one = replace(one, correlation=first.correlation, how=f"the first log against it: {first.how}")
        offset = 0.0 if index == 0 else (one.offset_s - first.offset_s) / stretch
        drift = 0.0 if index == 0 else ((1.0 + one.drift_ppm * 1e-6) / stretch - 1.0) * 1e6
        moved.append(replace(one, offset_s=offset, drift_ppm=drift))
    return tuple(moved)


def _fill(logs: Sequence[Log], placed: dict[int, PlacedLog], reference: int = 0) -> tuple[PlacedLog, ...]:
    """Place what is not placed yet, against anything that is; a log that nothing places says why."""
    waiting = [i for i in range(len(logs)) if i not in placed]
    reasons: dict[int, str] = {}
    while waiting:
        progress = False
        for index in list(waiting):
            found, reason = _place(logs[index], list(placed.values()))
            reasons[index] = reason
            if found is not None:
                placed[index] = found
                waiting.remove(index)
                progress = True
        if not progress:
            break
    for index in waiting:
        by_wall = _by_wall_clock(logs[index], logs[reference])
        placed[index] = by_wall or PlacedLog(logs[index], placed=False, how=reasons[index])
    return tuple(placed[i] for i in range(len(logs)))


def _place(log: Log, references: list[PlacedLog]) -> tuple[PlacedLog | None, str]:
    """The best accepted place against any already placed log, and why there is none."""
    best: tuple[Alignment, PlacedLog, str, str] | None = None
    reason = "it shares no voltage or current with a log whose place is known"
    for reference in references:
        for kind_ref, kind in _PAIRINGS:
            pairs = product(_moving(reference.log, kind_ref), _moving(log, kind))
            for (name_ref, t_ref, x_ref), (name, t, x) in list(pairs)[:_MOST_TRIES]:
                t_match = t_ref * (1.0 + reference.drift_ppm * 1e-6) + reference.offset_s
                found = align_pair(t_match, x_ref, t, x)
                if not found.accepted:
                    reason = found.reason or reason
                    continue
                if best is None or found.correlation > best[0].correlation:
                    best = (found, reference, name_ref, name)
            if best is not None and best[0].correlation > _GOOD_ENOUGH:
                break
        if best is not None:
            break
    if best is None:
        return None, reason
    found, reference, name_ref, name = best
    how = f"{name} against {name_ref} of {reference.log.name}, correlation {found.correlation:.2f}"
    return (
        PlacedLog(log, found.offset_s, found.drift_ppm, found.correlation, found.offset_error_s, True, how),
        "",
    )


def _moving(log: Log, kind: str) -> list[tuple[str, Floats, Floats]]:
    """Channels of one kind that carry a moving figure, the widest mover first, from the first recording only."""
    found = []
    for stream in log.streams:
        table = stream.table
        recording = numbers(table.column("recording"))
        keep = recording == recording[0] if len(recording) else np.zeros(0, dtype=bool)
        t_all = numbers(table.column("time_s"))
        for name in stream.channels:
            channel = parse_channel(name)
            if channel is None or channel.quantity.kind != kind or "rail" in name or channel.part.startswith("cell"):
                continue
            x_all = numbers(table.column(name))
            ok = keep & np.isfinite(x_all)
            t, x = t_all[ok], x_all[ok]
            if len(x) < 20:
                continue
            spread = float(np.percentile(x, 99) - np.percentile(x, 1))
            scale = max(float(np.median(np.abs(x))), 1e-9)
            if spread > 0:
                found.append((spread / scale if kind == "voltage" else spread, name, t, x))
    found.sort(key=lambda row: -row[0])
    return [(name, t, x) for _, name, t, x in found]


def _by_wall_clock(log: Log, first: Log) -> PlacedLog | None:
    """Where both files state a wall clock: placed to the second, with that said."""
    import datetime as dt

    clocks = (log.provenance.clock, first.provenance.clock)
    if any(c is None or c.wall_start is None for c in clocks):
        return None
    try:
        here, there = (dt.datetime.fromisoformat(str(c.wall_start)) for c in clocks if c is not None)
        offset = (here - there).total_seconds()
    except (ValueError, TypeError):  # not ISO, or one with and one without a zone
        return None
    return PlacedLog(log, offset, 0.0, None, 1.0, True, "by the wall clocks the two files state, not checked")
