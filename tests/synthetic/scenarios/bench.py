"""Common pieces of the recipes: which loggers a variant has, where spans lie, how recipes are listed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.loggers import Device, recorder
from tests.synthetic.scenarios.model import Recipe, Scenario
from tests.synthetic.scenarios.plan import Plan
from tests.synthetic.scenarios.simulate import Truth
from tests.synthetic.scenarios.world import (
    BUS,
    CELLS,
    DRIVE_SPEED,
    LEFT,
    LINK,
    PACK,
    PACK_TEMP,
    RECEIVER,
    RIGHT,
    SHOCK,
    UPTIME,
    WEAPON,
)

Floats = npt.NDArray[np.float64]
Maker = Callable[[str, int], Scenario]

EVERYTHING = (
    PACK, CELLS, PACK_TEMP, BUS, WEAPON, LEFT, RIGHT, DRIVE_SPEED, RECEIVER, LINK, UPTIME, SHOCK,
)  # fmt: skip
# Variants go through these: rate, grade.
SETUPS = (
    (100.0, "good"), (50.0, "good"), (1000.0, "good"), (50.0, "poor"), (10.0, "good"), (100.0, "poor"),
    (1000.0, "poor"), (10.0, "poor"),
)  # fmt: skip


def setup(k: int, fastest: int = 8, slowest_Hz: float = 10.0) -> tuple[float, str]:
    """The rate and grade of variant k; rates below slowest_Hz are raised to it."""
    rate, grade = SETUPS[k % min(fastest, len(SETUPS))]
    return max(rate, slowest_Hz), grade


def all_in_one(rate_Hz: float, grade: str, *without: tuple[str, ...]) -> list[Device]:
    dropped = {channel for group in without for channel in group}
    channels = tuple(c for group in EVERYTHING for c in group if c not in dropped)
    return [recorder(rate_Hz, grade, channels)]


def split(rate_Hz: float, grade: str, pack_Hz: float | None = None) -> list[Device]:
    """Four files: the pack monitor lives on the pack, the others on the bus and the rail."""
    return [
        Device("pack", (*PACK, *CELLS, *PACK_TEMP), pack_Hz or rate_Hz, grade, "own"),
        Device("weapon", WEAPON, rate_Hz, grade, "bus"),
        Device("drives", (*LEFT, *RIGHT, *DRIVE_SPEED), rate_Hz, grade, "drives"),
        Device("receiver", (*RECEIVER, *LINK, *UPTIME, *BUS), rate_Hz, grade, "own"),
    ]


def pick(plan: Plan, from_start_s: float = 12.0, to_end_s: float = 9.0) -> float:
    """A time of the match for the event."""
    return float(plan.rng.uniform(plan.start_s + from_start_s, plan.end_s - to_end_s))


def spans_where(t: Floats, on: npt.NDArray[np.bool_], join_s: float = 0.05) -> tuple[tuple[float, float], ...]:
    """The spans of time in which `on` holds, those nearer than join_s joined."""
    if not on.any():
        return ()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    spans: list[tuple[float, float]] = []
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        start, end = float(t[low]), float(t[min(high, t.size - 1)])
        if spans and start - spans[-1][1] <= join_s:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((start, end))
    return tuple(spans)


def recovered(truth: Truth, column: str, after_s: float, level: float, longest_s: float) -> float:
    """When `column` is back at `level` after after_s, at most longest_s later."""
    t, x = truth.t_s, truth.x[column]
    low = int(np.searchsorted(t, after_s)) + 1
    back = np.flatnonzero(x[low:] >= level)
    return min(after_s + longest_s, float(t[low + back[0]]) if back.size else after_s + longest_s)


def listed(makers: dict[str, tuple[Maker, int]], cause: str | None = None) -> Iterable[Recipe]:
    """Recipes name_0, name_1, … of every maker; the maker's name is the cause unless one is given."""
    for name, (maker, count) in makers.items():
        for k in range(count):
            label = f"{name}_{k}"
            yield Recipe(label, name if cause is None else cause, partial(maker, label, k))
