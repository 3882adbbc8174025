"""What the driver and the opponent do: commands, pushes, hits and the lifter, from a seeded generator."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

STEP_s = 0.001
PRE_ROLL_s = 6.0  # simulated before the match clock's zero, so that other loggers can start earlier


@dataclass(frozen=True)
class Script:
    """Commands at every step. Times are simulation seconds; arrays are (n,).

    weapon, left, right: command -1..1. push_Nm: load torque against the wheels (at the motor shaft), both sides.
    lifter_A: what the servo asks of a 5 V rail. hits: (time, part of the weapon's speed that is kept).
    """

    t_s: Floats
    start_s: float
    end_s: float
    weapon: Floats
    left: Floats
    right: Floats
    push_Nm: Floats
    lifter_A: Floats
    hits: tuple[tuple[float, float], ...]

    @property
    def n(self) -> int:
        return int(self.t_s.shape[0])


def _piecewise(t_s: Floats, points: list[tuple[float, float]]) -> Floats:
    x, y = zip(*points, strict=True)
    return np.asarray(np.interp(t_s, x, y), dtype=np.float64)


def _trapezoid(t_s: Floats, start: float, end: float, rise_s: float = 0.08) -> Floats:
    return np.interp(t_s, [start, start + rise_s, end, end + rise_s], [0.0, 1.0, 1.0, 0.0])


class _Stick:
    """A stick that moves no faster than slew_s for full travel: breakpoints of a piecewise line."""

    def __init__(self, slew_s: float) -> None:
        self.slew_s = slew_s
        self.points: list[tuple[float, float]] = [(0.0, 0.0)]

    def to(self, when: float, value: float) -> None:
        last_t, last = self.points[-1]
        begin = max(when, last_t + 1e-3)
        self.points += [(begin, last), (begin + max(0.02, abs(value - last) * self.slew_s), value)]


def fight(
    seed: int,
    length_s: float,
    *,
    intensity: float = 1.0,
    countdown_end_s: float = 18.0,
    tail_s: float = 14.0,
    extra_hits: tuple[tuple[float, float], ...] = (),
    no_hits_between: tuple[tuple[float, float], ...] = (),
    launches: tuple[float, ...] = (),
    weapon_level: float = 0.92,
) -> Script:
    """A plausible match. Times given here are on the match clock (simulation time less PRE_ROLL_s).

    intensity scales how often the weapon hits and how much it loses (0.5 to 2).
    extra_hits are added as (time, part kept); no_hits_between are windows free of other hits.
    launches: both drives go to full forward there (with the weapon still spinning up after a hit, the heaviest
    load a match knows).
    """
    rng = np.random.default_rng([seed, 11])
    zero = PRE_ROLL_s
    start, end = zero + countdown_end_s, zero + countdown_end_s + length_s
    t_s: Floats = np.arange(round((end + tail_s) / STEP_s), dtype=np.float64) * STEP_s

    weapon = _Stick(0.25)
    weapon.to(zero + 12.0, 0.12)  # system test: a slow turn of the drum
    weapon.to(zero + 12.7, 0.0)
    weapon.to(start + rng.uniform(0.6, 1.4), weapon_level)
    weapon.to(end, 0.0)

    left, right = _Stick(0.45), _Stick(0.45)
    for side, at in ((left, 10.4), (right, 11.2)):
        side.to(zero + at, 0.18)
        side.to(zero + at + 0.35, 0.0)

    # Drives launch away from the weapon's first spin-up, so that two peaks coincide only where asked for.
    push_Nm: Floats = np.zeros(t_s.shape)
    calm = [(zero + a - 0.6, zero + a + 2.2) for a in launches]
    first_move = start + 3.4
    now = first_move
    while now < end - 0.8:
        waiting = next((c for c in calm if c[0] <= now < c[1]), None)
        if waiting is not None:
            now = waiting[1]
            continue
        hold = rng.uniform(0.5, 1.9)
        kind = rng.random()
        if kind < 0.22:
            forward, turn = rng.uniform(0.25, 0.42), rng.uniform(-0.05, 0.05)
            hold = rng.uniform(0.9, 2.4)
            push_Nm += rng.uniform(0.22, 0.36) * _trapezoid(t_s, now + 0.35, now + hold, 0.15)
        elif kind < 0.62:
            forward, turn = rng.uniform(0.35, 0.8), rng.uniform(-0.2, 0.2)
        elif kind < 0.82:
            forward, turn = rng.uniform(-0.1, 0.1), rng.choice([-1.0, 1.0]) * rng.uniform(0.3, 0.55)
        elif kind < 0.93:
            forward, turn = -rng.uniform(0.25, 0.55), rng.uniform(-0.15, 0.15)
        else:
            forward, turn = 0.0, 0.0
        for side, value in ((left, forward + turn), (right, forward - turn)):
            side.to(now + rng.uniform(0.0, 0.06), float(np.clip(value, -1.0, 1.0)))
        now = max(left.points[-1][0], right.points[-1][0]) + hold
    for side in (left, right):
        side.to(max(end, side.points[-1][0]), 0.0)
    left_cmd, right_cmd = _piecewise(t_s, left.points), _piecewise(t_s, right.points)
    for a in launches:
        still = (t_s >= zero + a - 0.6) & (t_s < zero + a + 2.2)
        burst = np.interp(t_s, zero + a + np.array([0.0, 0.31, 0.6, 1.1]), [0.0, 0.92, 0.92, 0.0])
        fade = np.interp(t_s, zero + a + np.array([-0.6, -0.2, 1.6, 2.2]), [1.0, 0.0, 0.0, 1.0])
        push_Nm[still] = 0.0
        left_cmd = np.where(still, left_cmd * fade + burst, left_cmd)
        right_cmd = np.where(still, right_cmd * fade + burst, right_cmd)

    hits: list[tuple[float, float]] = [(zero + t, keep) for t, keep in extra_hits]
    closed = [(zero + a, zero + b) for a, b in no_hits_between]
    now = start + rng.uniform(7.0, 10.0)
    while now < end - 3.0:
        lost = float(np.clip(rng.uniform(0.2, 0.55) * intensity**0.5, 0.1, 0.75))
        clear = all(abs(now - t) > 3.5 for t, _ in hits) and not any(a <= now <= b for a, b in closed)
        if clear:
            hits.append((now, 1.0 - lost))
        now += rng.uniform(8.0, 15.0) / intensity
    lifter_A: Floats = np.full(t_s.shape, 0.12)
    now = start + rng.uniform(9.0, 14.0)
    while now < end - 2.0:
        lifter_A += rng.uniform(1.3, 2.1) * _trapezoid(t_s, now, now + rng.uniform(0.3, 0.6), 0.05)
        now += rng.uniform(9.0, 17.0)
    return Script(
        t_s, start, end, _piecewise(t_s, weapon.points), left_cmd, right_cmd, push_Nm, lifter_A, tuple(sorted(hits))
    )
