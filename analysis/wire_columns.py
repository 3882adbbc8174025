"""Many runs in many variants as the columns of one network, stepped together through the bins of i².

Each column is one run's copper and rings, C·dT/dt = heat − conduction − loss. The conduction and the linear part
of the loss are stepped by their exact exponential, the rest (R(T), convection and radiation) by a second-order
exponential Runge–Kutta step; the loss is tabulated over the surface's rise above the air.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from .cooling import convection_spread, convection_W_m2K, radiation_W_m2K
from .ratings import value
from .signal import Floats
from .wire_run import Network, WireRun, loss_factor, network

_TABLE_STEP_K: Final = 2.0  # our choice: linear between, the loss is then exact to 0.05 %
_TABLE_TOP_K: Final = 600.0  # of the surface above the air; only reached after a run has left the valid range
# base, loss low, loss high, more heat, thinner jacket, thicker jacket, jacket that takes more heat and sooner, gaps
# empty, gaps full
VARIANTS: Final = 9
HEAT_STEP: Final = 0.13  # the heat of the "more heat" variant; its slope serves every uncertainty of i²·R


class Columns:
    """All runs in all variants as columns of one vectorised network. Column order: variant by variant."""

    def __init__(self, runs: Sequence[WireRun], air: Floats, variants: int, widths: Floats) -> None:
        spread = [run.size.diameter_spread_pct / 100 for run in runs]
        plain = [network(run) for run in runs]
        thin = [network(run, 1 - s) for run, s in zip(runs, spread, strict=True)]
        thick = [network(run, 1 + s) for run, s in zip(runs, spread, strict=True)]
        more = 1 + value("jacket_heat_capacity_uncertainty") / 100
        conducts = 1 + value("jacket_conductivity_uncertainty") / 100
        slow = [network(run, 1.0, more, conducts) for run in runs]
        nets = [*plain * 4, *thin, *thick, *slow, *plain * (variants - 7)]
        self.nodes = plain[0].capacity_J_mK.shape[0]
        self.air = np.tile(air, variants)
        capacity = np.array([net.capacity_J_mK for net in nets]).T
        link = np.array([net.conductance_W_mK for net in nets]).T
        tables = {id(group): _loss_tables(group, runs, air) for group in (plain, thin, thick)}
        self._loss(runs, variants, [tables[id(group)] for group in (plain, thin, thick)])
        r20 = np.tile([run.mohm_per_m * 1e-3 for run in runs], variants)
        r20[3 * len(runs) : 4 * len(runs)] *= 1 + HEAT_STEP
        alpha = value("copper_temperature_coefficient", "20 degC")
        self.r_air = r20 * (1 + alpha * (self.air - 20))
        self.r_slope = r20 * alpha
        self.reference = self.table[:, int(50 / _TABLE_STEP_K)]  # loss per kelvin at 50 K: the linear part
        self.steps = {float(h): _coefficients(float(h), capacity, link, self.reference) for h in widths}

    def _loss(
        self, runs: Sequence[WireRun], variants: int, tables: list[tuple[Floats, Floats, Floats, Floats]]
    ) -> None:
        factor = np.array([loss_factor(run) for run in runs])  # (runs, 3): value, low, high
        (air, glow, least, most), (air_thin, glow_thin, _, _), (air_thick, glow_thick, _, _) = tables
        mid = factor[:, :1]
        rows = [
            mid * (air + glow),
            factor[:, 1:2] * (least * air + glow),
            factor[:, 2:3] * (most * air + glow),
            mid * (air + glow),
            mid * (air_thin + glow_thin),
            mid * (air_thick + glow_thick),
        ]
        rows += [rows[0]] * (variants - 6)
        self.table = np.concatenate(rows)  # (columns, points) W/(m K)
        self.flat = np.ascontiguousarray(self.table).ravel()
        self.rise = np.diff(self.table, axis=1, append=self.table[:, -1:]).ravel()
        self.offset = np.arange(self.table.shape[0]) * self.table.shape[1]
        self.last = self.table.shape[1] - 1

    def surplus(self, surface_K: Floats) -> Floats:
        """Loss beyond its linear part, W/m, at a surface that much above the air."""
        place = np.minimum(np.abs(surface_K) * (1 / _TABLE_STEP_K), self.last)
        index = place.astype(np.intp)
        at = self.offset + index
        return (self.flat[at] + self.rise[at] * (place - index) - self.reference) * surface_K

    def run(self, edges: Floats, square: Floats, start: Floats) -> tuple[Floats, Floats]:
        """(k+1, columns) copper and (nodes, columns) end temperatures in °C under square (k, columns) A²."""
        state = start.copy()
        copper = np.empty((edges.shape[0], state.shape[1]))
        copper[0] = state[0]
        # Far past the valid range the heat is held finite; such a run is reported as "at least 250 °C".
        ceiling = 1100.0
        widths = np.round(np.diff(edges), 9)
        for k in range(widths.shape[0]):
            decay, heat_1, loss_1, heat_2, loss_2 = self.steps[float(widths[k])]
            heat = square[k] * (self.r_air + self.r_slope * np.minimum(state[0], ceiling))
            loss = self.surplus(state[-1])
            state = (decay * state).sum(axis=1) + heat_1 * heat - loss_1 * loss
            more = square[k] * (self.r_air + self.r_slope * np.minimum(state[0], ceiling)) - heat
            state += heat_2 * more - loss_2 * (self.surplus(state[-1]) - loss)
            copper[k + 1] = state[0]
        return copper + self.air, state + self.air


def _loss_tables(
    nets: Sequence[Network], runs: Sequence[WireRun], air: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Convection and radiation per kelvin, (runs, points) W/(m K), over the surface's rise above the air; and the
    factors on the convection at the ends of what the published laws leave open."""
    rise = np.arange(0.0, _TABLE_TOP_K + _TABLE_STEP_K, _TABLE_STEP_K)
    diameter = np.array([net.diameter_m for net in nets])
    surface = air[:, None] + rise
    round_m = np.pi * diameter[:, None]
    glow = radiation_W_m2K([[run.surface_emissivity] for run in runs], surface, air[:, None])
    unsure = value("convection_uncertainty") / 100
    least, most = convection_spread(diameter[:, None], surface, air[:, None], unsure)
    return round_m * convection_W_m2K(diameter[:, None], surface, air[:, None]), round_m * glow, least, most


def _coefficients(
    h: float, capacity: Floats, link: Floats, reference: Floats
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """exp(hL), and the columns h·φ1 and h·φ2 for heat at the copper and loss at the surface, per column.

    L is the linear network (conduction and the linear part of the loss); C^½·L·C^−½ is symmetric, so its
    eigenvectors are orthogonal and the exponential is exact however stiff a thin ring is.
    """
    n, columns = capacity.shape
    root = np.sqrt(capacity)
    matrix = np.zeros((columns, n, n))
    for i in range(n - 1):
        between = link[i] / (root[i] * root[i + 1])
        matrix[:, i, i + 1] = matrix[:, i + 1, i] = between
        matrix[:, i, i] -= link[i] / capacity[i]
        matrix[:, i + 1, i + 1] -= link[i] / capacity[i + 1]
    matrix[:, -1, -1] -= reference / capacity[-1]
    roots, vectors = np.linalg.eigh(matrix)
    z = np.minimum(roots * h, -1e-12)
    phi_1 = np.expm1(z) / z
    phi_2 = np.where(z < -1e-4, (phi_1 - 1) / np.where(z < -1e-4, z, 1.0), 0.5 + z / 6)

    def full(values: Floats) -> Floats:
        product = np.matmul(vectors * values[:, None, :], vectors.transpose(0, 2, 1))
        return np.ascontiguousarray(product.transpose(1, 2, 0)) / root[:, None, :] * root[None, :, :]

    one, two = h * full(phi_1) / capacity, h * full(phi_2) / capacity
    return full(np.exp(z)), one[:, 0], one[:, -1], two[:, 0], two[:, -1]
