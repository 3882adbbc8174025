"""The pack: resistance at a stated time scale, cells, charge, harness and its steps. Pure functions on Signals."""

from analysis.pack_model.cells import CellFits, fit_cells
from analysis.pack_model.charge import (
    ChargeState,
    adiabatic_rise_K,
    charge_state,
    charge_used_Ah,
    energy_used_Wh,
    lowest_mean_V,
    pack_temperature_rise_K,
)
from analysis.pack_model.common import NotFitted, Pair, resample_common, resample_pair
from analysis.pack_model.fit import fit_pack
from analysis.pack_model.harness import (
    ResistanceOverTime,
    Step,
    harness_resistance,
    resistance_steps,
    slope_steps,
)
from analysis.pack_model.open_circuit import (
    charge_from_rest,
    chen_rincon_mora_V,
    cold_factor,
    open_circuit_cell_V,
)
from analysis.pack_model.result import PackFit, resistance_change, voltage_at_standard_load
from analysis.pack_model.standard import iec_61960_dc_resistance, two_step_resistance_mohm

__all__ = [
    "CellFits",
    "ChargeState",
    "NotFitted",
    "PackFit",
    "Pair",
    "ResistanceOverTime",
    "Step",
    "adiabatic_rise_K",
    "charge_from_rest",
    "charge_state",
    "charge_used_Ah",
    "chen_rincon_mora_V",
    "cold_factor",
    "energy_used_Wh",
    "fit_cells",
    "fit_pack",
    "harness_resistance",
    "iec_61960_dc_resistance",
    "lowest_mean_V",
    "open_circuit_cell_V",
    "pack_temperature_rise_K",
    "resample_common",
    "resample_pair",
    "resistance_change",
    "resistance_steps",
    "slope_steps",
    "two_step_resistance_mohm",
    "voltage_at_standard_load",
]
