"""Worst mean and r.m.s. for every window length, and a rating by duration held against it.

Cumulative sums in float64 (float32 is 2.5 % wrong on a long log), windows 20 per decade. Between two of them the
r.m.s. is bracketed: a window W between a and b holds no more energy than b's worst and no less than a's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.pack_model.common import NotFitted
from analysis.sampling import unseen_share
from analysis.signal import Bools, Floats, Measured, Signal
from analysis.worst_windows import Cells, cells_of, worst_run

PER_DECADE = 20  # our choice: the bracket between neighbours is then at most 6 %
SHORTEST_RATED_S = 0.1  # the contract's rule; a setting
CONTINUOUS_FROM_S = 60.0  # the contract's rule; a setting
AVERAGE_PERIODS = 10  # our choice: an averaging logger bounds windows from ten of its periods up
OFFSET_SHARE = 0.25  # our choice: a zero error that was taken off is known to a quarter of itself


@dataclass(frozen=True, eq=False)
class Envelope:
    """window_s (k,) rising; rms_A the worst r.m.s. over every window of that length, rms_low ≤ rms_A ≤ rms_high its
    interval; mean_A the worst mean; at_s the start of the worst r.m.s. window; at_least (k,) True where a gap, a
    clipped sample or an averaging logger leaves the top open (rms_high is inf).
    """

    channel: str
    window_s: Floats
    rms_A: Floats
    rms_low: Floats
    rms_high: Floats
    mean_A: Floats
    at_s: Floats
    at_least: Bools
    basis: str

    def at(self, window_s: float) -> Measured | NotFitted:
        """Worst r.m.s. at any window inside the range; between grid windows with the bracket √(b/W)."""
        w = self.window_s
        if not w[0] * (1 - 1e-9) <= window_s <= w[-1] * (1 + 1e-9):
            return NotFitted(
                f"{self.channel} can be judged over {w[0]:.3g} to {w[-1]:.3g} s, not over {window_s:.3g} s",
                "log faster, or longer",
            )
        k = int(np.argmin(np.abs(w - window_s)))
        if abs(w[k] - window_s) <= 1e-6 * window_s:
            return Measured(float(self.rms_A[k]), float(self.rms_low[k]), float(self.rms_high[k]), self.basis)
        b = int(np.searchsorted(w, window_s))
        a = b - 1
        low = max(self.rms_low[a] * np.sqrt(w[a] / window_s), 0.0)
        high = self.rms_high[b] * np.sqrt(w[b] / window_s)
        value = np.interp(np.log(window_s), np.log(w[[a, b]]), self.rms_A[[a, b]])
        return Measured(float(np.clip(value, low, high)), float(low), float(high), f"{self.basis}, between windows")


def _grid(step_s: float, n: int, extra_s: Sequence[float]) -> list[int]:
    """Window lengths in cells: 20 per decade from one period to the whole, with the extra ones."""
    decades = np.log10(n) if n > 1 else 0.0
    k = np.round(10 ** np.arange(0, decades + 1e-9, 1 / PER_DECADE)).astype(int)
    rated = k * step_s >= 0.99 * SHORTEST_RATED_S  # below, windows are for the log's own sake: half as many do
    k = np.concatenate([k[~rated][::2], k[rated]])
    more = [max(1, round(w / step_s)) for w in extra_s]
    return sorted({int(v) for v in k} | {v for v in more if v <= n} | {n})


def envelope(
    signal: Signal,
    start_s: float,
    end_s: float,
    extra_s: Sequence[float] = (0.1, 1.0, 10.0, 60.0),
    *,
    shortest_s: float = 0.0,
    means: bool = True,
) -> Envelope | NotFitted:
    """Worst mean and r.m.s. over every window of every length inside [start_s, end_s].

    Interval: what sampling hides (from the log's own roughness), gain and offset; the top is open where the worst
    window holds a clipped sample or a gap. extra_s: window lengths wanted besides the 20 per decade; shortest_s: none
    below it but the very first, which bounds the peak; means False: mean_A is not wanted and stands as NaN.
    """
    cut = signal.between(start_s, end_s)
    cells = cells_of(cut)
    if isinstance(cells, NotFitted):
        return cells
    ks = _grid(cells.step_s, cells.square.shape[0] - 1, extra_s)
    ks = [k for k in ks if k in (ks[0], ks[-1]) or k * cells.step_s >= shortest_s * (1 - 1e-6)]
    unseen = unseen_share(cut)
    rows = [_row(cells, cut, k, unseen, means) for k in ks]
    value, low, high, mean, at, least = (np.array(column) for column in zip(*rows, strict=True))
    gain = f"sensor gain {100 * signal.gain_rel:.2g} %" if signal.gain_rel else "sensor gain taken as exact"
    basis = f"{gain}, {signal.detector} samples every {1e3 * cells.step_s:.3g} ms"
    return Envelope(
        signal.channel,
        np.array(ks) * cells.step_s,
        value,
        low,
        high,
        mean,
        at,
        least.astype(bool),
        basis,
    )


def _row(
    c: Cells, s: Signal, k: int, unseen: float, means: bool = True
) -> tuple[float, float, float, float, float, bool]:
    energy, j = worst_run(c.square, k, c.square_peaks)
    mean = worst_run(c.value, k, c.value_peaks)[0] / k + c.floor if means else float("nan")
    square = energy / k
    rms = float(np.sqrt(square))
    # The step into the window and the one out of it count too: a lone sample has no other neighbours.
    first, last = max(j - 1, 0), min(j + k, c.rough.shape[0] - 1)
    rough = float(c.rough[last] - c.rough[first]) * k / max(last - first, 1)
    hidden = np.sqrt(rough / 2) / k / (2 * square) if square > 0 else 0.0
    missed = unseen / np.sqrt(k)
    sampling = float(np.hypot(1.2 * min(hidden, 1.0), missed)) * rms
    sensor = float(np.hypot(1.96 * s.gain_rel * rms, OFFSET_SHARE * abs(s.offset) + 2.0 * s.noise / np.sqrt(k)))
    low = rms - float(np.hypot(0.0 if s.detector == "average" else sampling, sensor))
    high = rms + float(np.hypot(sampling, sensor))
    at_least = False
    if s.detector != "instant":
        jumps = float(c.jumps[last] - c.jumps[first]) / max(last - first, 1)
        if k >= AVERAGE_PERIODS:
            # Averages hide the variance inside their period; a share of that between neighbours bounds it.
            raised = float(np.sqrt(square + (0.5 + 15.0 / k) * jumps))
            high = max(high, raised + sensor)
        elif s.detector == "average":
            at_least = True
    if c.most is not None:
        if c.doubt is not None and c.doubt[j + k] - c.doubt[j] > 1e-9:
            at_least = True
        high = max(high, float(np.sqrt(worst_run(c.most, k)[0] / k)) + sensor)
    return rms, max(low, 0.0), float("inf") if at_least else high, mean, c.start_s + j * c.step_s, at_least


def worst_rms(
    signal: Signal, window_s: float, start_s: float = -np.inf, end_s: float = np.inf
) -> tuple[Measured, float] | NotFitted:
    """Worst r.m.s. over one window length (rounded to the logger's period), and where that window starts."""
    cut = signal.between(start_s, end_s)
    cells = cells_of(cut)
    if isinstance(cells, NotFitted):
        return cells
    k = round(window_s / cells.step_s)
    if not 1 <= k <= cells.square.shape[0] - 1:
        why = "shorter than the logger's period" if k < 1 else "longer than the log"
        return NotFitted(f"a window of {window_s:g} s is {why}", "log faster" if k < 1 else "log the whole match")
    value, low, high, _, at, _ = _row(cells, cut, k, unseen_share(cut))
    return Measured(value, low, high, f"worst of every {k * cells.step_s:.3g} s"), at


@dataclass(frozen=True)
class RatedWindow:
    """One window against the rating: margin_pct = 100·(limit - r.m.s.)/limit with its interval."""

    window_s: float
    at_s: float
    measured: Measured
    limit_A: float
    margin_pct: Measured


@dataclass(frozen=True)
class RatedEnvelope:
    """worst: the window with the smallest margin; least_sure: the one whose interval reaches furthest over the limit;
    surest_over: of the windows over the limit by their whole interval, the furthest one; None where there is none.
    """

    worst: RatedWindow
    least_sure: RatedWindow
    surest_over: RatedWindow | None


def rated_limit_A(
    window_s: float,
    burst_A: float | None,
    burst_s: float | None,
    continuous_A: float | None,
    continuous_from_s: float = CONTINUOUS_FROM_S,
) -> float | None:
    """The limit for a window: burst_A up to burst_s, continuous_A from 60 s, linear in A against log t between.

    burst_s ≥ 60: burst to burst_s, then continuous. None where the figure that would be needed is not stated.
    """
    if burst_A is not None and burst_s is not None and window_s <= burst_s:
        return burst_A
    if window_s >= continuous_from_s:
        return continuous_A
    if burst_A is None or burst_s is None or continuous_A is None or burst_s <= 0:
        return None
    share = np.log(window_s / burst_s) / np.log(continuous_from_s / burst_s)
    return float(burst_A + (continuous_A - burst_A) * share)


def against_rating(
    env: Envelope,
    burst_A: float | None,
    burst_s: float | None,
    continuous_A: float | None,
    *,
    shortest_s: float = SHORTEST_RATED_S,
    continuous_from_s: float = CONTINUOUS_FROM_S,
) -> RatedEnvelope | NotFitted:
    """Hold an envelope against a rating by duration, over every window from shortest_s up."""
    rows = []
    for k in range(env.window_s.shape[0]):
        window = float(env.window_s[k])
        if window < shortest_s * (1 - 1e-6):
            continue
        limit = rated_limit_A(window, burst_A, burst_s, continuous_A, continuous_from_s)
        if limit is None or limit <= 0:
            continue
        measured = Measured(float(env.rms_A[k]), float(env.rms_low[k]), float(env.rms_high[k]), env.basis)
        margin = Measured(
            100 * (limit - measured.value) / limit,
            100 * (limit - measured.high) / limit,
            100 * (limit - measured.low) / limit,
            env.basis,
        )
        rows.append(RatedWindow(window, float(env.at_s[k]), measured, limit, margin))
    if not rows:
        return NotFitted(
            f"no window of {env.channel} meets a stated rating", "state burst_A with burst_s, and continuous_A"
        )
    over = [row for row in rows if row.margin_pct.high < 0]
    return RatedEnvelope(
        min(rows, key=lambda row: row.margin_pct.value),
        min(rows, key=lambda row: row.margin_pct.low),
        min(over, key=lambda row: row.margin_pct.high) if over else None,
    )
