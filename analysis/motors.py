"""Motor constants, winding resistance and temperature.

DC or DC-equivalent quantities: Kt = 60/(2π·Kv), n = Kv·(V − I·R), T = Kt·(I − I0), I_stall = V/R with R all the
resistance in the loop. For three-phase motors Kv and the winding are taken between two leads. Copper:
R(T) = R20·(1 + 0.00393·(T − 20)) (IEC 60028); a temperature from two resistances uses the 234.5 °C form.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from ingest.tables.curves import parse_motor_class

from .binned import Binned
from .ratings import COPPER_RANGE_DEGC, OutsideValidity, Rating, copper_factor, rating, stated, value
from .signal import Floats, Measured
from .two_node import TwoNode

if TYPE_CHECKING:
    from ingest.builds import Motor

CurrentIs = Literal["dc", "phase_peak", "phase_rms"]

# I²R in the whole motor over the logged current squared and the resistance between two leads (star or delta
# alike): dc-equivalent flows through two leads; three phases of r.m.s. I each carry half of it: 3·I²·R/2; a
# sine's peak is √2 of that.
HEAT_FACTOR: dict[CurrentIs, float] = {"dc": 1.0, "phase_rms": 1.5, "phase_peak": 0.75}


def torque_constant_Nm_A(kv_rpm_per_V: float) -> float:
    """Kt = 60/(2π·Kv) in N·m/A; Kv above 0, in rpm/V. Convention of Kv (peak between leads) decides for AC."""
    _positive(kv_rpm_per_V, "kv_rpm_per_V")
    return 60 / (2 * math.pi * kv_rpm_per_V)


def stall_current_A(supply_V: float, loop_mohm: float) -> float:
    """I = V/R at standstill, R the pack, harness, controller and winding together, in mΩ above 0."""
    _positive(loop_mohm, "the loop's resistance")
    return supply_V / (loop_mohm * 1e-3)


def speed_rpm(kv_rpm_per_V: float, supply_V: float, current_A: float, loop_mohm: float) -> float:
    """n = Kv·(V − I·R) in rpm, iron loss neglected; negative where the load drives it backwards."""
    _positive(kv_rpm_per_V, "kv_rpm_per_V")
    return kv_rpm_per_V * (supply_V - current_A * loop_mohm * 1e-3)


def torque_Nm(kv_rpm_per_V: float, current_A: float, no_load_A: float = 0.0) -> float:
    """T = Kt·(I − I0) in N·m; 0 while the current is below the no-load current."""
    return torque_constant_Nm_A(kv_rpm_per_V) * max(current_A - no_load_A, 0.0)


def winding_mohm_at(winding_mohm: float, temp_degC: float, at_degC: float = 20.0) -> float:
    """The winding's resistance at a temperature, from its figure at `at_degC` (20 °C, 25 °C…); −50…250 °C."""
    return winding_mohm * copper_factor(temp_degC) / copper_factor(at_degC)


def coefficient_1_K(reference_degC: float) -> float:
    """Temperature coefficient of copper for a resistance quoted at that temperature: 0.003854 at 25 °C."""
    return value("copper_temperature_coefficient", "20 degC") / copper_factor(reference_degC)


def winding_degC_from_resistance(cold_mohm: float, cold_degC: float, hot_mohm: float) -> float:
    """T2 = (234.5 + T1)·R2/R1 − 234.5 (IEC 60364-5-54 constants), result −50…250 °C.

    Raises OutsideValidity beyond that.
    """
    _positive(cold_mohm, "the cold resistance")
    beta = value("copper_zero_resistance")
    hot = (beta + cold_degC) * hot_mohm / cold_mohm - beta
    if not COPPER_RANGE_DEGC[0] <= hot <= COPPER_RANGE_DEGC[1]:
        raise OutsideValidity(f"resistances {cold_mohm:g} and {hot_mohm:g} mohm give {hot:.0f} degC: not a winding")
    return hot


def steady_winding_degC(
    current_A: float, winding_mohm_25: float, winding_body_K_W: float, body_air_K_W: float, air_degC: float
) -> float:
    """Winding after a long time with its own resistance rising: Tw = (Ta + P·Rth·(1 − 25·a))/(1 − P·Rth·a).

    P = I²·R25, a = 0.003854 1/K (25 °C). OutsideValidity at and above the runaway current, and past 250 °C.
    """
    a = coefficient_1_K(25.0)
    rise = current_A**2 * winding_mohm_25 * 1e-3 * (winding_body_K_W + body_air_K_W)
    if rise * a >= 1:
        raise OutsideValidity(f"{current_A:g} A has no steady state: the winding's resistance runs away")
    steady = (air_degC + rise * (1 - 25 * a)) / (1 - rise * a)
    if steady > COPPER_RANGE_DEGC[1]:
        raise OutsideValidity(f"{current_A:g} A would end above 250 degC, where the resistance law ends")
    return steady


def runaway_current_A(winding_mohm_25: float, winding_body_K_W: float, body_air_K_W: float) -> float:
    """Above this no steady state exists: I²·R25·a25·Rth = 1."""
    heat = winding_mohm_25 * 1e-3 * coefficient_1_K(25.0) * (winding_body_K_W + body_air_K_W)
    _positive(heat, "winding and thermal resistances")
    return math.sqrt(1 / heat)


def class_limit(letter: str) -> Rating:
    """Hot-spot limit of a motor insulation class, IEC 60085 (N and R from memory); UnknownName for another."""
    return rating("motor_class", parse_motor_class(letter))


def magnet_limit(grade: str) -> Rating:
    """Usual working limit of a neodymium magnet grade: N, H, SH, UH (memory; the maker's data sheet decides)."""
    return rating("magnet_limit", grade)


def motor_limit(motor: Motor, file: str = "build file") -> Rating:
    """The limit of a motor: as stated, else of its class, else class F, 155 °C (our choice)."""
    if motor.limit_degC is not None:
        return stated("motor_limit", motor.limit_degC, "degC", file, f"motor.{motor.id}.limit_degC")
    if motor.insulation_class is not None:
        return class_limit(motor.insulation_class)
    return rating("motor_limit", "default")


def winding_estimate(
    motor: Motor,
    load: Binned,
    air_degC: float = 25.0,
    *,
    current_is: CurrentIs | None = None,
    start_degC: float | None = None,
) -> tuple[Floats, Measured]:
    """An estimate of the winding's temperature from current alone: (curve at the bin edges in °C, peak).

    motor       needs winding_mohm and mass_g (of one motor); `count` motors share the current equally
    load        motor current squared in bins, of the controller; current_is says which current was logged

    Two nodes: copper 17 % of the mass (10…25 %), 20 s to the body (8…45 s), 700 s to the air, all our choice; the
    resistance follows the winding. Worth a factor of two, which is why its interval is wide: a thermometer on
    the motor after the match beats it. Iron loss is left out. Holds to 250 °C; beyond, "at least".
    Raises OutsideValidity with the mend where the build says too little.
    """
    for given, key in ((motor.winding_mohm, "winding_mohm"), (motor.mass_g, "mass_g")):
        if given is None:
            raise OutsideValidity(f"{key} of {motor.id} is not known", f'state {key} in [[motor]] "{motor.id}"')
    if current_is is None:
        raise OutsideValidity(
            f"which current of {motor.id} was logged is not known",
            'state motor_current_is = "dc", "phase_peak" or "phase_rms" in the controller',
        )
    ohm = float(motor.winding_mohm or 0) * 1e-3
    heat = load.mean_i2 / motor.count**2 * HEAT_FACTOR[current_is] * ohm
    shares = {key: value("motor_copper_share", key) / 100 for key in ("low", "default", "high")}
    taus = {key: value("motor_winding_time_constant", key) for key in ("low", "default", "high")}
    mass_kg = float(motor.mass_g or 0) * 1e-3
    begin = air_degC if start_degC is None else start_degC

    def course(share: str, tau: str) -> Floats:
        return _with_resistance(_nodes(mass_kg, shares[share], taus[tau]), load.edges_s, heat, air_degC, begin)

    base = course("default", "default")
    low, high = course("high", "low"), course("low", "high")
    top = COPPER_RANGE_DEGC[1]
    peak = float(base.max())
    basis = "estimate from current and mass: copper share 10…25 %, 8…45 s to the body (our choice)"
    if peak > top:
        basis = "estimate; passes 250 °C, where the model ends: at least this"
        return np.minimum(base, top), Measured(top, min(float(low.max()), top), math.inf, basis)
    worst = float(high.max())
    return base, Measured(peak, float(low.max()), math.inf if worst > top else worst, basis)


def _nodes(mass_kg: float, copper_share: float, tau_s: float) -> TwoNode:
    inner = mass_kg * copper_share * value("copper_specific_heat")
    outer = mass_kg * (1 - copper_share) * value("motor_body_specific_heat")
    return TwoNode(inner, outer, tau_s / inner, value("motor_body_time_constant") / outer)


def _with_resistance(nodes: TwoNode, edges: Floats, heat_20: Floats, air: float, begin: float) -> Floats:
    """The inner node with its loss following its own temperature: at most twelve passes of a fixed point, to
    0.01 °C; past 400 °C (beyond validity) the resistance is held, to stay finite."""
    inner = np.full(edges.shape[0], begin)
    for _ in range(12):
        middle = np.minimum((inner[1:] + inner[:-1]) / 2, 400.0)
        factor = 1 + value("copper_temperature_coefficient", "20 degC") * (middle - 20)
        before = inner
        inner = np.minimum(nodes.temperatures(edges, heat_20 * factor, air, (begin, begin))[0], 1000.0)
        if float(np.abs(inner - before).max()) < 0.01:
            break
    return inner


def _positive(figure: float, what: str) -> None:
    if not figure > 0 or not math.isfinite(figure):
        raise OutsideValidity(f"{what} must be above 0, not {figure:g}", f"state {what}")
