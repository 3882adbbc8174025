"""All columns that could be the clock, alone or two together, and the one that is taken."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ingest.delimited.clock import Candidate, ClockPlan, choose, number_candidate, stamp_candidate
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.layout import Layout
from ingest.delimited.plan import ColumnPlan, Parsed, Plan
from ingest.delimited.ticks import clock_ticks

if TYPE_CHECKING:
    from ingest.readings import Reading

_MILLISECONDS = ("ms", "msec", "millis", "millisec", "milliseconds", "millisecond", "time ms", "time_ms")


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
    return choose(found), found


def _milliseconds(evidence: Sequence[ColumnEvidence]) -> ColumnEvidence | None:
    """A column of 0 to 999 named as milliseconds: the part of a stamp that its text leaves out."""
    for column in evidence:
        name = column.source.lower().strip(" .[]()")
        if column.kind == "number" and column.decimals == 0 and name in _MILLISECONDS:
            good = column.values[np.isfinite(column.values)]
            if good.size and good.min() >= 0 and good.max() <= 999:
                return column
    return None
