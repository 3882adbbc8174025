"""The clock of a log whose messages or frames carry stamps: restarts, late stamps and gaps, over all its streams."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.clock import ClockPlan, typical
from ingest.delimited.clock_run import AHEAD, ClockRun
from ingest.delimited.stamps import wall_text
from ingest.errors import UnreadableLog
from ingest.log import Clock, Fault, Sure

MAX_RECORDINGS = 10_000  # our choice: a clock that starts again more often than this is no clock
MOST_LISTED = 100
_EPOCH_S = (946_684_800.0, 4_102_444_800.0)  # 2000 to 2100; other stamps count from the start of the recording


class StreamClock:
    """Ticks of the whole log in file order, block by block -> (time_s, recording, order).

    order: the places of the rows that are kept, in time order within each recording. tick_s: seconds per tick.
    absolute: the ticks count from 1970. interval: of the fastest stream, where messages come in bursts.
    """

    def __init__(
        self,
        label: str | None,
        unit: str,
        tick_s: float,
        first: NDArray[Any],
        *,
        absolute: bool | None = None,
        interval: float | None = None,
        sure: Sure = "certain",
        why: str = "stamped by the logger",
    ) -> None:
        step, gap = typical(np.diff(first).astype(np.float64)) if first.size > 1 else (0.0, np.inf)
        if interval is not None:
            gap = max(gap, 5.0 * interval)
        self._plan = ClockPlan((), label, unit, tick_s, sure, why, step, gap if gap > 0 else np.inf)
        self._run = ClockRun(self._plan)
        self._rows = 0
        start_s = float(first[0]) * tick_s if first.size else 0.0
        self._absolute = absolute if absolute is not None else _EPOCH_S[0] <= start_s < _EPOCH_S[1]
        self._rate_Hz: float | None = None

    def feed(
        self, ticks: NDArray[Any], ahead: NDArray[Any], file: object
    ) -> tuple[NDArray[np.float64], NDArray[np.int16], NDArray[np.intp]]:
        """One block. ahead: the first ticks of the next one. Raises UnreadableLog where this is no clock."""
        numbers = np.arange(self._rows + 1, self._rows + 1 + ticks.size, dtype=np.int64)
        self._rows += ticks.size
        timed = self._run.feed(ticks, numbers, ahead[:AHEAD])
        if self._run.recording > MAX_RECORDINGS:
            raise UnreadableLog(
                f"its clock goes back more than {MAX_RECORDINGS} times", file=file, column=self._plan.label,
                mend="Record it again with absolute stamps.",
            )  # fmt: skip
        order = np.arange(ticks.size)
        if timed.keep is not None:
            order = order[timed.keep]
        if timed.resort:
            order = order[np.lexsort((timed.time_s[order], timed.recording[order]))]
        return timed.time_s[order], timed.recording[order], order

    def clock(self, rate_Hz: float | None = None, wall_start: str | None = None) -> Clock:
        """rate_Hz: of the fastest stream, where there are several; wall_start: as the file states it elsewhere."""
        run, tick_s = self._run, self._plan.tick_s or 1.0
        first = run.first if run.first is not None else 0
        wall = wall_text(round(first * (tick_s * 1e9)), True) if self._absolute else None
        return Clock(
            column=self._plan.label,
            unit=self._plan.unit,
            sure=self._plan.sure,
            start_s=0.0 if self._absolute else float(first) * tick_s,
            duration_s=run.total_s(),
            rate_Hz=rate_Hz if rate_Hz is not None else run.rate_Hz(),
            restarts=tuple(run.restarts[:MOST_LISTED]),
            gaps=tuple(run.gaps[:MOST_LISTED]),
            wall_start=wall or wall_start,
            origin=f"{first!r}; {self._plan.why}",
        )

    def faults(self, duplicates: bool, wraps: int = 0) -> list[Fault]:
        """duplicates: whether two rows on one stamp are worth telling (not where many messages share a clock)."""
        run, label = self._run, self._plan.label
        made: list[Fault] = []

        def tell(code: str, severity: str, count: int, note: str) -> None:
            if count:
                made.append(Fault(code, severity, note, None, label, count))  # type: ignore[arg-type]

        tell("clock_wrap", "repaired", wraps, f"The counter went round {wraps} times; counted on.")
        tell(
            "clock_restart",
            "repaired",
            run.recording,
            f"The clock starts again {run.recording} times: recordings of their own.",
        )
        tell(
            "clock_backward",
            "repaired",
            len(run.late),
            f"Stamps behind the one before (first: number {_first(run.late)}); put in order.",
        )
        tell(
            "clock_backward",
            "dropped",
            len(run.glitches),
            f"Stamps that do not fit their neighbours (first: number {_first(run.glitches)}); left out.",
        )
        if duplicates:
            tell(
                "clock_duplicate",
                "doubtful",
                run.duplicates,
                f"{run.duplicates} rows carry the stamp of the one before.",
            )
        if run.gap_count:
            start, end = max(run.gaps, key=lambda gap: gap[1] - gap[0])
            note = f"Nothing was logged {run.gap_count} times, the longest {end - start:.6g} s from {start:.6g} s on."
            tell("clock_gap", "doubtful", run.gap_count, note)
        return made


def _first(places: Sequence[int]) -> int:
    return places[0] if places else 0


def no_clock() -> Fault:
    return Fault("clock_missing", "doubtful", "Nothing in it is a clock. Give the rate: --rate HZ.")
