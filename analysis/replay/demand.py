"""What the loads would have drawn: I' = I·(V'/V)^n at each load, solved with the pack's and the paths' drops.

n = 0.5 is the middle; the ends of the band are 2 (a resistance at fixed duty) and -1 (the same power, as of a
controller that makes up for its supply). The same power is taken only where the voltage rises: under a falling one the
duty soon reaches its end, and the current stays at most the same (n = 0). Measured on simulated matches with open and
with compensated throttle: docs/advice.md.
Where a limit takes current away, the middle draws it later at the limit as long as the load goes on (a drum that
spins up more slowly), one end of the band drops it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analysis.replay.circuit import LEAST_A, Branch, Circuit, charge_Ah, ladder_V
from analysis.signal import Floats

MIDDLE, BAND = 0.5, (-1.0, 2.0)
SETTLED_V = 1e-3  # our choice: a millivolt is under every logger's step
MOST_ROUNDS = 25
# A load sees at least this share of its voltage (our choice: below it nothing runs, and a power would run away).
LEAST_SHARE = 0.2
# Our choice: a load that asks for less than this share of the limit has had its fill.
SATED_SHARE = 0.02


@dataclass(frozen=True)
class PackChange:
    """resistance: times the fitted one; capacity: times; rest_V: added to the open-circuit volts of the pack."""

    resistance: float = 1.0
    capacity: float = 1.0
    rest_V: float = 0.0


@dataclass(frozen=True)
class Cap:
    """limit_A on the input or the motor current; keeps: what was taken away is drawn afterwards.

    ramp: it stands for a ramp, under which the input current rises with the speed and is nowhere as high as at its end.
    """

    limit_A: float
    basis: str
    keeps: bool
    motor_ohm: float | None = None
    ramp: bool = False


# A ramp spreads its current over the duty, which is about three quarters on average where a hit slowed the drum; the
# spin-up that it was learned from may be a little lighter than the next (from simulated matches).
RAMP_SHARE, RAMP_MORE = 0.75, 1.05
LIMIT_KEPT = 0.01  # our choice: a controller and the sensor on it hold and show a limit to one in a hundred


def caps_at(caps: Mapping[str, Cap], heavy: bool) -> dict[str, Cap]:
    """The limits at the heavy end of the band (all that was taken away comes later) or the light one (nothing)."""
    found = {}
    for name, cap in caps.items():
        if heavy:
            more = RAMP_MORE if cap.ramp else 1.0 + LIMIT_KEPT
            found[name] = replace(cap, keeps=cap.keeps or cap.ramp, limit_A=cap.limit_A * more)
        else:
            less = RAMP_SHARE if cap.ramp else 1.0 - LIMIT_KEPT
            found[name] = replace(cap, keeps=False, limit_A=cap.limit_A * less)
    return found


@dataclass(frozen=True)
class Gear:
    """Motor current times `torque` for the same force at the wheel; ohm of the motor, out of which the loss comes."""

    torque: float
    ohm: float


@dataclass(frozen=True, eq=False)
class Solved:
    """pack_A, pack_V (n,); per branch its input current, its volts before and after, and its motor current's factor."""

    pack_A: Floats
    pack_V: Floats
    input_A: dict[str, Floats]
    before_V: dict[str, Floats]
    after_V: dict[str, Floats]
    motor_factor: dict[str, Floats | float]


def solve(c: Circuit, n: float, pack: PackChange, caps: Mapping[str, Cap], gears: Mapping[str, Gear]) -> Solved:
    """The changed match for one exponent n of the demand."""
    before_V = {b.id: c.pack_V - _drop(c, b, c.before_mohm, _run_amps(c, None)) for b in c.branches}
    demand, motor = {}, {}
    for b in c.branches:
        demand[b.id], motor[b.id] = _asked(c, b, before_V[b.id], caps.get(b.id), gears.get(b.id))
    amps = dict(demand)
    volts = dict(before_V)
    r_now = float(c.fit.steps_ohm[0]) * pack.resistance
    pack_A, pack_V = c.pack_A, c.pack_V
    for _ in range(MOST_ROUNDS):
        pack_A = sum((amps[b.id] for b in c.branches), np.zeros(len(c.t_s)))
        pack_V = _pack_V(c, pack, pack_A)
        flows = _run_amps(c, amps)
        furthest = 0.0
        for b in c.branches:
            wanted = pack_V - _drop(c, b, c.after_mohm, flows)
            path = sum((np.mean(c.after_mohm[run]) for run in b.path), 0.0) * 1e-3
            steep = max(n, 0.0) * np.maximum(pack_A, 0.0) * (r_now + float(path)) / np.maximum(volts[b.id], 1.0)
            step = (wanted - volts[b.id]) / (1.0 + steep)
            furthest = max(furthest, float(np.abs(step).max()))
            volts[b.id] = volts[b.id] + step
            amps[b.id] = _drawn(demand[b.id], before_V[b.id], volts[b.id], n, caps.get(b.id))
        if furthest < SETTLED_V:
            break
    factor = {b.id: motor[b.id] * _power(before_V[b.id], volts[b.id], n) for b in c.branches}
    return Solved(pack_A, pack_V, amps, before_V, volts, factor)


def _power(before: Floats, after: Floats, n: float) -> Floats | float:
    """(V'/V)^n; under n = 0 a fallen voltage changes nothing."""
    if n == 0.0:
        return 1.0
    if n < 0.0:
        return np.maximum(after / np.maximum(before, 1.0), 1.0) ** n
    ratio = np.maximum(after, LEAST_SHARE * before) / np.maximum(before, 1.0)
    return np.sqrt(ratio) if n == 0.5 else np.square(ratio) if n == 2.0 else ratio**n


def _drawn(demand: Floats, before: Floats, after: Floats, n: float, cap: Cap | None) -> Floats:
    drawn = demand * _power(before, after, n)
    return np.minimum(drawn, cap.limit_A) if cap is not None and cap.basis == "input" else drawn


def _pack_V(c: Circuit, pack: PackChange, pack_A: Floats) -> Floats:
    """Measured volts, less what the changed losses take beyond the old ones; the open-circuit curve moves along."""
    lost = pack.resistance * c.lost_factor * ladder_V(c.fit, pack_A, c.period_s)
    more = charge_Ah(c.t_s, pack_A) / pack.capacity
    return c.pack_V + c.lost_V - lost + pack.rest_V + c.rest_V(more) - c.rest_V(c.used_Ah)


def _run_amps(c: Circuit, amps: Mapping[str, Floats] | None) -> dict[str, Floats]:
    """Current in each run: the sum of the branches whose path it is in."""
    found: dict[str, Floats] = {}
    for b in c.branches:
        drawn = b.input_A if amps is None else amps[b.id]
        for run in b.path:
            found[run] = found[run] + drawn if run in found else drawn
    return found


def _drop(c: Circuit, b: Branch, loops: Mapping[str, Floats | float], flows: Mapping[str, Floats]) -> Floats:
    total = np.zeros(len(c.t_s))
    for run in b.path:
        total = total + flows[run] * np.asarray(loops[run]) * 1e-3
    return total


def _asked(c: Circuit, b: Branch, volts: Floats, cap: Cap | None, gear: Gear | None) -> tuple[Floats, Floats | float]:
    """Input current that the load asks for at its old voltage, and the factor on its motor current."""
    drawn, factor = b.input_A, np.ones(1)
    if gear is not None:
        factor = np.full(len(c.t_s), gear.torque)
        drawn = _geared(b, volts, gear)
    if cap is None:
        return drawn, factor
    if cap.basis == "motor":
        if b.motor_A is None:
            return drawn, factor
        asked = np.abs(b.motor_A) * factor
        left = np.minimum(1.0, cap.limit_A / np.maximum(asked, LEAST_A))
        return drawn * left * _duty_share(b, volts, asked, cap), factor * left
    capped = later(drawn, cap.limit_A, c.period_s) if cap.keeps else np.minimum(drawn, cap.limit_A)
    share = np.where(np.abs(drawn) > LEAST_A, capped / np.where(np.abs(drawn) > LEAST_A, drawn, 1.0), 1.0)
    return capped, factor * np.clip(share, 0.0, 1.0)


def _duty_share(b: Branch, volts: Floats, asked: Floats, cap: Cap) -> Floats | float:
    """The duty falls too: d·V = back-EMF + I·R, and less current leaves less I·R (a stall has nothing else)."""
    if cap.motor_ohm is None or b.motor_A is None:
        return 1.0
    big = np.abs(b.motor_A) > LEAST_A
    duty_V = np.where(big, b.input_A / np.where(big, np.abs(b.motor_A), 1.0), 1.0) * volts
    saved = np.maximum(asked - cap.limit_A, 0.0) * cap.motor_ohm
    return np.clip(1.0 - saved / np.maximum(duty_V, 0.1), 0.0, 1.0)


def _geared(b: Branch, volts: Floats, gear: Gear) -> Floats:
    """The same force and speed at the wheel: copper loss goes with the square of the motor current, the rest stays."""
    if b.motor_A is None or b.controller is None:
        return b.input_A
    loss = np.square(b.motor_A) * gear.ohm / np.maximum(volts, 1.0)
    loss = np.minimum(loss, np.abs(b.input_A))
    return b.input_A + loss * (gear.torque**2 - 1.0) * np.sign(b.input_A)


def later(drawn: Floats, limit: float, period_s: float) -> Floats:
    """(n,) the current under a limit, what it takes away drawn as soon as there is room.

    The debt is a queue: it grows by what exceeds the limit and is paid by the room under it; it lapses where the
    load asks for nearly nothing.
    """
    over = drawn > limit
    if not over.any():
        return drawn
    capped = np.minimum(drawn, limit)
    sated = drawn < SATED_SHARE * limit
    starts = np.flatnonzero(over & ~np.concatenate(([False], over[:-1])))
    done = 0
    for start in starts.tolist():
        if start < done:
            continue
        rest = np.flatnonzero(sated[start:])
        end = start + (int(rest[0]) if len(rest) else len(drawn) - start)
        net = np.cumsum(drawn[start:end] - limit)
        debt = net - np.minimum(np.minimum.accumulate(net), 0.0)
        before = np.concatenate(([0.0], debt[:-1]))
        capped[start:end] = np.where(before > 0, limit, capped[start:end])
        done = end
    return capped
