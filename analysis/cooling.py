"""How a horizontal wire gives its heat to still air: natural convection, radiation, the jacket in between.

Equations (lengths in metres, temperatures in kelvin unless the name says °C):

* Natural convection, Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1049, horizontal cylinder:
  Nu = (0.60 + 0.387·Ra^(1/6) / (1 + (0.559/Pr)^(9/16))^(8/27))², 1e-5 < Ra < 1e12,
  Ra = g·β·|ΔT|·D³·Pr/ν², β = 1/T_film, h = Nu·k/D, air taken at the film temperature.
* Morgan, Advances in Heat Transfer 11 (1975) 199, the same cylinder: Nu = C·Ra^n in five ranges. Where thin wires are
  (Ra 1…500) it gives 20…25 % more than Churchill and Chu, below Ra 1e-2 up to 17 % less. Neither is known to be the
  right one, so `convection_spread` holds both.
* Radiation to surroundings at the air's temperature: ε·σ·(Ts⁴ − Ta⁴).
* Air: Sutherland's law for viscosity and conductivity, ideal gas at 101 325 Pa. Constants from F. M. White,
  Viscous Fluid Flow (recalled); within 2 % of tabulated dry air from 230 to 700 K (the tests hold it to that).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from .signal import Floats

KELVIN: Final = 273.15
SIGMA_W_M2K4: Final = 5.670374e-8  # Stefan–Boltzmann, CODATA
GRAVITY_M_S2: Final = 9.80665  # standard gravity
PRESSURE_PA: Final = 101_325.0  # standard atmosphere; 1000 m higher is 6 % less convection
GAS_J_KGK: Final = 287.05  # dry air


def air_conductivity_W_mK(film_K: npt.ArrayLike) -> Floats:
    """Conductivity of dry air in W/(m K), Sutherland form; within 2 % from 230 to 700 K."""
    t = np.asarray(film_K, dtype=np.float64)
    return 0.0241 * (t / 273.0) ** 1.5 * (273.0 + 194.0) / (t + 194.0)


def air_viscosity_m2_s(film_K: npt.ArrayLike) -> Floats:
    """Kinematic viscosity of dry air at one atmosphere in m²/s; within 2 % from 230 to 700 K."""
    t = np.asarray(film_K, dtype=np.float64)
    dynamic = 1.716e-5 * (t / 273.0) ** 1.5 * (273.0 + 111.0) / (t + 111.0)
    return dynamic * GAS_J_KGK * t / PRESSURE_PA


def air_prandtl(film_K: npt.ArrayLike) -> Floats:
    """Prandtl number of dry air, µ·cp/k; within 2 % from 230 to 700 K."""
    t = np.asarray(film_K, dtype=np.float64)
    density = PRESSURE_PA / (GAS_J_KGK * t)
    heat_capacity = 1002.5 + 275e-6 * (t - 200.0) ** 2  # J/(kg K), Bejan, Heat Transfer, recalled
    return air_viscosity_m2_s(t) * density * heat_capacity / air_conductivity_W_mK(t)


def nusselt_cylinder(rayleigh: npt.ArrayLike, prandtl: npt.ArrayLike) -> Floats:
    """Churchill and Chu 1975 for a long horizontal cylinder; holds for 1e-5 < Ra < 1e12."""
    ra = np.asarray(rayleigh, dtype=np.float64)
    pr = np.asarray(prandtl, dtype=np.float64)
    return np.square(0.60 + 0.387 * ra ** (1 / 6) / (1 + (0.559 / pr) ** (9 / 16)) ** (8 / 27))


# Morgan 1975: up to this Ra, C, n (from memory; the tests hold them to a heat-transfer library).
MORGAN: Final = (
    (1e-2, 0.675, 0.058), (1e2, 1.02, 0.148), (1e4, 0.850, 0.188), (1e7, 0.480, 0.250), (1e12, 0.125, 0.333),
)  # fmt: skip
MORGAN_SCATTER: Final = 0.05  # Morgan's own estimate of what his fit may be off (from memory)


def nusselt_morgan(rayleigh: npt.ArrayLike) -> Floats:
    """Morgan 1975 for a long horizontal cylinder in air; holds for 1e-10 < Ra < 1e12."""
    ra = np.asarray(rayleigh, dtype=np.float64)
    ranges = [ra < top for top, _, _ in MORGAN]
    return np.asarray(np.select(ranges, [c * ra**n for _, c, n in MORGAN], MORGAN[-1][1] * ra ** MORGAN[-1][2]))


def rayleigh_cylinder(diameter_m: npt.ArrayLike, surface_degC: npt.ArrayLike, air_degC: npt.ArrayLike) -> Floats:
    """g·β·|ΔT|·D³·Pr/ν² of a cylinder in air, properties at the film temperature (230…700 K); arrays broadcast."""
    surface = np.asarray(surface_degC, dtype=np.float64) + KELVIN
    air = np.asarray(air_degC, dtype=np.float64) + KELVIN
    film = (surface + air) / 2
    rise = GRAVITY_M_S2 / film * np.abs(surface - air) * np.asarray(diameter_m, dtype=np.float64) ** 3
    return rise * air_prandtl(film) / air_viscosity_m2_s(film) ** 2


def convection_spread(
    diameter_m: npt.ArrayLike, surface_degC: npt.ArrayLike, air_degC: npt.ArrayLike, least: float
) -> tuple[Floats, Floats]:
    """(low, high) factors on the coefficient: ± least, and as far as Morgan with his own scatter lies off.

    least: the share by which every correlation may be off. Near ΔT = 0 (Ra below 1e-5) only ± least.
    """
    ra = rayleigh_cylinder(diameter_m, surface_degC, air_degC)
    film = (np.asarray(surface_degC, dtype=np.float64) + np.asarray(air_degC, dtype=np.float64)) / 2 + KELVIN
    there = ra > 1e-5
    known = np.where(there, ra, 1.0)
    ratio = np.where(there, nusselt_morgan(known) / nusselt_cylinder(known, air_prandtl(film)), 1.0)
    low = np.minimum(1.0 - least, ratio * (1.0 - MORGAN_SCATTER))
    high = np.maximum(1.0 + least, ratio * (1.0 + MORGAN_SCATTER))
    return low, high


def convection_W_m2K(diameter_m: npt.ArrayLike, surface_degC: npt.ArrayLike, air_degC: npt.ArrayLike) -> Floats:
    """Natural-convection coefficient h of a horizontal cylinder in still air, W/(m² K); arrays broadcast.

    Holds for Ra 1e-5…1e12, that is any wire above 0.1 mm and 0.1 K; at ΔT = 0 the conduction limit 0.36·k/D
    of the correlation is returned. Film temperatures 230…700 K.
    """
    diameter = np.asarray(diameter_m, dtype=np.float64)
    surface = np.asarray(surface_degC, dtype=np.float64) + KELVIN
    air = np.asarray(air_degC, dtype=np.float64) + KELVIN
    film = (surface + air) / 2
    prandtl = air_prandtl(film)
    ra = rayleigh_cylinder(diameter, surface - KELVIN, air - KELVIN)
    return nusselt_cylinder(ra, prandtl) * air_conductivity_W_mK(film) / diameter


def radiation_W_m2K(emissivity: npt.ArrayLike, surface_degC: npt.ArrayLike, air_degC: npt.ArrayLike) -> Floats:
    """Radiation coefficient ε·σ·(Ts² + Ta²)·(Ts + Ta) in W/(m² K), surroundings large and at the air's
    temperature."""
    surface = np.asarray(surface_degC, dtype=np.float64) + KELVIN
    air = np.asarray(air_degC, dtype=np.float64) + KELVIN
    return np.asarray(emissivity) * SIGMA_W_M2K4 * (surface**2 + air**2) * (surface + air)
