"""Open-circuit voltage of a lithium-polymer cell against its charge, and what cold does to its resistance."""

from __future__ import annotations

import numpy as np

from analysis.pack_model.common import NotFitted
from analysis.signal import Floats, Measured

CHARGE = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0])
# Ai et al. 2020, cobalt-oxide/graphite pouch cell, 25 °C, as computed with PyBaMM 26.10.1.1 (set Ai2020).
AI_2020_V = np.array([3.0, 3.5421, 3.6396, 3.6954, 3.7331, 3.7622, 3.7925, 3.8365, 3.9089, 3.9945, 4.0879, 4.1384, 4.2])
# Ecker et al. 2015, lithium-polymer pouch cell, as computed with PyBaMM 26.10.1.1 (set Ecker2015).
ECKER_2015_V = np.array([2.5, 3.2938, 3.4586, 3.587, 3.7094, 3.77, 3.7873, 3.8155, 3.8823, 3.9868, 4.0789, 4.1353, 4.2])
# The polynomial is of an old cell that ends at 4.10 V, so it takes part only where all three agree on what full is.
POLYNOMIAL_TO = 0.80
CELL_SPREAD_V = 0.010  # our choice: cells of other makers with the same chemistry
TOP_V = 4.25  # our choice: above this the cell is not a 4.20 V one, or the voltage is wrong
BOTTOM_V = 3.0
WITHOUT_CURVE = {
    "lithium-iron-phosphate": "the voltage of lithium-iron-phosphate hardly moves with charge",
    "lithium-polymer-hv": "no published curve for high-voltage cells is at hand",
    "lithium-ion": "lithium-ion cells differ too much from one another for one curve",
}
GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA
# From memory, to be confirmed: activation energy of a lithium-polymer cell's resistance at 1 s, kJ/mol.
ACTIVATION_KJ_MOL = Measured(22.0, 10.0, 38.0, "activation energy from memory, wide")
COLD_RANGE_DEGC = (-10.0, 60.0)


def chen_rincon_mora_V(charge: Floats | float) -> Floats:
    """Open-circuit voltage of a 0.85 Ah polymer cell (Chen and Rincon-Mora 2006), charge 0 to 1."""
    s = np.asarray(charge, dtype=np.float64)
    return np.asarray(-1.031 * np.exp(-35 * s) + 3.685 + 0.2156 * s - 0.1178 * s**2 + 0.3201 * s**3)


def open_circuit_cell_V(charge: float) -> Measured | NotFitted:
    """Volts of one resting lithium-polymer cell at a charge of 0 to 1, with the spread of three published cells.

    NotFitted for a charge outside 0 to 1.
    """
    if not 0.0 <= charge <= 1.0:
        return NotFitted(f"a charge of {charge:g} is not between 0 and 1", "check the capacity and the charge used")
    values = [float(np.interp(charge, CHARGE, AI_2020_V)), float(np.interp(charge, CHARGE, ECKER_2015_V))]
    middle = float(np.mean(values))
    if charge <= POLYNOMIAL_TO:
        values.append(float(chen_rincon_mora_V(charge)))
    return Measured(middle, min(values) - CELL_SPREAD_V, max(values) + CELL_SPREAD_V, "spread of three published cells")


def charge_from_rest(cell_V: Measured, chemistry: str) -> Measured | NotFitted:
    """Percent of charge from the resting voltage of one cell; the interval holds the spread of published cells.

    NotFitted for what is no resting voltage of such a cell.
    """
    if chemistry != "lithium-polymer":
        reason = WITHOUT_CURVE.get(chemistry, f"no open-circuit curve for {chemistry}")
        return NotFitted(reason, "count from a full charge, or read the charger")
    if not np.isfinite(cell_V.value) or not BOTTOM_V <= cell_V.value <= TOP_V:
        return NotFitted(
            f"{cell_V.value:.2f} V is not the resting voltage of a lithium-polymer cell",
            "check the number of cells and the voltage's scaling",
        )
    value = float(np.mean([_inverse(AI_2020_V, cell_V.value), _inverse(ECKER_2015_V, cell_V.value)]))
    low = min(_inverse(v, cell_V.low - CELL_SPREAD_V) for v in (AI_2020_V, ECKER_2015_V))
    high = max(_inverse(v, cell_V.high + CELL_SPREAD_V) for v in (AI_2020_V, ECKER_2015_V))
    if value <= POLYNOMIAL_TO:
        grid = np.linspace(0, POLYNOMIAL_TO, 400)
        curve = chen_rincon_mora_V(grid)
        low = min(low, float(np.interp(cell_V.low - CELL_SPREAD_V, curve, grid)))
        high = max(high, float(np.interp(cell_V.high + CELL_SPREAD_V, curve, grid)))
    return Measured(100 * value, 100 * min(low, value), 100 * max(high, value), f"{cell_V.basis}, published cells")


def _inverse(curve_V: Floats, volts: float) -> float:
    return float(np.interp(volts, curve_V, CHARGE))


def cold_factor(temp_degC: float) -> Measured | NotFitted:
    """Resistance at this pack temperature against 25 °C (Arrhenius). From memory and wide; -10 to 60 °C only.

    NotFitted beyond that.
    """
    if not COLD_RANGE_DEGC[0] <= temp_degC <= COLD_RANGE_DEGC[1]:
        return NotFitted(
            f"{temp_degC:g} °C is outside {COLD_RANGE_DEGC[0]:g} to {COLD_RANGE_DEGC[1]:g} °C",
            "compare packs at room temperature",
        )
    lever = 1e3 / GAS_CONSTANT * (1 / (temp_degC + 273.15) - 1 / 298.15)
    factors = [float(np.exp(e * lever)) for e in (ACTIVATION_KJ_MOL.low, ACTIVATION_KJ_MOL.high)]
    return Measured(float(np.exp(ACTIVATION_KJ_MOL.value * lever)), min(factors), max(factors), ACTIVATION_KJ_MOL.basis)
