"""How long a pack takes to cool and to charge, and when neither may be said.

Cooling: one lump, C·dT/dt = −G·(T − air), exact. Charging: constant current, then constant voltage, on an
open-circuit curve and one resistance: I = min(rate, power/V, (full − OCV)/R) and t = ∫ Q/I ds until I falls to a
twentieth of the capacity. Within 10 % of a single-particle simulation of a pouch cell (tests). Lithium-polymer of
4.20 V only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.pack_model.open_circuit import AI_2020_V, CHARGE, ECKER_2015_V
from analysis.signal import Floats, Measured

CHARGE_RANGE_DEGC = (0.0, 40.0)  # makers' data: not below 0 °C nor above about 40 °C
LEAST_CELL_V = 3.0  # general practice: a cell that was below this is suspect
FULL_CELL_V = 4.20
STOP_SHARE = 0.05  # chargers stop at a twentieth of the capacity's current (common practice, no source)
USUAL_C = 1.0  # makers' data: 1C unless they allow more
BALANCE_MIN = 5.0  # our choice: what a charger takes to even out a sound pack
CHARGE_SPREAD = 0.10  # the model against simulated cells, and the label's capacity against the pack's own
# A pack in still air loses 10 W/(m² K) (natural convection and radiation at small differences, handbook figure);
# its surface from its mass: 2 g/cm³ and a box of usual proportions, 6.5·V^(2/3). Our choice: 1.6 times either way.
LOSS_W_M2K, PACK_G_CM3, BOX, COOLING_SPREAD = 10.0, 2.0, 6.5, 1.6
PACK_J_GK = 1.0  # J/(g K), of lithium cells 0.8 to 1.1


def cooled_degC(start_degC: float, air_degC: float, after_s: float, time_constant_s: float) -> float:
    """Temperature of one lump in still air after a time: air + (start − air)·exp(−t/τ). τ above 0."""
    return air_degC + (start_degC - air_degC) * math.exp(-after_s / time_constant_s)


def cooling_s(start_degC: float, air_degC: float, to_degC: float, time_constant_s: float) -> float:
    """Seconds until it is down to to_degC; 0 where it is already, inf where the air is not below it."""
    if start_degC <= to_degC:
        return 0.0
    if air_degC >= to_degC:
        return math.inf
    return time_constant_s * math.log((start_degC - air_degC) / (to_degC - air_degC))


def pack_time_constant_s(mass_g: float) -> Measured:
    """τ = m·cp/(h·A) of a bare pack on the bench: about half an hour at 500 g."""
    area_m2 = BOX * (mass_g / PACK_G_CM3) ** (2.0 / 3.0) * 1e-4
    tau = mass_g * PACK_J_GK / (LOSS_W_M2K * area_m2)
    return Measured(tau, tau / COOLING_SPREAD, tau * COOLING_SPREAD, "bare pack in still air")


@dataclass(frozen=True)
class Charge:
    """Minutes of constant current (the power limit included) and of constant voltage."""

    constant_current_min: float
    constant_voltage_min: float

    @property
    def minutes(self) -> float:
        return self.constant_current_min + self.constant_voltage_min


def lithium_polymer_V(charge: Floats) -> Floats:
    """Open-circuit volts of a cell, the mean of two published ones (analysis.pack_model.open_circuit)."""
    return np.asarray(np.interp(charge, CHARGE, 0.5 * (AI_2020_V + ECKER_2015_V)))


def charge_time(
    start: float,
    *,
    capacity_Ah: float,
    cells: int,
    pack_ohm: float,
    limit_A: float,
    limit_W: float = math.inf,
    charge: Floats = CHARGE,
    rest_V: Floats | None = None,
    full_V: float = FULL_CELL_V,
    stop_A: float | None = None,
) -> Charge:
    """Minutes to charge from start (0 to 1).

    limit_A, limit_W   of the charger and the pack, whichever is less; pack_ohm of the whole pack, some seconds' figure
    charge, rest_V     the curve of one cell (default lithium-polymer); stop_A default a twentieth of the capacity
    """
    curve = lithium_polymer_V(charge) if rest_V is None else rest_V
    stop = STOP_SHARE * capacity_Ah if stop_A is None else stop_A
    s = np.linspace(start, 1.0, 20_001)
    rest = cells * np.interp(s, charge, curve)
    ohm = max(pack_ohm, 1e-6)
    by_volts = np.maximum(cells * full_V - rest, 0.0) / ohm
    # P = I·(OCV + I·R), solved for I.
    by_power = np.full(len(s), math.inf)
    if math.isfinite(limit_W):
        by_power = (np.sqrt(rest**2 + 4.0 * ohm * limit_W) - rest) / (2.0 * ohm)
    held = np.minimum(limit_A, by_power)
    amps = np.minimum(held, by_volts)
    done = np.flatnonzero(amps <= stop)
    end = int(done[0]) + 1 if len(done) else len(s)
    minutes = 60.0 * capacity_Ah / np.maximum(amps[:end], stop)
    steps = 0.5 * (minutes[1:] + minutes[:-1]) * np.diff(s[:end])
    in_volts = by_volts[1:end] < held[1:end]
    return Charge(float(steps[~in_volts].sum()), float(steps[in_volts].sum()))
