"""The channel vocabulary: `<part>_<quantity>_<unit>`, what each quantity means and what is plausible.

The part is an id of the build file, or pack, cellN, receiver, link, chassis. The longest known quantity suffix of
a column wins, so `weapon_motor_current_A` is the motor current of `weapon`, never the current of `weapon_motor`.
Plausible ranges are our choice: wide enough for a 110 kg robot, narrow enough that a wrong unit (mV read as V)
falls outside.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

RESERVED_PARTS = ("pack", "receiver", "link", "chassis")
_CELL = re.compile(r"^(?:(?P<pack>[a-z][a-z0-9_]*)_)?(?P<cell>cell[1-9][0-9]?)$")


@dataclass(frozen=True)
class Quantity:
    """One row of the vocabulary. suffix is `<quantity>_<unit>`; kind groups it for inspect."""

    suffix: str
    kind: str
    unit: str
    low: float
    high: float
    meaning: str


def _q(suffix: str, kind: str, unit: str, low: float, high: float, meaning: str) -> Quantity:
    return Quantity(suffix, kind, unit, low, high, meaning)


QUANTITIES: dict[str, Quantity] = {
    q.suffix: q
    for q in (
        _q("voltage_V", "voltage", "V", -1.0, 120.0, "at the part's input (pack: terminals; cellN: that cell)"),
        _q("cell_min_V", "voltage", "V", 0.0, 5.0, "the lowest cell of the pack"),
        _q("current_A", "current", "A", -1500.0, 3000.0, "through the part (pack: discharge positive)"),
        _q("input_current_A", "current", "A", -1500.0, 3000.0, "drawn from the supply"),
        _q("motor_current_A", "current", "A", -3000.0, 3000.0, "in the motor leads (phase or armature)"),
        _q("command_pct", "command", "%", -130.0, 130.0, "what the receiver asked"),
        _q("duty_pct", "command", "%", -110.0, 110.0, "what the controller applied"),
        _q("speed_rpm", "speed", "rpm", -120000.0, 120000.0, "mechanical, at the motor shaft"),
        _q("temp_degC", "temperature", "degC", -40.0, 300.0, "of the part named"),
        _q("rail_voltage_V", "voltage", "V", -0.5, 30.0, "the regulator's output to the receiver"),
        _q("rail_current_A", "current", "A", -5.0, 60.0, "drawn from the regulator"),
        _q("quality_pct", "other", "%", 0.0, 100.0, "of the radio link"),
        _q("strength_dBm", "other", "dBm", -150.0, 40.0, "received signal strength"),
        _q("failsafe_active", "other", "1", 0.0, 1.0, "1 while the receiver is in failsafe"),
        _q("frames_lost", "count", "1", 0.0, 1e9, "counter of lost radio frames"),
        _q("charge_used_mAh", "charge", "mAh", -1000.0, 100000.0, "counter that a source reports"),
        _q("energy_used_Wh", "energy", "Wh", -100.0, 10000.0, "counter that a source reports"),
        _q("power_W", "power", "W", -100000.0, 200000.0, "drawn from the supply, as a source reports it"),
        _q("uptime_s", "time", "s", 0.0, 1e9, "seconds since the part started"),
        _q("fault_code", "other", "1", 0.0, 4294967295.0, "the part's own fault number"),
        _q("shock_g", "acceleration", "g", -2000.0, 2000.0, "chassis acceleration"),
        _q("spin_dps", "acceleration", "deg/s", -40000.0, 40000.0, "chassis rotation"),
    )
}
_BY_LENGTH = sorted(QUANTITIES, key=len, reverse=True)


@dataclass(frozen=True)
class Channel:
    """A parsed column name."""

    name: str
    part: str
    quantity: Quantity

    @property
    def unit(self) -> str:
        return self.quantity.unit


def parse_channel(name: str) -> Channel | None:
    """The channel a normalised column name stands for, or None where it is not of the vocabulary.

    `cell_min_V` (and `<pack>_cell_min_V`) names the pack's lowest cell.
    """
    if name == "cell_min_V":
        return Channel(name, "pack", QUANTITIES["cell_min_V"])
    for suffix in _BY_LENGTH:
        if name.endswith("_" + suffix):
            part = name[: -len(suffix) - 1]
            if re.fullmatch(r"[a-z][a-z0-9_]*", part):
                return Channel(name, part, QUANTITIES[suffix])
    return None


def channel_name(part: str, suffix: str) -> str:
    """`<part>_<quantity>_<unit>`; the lowest cell of the only pack is plain `cell_min_V`."""
    if suffix == "cell_min_V" and part == "pack":
        return suffix
    return f"{part}_{suffix}"


def cell_number(part: str) -> int | None:
    """N of `cellN` or `<pack>_cellN`, else None."""
    found = _CELL.match(part)
    return int(found["cell"][4:]) if found else None


def is_plausible(channel: Channel, low: float, high: float) -> bool:
    return channel.quantity.low <= low and high <= channel.quantity.high
