"""Streams: columns that share a clock. Most files have one; loggers side by side in one table have several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from ingest.delimited.clock import Candidate, ClockPlan
from ingest.delimited.clock_run import AHEAD, ClockRun, Timed
from ingest.delimited.leftovers import SeamJudge
from ingest.delimited.plan import Parsed, Plan
from ingest.delimited.tally import Tally
from ingest.delimited.ticks import Ticks
from ingest.delimited.wall import WallCheck

MAIN = "samples"
_TURN = 0.02  # our choice: of the interval; two stamps of one instant differ by less


@dataclass(frozen=True)
class StreamPlan:
    """columns: places among the cells. offset_s: this clock's first stamp on the main clock."""

    name: str
    clock: ClockPlan | None
    columns: frozenset[int]
    offset_s: float = 0.0


def plan_streams(
    clock: ClockPlan | None, candidates: Sequence[Candidate], indexes: Sequence[int]
) -> tuple[StreamPlan, ...]:
    """One stream, or one for each clock that stands before columns of its own and runs otherwise than the main one.

    A clock of its own: states its unit, never goes back, does not tell the same seconds as the main clock, and
    columns that are no clock stand between the two and behind it.
    """
    everything = frozenset(indexes)
    if clock is None or len(clock.parts) != 1:
        return (StreamPlan(MAIN, clock, everything),)
    main = next((c for c in candidates if c.plan.parts == clock.parts), None)
    first = clock.parts[0][0]
    own = [c for c in candidates if main is not None and c is not main and _runs_alone(c, main, candidates, indexes)]
    if not own or main is None:
        return (StreamPlan(MAIN, clock, everything),)
    starts = sorted([(first, clock, main)] + [(c.plan.parts[0][0], c.plan, c) for c in own], key=lambda s: s[0])
    streams = []
    for k, (start, plan, candidate) in enumerate(starts):
        stop = starts[k + 1][0] if k + 1 < len(starts) else max(indexes) + 1
        columns = frozenset(i for i in indexes if start <= i < stop or (k == 0 and i < start))
        name = MAIN if plan.parts == clock.parts else f"{MAIN}_{k + 1}"
        streams.append(StreamPlan(name, plan, columns, _seconds(candidate)[0] - _seconds(main)[0]))
    return tuple(sorted(streams, key=lambda s: s.name != MAIN))


def _seconds(candidate: Candidate) -> np.ndarray:
    ticks = candidate.ticks[np.isfinite(candidate.ticks)]
    return ticks * (candidate.plan.tick_s or 1.0)


def _runs_alone(candidate: Candidate, main: Candidate, candidates: Sequence[Candidate], indexes: Sequence[int]) -> bool:
    plan = candidate.plan
    if len(plan.parts) != 1 or plan.tick_s is None or not plan.unit_stated or candidate.is_part:
        return False
    if plan.absolute != main.plan.absolute or np.any(candidate.steps < 0) or not np.any(candidate.steps > 0):
        return False
    clocks = {index for c in candidates for index, _ in c.plan.parts}
    here, there = plan.parts[0][0], main.plan.parts[0][0]
    low, high = min(here, there), max(here, there)
    between = [i for i in indexes if low < i < high and i not in clocks]
    behind = [i for i in indexes if i > high and i not in clocks]
    if not between or not behind:
        return False
    mine, theirs = candidate.ticks * plan.tick_s, main.ticks * (main.plan.tick_s or 1.0)
    both = np.isfinite(mine) & np.isfinite(theirs)
    if np.isfinite(mine).sum() != np.isfinite(theirs).sum():
        return True
    difference = (mine - theirs)[both]
    step = min(plan.interval * plan.tick_s, main.plan.interval * (main.plan.tick_s or 1.0))
    if not difference.size or float(np.ptp(difference)) > 0.5 * step:
        return bool(difference.size)
    # Each channel was read in its turn: its stamps lie within a row, always the same part of it behind the others'.
    return _TURN * step < abs(float(np.median(difference))) < step


@dataclass
class StreamState:
    """One stream while it is read."""

    plan: StreamPlan
    tallies: list[Tally]
    places: list[int]  # of its columns among all
    run: ClockRun | None
    wall: WallCheck | None
    rate_Hz: float | None
    seams: SeamJudge | None = None
    rows: int = 0
    schema: pa.Schema = field(default=None)

    @classmethod
    def start(cls, plan: StreamPlan, tallies: list[Tally], file_plan: Plan, rate_Hz: float | None) -> StreamState:
        places = [k for k, tally in enumerate(tallies) if tally.plan.index in plan.columns]
        own = [tallies[k] for k in places]
        run = ClockRun(plan.clock) if plan.clock is not None else None
        fields = [
            pa.field("time_s", pa.float64(), nullable=True),
            pa.field("recording", pa.int16(), nullable=False),
            *(tally.field() for tally in own if tally.stored is not None),
        ]
        wall = WallCheck.start(plan.clock, file_plan) if plan.name == MAIN else None
        seams = None if plan.clock is None else SeamJudge(plan.clock, file_plan, own, places)
        return cls(plan, own, places, run, wall, rate_Hz, seams, schema=pa.schema(fields))

    def batch(
        self, parsed: Parsed, ticks: Ticks | None, ahead: Ticks | None, next_block: Parsed | None = None
    ) -> pa.RecordBatch | None:
        """The rows of one block that belong to this stream; None where there are none."""
        everything = parsed.columns
        lines = parsed.lines
        if self.run is not None and ticks is not None:
            raw = ticks.ticks
            if not ticks.valid.all():
                mask = pa.array(ticks.valid)
                everything = [c.filter(mask) for c in everything]
                raw, lines = raw[ticks.valid], lines[ticks.valid]
            if not raw.size:
                return None
            following = raw[:0] if ahead is None else ahead.ticks[ahead.valid][:AHEAD]
            judge = None if self.seams is None else self.seams.for_block(parsed, everything, lines, next_block)
            timed = self.run.feed(raw, lines, following, judge)
            if self.seams is not None:
                self.seams.keep(parsed, everything, lines)
            if self.plan.offset_s and self.run.recording == 0:
                timed.time_s += self.plan.offset_s
            if self.wall is not None:
                self.wall.feed(everything, timed, lines)
            timed, everything = settled(timed, everything)
            time_s = pa.array(timed.time_s)
            recording = pa.array(timed.recording)
        else:
            count = parsed.rows
            if self.rate_Hz is None:
                time_s = pa.nulls(count, pa.float64())
            else:
                time_s = pa.array(np.arange(self.rows, self.rows + count, dtype=np.float64) / self.rate_Hz)
            recording = pa.array(np.zeros(count, dtype=np.int16))
        stored = [time_s, recording]
        for place, tally in zip(self.places, self.tallies, strict=True):
            kept = tally.take(everything[place])
            if tally.stored is not None:
                stored.append(kept)
        self.rows += len(time_s)
        return pa.RecordBatch.from_arrays(stored, schema=self.schema) if len(time_s) else None


def settled(timed: Timed, columns: list[pa.Array]) -> tuple[Timed, list[pa.Array]]:
    """Without the rows whose stamps are not to be trusted, late rows in their place."""
    if timed.keep is not None:
        mask = pa.array(timed.keep)
        columns = [c.filter(mask) for c in columns]
        timed = Timed(timed.time_s[timed.keep], timed.recording[timed.keep], None, timed.resort)
    if timed.resort:
        order = np.lexsort((timed.time_s, timed.recording))
        places = pa.array(order)
        columns = [c.take(places) for c in columns]
        timed = Timed(timed.time_s[order], timed.recording[order], None)
    return timed, columns
