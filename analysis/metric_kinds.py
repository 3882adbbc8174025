"""What a metric is, and the list of all: figures of one match that can be held against those of another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

STANDARD_AIR_DEGC = 25.0  # our choice: the air in which ratings and packs are usually stated
STANDARD_CHARGE_PCT = 80.0  # our choice: nearly every match passes it, few go down to half
STANDARD_PACK_DEGC = 25.0  # where a pack file states its resistance

Better = Literal["lower", "higher", ""]
Touched = Literal["pack", "temperature", "opponent", "charge"]


@dataclass(frozen=True)
class Metric:
    """One figure of one match with its interval (an open end is infinite), in the unit that the name ends with.

    at: the conditions it was brought to; two figures at unlike conditions are not compared.
    """

    name: str
    part: str
    value: float
    low: float
    high: float
    unit: str
    at: str = ""
    basis: str = ""


@dataclass(frozen=True)
class Absent:
    """A metric that this match cannot tell, and what to log next time."""

    name: str
    part: str
    reason: str
    mend: str


@dataclass(frozen=True)
class About:
    """words: for a person; better: which way is good; touched: what besides the build moves it.

    headline: among the few that are compared unless others are asked for. Few, because every further comparison makes
    all of them harder to show.
    """

    unit: str
    words: str
    better: Better
    touched: tuple[Touched, ...]
    headline: bool = False


CATALOGUE: dict[str, About] = {
    "pack_resistance_matched_mohm": About(
        "mohm", "resistance at 1 s, 80 % charge, 25 °C", "lower", ("pack",), headline=True
    ),
    "pack_resistance_charge_mohm": About("mohm", "resistance at 1 s, 80 % charge", "lower", ("pack", "temperature")),
    "pack_resistance_0.1s_mohm": About("mohm", "resistance at 0.1 s", "lower", ("pack", "temperature", "charge")),
    "pack_resistance_1s_mohm": About("mohm", "resistance at 1 s", "lower", ("pack", "temperature", "charge")),
    "pack_resistance_10s_mohm": About("mohm", "resistance at 10 s", "lower", ("pack", "temperature", "charge")),
    "cell_resistance_1s_mohm": About("mohm", "resistance at 1 s", "lower", ("pack", "temperature", "charge")),
    "cell_capacity_Ah": About("Ah", "capacity between two rest voltages", "higher", ("pack", "temperature")),
    "pack_capacity_Ah": About("Ah", "capacity between two rest voltages", "higher", ("pack", "temperature")),
    "sag_standard_V": About("V", "sag after 1 s of a standard load", "lower", ("pack",)),
    "pack_minimum_V": About(
        "V", "lowest voltage over 1 s", "higher", ("pack", "temperature", "charge", "opponent"), headline=True
    ),
    "cell_minimum_V": About("V", "lowest cell over 1 s", "higher", ("pack", "temperature", "charge", "opponent")),
    "pack_peak_A": About("A", "highest current", "lower", ("opponent",)),
    "charge_used_Ah": About("Ah", "charge used", "lower", ("opponent",)),
    "energy_used_Wh": About("Wh", "energy used", "lower", ("opponent",)),
    "rms_0.1s_A": About("A", "worst r.m.s. over 0.1 s", "lower", ("opponent",)),
    "rms_1s_A": About("A", "worst r.m.s. over 1 s", "lower", ("opponent",)),
    "rms_10s_A": About("A", "worst r.m.s. over 10 s", "lower", ("opponent",), headline=True),
    "rms_60s_A": About("A", "worst r.m.s. over 60 s", "lower", ("opponent",)),
    "active_s": About("s", "time active", "", ("opponent",)),
    "energy_per_active_second_J": About("J", "energy per active second", "lower", ("opponent",), headline=True),
    "time_over_rating_s": About("s", "time above a rating", "lower", ("opponent", "pack"), headline=True),
    "hottest_wire_standard_degC": About(
        "degC", "hottest wire in air of 25 °C, estimated", "lower", ("opponent",), headline=True
    ),
    "wire_peak_standard_degC": About("degC", "peak in air of 25 °C, estimated", "lower", ("opponent",)),
    "harness_resistance_mohm": About("mohm", "resistance of the run with its contacts", "lower", (), headline=True),
    "spin_up_s": About("s", "spin-up from standing", "lower", ("pack",), headline=True),
    "spin_up_energy_J": About("J", "energy of a spin-up from standing", "lower", ("pack",)),
    "no_load_A": About("A", "current at full speed between loads", "lower", ()),
    "dropouts_per_min": About("1/min", "dropouts per minute", "lower", ("opponent",), headline=True),
    "link_quality_pct": About("pct", "radio quality, median", "higher", ("opponent",)),
    "temp_rise_per_kJ_K": About("K", "temperature rise per kJ", "lower", ("temperature",), headline=True),
    "pack_temp_mean_degC": About("degC", "mean temperature", "", ("temperature",)),
    "charge_state_start_pct": About("pct", "charge at the start", "higher", ("charge",)),
    "air_degC": About("degC", "air inside the chassis at the start", "", ("temperature",)),
}
