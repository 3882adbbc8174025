"""The clock, row by row: wraps repaired, restarts told apart from glitches, gaps and repeats noted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.clock import ClockPlan
from ingest.delimited.leftovers import Seam
from ingest.delimited.torn import lost_first_digits

TickArray = NDArray[Any]
# (row of the block, tick before, tick there, the next ticks, whether a torn row stood there) -> pause or not
Judge = Callable[[int, float, float, TickArray, bool], Seam]

AHEAD = 16  # rows looked at behind a backward step: our choice, enough to tell a late row from a restart
MOST_EVENTS = 1000


@dataclass
class Timed:
    """Per row: seconds since its recording's first sample, the recording's number, and whether the row is kept."""

    time_s: NDArray[np.float64]
    recording: NDArray[np.int16]
    keep: NDArray[np.bool_] | None
    resort: bool = False


@dataclass
class ClockRun:
    """State carried from block to block."""

    plan: ClockPlan
    recording: int = 0
    duration_s: float = 0.0
    restarts: list[float] = field(default_factory=list)
    restart_lines: list[int] = field(default_factory=list)
    gaps: list[tuple[float, float]] = field(default_factory=list)
    gap_lines: list[int] = field(default_factory=list)
    gap_reasons: list[str] = field(default_factory=list)
    leftovers_from: int | None = None  # the first recording that is perhaps an older one
    leftovers: list[tuple[int, str]] = field(default_factory=list)  # line where rows of another recording begin, why
    gap_total: float = 0.0
    gap_count: int = 0
    steps: int = 0
    loose_count: int = 0  # steps of more than 1.5 intervals that are no gaps: rows are missing there
    loose_total: float = 0.0  # their ticks
    wraps: list[int] = field(default_factory=list)
    duplicates: int = 0
    duplicate_line: int = 0
    late: list[int] = field(default_factory=list)
    glitches: list[int] = field(default_factory=list)
    first: float | int | None = None  # the file's first tick
    _origin: float | int = 0  # of the running recording
    _shift: float = 0.0  # what wraps have added, ticks
    _last: float | int | None = None  # last kept tick, wraps added
    _modulus: float = 0.0
    _torn: bool = False  # the row before was the end of a row that was written over

    @property
    def last_raw(self) -> float | int | None:
        """The last kept tick as the source wrote it."""
        return None if self._last is None else self._last - self._plain_shift()

    def seconds(self, ticks: TickArray) -> NDArray[np.float64]:
        """Ticks since the recording's origin in seconds, rounded once."""
        tick_s = self.plan.tick_s or 1.0
        passed = (ticks - self._origin).astype(np.float64, copy=False)
        if ticks.dtype.kind == "f" and ticks.size:
            # No finer than the stamps themselves can be: takes off what the subtraction adds to their last digit.
            most = max(abs(float(ticks[-1])), abs(float(self._origin)), 1e-9)
            passed = np.round(passed, int(np.floor(-np.log10(np.spacing(most)))))
        if tick_s == 1.0:
            return passed
        return passed / round(1.0 / tick_s) if tick_s < 1.0 else passed * tick_s

    def feed(
        self,
        ticks: TickArray,
        lines: NDArray[np.int64],
        ahead: TickArray,
        judge: Judge | None = None,
    ) -> Timed:
        """The rows of one block. ahead: the first ticks of the next block, so that its edge is no blind spot.

        judge: tells a pause from rows of another recording where the clock leaps ahead; without it all are pauses.
        """
        count = ticks.size
        if count == 0:
            return Timed(np.empty(0), np.empty(0, dtype=np.int16), None)
        if self.first is None:
            self.first = ticks[0].item()
            self._origin = self.first
            self._last = None
        head: list[float | int] = [] if self._last is None else [self._last - self._plain_shift()]
        joined = np.concatenate([np.array(head, dtype=ticks.dtype), ticks])
        steps = np.diff(joined)
        offset = 1 - len(head)  # steps[k] leads to row k + offset
        loose = steps[(steps > 1.5 * self.plan.interval) & (steps <= self.plan.gap)]
        self.loose_count += int(loose.size)
        self.loose_total += float(loose.sum())
        odd = np.flatnonzero((steps <= 0) | (steps > self.plan.gap))
        if odd.size == 0:
            return self._plain(ticks, int(steps.size))
        repeats = np.flatnonzero(steps == 0)
        if repeats.size:
            self.duplicates += int(repeats.size)
            self.duplicate_line = self.duplicate_line or int(lines[repeats[0] + offset])
        if repeats.size == odd.size:
            return self._plain(ticks, int(steps.size))
        return self._slow(ticks, lines, ahead, odd[steps[odd] != 0] + offset, int(steps.size), judge)

    def _plain_shift(self) -> float | int:
        return self._shift if self._shift else 0

    def _plain(self, ticks: TickArray, steps: int) -> Timed:
        shifted = ticks + self._shift if self._shift else ticks
        time_s = self.seconds(shifted)
        self.steps += steps
        self._last = shifted[-1].item()
        return Timed(time_s, np.full(ticks.size, self.recording, dtype=np.int16), None)

    def _slow(
        self,
        ticks: TickArray,
        lines: NDArray[np.int64],
        ahead: TickArray,
        places: NDArray[np.int64],
        steps: int,
        judge: Judge | None,
    ) -> Timed:
        count = ticks.size
        time_s = np.empty(count)
        recording = np.empty(count, dtype=np.int16)
        keep = np.ones(count, dtype=bool)
        everything = np.concatenate([ticks, ahead[:AHEAD].astype(ticks.dtype)])
        done = 0
        resort = False
        pending = list(map(int, places))
        k = 0
        high: float | int | None = self._last  # highest tick so far of this recording
        while k < len(pending):
            i = pending[k]
            k += 1
            if i < done:
                continue
            done, high = self._flush(ticks, done, i, time_s, recording, keep, high)
            value = everything[i].item() + self._plain_shift()
            last = high
            if last is None:
                continue
            step = value - last
            following = everything[i + 1 : i + 1 + AHEAD] + self._plain_shift()
            if step > 0:
                if step <= self.plan.gap:
                    continue
                fragment = lost_first_digits(value, last, following, self.plan)
                if fragment or self._is_spike(value, last, following):
                    self._torn = self._torn or fragment
                    keep[i] = False
                    self._note(self.glitches, int(lines[i]))
                    time_s[i], recording[i] = 0.0, self.recording
                    done = i + 1
                    if i + 1 < count and (not pending[k:] or pending[k] != i + 1):
                        pending.insert(k, i + 1)
                    continue
                seam = Seam(False, "") if judge is None else judge(i, float(last), float(value), following, self._torn)
                self._torn = False
                if seam.split:
                    self.leftovers.append((int(lines[i]), seam.reason))
                    self._restart(last, everything[i].item(), None)
                    if self.leftovers_from is None:
                        self.leftovers_from = self.recording
                    high = None
                else:
                    self._gap(last, value, int(lines[i]), seam.reason)
                continue
            if step == 0:
                continue
            torn = judge is not None and lost_first_digits(value, last, following, self.plan)
            self._torn = self._torn or torn
            modulus = self._wrapped(everything[i].item(), last - self._plain_shift())
            if modulus:
                self._shift += modulus
                self._note(self.wraps, int(lines[i]))
                continue
            late = torn or self._late(value, last, following)
            if late:
                first_tick = self._origin
                if torn or value < first_tick or i == 0 or (last - value) > AHEAD * max(self.plan.interval, 1e-300):
                    keep[i] = False
                    self._note(self.glitches, int(lines[i]))
                else:
                    resort = True
                    self._note(self.late, int(lines[i]))
                time_s[i] = float(self.seconds(np.array([value]))[0])
                recording[i] = self.recording
                done = i + 1
                if i + 1 < count and (not pending[k:] or pending[k] != i + 1):
                    pending.insert(k, i + 1)
                continue
            self._restart(last, everything[i].item(), int(lines[i]))
            high = None
        done, high = self._flush(ticks, done, count, time_s, recording, keep, high)
        self._last = high
        self.steps += steps
        return Timed(time_s, recording, None if keep.all() else keep, resort)

    def _flush(
        self,
        ticks: TickArray,
        start: int,
        stop: int,
        time_s: NDArray[np.float64],
        recording: NDArray[np.int16],
        keep: NDArray[np.bool_],
        high: float | int | None,
    ) -> tuple[int, float | int | None]:
        """Convert rows start ≤ i < stop, which are in order."""
        if stop > start:
            part = ticks[start:stop] + self._shift if self._shift else ticks[start:stop]
            time_s[start:stop] = self.seconds(part)
            recording[start:stop] = self.recording
            high = part[-1].item()
        return stop, high

    def _wrapped(self, raw: float, last_raw: float) -> float:
        """The modulus at which the counter went round: the step across it is an ordinary one.

        Our choice: at most two intervals (of stamps, five), and at least two hundred of them a round, so that a
        short recording that starts again is not taken for a counter that went round.
        """
        stamps = self.plan.unit == "time"
        most = self.plan.interval * (5.0 if stamps else 2.0)
        if self._modulus:
            step = raw + self._modulus - last_raw
            return self._modulus if 0 < step <= most else 0.0
        for modulus in self.plan.moduli:
            step = raw + modulus - last_raw
            # Twelve-hour stamps without a half of the day run from 12:59 to 1:00, an hour beyond their modulus.
            beyond = 13 / 12 if stamps else 1.0
            rounds = stamps or modulus >= 200.0 * self.plan.interval
            if 0 < step <= most and last_raw < modulus * beyond and rounds:
                self._modulus = modulus
                return modulus
        return 0.0

    def _is_spike(self, value: float, last: float, following: TickArray) -> bool:
        """One stamp far ahead between two neighbours that belong together."""
        return bool(following.size) and last < following[0] < value and following[0] - last <= self.plan.gap

    def _late(self, value: float, last: float, following: TickArray) -> bool:
        """A stamp behind its place: within a few rows the clock is ahead of where it was, too soon for a restart."""
        beyond = np.flatnonzero(following > last)
        if beyond.size == 0:
            return False
        rows = int(beyond[0]) + 1
        jump = float(last - value)
        here = following[: beyond[0] + 1]
        climb = float(here[-1] - value)
        if rows == 1:
            return float(here[-1] - last) <= self.plan.gap
        if value <= self._origin + 0.5 * self.plan.interval:
            return False  # it begins where the recording began: a restart, however short
        return climb > 3.0 * self.plan.interval * rows or jump <= 2.0 * self.plan.interval

    def _gap(self, last: float, value: float, line: int, reason: str) -> None:
        places = self.seconds(np.array([last, value]))
        self.gap_count += 1
        self.gap_total += float(places[1] - places[0])
        if len(self.gaps) < MOST_EVENTS:
            self.gaps.append((self.duration_s + float(places[0]), self.duration_s + float(places[1])))
            self.gap_lines.append(line)
            self.gap_reasons.append(reason)

    def _restart(self, last: float, raw: float, line: int | None) -> None:
        self.duration_s += float(self.seconds(np.array([last]))[0])
        self.recording += 1
        if line is not None:
            self._note(self.restart_lines, line)
        if len(self.restarts) < MOST_EVENTS:
            self.restarts.append(self.duration_s)
        self._shift = 0.0
        self._origin = raw

    def total_s(self) -> float:
        """Last minus first, added over the recordings."""
        if self._last is None:
            return self.duration_s
        return self.duration_s + float(self.seconds(np.array([self._last]))[0])

    def rate_Hz(self) -> float | None:
        """Steps per second of the time that is no gap."""
        passed = self.total_s() - self.gap_total
        steps = self.steps - self.gap_count - self.recording - len(self.glitches)
        if self.loose_count < 0.1 * steps and not self.duplicates:
            passed -= self.loose_total * (self.plan.tick_s or 1.0)
            steps -= self.loose_count
        if passed <= 0 or steps <= 0:
            return None
        return float(f"{steps / passed:.9g}")

    @staticmethod
    def _note(where: list[int], line: int) -> None:
        if len(where) < MOST_EVENTS:
            where.append(line)
