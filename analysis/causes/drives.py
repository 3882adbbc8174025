"""One controller with its motor, all channels on one clock, and what such a motor may have done.

Two facts of the direct-current machine carry most signatures (tests/reference/motor.csv, speed_under_load and
stall_current_ideal): speed = Kv·(duty·V − I·R), so a standing shaft has no back-EMF and a turning one has; and the
torque is the current's, so that current without torque comes back as speed, as load or as heat.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.signal import Floats, Signal
from analysis.spans import at_times, overlap_s
from ingest.builds import Controller, Motor

# Our choice: what a motor does lasts tens of milliseconds, so faster logs are looked at in bins of this length.
FINEST_S = 0.01
COMMANDED_PCT = 20.0  # our choice: a command above this asks the motor to turn


@dataclass(frozen=True, eq=False)
class Drive:
    """One controller's channels inside the match window, on the clock of its current (at most 100 a second).

    Arrays (n,) in the channels' units, None where not logged; current_A is the motor's where logged, else the
    input's. `raw` holds the signals at their own rate.
    """

    controller: Controller
    motor: Motor | None
    t_s: Floats
    raw: dict[str, Signal]
    current: Signal
    current_A: Floats
    input_A: Floats | None = None
    motor_A: Floats | None = None
    command_pct: Floats | None = None
    duty_pct: Floats | None = None
    voltage_V: Floats | None = None
    speed_rpm: Floats | None = None

    @property
    def id(self) -> str:
        return self.controller.id

    @property
    def brushed(self) -> bool:
        return self.controller.motor_type == "brushed"

    @property
    def limit_A(self) -> float | None:
        return self.controller.current_limit_A

    @cached_property
    def period_s(self) -> float:
        return float(np.median(np.diff(self.t_s))) if len(self.t_s) > 1 else 0.0

    @cached_property
    def usual_rpm(self) -> float:
        """The speed it runs at: the 95th percentile, or a third of what its constant allows where it never ran."""
        if self.speed_rpm is None:
            return 0.0
        usual = float(np.percentile(np.abs(self.speed_rpm), 95))
        kv = self.motor.kv_rpm_per_V if self.motor is not None else None
        if kv is not None and self.voltage_V is not None:
            usual = max(usual, 0.3 * kv * float(np.median(self.voltage_V)))
        return usual

    @cached_property
    def usual_peak_A(self) -> float:
        return float(np.percentile(np.abs(self.current_A), 99.5)) if len(self.current_A) else 0.0

    @cached_property
    def asked_pct(self) -> Floats | None:
        """The command, or the duty where no command was logged."""
        return self.command_pct if self.command_pct is not None else self.duty_pct

    @cached_property
    def rated_A(self) -> Floats | None:
        """The current that the controller's own rating and limit are about."""
        return self.motor_A if self.controller.rating_basis == "motor" else self.input_A

    @property
    def rated_channel(self) -> str:
        """The channel of that current, or of the one that was logged."""
        return self.raw.get(self.controller.rating_basis, self.current).channel

    @cached_property
    def back_emf_V(self) -> Floats | None:
        """duty·V − I·R from what is logged, V; None where a channel or the winding's resistance is missing."""
        ohm = self.motor.winding_mohm if self.motor is not None else None
        if ohm is None or self.voltage_V is None or self.duty_pct is None or self.motor_A is None:
            return None
        return self.duty_pct * 0.01 * self.voltage_V - self.motor_A * ohm * 1e-3

    def smoothed(self, x: Floats, over_s: float) -> Floats:
        return smooth(x, self.period_s, over_s)


@dataclass(frozen=True)
class Happening:
    """Something a motor did, for naming the cause of what a check finds."""

    cause: str
    part: str
    start_s: float
    end_s: float
    what: str
    detail: str
    figure: float | None = None

    @property
    def span(self) -> tuple[float, float]:
        return self.start_s, self.end_s

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


def drives(data: MatchData) -> list[Drive]:
    """Every controller with a current channel."""
    assert data.build is not None
    if "drives" not in data.memo:
        made = [_drive(data, controller) for controller in data.build.controllers]
        data.memo["drives"] = [drive for drive in made if drive is not None]
    found: list[Drive] = data.memo["drives"]
    return found


def _drive(data: MatchData, controller: Controller) -> Drive | None:
    assert data.build is not None
    motor = next((m for m in data.build.motors if m.controller == controller.id), None)
    names = {
        "motor": f"{controller.id}_motor_current_A",
        "input": f"{controller.id}_input_current_A",
        "command": f"{controller.id}_command_pct",
        "duty": f"{controller.id}_duty_pct",
        "voltage": f"{controller.id}_voltage_V",
        "temp": f"{controller.id}_temp_degC",
    }
    speeds = ([motor.id] if motor else []) + [controller.id]
    names["speed"] = next((n for s in speeds if (n := f"{s}_speed_rpm") in data.signals), "")
    raw = {key: signal for key, name in names.items() if (signal := data.inside(name)) is not None}
    current = raw.get("motor") or raw.get("input")
    if current is None or len(current) < 5:
        return None
    raw = {key: s for key, s in raw.items() if data.same_clock(current.channel, s.channel)}
    t_s, starts = _bins(current)
    on = {key: _on_clock(s, current, t_s, starts, pick=key == "speed") for key, s in raw.items() if key != "temp"}
    strongest = on["motor"] if "motor" in on else on["input"]
    return Drive(
        controller,
        motor,
        t_s,
        raw,
        current,
        strongest,
        on.get("input"),
        on.get("motor"),
        on.get("command"),
        on.get("duty"),
        on.get("voltage"),
        on.get("speed"),
    )


def _bins(signal: Signal) -> tuple[Floats, np.ndarray | None]:
    """Times of the common clock, and where each bin starts in the signal (None: the signal's own samples)."""
    if signal.period_s >= 0.8 * FINEST_S:
        return signal.t_s, None
    index = np.floor(signal.t_s / FINEST_S)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(index)) + 1))
    return signal.t_s[starts], starts


def _on_clock(signal: Signal, clock: Signal, t_s: Floats, starts: np.ndarray | None, pick: bool) -> Floats:
    """A channel on the common clock: bin means, or one sample a bin where a mean would hide jumps (pick)."""
    same = len(signal) == len(clock) and bool(np.array_equal(signal.t_s, clock.t_s))
    if not same:
        if starts is not None and not pick and signal.period_s < 0.8 * FINEST_S:
            own_t, own = _bins(signal)
            assert own is not None
            return np.interp(t_s, own_t, _means(signal.x, own))
        return at_times(signal, t_s)[0]
    if starts is None:
        return signal.x
    return signal.x[starts] if pick else _means(signal.x, starts)


def _means(x: Floats, starts: np.ndarray) -> Floats:
    counts = np.diff(np.concatenate((starts, [len(x)])))
    means: Floats = np.add.reduceat(x, starts) / counts
    return means


def smooth(x: Floats, period_s: float, over_s: float) -> Floats:
    """Moving mean over about over_s; the series itself where its own interval is longer."""
    n = max(1, round(over_s / period_s)) if period_s > 0 else 1
    if n <= 1 or n >= len(x):
        return x
    padded = np.concatenate((np.full(n // 2, x[0]), x, np.full(n - 1 - n // 2, x[-1])))
    area = np.concatenate(([0.0], np.cumsum(padded)))
    means: Floats = (area[n:] - area[:-n]) / n
    return means


def clear_of(found: list[Happening], others: list[Happening], margin_s: float = 0.0) -> list[Happening]:
    """Those that share no time with any of the others."""
    return [h for h in found if not any(overlap_s(h.span, o.span) > -margin_s for o in others)]


def as_finding(
    kind: str,
    happenings: list[Happening],
    verdict: str,
    confidence: str,
    channel: str,
    unit: str,
    evidence: tuple[str, ...] = (),
    could_be: tuple[str, ...] = (),
) -> Finding:
    """One finding of several happenings of one kind on one part; the longest stands for it."""
    worst = max(happenings, key=lambda h: (h.length_s, h.figure or 0.0))
    return Finding(
        kind=kind,  # type: ignore[arg-type]
        cause=worst.cause,
        part=worst.part,
        channel=channel,
        start_s=worst.start_s,
        end_s=worst.end_s,
        measured=worst.figure,
        low=worst.figure,
        high=worst.figure,
        unit=unit,
        verdict=verdict,  # type: ignore[arg-type]
        confidence=confidence,  # type: ignore[arg-type]
        could_be=could_be,
        evidence=(worst.detail, *evidence),
        check="motor",
        occurrences=tuple(Occurrence(h.start_s, h.end_s, h.figure) for h in happenings),
    )


def with_detail(happening: Happening, more: str) -> Happening:
    """The same moment with one more detail in words."""
    return replace(happening, detail=f"{happening.detail}; {more}" if more else happening.detail)
