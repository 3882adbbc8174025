"""All columns that could be the clock, alone or two together, and the one that is taken."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.clock import Candidate, ClockPlan, choose, number_candidate, stamp_candidate
from ingest.delimited.clock_units import epoch_unit
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.columns import MILLISECONDS
from ingest.delimited.layout import Layout
from ingest.delimited.plan import ColumnPlan, Parsed, Plan
from ingest.delimited.stamps import StampStyle
from ingest.delimited.ticks import clock_ticks
from ingest.delimited.units import unit_of

if TYPE_CHECKING:
    from ingest.readings import Reading


def find_clock(
    evidence: Sequence[ColumnEvidence],
    plan: Plan,
    parsed: Parsed,
    starts: Sequence[int],
    total: int,
    layout: Layout,
    reading: Reading | None,
) -> tuple[ClockPlan | None, list[Candidate]]:
    """The clock among the columns (None where there is none), and all that could be one."""
    wanted = reading.time_column if reading is not None else None
    nameless = not any(layout.names)
    found: list[Candidate] = []
    by_index = {c.index: (c, values) for c, values in zip(plan.columns, parsed.columns, strict=True)}
    full = [e.index for e in evidence if e.kind == "number" and np.isfinite(e.values).mean() >= 0.5]
    for column in evidence:
        if column.kind == "number":
            leading = len(full) > 1 and column.index == full[0]
            candidate = number_candidate(column, starts, total, reading, nameless, leading)
            if candidate is not None:
                found.append(candidate)
    stamps = [c for c, _ in by_index.values() if c.kind == "time" and c.stamp is not None]
    combos: list[tuple[tuple[tuple[int, str], ...], str, ColumnPlan]] = []
    dates = [c for c in stamps if c.stamp is not None and c.stamp.shape == "date"]
    times = [c for c in stamps if c.stamp is not None and c.stamp.shape == "time"]
    for stamp in stamps:
        combos.append((((stamp.index, "stamp"),), stamp.source, stamp))
    for time in times:
        near = sorted(dates, key=lambda d: abs(d.index - time.index))
        if near:
            combos.append((((near[0].index, "date"), (time.index, "stamp")), f"{near[0].source} + {time.source}", time))
        for day in evidence:
            if day.kind == "number" and day.decimals == 0 and day.source.lower().strip() in ("day", "days", "d", "tag"):
                combos.append((((day.index, "days"), (time.index, "stamp")), f"{day.source} + {time.source}", time))
    extra = _milliseconds(evidence)
    for parts, label, stamp in list(combos):
        if extra is not None:
            combos.append(((*parts, (extra.index, "ms")), f"{label} + {extra.source}", stamp))
    for parts, label, stamp in combos:
        ticks = clock_ticks(parts, plan, parsed.columns)
        style = stamp.stamp
        if ticks is None or style is None:
            continue
        values = ticks.ticks.astype(np.float64)
        values[~ticks.valid] = np.nan
        said = wanted is not None and wanted in (label, stamp.source)
        if len(parts) > 1 and parts[-1][1] == "ms" and np.any(np.diff(values[np.isfinite(values)]) < 0):
            continue
        candidate = stamp_candidate(parts, label, style, values, starts, said)
        if candidate is not None:
            candidate.score += 1.0 * (len(parts) - 1)
            found.append(candidate)
    apart = _apart(evidence)
    if apart:
        style = StampStyle("time", passes_day=True)
        ticks = clock_ticks(apart, plan, parsed.columns)
        if ticks is not None:
            values = ticks.ticks.astype(np.float64)
            values[~ticks.valid] = np.nan
            label = " + ".join(by_index[index][0].source for index, _ in apart)
            candidate = stamp_candidate(apart, label, style, values, starts, wanted == label)
            if candidate is not None and not np.any(np.diff(values[np.isfinite(values)]) < 0):
                candidate.score += 1.0 * len(apart)
                found.append(candidate)
    for pair, epoch in _whole_and_part(evidence):
        style = StampStyle("datetime") if epoch else StampStyle("time", passes_day=True)
        ticks = clock_ticks(pair, plan, parsed.columns)
        if ticks is not None:
            values = ticks.ticks.astype(np.float64)
            values[~ticks.valid] = np.nan
            label = " + ".join(by_index[index][0].source for index, _ in pair)
            candidate = stamp_candidate(pair, label, style, values, starts, wanted == label)
            if candidate is not None:
                candidate.score += 2.0
                found.append(candidate)
    return choose(found), found


_APART = (
    ("hours", ("h", "hr", "hour", "hours", "std", "stunde", "heure"), 24.0),
    ("minutes", ("m", "min", "minute", "minutes", "mins"), 60.0),
    ("seconds", ("s", "sec", "second", "seconds", "secs", "sek", "sekunde", "seconde"), 60.0),
    ("ms", MILLISECONDS, 1000.0),
    ("hundredths", ("1/100", "1/100 s", "hundredths", "cs", "centiseconds", "hsec"), 100.0),
)


def _apart(evidence: Sequence[ColumnEvidence]) -> tuple[tuple[int, str], ...]:
    """Hours, minutes, seconds and their parts in columns of their own; () unless minutes and seconds are there."""
    parts: dict[str, int] = {}
    for role, names, below in _APART:
        for column in evidence:
            good = column.values[np.isfinite(column.values)]
            name = column.source.lower().strip(" .[]()")
            inside = column.kind == "number" and good.size > 1 and bool(good.min() >= 0 and good.max() < below)
            if name in names and inside and (role == "seconds" or column.decimals == 0):
                parts.setdefault(role, column.index)
    if not {"minutes", "seconds"} <= set(parts):
        return ()
    if "ms" in parts and "hundredths" in parts:
        del parts["hundredths"]
    return tuple((index, role) for role, index in parts.items())


_PARTS = {
    "ms": (("ms", "msec", "millis", "millisec", "milliseconds", "millisecond"), 1e3),
    "us": (("us", "µs", "μs", "usec", "micros", "microsec", "microseconds", "microsecond"), 1e6),
    "ns": (("ns", "nsec", "nanos", "nanosec", "nanoseconds", "nanosecond"), 1e9),
}
_WHOLE = ("s", "sec", "secs", "second", "seconds", "sek", "sekunde", "sekunden", "seconde", "secondes")


def _whole_and_part(evidence: Sequence[ColumnEvidence]) -> list[tuple[tuple[tuple[int, str], ...], bool]]:
    """(parts, whether they count from 1970) of whole seconds beside the part of the second that is past."""
    numbers = [e for e in evidence if e.kind == "number" and e.decimals == 0]
    found: list[tuple[tuple[tuple[int, str], ...], bool]] = []
    for part in numbers:
        last = re.split(r"[^A-Za-zµμ]+", part.source.lower().strip(" .[]()"))[-1]
        role = next((role for role, (names, _) in _PARTS.items() if last in names), None)
        if role is None:
            continue
        for whole in numbers:
            words = re.split(r"[^A-Za-z]+", whole.source.lower().strip(" .[]()"))
            epoch = epoch_unit(whole.values) == "s"
            if whole is not part and (epoch or words[-1] in _WHOLE) and _fills(whole, part, _PARTS[role][1]):
                found.append((((whole.index, "seconds"), (part.index, role)), epoch))
    return found


def _fills(whole: ColumnEvidence, part: ColumnEvidence, below: float) -> bool:
    """The part stays below a second and falls back where the seconds advance, never else."""
    both = np.isfinite(whole.values) & np.isfinite(part.values)
    seconds, rest = whole.values[both], part.values[both]
    if seconds.size < 3 or rest.min() < 0 or rest.max() >= below:
        return False
    up, back = np.diff(seconds), np.diff(rest) < 0
    return bool(np.all(up >= 0) and np.any(back) and np.all(up[back] > 0))


def runs_backward(evidence: Sequence[ColumnEvidence], plan: Plan, parsed: Parsed) -> str | None:
    """The name of a time that falls from row to row: the newest row stands first."""
    for column in plan.columns:
        if column.kind == "time" and column.stamp is not None and column.stamp.shape == "datetime":
            ticks = clock_ticks(((column.index, "stamp"),), plan, parsed.columns)
            if ticks is not None and _falls(ticks.ticks[ticks.valid].astype(np.float64)):
                return column.source
    return next((e.source for e in evidence if e.kind == "number" and _named(e) and _falls(e.values)), None)


def _named(column: ColumnEvidence) -> bool:
    unit = unit_of(column.unit_text) if column.unit_text else None
    return unit is not None and unit[0] == "s" and "time" in column.source.lower()


def _falls(values: NDArray[np.float64]) -> bool:
    steps = np.diff(values[np.isfinite(values)])
    return steps.size >= 8 and float(np.mean(steps < 0)) > 0.9 and not bool(np.any(steps > 0))


def _milliseconds(evidence: Sequence[ColumnEvidence]) -> ColumnEvidence | None:
    """A column of 0 to 999 named as milliseconds: the part of a stamp that its text leaves out."""
    for column in evidence:
        name = column.source.lower().strip(" .[]()")
        if column.kind == "number" and column.decimals == 0 and name in MILLISECONDS:
            good = column.values[np.isfinite(column.values)]
            if good.size and good.min() >= 0 and good.max() <= 999:
                return column
    return None
