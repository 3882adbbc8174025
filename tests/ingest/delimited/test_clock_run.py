"""The clock row by row, against recordings made up from their truth; blocks of any size."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from ingest.delimited.clock import ClockPlan
from ingest.delimited.clock_run import AHEAD, ClockRun


def plan(interval: float, *, tick_s: float = 1e-3, moduli: tuple[float, ...] = (2.0**16, 2.0**32)) -> ClockPlan:
    return ClockPlan(((0, "number"),), "t", "ms", tick_s, "certain", "", interval, 5 * interval, moduli)


def feed(run: ClockRun, ticks: list[float], sizes: list[int]) -> tuple[NDArray[np.float64], NDArray[np.int16]]:
    """All rows through blocks of these sizes, over and over."""
    values = np.array(ticks, dtype=np.float64)
    lines = np.arange(2, values.size + 2)
    times, recordings = [], []
    start = k = 0
    while start < values.size:
        stop = min(values.size, start + sizes[k % len(sizes)])
        timed = run.feed(values[start:stop], lines[start:stop], values[stop : stop + AHEAD])
        keep = slice(None) if timed.keep is None else timed.keep
        times.append(timed.time_s[keep])
        recordings.append(timed.recording[keep])
        start, k = stop, k + 1
    return np.concatenate(times), np.concatenate(recordings)


sizes = st.lists(st.integers(1, 40), min_size=1, max_size=5)


@settings(deadline=None)
@given(st.lists(st.integers(4, 60), min_size=1, max_size=8), st.integers(0, 500), sizes)
def test_restarts(lengths: list[int], first: int, blocks: list[int]) -> None:
    """A counter that begins again at the same figure, however long the recordings."""
    ticks = [float(first + 10 * k) for n in lengths for k in range(n)]
    run = ClockRun(plan(10.0))
    times, recordings = feed(run, ticks, blocks)
    assert recordings.tolist() == [r for r, n in enumerate(lengths) for _ in range(n)]
    assert np.allclose(times, [0.01 * k for n in lengths for k in range(n)])
    assert abs(run.total_s() - sum(0.01 * (n - 1) for n in lengths)) < 1e-9
    assert len(run.restarts) == len(lengths) - 1


@settings(deadline=None)
@given(st.integers(0, 65_535), st.integers(10, 300), st.integers(50, 3_000), sizes)
def test_wraps(first: int, step: int, rows: int, blocks: list[int]) -> None:
    """A 16-bit counter goes round as often as it likes; the time goes on."""
    ticks = [float((first + step * k) % 65_536) for k in range(rows)]
    run = ClockRun(plan(float(step)))
    times, recordings = feed(run, ticks, blocks)
    assert not recordings.any()
    assert np.allclose(times, np.arange(rows) * step / 1000)
    assert len(run.wraps) == sum(b < a for a, b in pairwise(ticks))


@settings(deadline=None)
@given(st.integers(40, 200), st.data(), sizes)
def test_single_glitches(rows: int, data: st.DataObject, blocks: list[int]) -> None:
    """One stamp far away between neighbours that belong together costs its row, not the recording."""
    place = data.draw(st.integers(2, rows - 3))
    wrong = data.draw(st.sampled_from([0.0, 5.0, 1e9]))
    ticks = [100_000.0 + 10 * k for k in range(rows)]
    ticks[place] = wrong
    run = ClockRun(plan(10.0))
    times, recordings = feed(run, ticks, blocks)
    assert not recordings.any()
    assert times.size == rows - 1
    assert run.glitches == [place + 2]
    assert run.gap_count == 0


@settings(deadline=None)
@given(st.lists(st.integers(1, 40), min_size=5, max_size=200), sizes)
def test_jitter_keeps_every_row(steps: list[int], blocks: list[int]) -> None:
    ticks = np.cumsum([0, *steps]).astype(float)
    run = ClockRun(plan(20.0))
    times, recordings = feed(run, ticks.tolist(), blocks)
    assert np.allclose(times, ticks / 1000) and not recordings.any()


def test_gap_is_told_with_its_place() -> None:
    ticks = [10.0 * k + (1000.0 if k >= 20 else 0.0) for k in range(40)]
    run = ClockRun(plan(10.0))
    feed(run, ticks, [7])
    assert run.gap_lines == [22]
    assert np.allclose(run.gaps, [(0.19, 1.2)])
    assert run.rate_Hz() == 100.0
