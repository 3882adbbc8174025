"""What the pack figures share: the answer "not fitted", two signals on common stamps, weights, the jackknife."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from analysis.signal import Bools, Floats, Signal

# Our choice: above 200 Hz nothing is gained for resistance at 0.1 s and longer, so faster logs are averaged
# into bins of 10 ms first (a straight average of both signals keeps their linear relation).
FAST_PERIOD_S = 0.005
BIN_S = 0.010
GAP_PERIODS = 3.0  # our choice: a step of more than three of the logger's own intervals is a gap
HUBER_K = 1.345  # Huber 1981: 95 % efficiency on normal errors


@dataclass(frozen=True)
class NotFitted:
    """No figure, why, and what would make one possible."""

    reason: str
    mend: str


@dataclass(frozen=True)
class Pair:
    """Two signals on the same stamps.

    t_s, x, y (n,); usable: both hold a value, neither is clipped; y_known: y holds a value (x may not).
    """

    t_s: Floats
    x: Floats
    y: Floats
    usable: Bools
    x_floor: Floats  # where x is clipped: the value it stood at; -inf elsewhere
    y_known: Bools
    period_s: float

    def __len__(self) -> int:
        return int(self.t_s.shape[0])


@dataclass(frozen=True)
class Common:
    """Several signals on the same stamps: values, ok and clipped are one (n,) array for each, in the given order."""

    t_s: Floats
    values: list[Floats]
    ok: list[Bools]
    clipped: list[Bools]
    period_s: float


def resample_common(signals: Sequence[Signal]) -> Common | NotFitted:
    """Bring signals onto common stamps: the slowest one's; all averaged to 10 ms where all are faster than 5 ms.

    A faster one is averaged over the slowest one's period where that one averages, else interpolated.
    NotFitted where they share too few samples.
    """
    for one in signals:
        if int(one.valid.sum()) < 2:
            return NotFitted(f"{one.channel} holds fewer than two samples", f"log {one.channel}")
    good = [one.good() for one in signals]
    start, end = max(one.t_s[0] for one in good), min(one.t_s[-1] for one in good)
    names = " and ".join(one.channel for one in signals)
    if end <= start:
        return NotFitted(f"{names} do not overlap in time", "log them over the same time, or align the logs")
    if all(0 < one.period_s < FAST_PERIOD_S for one in good):
        edges = start + BIN_S * np.arange(int((end - start) / BIN_S) + 1)
        if edges.shape[0] < 3:
            return NotFitted(f"{names} overlap for less than 20 ms", "log the whole match")
        binned = [_bins(one, edges) for one in good]
        t = 0.5 * (edges[:-1] + edges[1:])
        return Common(t, [b[0] for b in binned], [b[2] for b in binned], [b[1] for b in binned], BIN_S)
    slow = max(good, key=lambda one: one.period_s)
    base = slow.between(start, end)
    if len(base) < 2:
        return NotFitted(f"{names} overlap for fewer than two samples", "log the whole match")
    t = base.t_s
    out = Common(t, [], [], [], slow.period_s)
    for one in good:
        if one is slow:
            value, clip, ok = base.x, base.clipped, np.ones(t.shape, bool)
        elif one.t_s.shape == t.shape and bool(np.array_equal(one.t_s, t)):
            value, clip, ok = one.x, one.clipped, np.ones(t.shape, bool)
        else:
            averages = slow.detector == "average" and one.period_s < 0.5 * slow.period_s
            value = box_average(one.t_s, one.x, t, slow.period_s) if averages else np.interp(t, one.t_s, one.x)
            clip = np.interp(t, one.t_s, one.clipped.astype(float)) > 0
            ok = ~in_gap(one, t)
        out.values.append(value)
        out.ok.append(ok)
        out.clipped.append(clip)
    return out


def resample_pair(x: Signal, y: Signal) -> Pair | NotFitted:
    """resample_common for two, with what the fit needs to know about their faults.

    NotFitted where they share too few samples.
    """
    both = resample_common([x, y])
    if isinstance(both, NotFitted):
        return both
    (vx, vy), (okx, oky), (cx, cy) = both.values, both.ok, both.clipped
    floor = np.where(cx & okx, vx, -np.inf)
    return Pair(both.t_s, vx, vy, okx & oky & ~cx & ~cy, floor, oky & ~cy, both.period_s)


def _bins(s: Signal, edges: Floats) -> tuple[Floats, Bools, Bools]:
    k = np.searchsorted(edges, s.t_s, side="right") - 1
    inside = (k >= 0) & (k < edges.shape[0] - 1)
    k = k[inside]
    n = edges.shape[0] - 1
    count = np.bincount(k, minlength=n)
    total = np.bincount(k, weights=s.x[inside], minlength=n)
    clip = np.bincount(k, weights=s.clipped[inside].astype(float), minlength=n) > 0
    ok = count > 0
    mean = total / np.maximum(count, 1)
    if not bool(ok.all()):
        mid = 0.5 * (edges[:-1] + edges[1:])
        mean = np.where(ok, mean, np.interp(mid, mid[ok], mean[ok]))
    return mean, clip, ok


def box_average(t: Floats, x: Floats, at: Floats, width_s: float) -> Floats:
    """Mean of the piecewise-linear x over [at - width, at]."""
    area = np.concatenate([[0.0], np.cumsum(0.5 * (x[1:] + x[:-1]) * np.diff(t))])
    low = np.clip(at - width_s, t[0], t[-1])
    high = np.clip(at, t[0], t[-1])
    width = high - low
    mean = (_area_at(t, x, area, high) - _area_at(t, x, area, low)) / np.where(width > 0, width, 1.0)
    return np.asarray(np.where(width > 0, mean, np.interp(at, t, x)))


def _area_at(t: Floats, x: Floats, area: Floats, at: Floats) -> Floats:
    k = np.clip(np.searchsorted(t, at, side="right") - 1, 0, t.shape[0] - 2)
    h = at - t[k]
    slope = (x[k + 1] - x[k]) / (t[k + 1] - t[k])
    return np.asarray(area[k] + h * (x[k] + 0.5 * slope * h))


def in_gap(s: Signal, at: Floats) -> Bools:
    """True where `at` falls inside a gap of the signal (or outside it)."""
    k = np.searchsorted(s.t_s, at, side="right") - 1
    k_in = np.clip(k, 0, len(s) - 2)
    step = s.t_s[k_in + 1] - s.t_s[k_in]
    hit = (step > GAP_PERIODS * s.period_s) & (at > s.t_s[k_in]) & (at < s.t_s[k_in + 1])
    return np.asarray(hit | (at < s.t_s[0]) | (at > s.t_s[-1]))


def huber_weights(residual: Floats, on: Bools) -> Floats:
    """1 inside HUBER_K robust sigmas, K·sigma/|r| beyond; 0 where not on."""
    inside = residual[on]
    if inside.size == 0:
        return np.zeros(residual.shape)
    sigma = 1.4826 * float(np.median(np.abs(inside)))
    if sigma <= 0:
        sigma = float(inside.std())
    if sigma <= 0:
        return on.astype(np.float64)
    return np.asarray(np.where(on, np.minimum(1.0, HUBER_K * sigma / np.maximum(np.abs(residual), 1e-300)), 0.0))


def jackknife_half_width(replicates: Floats, cover: float = 0.95) -> float:
    """Half width of the interval from leave-one-block-out figures (Tukey 1958; Student t with g - 1)."""
    g = replicates.shape[0]
    if g < 3 or not bool(np.isfinite(replicates).all()):
        return float("inf")
    spread = float(np.sum((replicates - replicates.mean()) ** 2))
    return float(stdtrit(g - 1, 0.5 + cover / 2) * np.sqrt((g - 1) / g * spread))
