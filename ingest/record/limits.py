"""Stated ratings that a live figure can be held against: only figures of the build and pack file, each with its key.

No estimate, no table: what the file does not state is not watched, and the live view says how many limits it watches.
Currents are r.m.s. as in a review: a burst rating over the time between two looks, the continuous one over 60 s.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from ingest.builds import Build
from ingest.packs import Pack
from ingest.record.figures import Figure

LOOK_S: Final = 0.25  # our choice: how often figures are looked at; a review's shortest window is 0.1 s
CONTINUOUS_S: Final = 60.0  # the window from which on a continuous rating holds, as in a review


@dataclass(frozen=True)
class Limit:
    """channel must not pass value. window_s: of the r.m.s., 0 for each sample. source: where it is stated."""

    channel: str
    side: Literal["above", "below"]
    value: float
    unit: str
    source: str
    window_s: float = 0.0


@dataclass
class Alarm:
    """A limit that was passed: when first, the worst figure, whether it is passed now."""

    limit: Limit
    first_s: float
    worst: float
    now: bool = True

    @property
    def sentence(self) -> str:
        limit = self.limit
        over = f" r.m.s. over {limit.window_s:g} s" if limit.window_s else ""
        word = "OVER" if limit.side == "above" else "UNDER"
        return (
            f"{word} {limit.channel} {self.worst:.4g} {limit.unit}{over}, rated {limit.value:g} {limit.unit} "
            f"({limit.source}), first at {self.first_s:.1f} s"
        )


def limits_of(build: Build | None, pack: Pack | None) -> list[Limit]:
    """Every stated rating that one channel alone can be held against."""
    found: list[Limit] = []

    def add(
        channel: str, side: Literal["above", "below"], value: float | None, source: str, window_s: float = 0.0
    ) -> None:
        if value is not None:
            unit = channel.rsplit("_", 1)[-1]
            found.append(Limit(channel, side, value, unit, source, window_s))

    if build is not None:
        name = build.source_name
        for c in build.controllers:
            at = f"{name} {c.id}"
            add(f"{c.id}_voltage_V", "below", c.minimum_V, f"{at}.minimum_V")
            add(f"{c.id}_voltage_V", "above", c.maximum_V, f"{at}.maximum_V")
            add(f"{c.id}_temp_degC", "above", c.limit_degC, f"{at}.limit_degC")
            basis = "motor_current_A" if c.rating_basis == "motor" else "current_A"
            for suffix in (basis,) if c.rating_basis == "motor" else (basis, "input_current_A"):
                add(f"{c.id}_{suffix}", "above", c.burst_A, f"{at}.burst_A", LOOK_S)
                add(f"{c.id}_{suffix}", "above", c.continuous_A, f"{at}.continuous_A", CONTINUOUS_S)
        for m in build.motors:
            add(f"{m.id}_temp_degC", "above", m.limit_degC, f"{name} {m.id}.limit_degC")
        for r in build.regulators:
            if r.supplies == "receiver":
                add("receiver_rail_current_A", "above", r.rated_A, f"{name} {r.id}.rated_A", CONTINUOUS_S)
        add("receiver_rail_voltage_V", "below", build.receiver.minimum_V, f"{name} receiver.minimum_V")
    if pack is not None:
        at = f"{pack.source_name} {pack.id}"
        if pack.minimum_cell_V is not None:
            add("cell_min_V", "below", pack.minimum_cell_V, f"{at}.minimum_cell_V")
            add(
                "pack_voltage_V", "below", pack.minimum_cell_V * pack.cells, f"{at}.minimum_cell_V x {pack.cells} cells"
            )
        add("pack_temp_degC", "above", pack.limit_degC, f"{at}.limit_degC")
        if pack.capacity_Ah is not None:
            for rate, window_s, key in (
                (pack.burst_C, LOOK_S, "burst_C"),
                (pack.continuous_C, CONTINUOUS_S, "continuous_C"),
            ):
                if rate is not None:
                    add("pack_current_A", "above", rate * pack.capacity_Ah, f"{at}.{key} x capacity_Ah", window_s)
    return found


@dataclass
class Watch:
    """Holds live figures against limits; alarms are kept in the order in which they came."""

    limits: list[Limit]
    alarms: list[Alarm] = field(default_factory=list)
    seen: set[str] = field(default_factory=set)
    _by_limit: dict[Limit, Alarm] = field(default_factory=dict)
    _squares: dict[Limit, deque[tuple[float, float, float]]] = field(default_factory=dict)  # end, length, mean square

    def take(self, figures: list[Figure], from_s: float, to_s: float) -> list[Alarm]:
        """Figures that came between two times; gives the alarms that are new."""
        by_name = {name: values[np.isfinite(values)] for name, _, values in figures}
        new: list[Alarm] = []
        for limit in self.limits:
            values = by_name.get(limit.channel)
            if values is None or values.size == 0:
                continue
            self.seen.add(limit.channel)
            worst = self._worst(limit, values, from_s, to_s)
            if worst is None:
                continue
            passed = worst > limit.value if limit.side == "above" else worst < limit.value
            alarm = self._by_limit.get(limit)
            if alarm is not None:
                alarm.now = passed
                if passed:
                    alarm.worst = max(alarm.worst, worst) if limit.side == "above" else min(alarm.worst, worst)
            elif passed:
                alarm = self._by_limit[limit] = Alarm(limit, to_s, worst)
                self.alarms.append(alarm)
                new.append(alarm)
        return new

    def _worst(self, limit: Limit, values: np.ndarray, from_s: float, to_s: float) -> float | None:
        if not limit.window_s:
            return float(values.max() if limit.side == "above" else values.min())
        held = self._squares.setdefault(limit, deque())
        held.append((to_s, to_s - from_s, float(np.mean(np.square(values)))))
        while held and held[0][0] <= to_s - limit.window_s:
            held.popleft()
        length_s = sum(entry[1] for entry in held)
        if length_s < 0.9 * limit.window_s:  # the window is not full yet
            return None
        return float(np.sqrt(sum(entry[1] * entry[2] for entry in held) / length_s))
