"""A second clock on the wall beside the one that was chosen: do they agree?"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.delimited.clock import ClockPlan
from ingest.delimited.clock_run import Timed
from ingest.delimited.plan import Plan
from ingest.delimited.stamps import wall_text
from ingest.delimited.ticks import clock_ticks


@dataclass
class WallCheck:
    """Differences wall − elapsed; a jump of it is a pause or a clock that was set."""

    clock: ClockPlan
    plan: Plan
    tolerance_s: float
    first_text: str | None = None
    jumps: list[tuple[int, float]] = field(default_factory=list)
    _last: float | None = None
    _recording: int = 0
    _first: float | None = None
    _zero: float | None = None
    drift_s: float = 0.0
    span_s: float = 0.0

    @classmethod
    def start(cls, clock: ClockPlan | None, plan: Plan) -> WallCheck | None:
        if clock is None or clock.wall is None or clock.tick_s is None:
            return None
        tick_s = clock.wall.tick_s or 1e-9
        # A wall clock that steps by whole seconds differs by up to one step; five intervals are ordinary jitter.
        tolerance = 1.5 * clock.wall.interval * tick_s + 5.0 * clock.interval * clock.tick_s
        return cls(clock.wall, plan, tolerance)

    def feed(self, columns: list[pa.Array], timed: Timed, lines: NDArray[np.int64]) -> None:
        """One block; rows without a wall stamp are passed over."""
        found = clock_ticks(self.clock.parts, self.plan, columns)
        if found is None or found.ticks.size != timed.time_s.size:
            return
        good = found.valid if timed.keep is None else found.valid & timed.keep
        if not good.any():
            return
        ticks = found.ticks[good]
        if self._zero is None:
            self._zero = ticks[0].item()
            if self.clock.absolute:
                self.first_text = self._text(ticks[0].item())
        passed = (ticks - self._zero).astype(np.float64) * (self.clock.tick_s or 1e-9)
        if self.clock.unit == "time":
            passed = passed + 86400.0 * np.cumsum(np.concatenate([[0.0], np.diff(passed) < -43200.0]))
        difference = passed - timed.time_s[good]
        recording = timed.recording[good]
        rows = lines[good]
        if self._last is not None:
            difference_before = np.concatenate([[self._last], difference])
            recording_before = np.concatenate([[self._recording], recording])
        else:
            difference_before, recording_before = difference, recording
            rows = rows[1:]
        steps = np.diff(difference_before)
        same = np.diff(recording_before) == 0
        if self.clock.unit == "time":
            steps = np.mod(steps + 43200.0, 86400.0) - 43200.0
        for k in np.flatnonzero(same & (np.abs(steps) > self.tolerance_s))[:1000]:
            if len(self.jumps) < 1000:
                self.jumps.append((int(rows[k]), float(steps[k])))
        self._last, self._recording = float(difference[-1]), int(recording[-1])
        if self._first is None:
            self._first = float(difference[0])
        if self._recording == 0:
            self.drift_s = self._last - self._first
            self.span_s = float(timed.time_s[good][-1])

    def _text(self, tick: float) -> str:
        if self.clock.style is not None:
            return wall_text(int(tick), self.clock.style.zoned)
        return wall_text(round(tick * (self.clock.tick_s or 1.0) * 1e9), True)
