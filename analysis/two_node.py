"""The two-node thermal network of a motor or controller, exact for loads that are constant in bins.

C1·dT1/dt = P − (T1 − T2)/R12, C2·dT2/dt = (T1 − T2)/R12 − (T2 − Ta)/R2a, constant capacities and resistances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .binned import first_order
from .signal import Floats


@dataclass(frozen=True)
class TwoNode:
    """A part of two nodes: heat enters the inner one. Heat capacities in J/K, resistances in K/W, all above 0."""

    inner_J_K: float
    outer_J_K: float
    inner_outer_K_W: float
    outer_air_K_W: float

    def temperatures(
        self,
        edges_s: npt.ArrayLike,
        power_W: npt.ArrayLike,
        air_degC: float,
        start_degC: tuple[float, float] | None = None,
    ) -> tuple[Floats, Floats]:
        """(inner, outer) in °C at the edges (k+1,), power (k,) constant in each bin: exact for constant values.

        start_degC  of the two nodes at the first edge, default the air.
        """
        edges = np.asarray(edges_s, dtype=np.float64)
        power = np.broadcast_to(np.asarray(power_W, dtype=np.float64), (edges.shape[0] - 1,))
        link, out = 1 / self.inner_outer_K_W, 1 / self.outer_air_K_W
        c1, c2 = self.inner_J_K, self.outer_J_K
        matrix = np.array([[-link / c1, link / c1], [link / c2, -(link + out) / c2]])
        roots, vectors = np.linalg.eig(matrix)
        back = np.linalg.inv(vectors)
        start = np.zeros(2) if start_degC is None else np.array(start_degC) - air_degC
        begin = back @ start
        rise = np.zeros((2, edges.shape[0]))
        for k in range(2):
            tau = -1 / float(roots[k])
            drive = float(back[k, 0]) / c1 * tau * power
            rise += vectors[:, k : k + 1] * first_order(edges, drive, tau, float(begin[k]))
        return air_degC + rise[0], air_degC + rise[1]

    def steady(self, power_W: float, air_degC: float) -> tuple[float, float]:
        """(inner, outer) after a long time at that power: Ta + P·(R12 + R2a), Ta + P·R2a."""
        outer = air_degC + power_W * self.outer_air_K_W
        return outer + power_W * self.inner_outer_K_W, outer
