"""Steady current and temperature of a run, and the adiabatic equation for short circuits.

Steady: I²·R(Tc) = G(Ts)·(Ts − Ta) = (Tc − Ts)/R_jacket, R_jacket = ln(D/d)/(2πk), per metre of one lead.
Adiabatic (IEC 60949, IEC 60364-5-54 annex A): I²t = K²·A²·ln((β + T2)/(β + T1)), K = 226 A·√s/mm²,
β = 234.5 °C, no loss to the surroundings: exact for a dead short, on the safe side beyond 5 s.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from .cooling import convection_spread, convection_W_m2K, radiation_W_m2K
from .ratings import COPPER_RANGE_DEGC, OutsideValidity, copper_factor, value
from .signal import Measured
from .wire_run import WireRun, loss_factor, network

BASIS: Final = "convection ±25 % or more, laying, strands"


def k_factor(start_degC: float, end_degC: float) -> float:
    """k = 226·√ln((234.5 + T2)/(234.5 + T1)) in A·√s/mm² (IEC 60364-5-54 annex A), for −50…1083 °C.

    Raises OutsideValidity beyond that range or where the end is colder.
    """
    for temp in (start_degC, end_degC):
        if not COPPER_RANGE_DEGC[0] <= temp <= 1083:
            raise OutsideValidity(f"copper at {temp:g} degC: the adiabatic equation holds from -50 to 1083 degC")
    if end_degC < start_degC:
        raise OutsideValidity(f"a wire does not heat from {start_degC:g} down to {end_degC:g} degC")
    beta = value("copper_zero_resistance")
    return value("copper_adiabatic_K") * math.sqrt(math.log((beta + end_degC) / (beta + start_degC)))


def adiabatic_i2t(area_mm2: float, start_degC: float, end_degC: float) -> float:
    """∫i²dt in A²s that takes copper of that area from start to end without loss; same range as k_factor."""
    return (k_factor(start_degC, end_degC) * area_mm2) ** 2


def adiabatic_temperature_degC(area_mm2: float, i2t_A2s: float, start_degC: float) -> float:
    """The copper's temperature after ∫i²dt without loss; OutsideValidity past 1083 °C (it melts)."""
    beta = value("copper_zero_resistance")
    end = (beta + start_degC) * math.exp(min(i2t_A2s / (value("copper_adiabatic_K") * area_mm2) ** 2, 50.0)) - beta
    k_factor(start_degC, end)  # raises outside the range
    return end


def adiabatic_time_s(area_mm2: float, current_A: float, start_degC: float, end_degC: float) -> float:
    """Seconds of steady current from start to end without loss: shorter than the real time beyond 5 s."""
    return adiabatic_i2t(area_mm2, start_degC, end_degC) / current_A**2


def steady_current(run: WireRun, conductor_degC: float, air_degC: float = 25.0) -> Measured:
    """The current (all parallel leads together) that holds the copper at that temperature in still air.

    Interval: convection ±25 % or as far as two published laws lie apart, the laying, resistance +13 % (fine strands),
    each alone, in quadrature.
    Holds for conductor temperatures above the air up to 250 °C; a single long horizontal run.
    Raises OutsideValidity beyond that.
    """
    if not air_degC < conductor_degC <= COPPER_RANGE_DEGC[1]:
        raise OutsideValidity(f"no current holds a wire at {conductor_degC:g} degC in air of {air_degC:g} degC")
    mid, low, high = loss_factor(run)
    surface = _Surface(run, air_degC)

    def current(laying: float, air: int, ohms: float) -> float:
        watt = surface.loss_with_copper_at(conductor_degC, laying, air)
        ohm_per_m = run.mohm_per_m * 1e-3 * ohms * copper_factor(conductor_degC)
        return run.parallel * math.sqrt(watt / ohm_per_m)

    most = 1 + run.resistance_spread
    base = current(mid, 0, 1.0)
    down = math.hypot(base - current(low, -1, 1.0), base - current(mid, 0, most))
    up = current(high, 1, 1.0) - base
    return Measured(base, base - down, base + up, BASIS)


def steady_temperature(run: WireRun, current_A: float, air_degC: float = 25.0) -> Measured:
    """The copper's temperature after a long time at that current (all parallel leads together), still air.

    Raises OutsideValidity where it would pass 250 °C; the upper end is inf where only that passes 250 °C.
    """
    mid, low, high = loss_factor(run)
    watt_20 = (current_A / run.parallel) ** 2 * run.mohm_per_m * 1e-3
    wire = _Surface(run, air_degC)

    def temperature(laying: float, air: int, ohms: float) -> float:
        top = COPPER_RANGE_DEGC[1]
        if wire.loss_with_copper_at(top, laying, air) < watt_20 * ohms * copper_factor(top):
            return math.inf

        def surplus(surface: float) -> float:
            watt = wire.loss_W_m(surface, laying, air)
            copper = surface + watt * wire.jacket_K_m_W
            return watt - watt_20 * ohms * copper_factor(min(copper, top))

        surface = _root(surplus, air_degC, top)
        return surface + wire.loss_W_m(surface, laying, air) * wire.jacket_K_m_W

    base = temperature(mid, 0, 1.0)
    if math.isinf(base):
        raise OutsideValidity(f"{current_A:g} A has no steady temperature below 250 degC in {run.id}")
    up = math.hypot(temperature(low, -1, 1.0) - base, temperature(mid, 0, 1 + run.resistance_spread) - base)
    down = base - temperature(high, 1, 1.0)
    return Measured(base, base - down, base + up, BASIS)


class _Surface:
    """The loss of one metre of one lead in that air."""

    def __init__(self, run: WireRun, air_degC: float) -> None:
        net = network(run)
        self.air_degC = air_degC
        self.unsure = value("convection_uncertainty") / 100
        self.emissivity = run.surface_emissivity
        self.diameter_m = net.diameter_m
        self.jacket_K_m_W = float((1 / net.conductance_W_mK).sum())

    def loss_W_m(self, surface_degC: float, laying: float, end: int) -> float:
        """end: 0 the middle, -1 and 1 the ends of what the published laws of convection leave open."""
        h = float(convection_W_m2K(self.diameter_m, surface_degC, self.air_degC))
        if end:
            low, high = convection_spread(self.diameter_m, surface_degC, self.air_degC, self.unsure)
            h *= float(low) if end < 0 else float(high)
        h += float(radiation_W_m2K(self.emissivity, surface_degC, self.air_degC))
        return laying * math.pi * self.diameter_m * h * (surface_degC - self.air_degC)

    def loss_with_copper_at(self, copper_degC: float, laying: float, end: int) -> float:
        def surplus(surface: float) -> float:
            return self.loss_W_m(surface, laying, end) - (copper_degC - surface) / self.jacket_K_m_W

        return self.loss_W_m(_root(surplus, self.air_degC, copper_degC), laying, end)


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses zero between low and high, by bisection to 1e-9 of the span."""
    for _ in range(32):
        middle = (low + high) / 2
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
