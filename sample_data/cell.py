"""The simulated lithium-polymer cell: open-circuit voltage and a resistance with two time constants.

The curve is a typical lithium-polymer shape (common practice, no source); the demo's own, not a measurement.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_CHARGE = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0])
_OPEN_V = np.array([3.30, 3.55, 3.66, 3.73, 3.77, 3.80, 3.84, 3.89, 3.95, 4.03, 4.11, 4.155, 4.20])

# Parts of the 1 s resistance: at once, fast and slow branch, with the branches' time constants.
AT_ONCE, FAST, FAST_s, SLOW, SLOW_s = 0.72, 0.22, 0.25, 0.60, 9.5
THERMAL_K = 800.0  # resistance goes as exp(THERMAL_K (1/T - 1/298.15 K)); mild, our choice


def open_voltage_V(charge: npt.ArrayLike) -> Floats:
    """Open-circuit voltage of one cell for a state of charge 0..1."""
    return np.interp(np.asarray(charge, dtype=np.float64), _CHARGE, _OPEN_V)


def at_time(seconds: float) -> float:
    """Resistance seen this long after a step of current, as a multiple of the one-second figure."""
    raw = [
        AT_ONCE + FAST * (1.0 - math.exp(-s / FAST_s)) + SLOW * (1.0 - math.exp(-s / SLOW_s)) for s in (seconds, 1.0)
    ]
    return raw[0] / raw[1]


def split() -> tuple[float, float, float]:
    """(at once, fast, slow) as multiples of the one-second resistance."""
    total = AT_ONCE + FAST * (1.0 - math.exp(-1.0 / FAST_s)) + SLOW * (1.0 - math.exp(-1.0 / SLOW_s))
    return AT_ONCE / total, FAST / total, SLOW / total


def warm_factor(degC: float, charge: float) -> float:
    """Resistance relative to 25 degC and half charge: colder is higher, and a little higher towards empty."""
    by_heat = math.exp(THERMAL_K * (1.0 / (degC + 273.15) - 1.0 / 298.15))
    return by_heat * (1.0 + 0.06 * (0.5 - charge))
