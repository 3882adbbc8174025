"""Where the clock leaps ahead: a pause of this recording, or rows of an older one that still stand behind its end?

A file of fixed size, or one written over an older and longer one, goes on with the old rows where the new ones end.
Their clock may be later. Signs of that: half a line at the seam that is the end of a row, not its beginning; counters
that run back, or ahead of what they can; a wall clock that goes back; every channel elsewhere than it ever was. Signs
of a pause: a count of rows or a charge that simply goes on; dates. Rows that are split off are
left out of every check and that is said, so a file with signs of both kinds is split: another match's rows would make
false verdicts. A leap with no sign at all is a pause: lost rows are common, and the gap is judged for what it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ingest.delimited.clock import ClockPlan, words_of
from ingest.delimited.dialect import split_line
from ingest.delimited.numbers import number_and_unit, tidy
from ingest.delimited.plan import OddLine, Parsed, Plan
from ingest.delimited.tally import Tally
from ingest.delimited.ticks import clock_ticks

Floats = NDArray[np.float64]

WINDOW = 12  # rows on each side: our choice, a fraction of a second to a few seconds of a usual log
LEAST = 4  # fewer rows show no level
QUIET = 0.3  # our choice: a channel that moves over more of its range within the window says nothing by its level
BEYOND = 0.25  # our choice: further outside all that was logged so far than this share of its range is elsewhere
OTHER_PACE = 0.1  # our choice: more than a crystal or a busy processor makes of a rate
LONG = 0.5  # our choice: in a pause longer than this share of what was logged, levels change by themselves
FAST_COUNT = 5.0  # our choice: a charge grows in a pause no faster than this times its rate so far
_COUNTED = frozenset(("charge", "energy", "count"))
_STEP_WORDS = frozenset(("step", "cycle", "loop", "lap", "pulse", "segment"))


@dataclass(frozen=True)
class Seam:
    """What was found where the clock leaps ahead. split: the rows behind it are a recording of their own."""

    split: bool
    reason: str


@dataclass
class _Signs:
    """for_older and for_pause in words; elsewhere and onward: names of quiet channels that break or go on.
    pace: how the rows come otherwise than before."""

    for_older: list[str] = field(default_factory=list)
    for_pause: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)
    onward: list[str] = field(default_factory=list)
    pace: str = ""

    def verdict(self, torn: bool) -> Seam:
        """torn: the end of a row stands between."""
        if torn:
            self.for_older.append("the end of a line stands between")
        if self.for_older and self.for_pause:
            return Seam(True, f"{'; '.join(self.for_older)}, though {'; '.join(self.for_pause)}")
        if self.for_pause:
            return Seam(False, "; ".join(self.for_pause))
        if self.for_older:
            return Seam(True, "; ".join(self.for_older))
        if len(self.elsewhere) > 1 and not self.onward:
            return Seam(True, f"{_names(self.elsewhere)} all stand elsewhere than before")
        if self.elsewhere and self.pace and not self.onward:
            return Seam(True, f"{_names(self.elsewhere)} stands elsewhere than before, and {self.pace}")
        return Seam(False, f"{_names(self.onward)} goes on as before" if self.onward else "")


def _names(names: Sequence[str]) -> str:
    return " and ".join(f'"{name}"' for name in names[:3])


@dataclass
class SeamJudge:
    """Keeps the last rows of each block, so that a seam at its edge can be judged."""

    clock: ClockPlan
    plan: Plan
    tallies: list[Tally]
    places: list[int]  # of the stream's columns among all
    _before: list[pa.Array] = field(default_factory=list)
    _first: list[float | None] = field(default_factory=list)
    _last_line: int = 0
    _rows: int = 0
    _odd: list[OddLine] = field(default_factory=list)  # behind the last row of the block before

    def for_block(
        self, parsed: Parsed, columns: list[pa.Array], lines: NDArray[np.int64], ahead: Parsed | None
    ) -> Callable[[int, float, float, NDArray[Any], bool], Seam]:
        """A function for ClockRun: as its Judge says."""

        def judge(row: int, last: float, value: float, following: NDArray[Any], torn: bool) -> Seam:
            if self.clock.absolute:
                return Seam(False, "the stamps carry their date, and an older recording's would lie before")
            if not torn:
                above = int(lines[row - 1]) if row else self._last_line
                between = [e for e in (*self._odd, *parsed.odd) if above < e.line < int(lines[row])]
                torn = any(self._is_tail(e, last) for e in between)
            signs = self._signs(columns, row, last, value, ahead)
            signs.pace = self._pace(following)
            return signs.verdict(torn)

        return judge

    def keep(self, parsed: Parsed, columns: list[pa.Array], lines: NDArray[np.int64]) -> None:
        """The block is done."""
        if not self._first:
            self._first = [
                _plain(columns[p], 0, 1)[0] if t.numeric else None
                for p, t in zip(self.places, self.tallies, strict=True)
            ]
        joined = (
            [pa.concat_arrays([b, c]) for b, c in zip(self._before, columns, strict=True)]
            if (self._before and len(lines) < WINDOW)
            else columns
        )
        self._before = [pa.array(c.slice(max(0, len(c) - WINDOW)).to_pylist(), c.type) for c in joined]
        self._last_line = int(lines[-1])
        self._rows += len(lines)
        self._odd = [e for e in parsed.odd if e.line > self._last_line]

    def _pace(self, following: NDArray[Any]) -> str:
        steps = np.diff(following.astype(np.float64))
        usual = self.clock.interval
        if steps.size < LEAST or not usual or not steps.min() > 0 or float(np.ptp(steps)) > 0.2 * float(steps.min()):
            return ""
        step = float(np.median(steps))
        return "the rows come at another pace" if abs(step / usual - 1.0) > OTHER_PACE else ""

    def _is_tail(self, entry: OddLine, last: float) -> bool:
        """Whether a line is the end of a row and not its beginning: its first cell is no stamp that could follow."""
        if entry.kind not in ("short", "bad") or entry.bare or self.clock.parts != ((0, "number"),):
            return False
        cells = [tidy(c) for c in split_line(entry.text, self.plan.dialect)]
        column = self.plan.columns[0]
        found = number_and_unit(cells[0], column.style) if cells else None
        if found is None:
            return bool(cells) and len(cells) > 1
        next_text = f"{round(last + self.clock.interval, 6):.6f}"
        if len(cells) == 1 and next_text.startswith(cells[0].replace(column.style.decimal, ".")):
            return False
        return not last <= found[0] <= last + self.clock.gap

    def _signs(self, columns: list[pa.Array], row: int, last: float, value: float, ahead: Parsed | None) -> _Signs:
        signs = _Signs()
        tick_s = self.clock.tick_s or 1.0
        passed = (value - last) * tick_s
        rows_lost = (value - last) / self.clock.interval if self.clock.interval else 0.0
        for place, tally, first in zip(
            self.places, self.tallies, self._first or [None] * len(self.places), strict=True
        ):
            if tally.clock is not None or not tally.numeric:
                continue
            before, after = self._sides(columns, place, row, ahead)
            if before.size < LEAST or after.size < LEAST:
                continue
            name = tally.plan.source
            steps = np.concatenate([np.diff(before), np.diff(after)])
            jump = float(after[0] - before[-1])
            if bool(np.all(steps == 1.0)):
                self._counted(signs, name, jump, rows_lost, float(after[0]), first)
            elif tally.meaning.quantity in _COUNTED and not _STEP_WORDS & set(words_of(name)):
                self._grown(signs, name, before, after, passed, first)
            elif tally.meaning.quantity == "time":
                self._uptime(signs, name, before, after, rows_lost, first)
            else:
                self._level(signs, tally, columns[place].slice(0, row), before, after, steps)
        if rows_lost > LONG * (self._rows + row):
            signs.elsewhere.clear()
        self._wall(signs, columns, row)
        return signs

    def _sides(self, columns: list[pa.Array], place: int, row: int, ahead: Parsed | None) -> tuple[Floats, Floats]:
        before = _floats(columns[place], max(0, row - WINDOW), row)
        if row < WINDOW and self._before:
            before = np.concatenate([_floats(self._before[place], 0, WINDOW), before])[-WINDOW:]
        after = _floats(columns[place], row, row + WINDOW)
        if after.size < WINDOW and ahead is not None:
            after = np.concatenate([after, _floats(ahead.columns[place], 0, WINDOW - after.size)])
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        return before, after

    @staticmethod
    def _counted(signs: _Signs, name: str, jump: float, rows_lost: float, now: float, first: float | None) -> None:
        """A count of rows: goes on by one, or by the rows that are missing, or begins again."""
        if jump == 1.0:
            signs.for_pause.append(f'"{name}" counts on by one')
        elif now <= max(1.0, first if first is not None else 1.0):
            return  # begins again: the logger was switched on again
        elif jump < 0:
            signs.for_older.append(f'"{name}" runs back by {-jump:g}')
        elif abs(jump - rows_lost) > max(3.0, 0.03 * rows_lost):
            signs.for_older.append(f'"{name}" leaps by {jump:g} where {rows_lost:.0f} rows are missing')

    @staticmethod
    def _grown(signs: _Signs, name: str, before: Floats, after: Floats, passed_s: float, first: float | None) -> None:
        """Charge, energy, a count of events: grows no faster than it did, or begins again."""
        steps = np.abs(np.concatenate([np.diff(before), np.diff(after)]))
        if not np.any(steps > 0):
            return
        most, whole = float(steps.max()), max(float(np.ptp(before)), abs(float(before[-1] - (first or 0.0))))
        jump = float(after[0] - before[-1])
        if whole == 0.0 or abs(float(after[0]) - (first or 0.0)) <= 2.0 * most:
            return
        if abs(jump) <= 2.0 * most and whole > 20.0 * most:
            signs.for_pause.append(f'"{name}" goes on from {before[-1]:g} to {after[0]:g}')
        rising = bool(np.all(np.diff(before) >= 0) and np.all(np.diff(after) >= 0))
        if rising and jump < -2.0 * most:
            signs.for_older.append(f'"{name}" runs back from {before[-1]:g} to {after[0]:g}')
        elif jump > FAST_COUNT * whole and jump > 20.0 * most and passed_s > 0:
            signs.for_older.append(f'"{name}" leaps from {before[-1]:g} to {after[0]:g}')

    @staticmethod
    def _uptime(signs: _Signs, name: str, before: Floats, after: Floats, rows_lost: float, first: float | None) -> None:
        """A second running time: stands still, runs along or begins again in a pause, but never runs back."""
        step = float(np.median(np.diff(before)))
        jump = float(after[0] - before[-1])
        if step <= 0 or not np.all(np.diff(before) >= 0) or not np.all(np.diff(after) >= 0):
            return
        if jump < 0:
            if float(after[0]) > (first or 0.0) + 50.0 * step:
                signs.for_older.append(f'"{name}" runs back from {before[-1]:g} to {after[0]:g}')
        elif jump <= 3.0 * step:
            signs.for_pause.append(f'"{name}" goes on from {before[-1]:g} to {after[0]:g}')
        elif jump > 1.1 * step * rows_lost + 5.0 * step:
            signs.for_older.append(f'"{name}" leaps further ahead than the clock')

    @staticmethod
    def _level(signs: _Signs, tally: Tally, above: pa.Array, before: Floats, after: Floats, steps: Floats) -> None:
        """A quiet channel goes on where it was, or stands where this recording never was. above: of its block."""
        low, high = float(before.min()), float(before.max())
        ends = pc.min_max(above)
        lowest = min(x for x in (low, tally.low, ends["min"].as_py()) if x is not None)
        highest = max(x for x in (high, tally.high, ends["max"].as_py()) if x is not None)
        if highest == lowest:
            return
        most, beyond = float(np.abs(steps).max()), BEYOND * (highest - lowest)
        if after.min() > highest + max(most, beyond) or after.max() < lowest - max(most, beyond):
            signs.elsewhere.append(tally.plan.source)
        elif max(float(np.ptp(before)), float(np.ptp(after))) > QUIET * (highest - lowest):
            return
        elif after.min() <= high + most and after.max() >= low - most:
            signs.onward.append(tally.plan.source)

    def _wall(self, signs: _Signs, columns: list[pa.Array], row: int) -> None:
        """A second clock with its date: an older recording's lies before."""
        wall = self.clock.wall
        if wall is None or not wall.absolute:
            return
        sides = []
        for side in (
            [c.slice(row - 1, 1) for c in columns] if row else [b.slice(len(b) - 1, 1) for b in self._before],
            [c.slice(row, 1) for c in columns],
        ):
            found = clock_ticks(wall.parts, self.plan, side) if side else None
            if found is None or not found.ticks.size or not found.valid.all():
                return
            sides.append(found.ticks[0].item())
        if sides[1] < sides[0]:
            signs.for_older.append(f'"{wall.label}" goes back')
        else:
            signs.for_pause.append(f'"{wall.label}" goes on')


def _floats(values: pa.Array, start: int, stop: int) -> Floats:
    """Part of a column; NaN where it is missing."""
    part = values.slice(start, max(0, stop - start))
    if pa.types.is_string(part.type) or pa.types.is_dictionary(part.type):
        return np.empty(0)
    return np.asarray(part.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False), dtype=np.float64)


def _plain(values: pa.Array, start: int, stop: int) -> list[float | None]:
    found = _floats(values, start, stop)
    return [float(x) if np.isfinite(x) else None for x in found] or [None]
