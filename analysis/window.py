"""Where the match starts and ends in the log.

Idle time, the test of the system before the start and a demonstration after the end do not count. The match file
may state the window (`window_start_s`, `window_end_s`); its `length_s` helps to choose.
"""

from __future__ import annotations

import numpy as np

from analysis.match_data import MatchData, Window
from analysis.signal import Bools, Floats, Signal

BIN_S = 0.1
# Our choices: a pinned robot stands still for some seconds within a match; a system test is a few short bursts
# followed by the wait for the start.
JOIN_S = 6.0
SHORT_TEST_S = 8.0
USUAL_LENGTH_S = 180.0
PAUSE_S = 2.5
SMALL_SHARE = 0.08
WORTH_KEEPING = 0.15
COMMAND_MOVES_PCT = 6.0
# Our choices for the ends of a log: longer than any inrush and shorter than a pause of the driver; a share of the usual
# peak that a weapon running free still draws; what controllers, receiver and light draw with nothing moving.
EDGE_S = 0.3
EDGE_SHARE = 0.05
STANDBY_A = 0.7


def find_window(data: MatchData) -> Window | None:
    """The match, from activity across all placed logs. None where nothing moves or nothing is logged."""
    stated = data.match
    spans = [(float(s.t_s[0]), float(s.t_s[-1])) for s in data.signals.values() if len(s)]
    if not spans:
        return None
    first, last = min(s for s, _ in spans), max(e for _, e in spans)
    if stated is not None and stated.window_start_s is not None and stated.window_end_s is not None:
        return Window(stated.window_start_s, stated.window_end_s, "stated in the match file")
    edges = np.arange(first, last + BIN_S, BIN_S)
    if len(edges) < 3:
        return Window(first, last, "the whole log: too short to tell idle time from the match")
    active = _activity(data, edges)
    if active is None or not active.any():
        return Window(first, last, "the whole log: nothing in it shows when the robot moved")
    blocks = _blocks(active, edges)
    energy = _energy(data, edges)
    length = (stated.length_s if stated is not None and stated.length_s else USUAL_LENGTH_S) * 1.1 + 2.0
    start, end = _main(blocks, energy, edges, length)
    start, end = _without_tests(active, energy, edges, (start, end))
    if stated is not None and stated.ended_s is not None and start < stated.ended_s:
        end = min(end, stated.ended_s)
    return Window(max(start - BIN_S, first), min(end + BIN_S, last), "from the activity in the log")


def _without_tests(active: Bools, energy: Floats, edges: Floats, span: tuple[float, float]) -> tuple[float, float]:
    """The span without a short trial before the start or a show after the end.

    Both are short, stand apart by a pause, and hold little of what went on.
    """
    inside = active & (edges[:-1] >= span[0] - BIN_S) & (edges[1:] <= span[1] + BIN_S)
    parts = [p for p in _blocks(inside, edges, PAUSE_S) if p[1] - p[0] > 0]
    total = float(energy[inside].sum())

    def small(part: tuple[float, float]) -> bool:
        low, high = np.searchsorted(edges, part)
        return part[1] - part[0] < SHORT_TEST_S and float(energy[low:high].sum()) < SMALL_SHARE * total

    while len(parts) > 1 and small(parts[0]):
        parts.pop(0)
    while len(parts) > 1 and small(parts[-1]):
        parts.pop()
    return (parts[0][0], parts[-1][1]) if parts else span


def _movers(data: MatchData) -> list[tuple[Signal, float]]:
    """Signals that show activity, with the level above which each counts as active."""
    movers: list[tuple[Signal, float]] = []
    currents = [n for n in data.signals if n.endswith(("input_current_A", "pack_current_A", "motor_current_A"))]
    if not currents:
        currents = [n for n in data.signals if n.endswith("current_A") and "rail" not in n]
    for name in currents:
        good = data.signals[name].good()
        if len(good) < 3 or not data.placed[data.source[name]].placed:
            continue
        idle = _idle(good)
        peak = float(np.percentile(np.abs(good.x - idle), 99))
        if peak > 0:
            movers.append((good.with_values(np.abs(good.x - idle)), max(data.settings.activity_share * peak, 0.5)))
    for name in data.signals:
        if name.endswith("_command_pct") and data.placed[data.source[name]].placed:
            good = data.signals[name].good()
            if len(good) >= 3:
                movers.append((good.with_values(np.abs(good.x - _hands_off(good))), COMMAND_MOVES_PCT))
    return movers


def at_work(data: MatchData, *, end: bool) -> bool:
    """Whether a current flowed in the first (end: the last) tenths of a second of all that was logged of any current.

    By the middle one of the samples there, so that no inrush of capacitors counts; on a trusted signal (its zero error
    taken off), since a log that begins at work shows no rest to compare with. False where no current was logged.
    """
    names = [n for n in data.signals if n.endswith("current_A") and "_rail_" not in n]
    known = [n for n in names if not data.placed or data.placed[data.source[n]].placed]
    currents = [s for n in known if len(s := data.signals[n].good()) >= 3]
    if not currents:
        return False
    edge = max(float(s.t_s[-1]) for s in currents) if end else min(float(s.t_s[0]) for s in currents)
    for good in currents:
        size = np.abs(good.x)
        level = max(EDGE_SHARE * float(np.percentile(size, 99)), STANDBY_A, 3.0 * good.noise)
        close = size[good.t_s >= edge - EDGE_S] if end else size[good.t_s <= edge + EDGE_S]
        if len(close) and float(np.median(close)) > level:
            return True
    return False


def _idle(good: Signal) -> float:
    """What the signal shows at rest: the quieter of its first and last second (an offset stands in both)."""
    ends = (good.x[good.t_s <= good.t_s[0] + 1.0], good.x[good.t_s >= good.t_s[-1] - 1.0])
    return min((float(np.median(x)) for x in ends), key=abs)


def _hands_off(good: Signal) -> float:
    """A command at rest, %: of its first and last second the one in which it stands still, else the smaller one.

    It need not be zero: a throttle may rest at -100.
    """
    ends = (good.x[good.t_s <= good.t_s[0] + 1.0], good.x[good.t_s >= good.t_s[-1] - 1.0])
    return float(np.median(min(ends, key=lambda x: (float(np.ptp(x)) > COMMAND_MOVES_PCT, abs(float(np.median(x)))))))


def _activity(data: MatchData, edges: Floats) -> Bools | None:
    movers = _movers(data)
    if not movers:
        return None
    active = np.zeros(len(edges) - 1, dtype=bool)
    for good, level in movers:
        over = good.t_s[good.x > level]
        index = np.clip(np.searchsorted(edges, over, side="right") - 1, 0, len(active) - 1)
        active[index] = True
        if good.period_s > BIN_S:  # a slow log: its sample stands for the whole interval
            for shift in range(1, int(good.period_s / BIN_S) + 1):
                active[np.clip(index + shift, 0, len(active) - 1)] = True
    return active


def _energy(data: MatchData, edges: Floats) -> Floats:
    """How much went on in each bin: the largest mover, each scaled by its own peak."""
    total = np.zeros(len(edges) - 1)
    for good, level in _movers(data):
        scaled = good.x / max(level, 1e-9)
        index = np.clip(np.searchsorted(edges, good.t_s, side="right") - 1, 0, len(total) - 1)
        count = np.bincount(index, minlength=len(total))
        mean = np.bincount(index, weights=scaled, minlength=len(total)) / np.maximum(count, 1)
        total = np.maximum(total, mean)
    return total


def _blocks(active: Bools, edges: Floats, join_s: float = JOIN_S) -> list[tuple[float, float]]:
    """Spans of activity, joined over pauses up to join_s."""
    marks = np.flatnonzero(active)
    blocks: list[list[float]] = []
    for mark in marks:
        start, end = float(edges[mark]), float(edges[mark + 1])
        if blocks and start - blocks[-1][1] <= join_s:
            blocks[-1][1] = end
        else:
            blocks.append([start, end])
    return [(b[0], b[1]) for b in blocks]


def _main(blocks: list[tuple[float, float]], energy: Floats, edges: Floats, longest_s: float) -> tuple[float, float]:
    """The block with the most activity, joined with neighbours that are worth it and fit the match's length."""

    def weight(block: tuple[float, float]) -> float:
        low, high = np.searchsorted(edges, block)
        return float(energy[low:high].sum())

    best = max(range(len(blocks)), key=lambda i: weight(blocks[i]))
    start, end = blocks[best]
    total = weight(blocks[best])
    low = best - 1
    high = best + 1
    while True:
        candidates = []
        if low >= 0 and end - blocks[low][0] <= longest_s:
            candidates.append(low)
        if high < len(blocks) and blocks[high][1] - start <= longest_s:
            candidates.append(high)
        worth = [
            i
            for i in candidates
            if weight(blocks[i]) >= WORTH_KEEPING * total and blocks[i][1] - blocks[i][0] > SHORT_TEST_S
        ]
        if not worth:
            return start, end
        chosen = max(worth, key=lambda i: weight(blocks[i]))
        start, end = min(start, blocks[chosen][0]), max(end, blocks[chosen][1])
        total += weight(blocks[chosen])
        if chosen == low:
            low -= 1
        else:
            high += 1
