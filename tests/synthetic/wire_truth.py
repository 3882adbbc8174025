"""The copper of a wire under a current, its jacket in many rings: what a simulated wire's temperature should be.

Shares nothing with the analysis. Geometry, material and the loss to the air are those of the demo's simulation (Morgan
1975 and radiation), but the jacket is not one with the copper: it conducts (0.2 W/mK) and lags, so that bursts make the
copper hotter than one node of both would be. Implicit Euler in steps of 50 ms over 24 rings.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.linalg import lu_factor, lu_solve

from sample_data import heat
from sample_data.parts import COPPER_PER_K, Run, awg_area_mm2

Floats = npt.NDArray[np.float64]

RINGS = 24
COPPER_OHM_mm2_per_m = 0.017241  # IEC 60028


def copper_degC(run: Run, mean_square_A2: Floats, step_s: float, air_degC: float) -> Floats:
    """(n,) of the copper at the end of each step; mean_square_A2 (n,) of the current in the run."""
    area = float(awg_area_mm2(run.awg))
    inner = np.sqrt(area / np.pi) * 1.15e-3
    radius = np.linspace(inner, inner + heat.jacket_mm(run.awg) * 1e-3, RINGS + 1)
    middle = np.sqrt((radius[1:] ** 2 + radius[:-1] ** 2) / 2.0)
    nodes = np.concatenate([[inner], middle])
    jacket = heat.SILICONE_J_per_mm2_m_K * 1e6 * np.pi * np.diff(radius**2)
    capacity = np.concatenate([[heat.COPPER_J_per_mm2_m_K * area], jacket])
    between = 2.0 * np.pi * heat.SILICONE_W_per_mK / np.log(nodes[1:] / nodes[:-1])
    to_surface = 2.0 * np.pi * heat.SILICONE_W_per_mK / np.log(radius[-1] / middle[-1])
    flows = np.diag(capacity / step_s)
    for k, conductance in enumerate(between):
        flows[k : k + 2, k : k + 2] += conductance * np.array([[1.0, -1.0], [-1.0, 1.0]])
    factors = lu_factor(flows)
    simulated = heat.WireHeat((run,), air_degC)
    share = float(simulated.share[0]) * COPPER_OHM_mm2_per_m / area

    temps = np.full(RINGS + 1, air_degC)
    surface, out = air_degC, np.empty(len(mean_square_A2))
    for k, square in enumerate(mean_square_A2):
        for _ in range(2):  # the surface follows its own loss within two rounds
            lost = float(simulated.loss_W_per_m(np.array([surface]))[0])
            surface = temps[-1] - lost / to_surface
        made = np.zeros(RINGS + 1)
        made[0] = square * share * (1.0 + COPPER_PER_K * (temps[0] - 20.0))
        made[-1] = -lost
        temps = lu_solve(factors, capacity / step_s * temps + made, check_finite=False)
        out[k] = temps[0]
    return out
