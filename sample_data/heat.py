"""Temperatures of the simulated robot, stepped every 50 ms.

A wire is one node of copper and jacket that loses heat through the jacket, by free convection from a horizontal
cylinder (Morgan 1975: Nu = 1.02 Ra^0.148 below Ra = 100, 0.850 Ra^0.188 from 100 to 10,000; coefficients from memory)
and by radiation at emissivity 0.9. A joint is one node; controllers and motors are two.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .parts import COPPER_PER_K, BuildSpec, Heat, PackSpec, Run, awg_area_mm2

Floats = npt.NDArray[np.float64]

COPPER_J_per_mm2_m_K = 8.96 * 0.385  # density (g/cm3) times heat capacity (J/gK), handbook values from memory
SILICONE_J_per_mm2_m_K = 1.2 * 1.3  # the same for silicone rubber jacket, from memory
SILICONE_W_per_mK = 0.2  # silicone rubber, from memory
STEFAN_BOLTZMANN = 5.670374419e-8


def jacket_mm(awg: int) -> float:
    """Silicone wall of high-strand hook-up wire; our choice: 0.8 mm for power sizes, 0.5 mm below 18 AWG."""
    return 0.8 if awg <= 18 else 0.5


class WireHeat:
    """All runs at once, vectorised over runs."""

    def __init__(self, runs: tuple[Run, ...], air_degC: float) -> None:
        area = np.array([awg_area_mm2(r.awg) for r in runs])
        copper_d = np.sqrt(area / np.pi) * 2.0 * 1.15  # strands leave gaps: 15 % over a solid rod
        outer_d = copper_d + 2.0 * np.array([jacket_mm(r.awg) for r in runs])
        jacket_area = np.pi / 4.0 * (outer_d**2 - copper_d**2)
        # three motor leads share: each carries the DC-equivalent current two thirds of the time
        self.share = np.array([2.0 / 3.0 if r.conductors == 3 else 1.0 for r in runs])
        self.ohm_per_m = 0.017241 / area
        self.C_J_per_mK = COPPER_J_per_mm2_m_K * area + SILICONE_J_per_mm2_m_K * jacket_area
        self.surface_m2_per_m = np.pi * outer_d * 1e-3
        self.outer_m = outer_d * 1e-3
        self.jacket_mK_per_W = np.log(outer_d / copper_d) / (2.0 * np.pi * SILICONE_W_per_mK)
        self.air_degC = air_degC
        self.degC: Floats = np.full(len(runs), air_degC)
        self.lost_W_per_m: Floats = np.zeros(len(runs))

    def loss_W_per_m(self, surface_degC: Floats) -> Floats:
        rise = np.maximum(surface_degC - self.air_degC, 1e-3)
        film_degC = 0.5 * (surface_degC + self.air_degC)
        conductivity = 0.0242 + 7.2e-5 * film_degC  # of dry air at 1 atm, W/mK, a line through tables (memory)
        viscosity = 1.33e-5 * (1.0 + film_degC / 273.15) ** 1.75  # kinematic, m2/s, likewise
        rayleigh = 9.81 / (film_degC + 273.15) * rise * self.outer_m**3 / viscosity**2 * 0.71
        nusselt = np.where(rayleigh < 100.0, 1.02 * rayleigh**0.148, 0.850 * rayleigh**0.188)
        convected = nusselt * conductivity / self.outer_m * rise
        radiated = 0.9 * STEFAN_BOLTZMANN * ((surface_degC + 273.15) ** 4 - (self.air_degC + 273.15) ** 4)
        return self.surface_m2_per_m * (convected + radiated)

    def step(self, mean_square_A2: Floats, dt_s: float) -> Floats:
        made = mean_square_A2 * self.share * self.ohm_per_m * (1.0 + COPPER_PER_K * (self.degC - 20.0))
        # the surface lags the copper by what the jacket holds back; the last loss stands for the present one
        self.lost_W_per_m = 0.5 * (
            self.lost_W_per_m + self.loss_W_per_m(self.degC - self.lost_W_per_m * self.jacket_mK_per_W)
        )
        self.degC = self.degC + dt_s / self.C_J_per_mK * (made - self.lost_W_per_m)
        return self.degC


class TwoNode:
    def __init__(self, heat: Heat, air_degC: float) -> None:
        self.heat, self.air_degC = heat, air_degC
        self.hot_degC = self.case_degC = air_degC

    def step(self, made_W: float, dt_s: float) -> float:
        h = self.heat
        across = h.hot_to_case_W_per_K * (self.hot_degC - self.case_degC)
        away = h.case_to_air_W_per_K * (self.case_degC - self.air_degC)
        self.hot_degC += dt_s * (made_W - across) / h.hot_J_per_K
        self.case_degC += dt_s * (across - away) / h.case_J_per_K
        return self.hot_degC


class JointHeat:
    """One pole of a joint, the worst: what a fault adds sits in one pole.

    The conductance follows from the stated rise at the rated current with the healthy pole's resistance.
    """

    def __init__(self, build: BuildSpec, joint_id: str, air_degC: float) -> None:
        joint = build.joint(joint_id)
        self.added_ohm = 0.0
        self.pole_ohm = joint.resistance_mohm * 1e-3
        self.loop_ohm = joint.loop_ohm
        self.W_per_K = joint.rated_A**2 * self.pole_ohm / joint.rise_at_rated_K
        self.J_per_K = self.W_per_K * joint.time_constant_s
        self.air_degC = self.degC = air_degC

    @property
    def ohm(self) -> float:
        """What the loop sees: all poles and the fault."""
        return self.loop_ohm + self.added_ohm

    def step(self, mean_square_A2: float, dt_s: float) -> float:
        made_W = mean_square_A2 * (self.pole_ohm + self.added_ohm)
        self.degC += dt_s / self.J_per_K * (made_W - self.W_per_K * (self.degC - self.air_degC))
        return self.degC


class PackHeat:
    """The pack as one lump, losing little to the air during a match (0.25 W/K, our choice)."""

    def __init__(self, pack: PackSpec, air_degC: float) -> None:
        self.J_per_K = pack.mass_g  # about 1 J/gK for a lithium-polymer pack (memory: 0.9 to 1.1)
        self.degC, self.air_degC = pack.start_degC, air_degC

    def step(self, made_W: float, dt_s: float) -> float:
        self.degC += dt_s / self.J_per_K * (made_W - 0.25 * (self.degC - self.air_degC))
        return self.degC
