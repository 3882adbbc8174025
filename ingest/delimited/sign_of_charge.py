"""Which way a battery's current counts, from its voltage: it steps and drifts up while charged, down while used.

The ohmic step has the sign of the change in current whatever the chemistry; over a run of steady current a battery's
voltage falls while it gives charge and climbs while it takes charge. Both hold for a source with a resistance of its
own; a voltage that a supply or a driver sets follows neither, so it has to be nearly constant to be looked at.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Sample = NDArray[np.float64]

_OF_TOP: Final = 0.4  # our choice: a battery's voltage stays above this share of its highest in any log of use
_BIG_STEP: Final = 0.3  # our choice: of the current's span, larger than what a drift adds between two rows
_FLOWS: Final = 0.1  # our choice: of the current's top; less is a rest
_STEADY: Final = 0.05  # our choice: of the current's top, within a run
_LONG: Final = 10  # our choice: rows of a run, enough for the ohmic step to be past
_MOVED: Final = 0.03  # our choice: of the voltage; more than a cell regains by itself when a load goes off
_BOTH_WAYS: Final = 0.05  # our choice: of the voltage, within one run of steady current
_AGREE: Final = 0.8  # our choice: share of all movement that has to speak for one sign


@dataclass(frozen=True)
class Signs:
    """steps and drift: 1 where the voltage goes up with the current (charging counts as positive), -1 where it goes
    down (discharge does), 0 where it does not say. up, down: the largest rise and fall, as a share of the voltage,
    within one run of steady current that is not negative. opposite: the voltage climbs far in the runs of one sign and
    falls far in those of the other."""

    steps: int = 0
    drift: int = 0
    up: float = 0.0
    down: float = 0.0
    opposite: bool = False

    @property
    def sign(self) -> int:
        """What is known of both together; 0 where they disagree."""
        return 0 if self.steps * self.drift < 0 else self.steps or self.drift

    @property
    def unsigned(self) -> bool:
        """The voltage climbs far in one steady run and falls far in another: both ways are written alike."""
        return self.up > _BOTH_WAYS and self.down > _BOTH_WAYS


def signs_of(voltage: Sample, current: Sample) -> Signs:
    """voltage in V, current in A, the same rows of both (NaN where missing)."""
    both = np.isfinite(voltage) & np.isfinite(current)
    v, i = voltage[both], current[both]
    if v.size < 3 * _LONG:
        return Signs()
    low, high = np.percentile(v, (2.0, 98.0))
    bottom, top = np.percentile(i, (1.0, 99.0))
    most = float(max(abs(bottom), abs(top)))
    if not low > _OF_TOP * high or not most > 0.0:
        return Signs()
    changes = np.diff(i)
    big = np.abs(changes) >= _BIG_STEP * float(top - bottom) if top > bottom else np.zeros(changes.size, dtype=bool)
    moved = (np.diff(v) * np.sign(changes))[big]
    steps = _agreed(moved) if moved.size >= 2 else 0
    runs = [
        (a, b) for a, b in _runs(i, _STEADY * most) if b - a >= _LONG and abs(float(np.mean(i[a:b]))) > _FLOWS * most
    ]
    shifts = np.array([_shift(v[a:b]) for a, b in runs])
    ways = np.array([np.sign(np.mean(i[a:b])) for a, b in runs])
    enough = shifts.size and float(np.abs(shifts).sum()) >= _MOVED * float(high)
    drift = _agreed(shifts * ways) if enough else 0
    up = max((float(s) for s, w in zip(shifts, ways, strict=True) if w > 0), default=0.0) / float(high)
    down = max((-float(s) for s, w in zip(shifts, ways, strict=True) if w > 0), default=0.0) / float(high)
    plus, minus = (float(shifts[ways == way].sum()) for way in (1.0, -1.0)) if shifts.size else (0.0, 0.0)
    opposite = plus * minus < 0.0 and min(abs(plus), abs(minus)) >= 0.5 * _MOVED * float(high)
    return Signs(steps, drift, up, down, opposite)


def _agreed(moved: Sample) -> int:
    whole = float(np.abs(moved).sum())
    share = float(moved.sum()) / whole if whole else 0.0
    return int(np.sign(share)) if abs(share) >= _AGREE else 0


def _runs(current: Sample, within: float) -> list[tuple[int, int]]:
    """Stretches first ≤ row < last over which the current stays within so many amperes of where it began."""
    edges = [0]
    place = 0
    while place < current.size:
        ahead = np.abs(current[place:] - current[place]) > within
        step = int(np.argmax(ahead)) if ahead.any() else current.size - place
        place += max(step, 1)
        edges.append(place)
        if len(edges) > 2000:  # no steady current: a drive, not a test
            break
    return list(itertools.pairwise(edges))


def _shift(values: Sample) -> float:
    """How far the voltage moves over a run, its first rows (the ohmic step) left out."""
    rest = values[values.size // 10 :]
    few = max(2, rest.size // 10)
    return float(np.mean(rest[-few:]) - np.mean(rest[:few]))
