"""Did the load of a match reach a fuse's curve, and does a fuse protect its wire?

Damage is ∫dt/t_open(i), once with the least and once with the longest opening time of the curve: 1 means the
gate is reached, and at constant current it is exactly the gate's time. Below the lowest gate (1.1 × rating)
there is no damage and the element cools: dD/dt = −(D/τ)·(1 − (i/(1.1·rated))²), so that a pre-loaded fuse cools
slower. τ is 60 s for the least-time sum and 5 s for the longest-time sum (our choice: each errs to its safe
side). Gates are for a new fuse at 23 °C; hot fuses open earlier, about 0.15 %/K (memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from .binned import GAP_PERIODS
from .fuse_curves import FuseCurve, curve_of_table, named_curve, rate_table
from .ratings import OutsideValidity, value
from .signal import Floats, Measured, Signal

if TYPE_CHECKING:
    from ingest.builds import Fuse

Verdict = Literal["would not open", "may open", "must open"]

GATES_DEGC: Final = 23.0  # ISO 8820-3 test ambient
# Our choice: a share of the damage below this from recalled gates does not make the verdict rest on them.
_MEMORY_SHARE: Final = 0.02
# Our choice: time whose exponent exceeds this is summed in pieces, to stay far from the largest float64.
_PIECE: Final = 300.0
# A current written as exactly the gate's multiple reaches it in spite of rounding.
_ROUNDING: Final = 1e-9
_CHUNK: Final = 16_384  # samples; arrays of 128 kB stay in the cache


@dataclass(frozen=True)
class FuseBody:
    """A fuse: its rating and curve."""

    id: str
    rated_A: float
    curve: FuseCurve


@dataclass(frozen=True)
class FuseVerdict:
    """What a load does to a fuse.

    used_min      share of the least-time curve used, at its worst; from 1 on the fuse may open. The interval
                  holds the sensor's gain, a hot fuse and recalled gates (a factor of 2)
    used_max      share of the longest-time curve; from 1 on it must open
    margin_pct    100·(1 − used_min)
    worst_window  (start_s, end_s) in which the damage gathered
    worst_multiple   the highest current as a multiple of the rating
    rests_on_memory  True where recalled gates carry the figure
    notes         what else a reader must know
    """

    fuse: str
    verdict: Verdict
    used_min: Measured
    used_max: float
    margin_pct: float
    worst_window: tuple[float, float]
    worst_multiple: float
    rests_on_memory: bool
    notes: tuple[str, ...]


def body_of_fuse(fuse: Fuse) -> FuseBody:
    """The fuse that a [[fuse]] of the build file describes; OutsideValidity where it says too little."""
    if fuse.rated_A is None:
        raise OutsideValidity(f"the rating of {fuse.id} is not known", f'state rated_A in [[fuse]] "{fuse.id}"')
    if fuse.curve is None:
        mend = f'state curve in [[fuse]] "{fuse.id}": "ISO 8820-3", or rows of [multiple, min_s, max_s]'
        raise OutsideValidity(f"the curve of {fuse.id} is not known", mend)
    curve = named_curve(fuse.curve) if isinstance(fuse.curve, str) else curve_of_table(fuse.curve)
    return FuseBody(fuse.id, fuse.rated_A, curve)


def fuse_load(
    fuse: FuseBody,
    current: Signal,
    *,
    ambient_degC: float = GATES_DEGC,
    gap_s: float | None = None,
    at_least: bool = False,
) -> FuseVerdict:
    """The verdict on a fuse for the current through it at the log's own rate; linear in samples.

    current      valid samples, A; a step longer than gap_s (default 2.5 periods) adds no damage and is named
    ambient_degC −40…85; above 23 °C the effective rating falls by 0.15 %/K (memory)
    at_least     the current is a lower bound (clipped, averaged, unlogged): the upper end is then inf

    Raises OutsideValidity for fewer than two samples or an ambient outside the range.
    """
    if not -40 <= ambient_degC <= 85:
        raise OutsideValidity(f"an ambient of {ambient_degC:g} degC is outside -40 to 85 degC", "state air_degC")
    kept = current.good()
    if len(kept) < 2:
        raise OutsideValidity(f"no current through {fuse.id} was logged", f"log the current of {fuse.id}")
    limit = GAP_PERIODS * current.period_s if gap_s is None else gap_s
    gaps = np.diff(kept.t_s)
    unseen_s = float(gaps[gaps > limit].sum())
    damage = _march(fuse, kept, limit)
    used_max = damage.late
    hot = 1 + max(0.0, ambient_degC - GATES_DEGC) * value("fuse_ambient_slope") / 100
    bound = at_least or bool(kept.clipped.any())
    used = _interval(fuse, kept, limit, damage, hot, bound)
    verdict: Verdict = "would not open"
    if used_max >= 1:
        verdict = "must open"
    elif used.value >= 1:
        verdict = "may open"
    worst = float(np.abs(kept.x).max()) / fuse.rated_A
    return FuseVerdict(
        fuse.id, verdict, used, used_max, 100 * (1 - used.value), _window(kept.t_s, damage.course), worst,
        damage.recalled > _MEMORY_SHARE, _notes(fuse, kept, worst, damage.recalled, ambient_degC, unseen_s),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Damage:
    course: Floats  # (n,) of the least-time sum, at the samples
    early: float  # its peak
    late: float  # peak of the longest-time sum
    recalled: float  # share of the least-time damage that recalled gates carry, 0…1


def _march(fuse: FuseBody, current: Signal, gap_s: float, factor: float = 1.0) -> _Damage:
    """Both sums over the log, in pieces that stay in the processor's cache; currents times `factor`."""
    course = np.zeros(len(current))
    level = [0.0, 0.0]
    late, total, recalled = 0.0, 0.0, 0.0
    for low in range(0, len(current) - 1, _CHUNK):
        part = slice(low, min(low + _CHUNK + 1, len(current)))
        piece = _Piece(fuse, current.t_s[part], current.x[part], gap_s, factor)
        if piece.idle and level == [0.0, 0.0]:
            continue
        course[part] = piece.sum(True, level[0])
        slow = piece.sum(False, level[1])
        level = [float(course[part.stop - 1]), float(slow[-1])]
        late = max(late, float(slow.max()))
        total += piece.total
        recalled += piece.recalled
    return _Damage(course, float(course.max()), late, recalled / total if total > 0 else 0.0)


class _Piece:
    """A piece of the log as multiples of the rating, with what both sums share."""

    def __init__(self, fuse: FuseBody, t: Floats, x: Floats, gap_s: float, factor: float) -> None:
        self.curve = fuse.curve
        self.table = rate_table(fuse.curve)
        self.multiple = np.abs(x) * (factor / fuse.rated_A)
        self.idle = bool(self.multiple.max() < self.curve.lowest * (1 - _ROUNDING))
        self.step = np.diff(t)
        self.gaps = self.step > gap_s
        self.half_step = np.where(self.gaps, 0.0, 0.5 * self.step)
        cool = np.maximum(1 - np.square(self.multiple * (1 / self.curve.lowest)), 0.0)
        self.cooling_s = (cool[:-1] + cool[1:]) * self.half_step  # ∫(1 − (i/(1.1·rated))²)dt
        self.total = self.recalled = 0.0
        place = np.minimum(self.multiple * self.table.per_unit, self.table.early.shape[0] - 1.0)
        self.index = place.astype(np.int32)
        self.share = place - self.index

    def added(self, early: bool) -> Floats:
        """(n−1,) damage of each step, trapezoid over the samples; none across a gap."""
        table = self.table
        rates, slope = (table.early, table.early_step) if early else (table.late, table.late_step)
        rate = slope[self.index] * self.share + rates[self.index]
        gate = self.curve.lowest if early else self.curve.lowest_sure
        rate *= self.multiple >= gate * (1 - _ROUNDING)
        return (rate[:-1] + rate[1:]) * self.half_step

    def sum(self, early: bool, level: float) -> Floats:
        """(n,) damage at the samples, from `level` at the first."""
        added = self.added(early)
        if early:
            self.total = float(added.sum())
            self.recalled = float((added * self.table.recalled[self.index[:-1]]).sum())
        tau = value("fuse_cooling_time", "min curve" if early else "max curve")
        leak = self.cooling_s * (1 / tau)
        if not early:  # across a gap the element is taken to cool only where that is the safe side
            leak[self.gaps] = self.step[self.gaps] / tau
        return _leaky_sum(added, leak, level)


def _leaky_sum(added: Floats, leak: Floats, level: float = 0.0) -> Floats:
    """(n,) D with D[k+1] = D[k]·exp(−leak[k]) + added[k]·(1 − exp(−leak[k]))/leak[k], D[0] = level."""
    out = np.zeros(added.shape[0] + 1)
    out[0] = level
    gone = np.cumsum(leak)
    if float(leak.max()) < 1e-3:
        share = 1 - 0.5 * leak  # the series of the line below, 2e-7 at 1e-3
    else:
        share = np.where(leak > 1e-9, -np.expm1(-leak) / np.maximum(leak, 1e-9), 1.0)
    kept = added * share
    cuts = np.searchsorted(gone, np.arange(_PIECE, float(gone[-1]) + _PIECE, _PIECE))
    start, before = 0, 0.0
    for end in [*np.unique(np.minimum(cuts, added.shape[0])).tolist(), added.shape[0]]:
        if end <= start:
            continue
        growth = np.exp(np.minimum(gone[start:end] - before, 2 * _PIECE))
        out[start + 1 : end + 1] = (level + np.cumsum(kept[start:end] * growth)) / growth
        level, before, start = float(out[end]), float(gone[end - 1]), end
    return out


def _interval(fuse: FuseBody, current: Signal, gap_s: float, damage: _Damage, hot: float, at_least: bool) -> Measured:
    low = high = damage.early
    basis = ["log-log between the gates"]
    gain = 2 * current.gain_rel
    if gain > 0 or hot > 1:
        high = max(high, _march(fuse, current, gap_s, (1 + gain) * hot).early)
    if gain > 0:
        low = min(low, _march(fuse, current, gap_s, 1 - gain).early)
        basis.append(f"sensor gain ±{gain:.1%} at two sigma")
    if hot > 1:
        basis.append("hot fuse 0.15 %/K (memory)")
    if damage.recalled > _MEMORY_SHARE:
        factor = value("fuse_memory_factor") ** damage.recalled
        low, high = low / factor, high * factor
        basis.append("recalled gates, a factor of 2")
    if at_least:
        high = math.inf
        basis.append("the current is a lower bound: at least this")
    return Measured(damage.early, low, high, ", ".join(basis))


def _window(t: Floats, course: Floats) -> tuple[float, float]:
    """From the last time the damage stood under 5 % of its peak to the peak (5 %: our choice, for display)."""
    top = int(np.argmax(course))
    peak = course[top]
    if peak <= 0:
        return float(t[0]), float(t[0])
    below = np.flatnonzero(course[:top] <= 0.05 * peak)
    return float(t[int(below[-1])] if below.size else t[0]), float(t[top])


def _notes(
    fuse: FuseBody, current: Signal, worst: float, memory: float, ambient: float, unseen_s: float
) -> tuple[str, ...]:
    notes = []
    if memory > _MEMORY_SHARE:
        notes.append("rests on gates recalled and not looked up; compare with the fuse's data sheet")
    highest = fuse.curve.highest
    if worst > highest:
        notes.append(f"the current passes {highest:g} × the rating, where the curve ends; beyond it, 1/i²")
    if ambient > GATES_DEGC:
        notes.append(f"the gates hold at 23 °C; at {ambient:g} °C it opens earlier, which the upper end holds")
    if unseen_s > 0:
        notes.append(f"{unseen_s:.2g} s without samples of current add no damage")
    if bool(current.clipped.any()):
        notes.append("the current sensor clipped: the damage is at least this")
    return tuple(notes)
