"""One run of wire as its heating sees it: copper, jacket, how it is laid; and that as a thermal network.

The conductor is one node. The jacket is cut into rings, because a jacket of silicone stores more heat than
the copper it covers and takes some three seconds to join in: with one temperature for both, a 400 A burst of
one second in 12 AWG comes out 32 °C too cool, and even 60 A for three minutes 10 °C.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from ingest.tables.insulations import parse_insulation

from .ratings import OutsideValidity, Strand, WireSize, ratings, value, wire_size
from .signal import Floats

if TYPE_CHECKING:
    from ingest.builds import Wire

Laid = Literal["open", "sleeved", "bundled"]

# Our choice: four rings of rising thickness; against forty equal rings a one-second burst of 400 A in 12 AWG
# then ends within 0.6 °C (three equal rings: 3 °C), and a five-node network is still cheap.
RING_GROWTH: Final = (1.0, 1.8, 3.2, 5.8)


@dataclass(frozen=True)
class WireRun:
    """A run of wire.

    area_mm2        copper of one lead, mm²
    insulation      a name of ingest.tables.insulations
    parallel        leads side by side that share the current equally
    laid            "open", "sleeved" or "bundled"; None: not stated, taken as open
    bundle          number of loaded wires in the bundle, where known
    enclosed        inside a closed chassis; None: not stated, taken as between the two
    resistance_mohm_per_m   of one lead at 20 °C, where measured; else 1/58/area, −0/+13 %
    outer_diameter_mm       of the jacket, where stated; else the recalled table, ±8 %
    strand          "class5" (fine strands) or "solid"
    emissivity      of the surface, where known; else 0.9 of a jacket, 0.4 of bare copper
    jacket_conductivity_W_mK   where known; else 0.2 (IEC 60287)
    """

    id: str
    area_mm2: float
    insulation: str = "silicone"
    parallel: int = 1
    laid: Laid | None = "open"
    bundle: int | None = None
    enclosed: bool | None = False
    resistance_mohm_per_m: float | None = None
    outer_diameter_mm: float | None = None
    strand: Strand = "class5"
    emissivity: float | None = None
    jacket_conductivity_W_mK: float | None = None

    @property
    def size(self) -> WireSize:
        return wire_size(self.area_mm2, self.insulation, self.outer_diameter_mm, self.strand)

    @property
    def mohm_per_m(self) -> float:
        """Resistance of one lead at 20 °C in mΩ/m (the low end where it was not measured)."""
        if self.resistance_mohm_per_m is not None:
            return self.resistance_mohm_per_m
        return 1000 * value("copper_resistivity", "20 degC") / self.area_mm2

    @property
    def resistance_spread(self) -> float:
        """How far above `mohm_per_m` the resistance may lie, as a share: 0.13 unless measured or solid."""
        known = self.resistance_mohm_per_m is not None or self.strand == "solid"
        return 0.0 if known else value("class5_resistance_factor") - 1

    @property
    def surface_emissivity(self) -> float:
        if self.emissivity is not None:
            return self.emissivity
        bare = parse_insulation(self.insulation).name == "bare"
        return value("emissivity", "bare" if bare else "jacket")


def run_of_wire(wire: Wire) -> WireRun:
    """The run that a [[wire]] of the build file describes; OutsideValidity with the mend where it says too little.

    The resistance in the file is that of one lead; the outer diameter comes from the table.
    """
    total = wire.copper_mm2
    if total is None:
        raise OutsideValidity(f"the copper of {wire.id} is not known", f'state gauge in [[wire]] "{wire.id}"')
    if wire.insulation is None:
        raise OutsideValidity(f"the insulation of {wire.id} is not known", f'state insulation in [[wire]] "{wire.id}"')
    return WireRun(
        id=wire.id,
        area_mm2=total / wire.parallel,
        insulation=wire.insulation,
        parallel=wire.parallel,
        laid=wire.laid,
        bundle=wire.bundle,
        enclosed=wire.enclosed,
        resistance_mohm_per_m=wire.resistance_mohm_per_m,
    )


def loss_factor(run: WireRun) -> tuple[float, float, float]:
    """(value, low, high) by which sleeve, bundle and chassis multiply the free-air loss of the run.

    A bundle of n loaded wires: the square of the current factor of ECSS-Q-ST-30-11C table 6-41, interpolated
    in log n, ±20 % (our choice: that table is for vacuum). "bundled" without a number: two to ten wires.
    """
    low, mid, high = 1.0, 1.0, 1.0
    if run.bundle is not None and run.bundle > 1:
        mid = bundle_current_factor(run.bundle) ** 2
        low, high = 0.8 * mid, min(1.0, 1.2 * mid)
    elif run.laid == "bundled":
        low, mid, high = _factors("bundled")
    if run.laid == "sleeved":
        low, mid, high = (a * b for a, b in zip((low, mid, high), _factors("sleeved"), strict=True))
    shut = _factors("enclosed")
    if run.enclosed:
        low, mid, high = (a * b for a, b in zip((low, mid, high), shut, strict=True))
    elif run.enclosed is None:
        low *= shut[1]
    return mid, low, high


def _factors(how: str) -> tuple[float, float, float]:
    return value("loss_factor_low", how), value("loss_factor", how), value("loss_factor_high", how)


def bundle_current_factor(wires: int) -> float:
    """Current factor of a bundle of 1…300 loaded wires (ECSS-Q-ST-30-11C table 6-41, log-log between rows).

    Raises OutsideValidity for other counts.
    """
    rows = sorted((int(row.key.split()[0]), row.value) for row in ratings("bundle_factor"))
    if not rows[0][0] <= wires <= rows[-1][0]:
        raise OutsideValidity(f"a bundle of {wires} wires is outside the table (1 to 300)", "state laid only")
    logs = np.log([[count, factor] for count, factor in rows])
    return float(np.exp(np.interp(math.log(wires), logs[:, 0], logs[:, 1])))


@dataclass(frozen=True, eq=False)
class Network:
    """One run as copper and rings, per metre of one lead: C dT/dt = i²R(T) − loss.

    capacity_J_mK     (n,) copper with half the first ring … the outermost half ring
    conductance_W_mK  (n−1,) between neighbours
    diameter_m        of the surface
    """

    capacity_J_mK: Floats
    conductance_W_mK: Floats
    diameter_m: float


def network(
    run: WireRun, diameter_factor: float = 1.0, jacket_factor: float = 1.0, conductivity_factor: float = 1.0
) -> Network:
    """Nodes at the ring boundaries, each with the heat capacity up to half way to its neighbours.

    Copper 3.45e6 J/(m³ K); jacket heat capacity and conductivity by material. diameter_factor scales the
    outer diameter (never below 2 % more than the conductor), jacket_factor the heat that the jacket holds,
    conductivity_factor how well it conducts.
    """
    size = run.size
    inner = size.strand_diameter_mm * 5e-4
    copper = value("copper_heat_capacity") * size.area_mm2 * 1e-6
    if size.material == "bare":
        outer = inner * 1.001  # one film of no weight: the network keeps its shape
        per_volume, conductivity = 1.0, 1.0
    else:
        outer = max(size.outer_diameter_mm * 5e-4 * diameter_factor, inner * 1.02)
        per_volume = jacket_factor * value("jacket_heat_capacity", size.material)
        conductivity = value("jacket_conductivity", size.material)
    conductivity = (run.jacket_conductivity_W_mK or conductivity) * conductivity_factor
    growth = np.cumsum((0.0, *RING_GROWTH))
    radius = inner + (outer - inner) * growth / growth[-1]
    edge = np.concatenate(([inner], (radius[1:] + radius[:-1]) / 2, [outer]))
    capacity = np.array([per_volume * math.pi * (b * b - a * a) for a, b in pairwise(edge)])
    capacity[0] += copper
    conductance = 2 * math.pi * conductivity / np.log(radius[1:] / radius[:-1])
    return Network(capacity, conductance, 2 * outer)
