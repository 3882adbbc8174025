"""Temperatures for labels: a contact that warms up and a run of wire, by one-node energy balances.

Deliberately plain (one heat capacity, one conductance): good to about ±20 %, enough to say when a limit was crossed
by a wide margin, which is all that a label needs.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.robot import COPPER_ohm_mm2_per_m

Floats = npt.NDArray[np.float64]

STEP_s = 0.1
COPPER_J_per_m3K = 3.45e6  # 8,960 kg/m3 x 385 J/kg K, handbook values from memory
JACKET_J_per_m3K = 1.7e6  # silicone or PVC: class value, no source
FILM_W_per_m2K = 14.0  # convection and radiation of a thin horizontal wire at 50 to 100 K over the air: class value
COPPER_per_K = 0.00393


def binned_square(t: Floats, current_A: Floats, dt: Floats) -> tuple[Floats, Floats]:
    """(edges, mean of the current's square in each bin of STEP_s)."""
    edges = np.arange(0.0, t[-1] + STEP_s, STEP_s)
    total = np.interp(edges, np.concatenate([[0.0], t]), np.concatenate([[0.0], np.cumsum(current_A**2 * dt)]))
    return edges, np.diff(total) / STEP_s


def contact_degC(edges: Floats, square: Floats, r_mohm: Floats, air: float, J_per_K: float, cool_s: float) -> Floats:
    """Temperature at the edges of a contact of resistance r_mohm (one value a bin)."""
    rise = [0.0]
    for watt in square * r_mohm * 1e-3:
        rise.append(rise[-1] + STEP_s * (watt / J_per_K - rise[-1] / cool_s))
    return air + np.array(rise)


def wire_degC(square: Floats, area_mm2: float, air: float, start: float | None = None) -> Floats:
    """Temperature at the edges of the bins of a wire, per metre; resistance follows temperature."""
    radius_mm = math.sqrt(area_mm2 / 0.6 / math.pi)  # a strand bundle fills some 60 %
    outer_mm = radius_mm + 0.8
    jacket_mm2 = math.pi * (outer_mm**2 - radius_mm**2)
    heat = area_mm2 * 1e-6 * COPPER_J_per_m3K + jacket_mm2 * 1e-6 * JACKET_J_per_m3K
    loss = FILM_W_per_m2K * 2 * math.pi * outer_mm * 1e-3
    r20 = COPPER_ohm_mm2_per_m / area_mm2
    now = air if start is None else start
    out = [now]
    for i2 in square:
        now += STEP_s * (i2 * r20 * (1 + COPPER_per_K * (now - 20.0)) - loss * (now - air)) / heat
        out.append(now)
    return np.array(out)
