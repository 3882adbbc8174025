"""A signal on an even grid, for the alignment of clocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MIN_OVERLAP_S = 5.0  # our choice: less holds too few events
MIN_SAMPLES = 40
FINEST_S = 0.004  # our choice: finer steps than this carry ripple and no more information on the offset
MOST_POINTS = 4_000_000


@dataclass(frozen=True, eq=False)
class Even:
    """A signal on an even grid."""

    start_s: float
    step_s: float
    x: Floats

    @property
    def end_s(self) -> float:
        return self.start_s + self.step_s * (self.x.shape[0] - 1)

    def stamps(self) -> Floats:
        return np.asarray(self.start_s + self.step_s * np.arange(self.x.shape[0]), dtype=np.float64)


def even(t: Floats, x: Floats, who: str) -> tuple[Even | None, str]:
    """The signal on an even grid at its own rate; stamps that are even already are taken as they are."""
    t = np.asarray(t, dtype=np.float64)
    x = np.asarray(x, dtype=np.float64)
    ok = np.isfinite(t) & np.isfinite(x)
    t, x = t[ok], x[ok]
    rising = np.concatenate([[True], np.diff(t) > 0]) if t.shape[0] else np.zeros(0, bool)
    t, x = t[rising], x[rising]
    if t.shape[0] < MIN_SAMPLES or not bool(np.all(np.diff(t) > 0)):
        return None, f"{who} holds fewer than {MIN_SAMPLES} usable samples in time order"
    if t[-1] - t[0] < MIN_OVERLAP_S:
        return None, f"{who} is shorter than {MIN_OVERLAP_S:g} s"
    if float(np.ptp(x)) == 0.0:
        return None, f"{who} does not move"
    n = t.shape[0]
    mean = (t[-1] - t[0]) / (n - 1)
    if bool(np.max(np.abs(t - (t[0] + mean * np.arange(n)))) < 0.1 * mean):
        grid = Even(float(t[0]), float(mean), x)
    else:
        step = max(float(np.median(np.diff(t))), (t[-1] - t[0]) / MOST_POINTS)
        stamps = t[0] + step * np.arange(int((t[-1] - t[0]) / step) + 1)
        grid = Even(float(t[0]), step, np.interp(stamps, t, x))
    return (at_step(grid, FINEST_S) if grid.step_s < 0.6 * FINEST_S else grid), ""


def at_step(s: Even, step_s: float) -> Even:
    """Averaged to (nearly) this step where the signal is faster; the stamp is the middle of what was averaged."""
    k = max(1, round(step_s / s.step_s))
    if k > 1 and abs(k * s.step_s / step_s - 1) < 0.01:
        n = s.x.shape[0] // k
        return Even(s.start_s + 0.5 * (k - 1) * s.step_s, k * s.step_s, s.x[: n * k].reshape(n, k).mean(axis=1))
    if step_s > 1.01 * s.step_s:
        stamps = np.arange(s.start_s + 0.5 * step_s, s.end_s - 0.5 * step_s, step_s)
        return Even(float(stamps[0]), step_s, box(s, stamps, step_s, 0.5))
    return s


def box(s: Even, at: Floats, width_s: float, lead: float) -> Floats:
    """Mean of s over [at - (1 - lead)·width, at + lead·width]; lead 0.5 is centred, 0 ends at the stamp."""
    area = np.concatenate([[0.0], np.cumsum(s.x)]) * s.step_s
    edges = s.start_s - 0.5 * s.step_s + s.step_s * np.arange(s.x.shape[0] + 1)
    high = np.interp(at + lead * width_s, edges, area)
    low = np.interp(at - (1 - lead) * width_s, edges, area)
    return np.asarray((high - low) / width_s, dtype=np.float64)
