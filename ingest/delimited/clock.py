"""Which column is the clock, in which unit, and how sure that is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.clock_units import (
    SERIAL_SHIFT_S,
    UNIT_S,
    epoch_unit,
    guess_unit,
    is_day_fraction,
    is_day_serial,
    unit_word,
    wraps,
)
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.stamps import DAY_NS, NS, StampStyle
from ingest.delimited.units import unit_of
from ingest.delimited.words import LONGEST_NAME
from ingest.log import Sure

if TYPE_CHECKING:
    from ingest.readings import Reading

TIME_WORDS = frozenset(
    ("time", "t", "zeit", "timestamp", "elapsed", "millis", "micros", "uptime", "clock", "tick", "ticks", "stamp",
     "runtime", "timer", "seconds", "sec", "secs", "ms", "us", "µs", "minutes", "hours", "temps", "tiempo", "epoch",
     "unix", "unixtime", "ts", "tstamp", "tms", "tus", "datetime", "date", "laufzeit", "uhrzeit", "datum", "second",
     "hour", "minute", "totaltime", "testtime", "usec", "msec", "systime", "x")
)  # fmt: skip
_SAMPLE_WORDS = frozenset(
    ("sample", "samples", "index", "idx", "record", "rec", "scan", "row", "no", "nr", "n", "#", "count", "counter",
     "point", "points", "seq", "sequence", "id", "num", "number", "datapoint", "data_point", "messung", "line", "cnt")
)  # fmt: skip
_PART_WORDS = frozenset(
    ("step", "cycle", "delta", "d", "dt", "interval", "lap", "pulse", "on", "off", "response", "loop")
)
_NAMED_UNITS = {
    "millis": "ms", "msec": "ms", "tms": "ms", "micros": "us", "usec": "us", "tus": "us", "sec": "s", "secs": "s",
    "seconds": "s", "minutes": "min", "hours": "h", "ms": "ms", "us": "us", "µs": "us", "milliseconds": "ms",
    "microseconds": "us", "second": "s", "s": "s",
}  # fmt: skip


@dataclass(frozen=True)
class ClockPlan:
    """role per column: number, stamp, date, time, days or ms (added to the stamp).

    unit is the contract's word (s, ms, us, ns, min, h, d, samples, or the shape of the stamps); tick_s: seconds
    per tick of the values that ClockRun gets (nanoseconds for stamps). moduli: where such a counter wraps, in ticks.
    """

    parts: tuple[tuple[int, str], ...]
    label: str | None
    unit: str
    tick_s: float | None
    sure: Sure
    why: str
    interval: float = 0.0
    gap: float = 0.0
    moduli: tuple[float, ...] = ()
    absolute: bool = False
    style: StampStyle | None = None
    alternatives: tuple[str, ...] = ()
    wall: ClockPlan | None = None
    unit_stated: bool = True
    epoch_shift_s: float = 0.0  # from the clock's own zero to 1970


@dataclass
class Candidate:
    """A column that could be the clock. runs: stretches of neighbouring rows in the sample."""

    plan: ClockPlan
    score: float
    ticks: NDArray[np.float64]
    steps: NDArray[np.float64]
    is_part: bool = False  # named as the time of a step, a cycle, an interval


def words_of(name: str) -> list[str]:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", re.sub(r"[\[({].*?[\])}]", " ", name[:LONGEST_NAME]))
    return [w.lower() for w in re.split(r"[^A-Za-zµ#]+", spaced) if w]


def steps_of(values: NDArray[np.float64], starts: Sequence[int]) -> NDArray[np.float64]:
    """Differences between neighbouring rows, none across the edges of the sampled stretches."""
    steps = np.diff(values)
    inner = np.ones(steps.size, dtype=bool)
    for start in starts:
        if 0 < start <= steps.size:
            inner[start - 1] = False
    steps = steps[inner]
    return steps[np.isfinite(steps)]


def typical(steps: NDArray[np.float64]) -> tuple[float, float]:
    """(interval, gap threshold) in ticks.

    A gap is more than five intervals and more than twice what one step in a hundred exceeds: our choice, so that a
    logger's own jitter and event-driven rows are no gaps; a stamp that steps once a second is judged by its steps.
    """
    forward = steps[steps > 0]
    if forward.size == 0:
        return 0.0, np.inf
    interval = float(np.median(forward))
    # Where the outliers are fewer than one in a hundred they do not reach the percentile.
    common = float(np.quantile(forward, 0.99, method="lower")) if forward.size >= 100 else interval
    return interval, max(5.0 * interval, 2.0 * common)


def number_candidate(
    column: ColumnEvidence, starts: Sequence[int], rows: int, reading: Reading | None, nameless: bool, leading: bool
) -> Candidate | None:
    """A number column as a clock, or None where its name, unit or values speak against it."""
    said = reading is not None and reading.time_column is not None and reading.time_column == column.source
    values = column.values
    steps = steps_of(values, starts)
    if steps.size == 0 and not said and not (rows == 1 and column.unit_text):
        return None
    base = unit_of(column.unit_text) if column.unit_text else None
    words = words_of(column.source)
    timed = any(w in TIME_WORDS for w in words) and not _is_other_quantity(words)
    counting = any(w in _SAMPLE_WORDS for w in words) or (base is not None and base[0] == "samples")
    counting = counting or column.source.strip() == "#"
    unit_is_time = base is not None and base[0] == "s"
    if not said:
        if base is not None and base[0] not in ("s", "samples", "1", "clock"):
            return None
        if not (timed or counting or unit_is_time or (not words and leading)):
            return None
        backward = int(np.count_nonzero(steps < 0))
        forward = int(np.count_nonzero(steps > 0))
        single = steps.size == 0 and timed and unit_is_time
        if not single and (
            forward == 0 or backward > max(0.1 * steps.size, 3) or (backward and forward < 2 * backward)
        ):
            return None
        if not words and not unit_is_time and forward:
            low, high = np.quantile(steps[steps > 0], [0.1, 0.9])
            if backward > 0.02 * steps.size or forward < 0.9 * steps.size or high > 3.0 * low:
                return None
        if counting and not timed and not unit_is_time and forward < 0.5 * steps.size:
            return None
    interval, gap = typical(steps)
    whole = column.decimals == 0
    sure: Sure = "certain"
    alternatives: tuple[str, ...] = ()
    stated = True
    epoch = epoch_unit(values)
    unit: str | None
    if said and reading is not None and reading.time_unit:
        unit, why = reading.time_unit, "the reading says so"
    elif epoch is not None and (timed or unit_is_time or nameless) and interval * UNIT_S[epoch] < 86400.0:
        unit, why = epoch, f"{epoch} since 1970"
        sure = "certain" if epoch != "s" or timed else "likely"
    elif timed and column.decimals >= 3 and is_day_serial(values, interval):
        unit, why = "d", "days since 30 December 1899, as spreadsheets count"
        sure = "likely"
    elif timed and not unit_is_time and is_day_fraction(values, interval, column.decimals):
        unit, why = "d", "parts of a day, as spreadsheets count hours and minutes"
        sure = "likely"
    elif unit_is_time and column.unit_text is not None and base is not None:
        unit, why = unit_word(base[1]), f"{column.unit_note or 'name'} says {column.unit_text}"
    elif (named := next((_NAMED_UNITS[w] for w in words if w in _NAMED_UNITS), None)) is not None:
        unit, why = named, f'the name "{column.source}"'
        sure = "likely"
    elif counting and not timed and whole and interval == 1.0:
        unit, why = "samples", "counts rows"
    else:
        unit, sure, why, alternatives = guess_unit(interval, whole, rows)
        stated = False
    if unit not in UNIT_S and unit != "samples":
        return None
    tick_s = UNIT_S.get(unit)
    score = 3.0 * min(1.0, np.count_nonzero(steps > 0) / max(steps.size, 1))
    score += 3.0 if unit_is_time or epoch is not None else 0.0
    score += 2.0 if timed else 0.0
    score += 2.0 if not np.any(np.diff(values[np.isfinite(values)]) < 0) else 0.0
    score -= 2.5 if any(w in _PART_WORDS for w in words) else 0.0
    score -= 4.0 if unit == "samples" else 0.0
    score += 0.3 if column.index == 0 else 0.0
    score += 100.0 if said else 0.0
    moduli = wraps(unit, tick_s, whole) if tick_s else (2.0**16, 2.0**32)
    plan = ClockPlan(
        ((column.index, "number"),),
        column.source,
        unit,
        tick_s,
        sure,
        why,
        interval,
        gap,
        moduli,
        (epoch is not None and unit == epoch) or why.startswith("days since 30"),
        alternatives=alternatives,
        unit_stated=stated,
        epoch_shift_s=SERIAL_SHIFT_S if why.startswith("days since 30") else 0.0,
    )
    return Candidate(plan, score, values, steps, any(w in _PART_WORDS for w in words))


def _is_other_quantity(words: Sequence[str]) -> bool:
    others = (
        *("temp", "volt", "curr", "rpm", "power", "speed", "charge", "energy", "amp", "watt", "capa", "coulomb"),
        *(
            "mah",
            "mwh",
            "kwh",
            "strom",
            "spannung",
            "drehzahl",
            "vitesse",
            "tension",
            "leistung",
            "energie",
            "ladung",
            "kapazit",
        ),
    )  # "temps" is French for time
    return any(w.startswith(others) and w != "temps" for w in words)


def stamp_candidate(
    parts: tuple[tuple[int, str], ...],
    label: str,
    style: StampStyle,
    ticks: NDArray[np.float64],
    starts: Sequence[int],
    said: bool,
) -> Candidate | None:
    """Stamps in text as a clock; ticks are nanoseconds as float64, enough to choose."""
    steps = steps_of(ticks, starts)
    forward = int(np.count_nonzero(steps > 0))
    if forward == 0 and steps.size > 0:
        return None
    interval, gap = typical(steps)
    absolute = style.shape == "datetime" or any(role == "date" for _, role in parts)
    if style.shape == "date" and len(parts) == 1 and not said:
        return None
    unit = "datetime" if absolute else "time"
    moduli: tuple[float, ...] = ()
    if not absolute and not any(role == "days" for _, role in parts):
        moduli = (3600.0 * NS, float(DAY_NS)) if style.minutes else (float(DAY_NS), 12.0 * 3600 * NS)
    score = 3.0 * forward / max(steps.size, 1) + 4.0 + (1.0 if absolute else 0.0)
    score += 2.0 if not np.any(np.diff(ticks[np.isfinite(ticks)]) < 0) or not absolute else 0.0
    score += 100.0 if said else 0.0
    score -= 0.5
    sure: Sure = "certain" if style.sure or absolute else "likely"
    why = {"datetime": "date and time", "time": "time of day" if not style.passes_day else "elapsed time"}[unit]
    if style.minutes:
        why = "minutes and seconds"
    open_question = style.shape == "time" and not style.sure
    if open_question:
        sure, why = "guess", "hours and minutes, or minutes and seconds: nothing in the file tells"
    plan = ClockPlan(
        parts, label, unit, 1e-9, sure, why, interval, gap, moduli, absolute, style, unit_stated=not open_question
    )
    return Candidate(plan, score, ticks, steps)


def choose(candidates: Sequence[Candidate]) -> ClockPlan | None:
    """The best candidate; what spoke for it where there were several, and a second one on the wall clock."""
    real = sorted((c for c in candidates if c.plan.tick_s is not None), key=lambda c: -c.score)
    if not real:
        return None
    best = real[0]
    others = [c for c in real[1:] if not set(c.plan.parts) & set(best.plan.parts)]
    plan = best.plan
    if others:
        names = ", ".join(f'"{c.plan.label}"' for c in others[:3])
        fine = "it advances with every row" if np.all(best.steps > 0) else "it is the finer and steadier of them"
        plan = replace(plan, why=f"{plan.why}; chosen before {names}: {fine}")
        wall = next((c.plan for c in others if c.plan.absolute or c.plan.unit == "time"), None)
        wall = wall or next((c.plan for c in others if c.plan.unit_stated and not np.any(c.steps < 0)), None)
        if wall is not None and not plan.absolute:
            plan = replace(plan, wall=wall)
            dated = next((c for c in others if c.plan is wall and wall.absolute), None)
            plan = _by_the_wall(plan, best, dated) if dated is not None else plan
    return plan


# What a name can be wrong by: seconds that are milliseconds or microseconds, minutes that are seconds, and back.
_WRONG_BY = (1e-6, 1e-3, 1e3, 1e6, 60.0, 1.0 / 60.0)


def _by_the_wall(plan: ClockPlan, best: Candidate, wall: Candidate) -> ClockPlan:
    """The clock in the unit in which it agrees with a dated clock beside it, where its name says another."""
    both = np.isfinite(best.ticks) & np.isfinite(wall.ticks)
    mine, theirs = best.ticks[both], wall.ticks[both]
    if plan.tick_s is None or mine.size < 10 or not mine[-1] > mine[0] or np.any(np.diff(mine) < 0):
        return plan
    ratio = (theirs[-1] - theirs[0]) * (wall.plan.tick_s or 1e-9) / ((mine[-1] - mine[0]) * plan.tick_s)
    factor = next((f for f in _WRONG_BY if abs(ratio / f - 1.0) < 0.02), None)
    tick_s = (
        None
        if factor is None
        else next((u for u in UNIT_S.values() if abs(u / (plan.tick_s * factor) - 1) < 1e-6), None)
    )
    if tick_s is None:
        return plan
    unit = unit_word(tick_s)
    why = f'{plan.why}, but "{wall.plan.label}" beside it runs as if it were in {unit}'
    moduli = wraps(unit, tick_s, bool(np.all(mine == np.rint(mine))))
    return replace(plan, unit=unit, tick_s=tick_s, why=why, sure="likely", unit_stated=False, moduli=moduli)
