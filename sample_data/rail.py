"""The receiver's 5 V rail and the radio link of a simulated match (both do not depend on the motors)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from .parts import BuildSpec
from .plants import Plants
from .script import Script

Floats = npt.NDArray[np.float64]

FAILSAFE_AFTER_s = 0.10  # the receiver holds its last outputs this long (our choice within 0.1 to 1 s, common practice)
RESTART_s = 0.75  # a receiver whose rail fell below its minimum starts again and finds its radio (our choice)


@dataclass(frozen=True)
class Rail:
    """Arrays at every step. link_up is 0 where the receiver's outputs are at failsafe (commands are zero)."""

    voltage_V: Floats
    current_A: Floats
    quality_pct: Floats
    strength_dBm: Floats
    failsafe: Floats
    link_up: Floats
    uptime_s: Floats
    browned_out: tuple[tuple[float, float], ...]


def rail_and_link(build: BuildSpec, script: Script, plants: Plants, seed: int) -> Rail:
    t_s = script.t_s
    rng = np.random.default_rng([seed, 31])
    nominal_V = 5.02
    wanted = script.lifter_A.copy()
    stalled_ohm = np.full(t_s.shape, np.inf)
    for start, end, ohm in plants.lifter_stalls:
        stalled_ohm[(t_s >= start) & (t_s < end)] = ohm
    stalled_A = np.where(np.isfinite(stalled_ohm), nominal_V / stalled_ohm, 0.0)
    total_A = wanted + stalled_A
    current_A = np.minimum(total_A, build.regulator_limit_A)
    overload = total_A > build.regulator_limit_A
    voltage_V = nominal_V - build.regulator_ohm * current_A
    load_ohm = nominal_V / np.maximum(total_A, 1e-6)
    voltage_V = np.where(overload, np.minimum(voltage_V, current_A * load_ohm), voltage_V)
    voltage_V = _first_order(voltage_V, 0.012)

    quality = 97.0 + 2.0 * _wander(t_s, rng, 9.0) - 1.2 * np.abs(_wander(t_s, rng, 2.0))
    strength = -56.0 + 5.0 * _wander(t_s, rng, 6.0) + 1.5 * _wander(t_s, rng, 0.8)
    failsafe = np.zeros(t_s.shape)
    uptime = t_s + 38.0
    for start, end in plants.link_losses:
        lost = (t_s >= start) & (t_s < end)
        quality[lost] = 0.0
        strength[lost] = -110.0
        failsafe[(t_s >= start + FAILSAFE_AFTER_s) & (t_s < end + 0.02)] = 1.0
    browned: list[tuple[float, float]] = []
    low = voltage_V < build.receiver_minimum_V
    edges = np.flatnonzero(np.diff(low.astype(np.int8)))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        back = float(t_s[b]) + RESTART_s
        browned.append((float(t_s[a]), back))
        out = (t_s >= t_s[a]) & (t_s < back)
        quality[out], strength[out], failsafe[out] = 0.0, -110.0, 1.0
        after = t_s >= t_s[a]
        uptime[after] = np.maximum(t_s[after] - t_s[b], 0.0)
    quality = np.clip(quality, 0.0, 100.0)
    return Rail(voltage_V, current_A, quality, strength, failsafe, _eased(1.0 - failsafe), uptime, tuple(browned))


def _eased(up: Floats) -> Floats:
    """Failsafe takes the commands to zero over 0.25 s; after it the driver's stick comes back over 0.5 s."""
    level, eased = 1.0, np.empty_like(up)
    falls, rises = 0.001 / 0.25, 0.001 / 0.5
    for k, wanted in enumerate(up.tolist()):
        level = min(1.0, level + rises) if wanted else max(0.0, level - falls)
        eased[k] = level
    return eased


def _wander(t_s: Floats, rng: np.random.Generator, period_s: float) -> Floats:
    """A smooth random line of unit size, with new values every period."""
    knots = np.arange(0.0, t_s[-1] + 2.0 * period_s, period_s)
    values = np.clip(rng.normal(0.0, 0.5, knots.shape), -1.0, 1.0)
    return np.interp(t_s, knots, values)


def _first_order(x: Floats, tau_s: float) -> Floats:
    a = 0.001 / tau_s
    y, _ = lfilter([a], [1.0, a - 1.0], x, zi=[(1.0 - a) * x[0]])
    return np.asarray(y)
