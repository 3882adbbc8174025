"""Wire temperature through a match, for many runs at once, with the interval that the physics is worth.

Per metre of one lead: copper (i²·R(T), R linear in T by IEC 60028) → rings of the jacket → still air by
natural convection (Churchill and Chu) and radiation. The ends neither heat nor cool (a short lead is cooled by
cold terminals and heated by a hot contact; see `contacts`). i² is the mean square in bins of 0.1…0.25 s, from
`bin_square`; steps are exponential (second-order exponential Runge–Kutta), so the bins may be long against
the quickest ring. Holds while the copper is between −50 and 250 °C; a run that passes 250 °C is reported
as "at least 250 °C".

The interval joins, each varied alone and added in quadrature (our choice: they are independent): convection
±25 % and, for thin wires, as far as Morgan's law lies off Churchill and Chu's; the way the run is laid, resistance
−0/+13 % (fine strands), outer diameter ±8 % where it comes from the table, the heat that the jacket holds ±20 %
together with how well it conducts ±25 % (both take heat from the copper sooner), the air, and what the caller says of
i².
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from .binned import Binned, bin_i2, bin_signal, bin_square
from .ratings import COPPER_RANGE_DEGC, OutsideValidity, value
from .signal import Floats, Measured
from .wire_columns import HEAT_STEP, VARIANTS, Columns
from .wire_run import WireRun, run_of_wire
from .wire_steady import (
    adiabatic_i2t,
    adiabatic_temperature_degC,
    adiabatic_time_s,
    k_factor,
    steady_current,
    steady_temperature,
)

__all__ = [
    "Binned",
    "RunHeat",
    "WireRun",
    "adiabatic_i2t",
    "adiabatic_temperature_degC",
    "adiabatic_time_s",
    "bin_i2",
    "bin_signal",
    "bin_square",
    "k_factor",
    "run_of_wire",
    "steady_current",
    "steady_temperature",
    "wire_heat",
]

TOP_DEGC: Final = COPPER_RANGE_DEGC[1]


@dataclass(frozen=True, eq=False)
class RunHeat:
    """What one run did.

    t_s           (k+1,) the bin edges
    temp_degC     (k+1,) of the copper; from valid_to_s on it stays at 250 °C and means "at least"
    low_degC, high_degC   (k+1,) the interval of the curve (high is inf where it passes 250 °C)
    peak          the hottest, with its interval; peak_s its time
    end_degC      (n,) temperatures of copper … surface at the end, to carry on from
    valid_to_s    where the copper passes 250 °C, None where it never does
    """

    run: WireRun
    t_s: Floats
    temp_degC: Floats
    low_degC: Floats
    high_degC: Floats
    peak: Measured
    peak_s: float
    end_degC: Floats
    valid_to_s: float | None

    def time_above_s(self, limit_degC: float) -> float:
        """Seconds during which the copper is above the limit (straight between the edges)."""
        over = self.temp_degC - limit_degC
        a, b, width = over[:-1], over[1:], np.diff(self.t_s)
        part = np.where((a > 0) & (b > 0), 1.0, 0.0)
        cross = (a > 0) != (b > 0)
        span = np.where(cross, np.abs(b - a), 1.0)
        part = np.where(cross, np.maximum(a, b) / span, part)
        return float((part * width).sum())

    def first_above_s(self, limit_degC: float) -> float | None:
        """When the copper first reaches the limit, None if it never does."""
        over = np.flatnonzero(self.temp_degC >= limit_degC)
        if over.size == 0:
            return None
        at = int(over[0])
        if at == 0:
            return float(self.t_s[0])
        a, b = self.temp_degC[at - 1], self.temp_degC[at]
        return float(self.t_s[at - 1] + (limit_degC - a) / (b - a) * (self.t_s[at] - self.t_s[at - 1]))


def wire_heat(
    runs: Sequence[WireRun],
    loads: Sequence[Binned],
    air_degC: float | Sequence[float] = 25.0,
    *,
    start_degC: npt.ArrayLike | None = None,
    air_uncertainty_K: float | None = None,
    i2_low_rel: npt.ArrayLike = 0.0,
    i2_high_rel: npt.ArrayLike = 0.0,
    at_least: Sequence[bool] | None = None,
) -> tuple[RunHeat, ...]:
    """Temperature of every run under its load.

    runs     the runs; loads one Binned each, all on the same bin edges
    air_degC   the air about them, one figure or one per run; start_degC (default: the air) the copper and
             jacket at the first edge, one figure per run or (runs, 5) from RunHeat.end_degC
    air_uncertainty_K   ± of the air, default 3 K (our choice, ratings_data)
    i2_low_rel, i2_high_rel   how far i² may lie below and above, as shares: twice the gain error of the sensor
    at_least   True for a run whose current is only known to be at least this (clipped sensor, averaging log,
             unlogged load): the upper end is then inf

    Raises OutsideValidity where a run or the air is outside the model (air −40…150 °C).
    """
    if not runs:
        return ()
    if len(runs) != len(loads):
        raise ValueError(f"{len(runs)} runs but {len(loads)} loads")
    edges = loads[0].edges_s
    if any(load.edges_s.shape != edges.shape or (load.edges_s != edges).any() for load in loads):
        raise ValueError("all loads must share one set of bin edges")
    air = np.broadcast_to(np.asarray(air_degC, dtype=np.float64), (len(runs),))
    if ((air < -40) | (air > 150)).any():
        raise OutsideValidity(f"air at {air.max():g} degC is outside -40 to 150 degC", "state air_degC")

    gaps = any(load.has_gaps for load in loads)
    variants = VARIANTS if gaps else VARIANTS - 2
    model = Columns(runs, air, variants, np.unique(np.round(np.diff(edges), 9)))
    share = np.array([1.0 / run.parallel**2 for run in runs])
    square = np.stack([load.mean_i2 for load in loads], axis=1) * share  # (k, runs)
    columns = np.tile(square, (1, variants))
    count = len(runs)
    if gaps:
        columns[:, 7 * count : 8 * count] = np.stack([load.low_i2 for load in loads], axis=1) * share
        columns[:, 8 * count :] = np.stack([load.high_i2 for load in loads], axis=1) * share
    copper, end = model.run(edges, columns, _start(start_degC, air, len(runs), model.nodes, variants))
    copper = copper.reshape(copper.shape[0], variants, count)

    air_K = value("air_uncertainty", "stated") if air_uncertainty_K is None else air_uncertainty_K
    low_rel = np.broadcast_to(np.asarray(i2_low_rel, dtype=np.float64), (count,))
    high_rel = np.broadcast_to(np.asarray(i2_high_rel, dtype=np.float64), (count,))
    unknown = at_least or [False] * count
    return tuple(
        _result(
            run, edges, copper[:, :, j], end[:, j], air_K,
            float(low_rel[j]), float(high_rel[j]), bool(unknown[j]),
        )
        for j, run in enumerate(runs)
    )  # fmt: skip


def _start(start: npt.ArrayLike | None, air: Floats, runs: int, nodes: int, variants: int) -> Floats:
    """(nodes, variants·runs) rise above the air at the first edge."""
    if start is None:
        return np.zeros((nodes, variants * runs))
    given = np.asarray(start, dtype=np.float64)
    per_node = given.T if given.ndim == 2 else np.broadcast_to(given, (nodes, runs))
    return np.tile(per_node - air, (1, variants))


def _result(
    run: WireRun, edges: Floats, copper: Floats, end: Floats, air_K: float,
    low_rel: float, high_rel: float, at_least: bool,
) -> RunHeat:  # fmt: skip
    base = copper[:, 0]
    change = copper - base[:, None]
    slope = change[:, 3] / HEAT_STEP
    up = [change[:, 1], slope * (run.resistance_spread + high_rel), np.full_like(base, air_K)]
    down = [change[:, 2], -slope * low_rel, np.full_like(base, -air_K)]
    thicker = (change[:, 4], change[:, 5])
    up.append(np.maximum(*thicker))
    down.append(np.minimum(*thicker))
    held = np.abs(change[:, 6])
    up.append(held)
    down.append(-held)
    if copper.shape[1] > 7:
        down.append(change[:, 7])
        up.append(change[:, 8])
    high = base + np.sqrt(sum(np.square(np.maximum(part, 0.0)) for part in up))
    low = base - np.sqrt(sum(np.square(np.minimum(part, 0.0)) for part in down))
    if at_least:
        high = np.full_like(high, np.inf)
    past = np.flatnonzero(base > TOP_DEGC)
    valid_to = float(edges[past[0]]) if past.size else None
    base, low = np.minimum(base, TOP_DEGC), np.minimum(low, TOP_DEGC)
    if past.size:
        base[past[0] :] = TOP_DEGC
        high[past[0] :] = np.inf
    high = np.where(high > TOP_DEGC, np.inf, high)
    at = int(np.argmax(base))
    basis = "convection ±25 % or more, laying, jacket, air"
    if run.resistance_spread:
        basis += ", fine strands +13 %"
    if run.size.from_memory:
        basis += ", outer diameter ±8 % from memory"
    if past.size:
        basis = f"passes {TOP_DEGC:g} °C, where the model ends: at least this"
    elif at_least:
        basis += "; the current is a lower bound: at least this"
    peak = Measured(float(base[at]), float(low.max()), float(high.max()), basis)
    return RunHeat(run, edges, base, low, high, peak, float(edges[at]), end, valid_to)
