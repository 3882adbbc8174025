"""Which fields of MAVLink messages are channels, by the common message set: batteries and motor controllers.

Everything else keeps its own name: a raw radio channel says nothing of what it drives, and signal strengths are in the
radio's own units. Source of units and of the figures that stand for "not known": mavlink.io/en/messages/common.html.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from ingest.channels import channel_name
from ingest.formats import ReadOptions
from ingest.mavlink_messages import Field
from ingest.mavlink_packets import Packets
from ingest.readings import Reading
from ingest.stream_reader import Signal, asked, numbered_controller, said

_Key = tuple[int, int, int, int]
# field -> (quantity, unit, factor on the source, figures for "not known")
_BATTERY: Final = {
    "current_battery": ("current_A", "cA", None, (-1.0,)),
    "current_consumed": ("charge_used_mAh", "mAh", None, (-1.0,)),
    "energy_consumed": ("energy_used_Wh", "Wh", 100.0 / 3600.0, (-1.0,)),  # hJ
    "temperature": ("temp_degC", "cdegC", None, (32767.0,)),
}
_SYSTEM: Final = {
    "voltage_battery": ("voltage_V", "mV", None, (65535.0,)),
    "current_battery": ("current_A", "cA", None, (-1.0,)),
}
_ESC_STATUS: Final = {"rpm": ("speed_rpm", "rpm"), "voltage": ("voltage_V", "V"), "current": ("input_current_A", "A")}
_ESC_TELEMETRY: Final = {
    "temperature": ("temp_degC", "degC"),
    "voltage": ("voltage_V", "cV"),
    "current": ("input_current_A", "cA"),
    "totalcurrent": ("charge_used_mAh", "mAh"),
    "rpm": ("speed_rpm", "rpm"),
}
_ESC_INFO: Final = {"temperature": ("temp_degC", "cdegC")}
_TELEMETRY_NAME: Final = re.compile(r"ESC_TELEMETRY_(\d+)_TO_\d+")
_NOT_SENT: Final = 65535.0


class Standard:
    """What the first stretch of a log shows: how many batteries and controllers report, and which cells."""

    def __init__(
        self,
        options: ReadOptions,
        reading: Reading | None,
        messages: Mapping[int, Any],
        fields: Mapping[int, tuple[Field, ...]],
        found: Mapping[_Key, Packets],
    ) -> None:
        self._options, self._part = options, reading.part if reading is not None else None
        self._messages = messages
        self._batteries = [key for key in found if messages[key[0]].msgname == "BATTERY_STATUS"]
        self._systems = [key for key in found if messages[key[0]].msgname == "SYS_STATUS"]
        self._cells: dict[_Key, list[int]] = {}
        self._live: set[int] = set()
        for key, some in found.items():
            for field in fields[key[0]]:
                if key in self._batteries and field.name == "voltages":
                    seen = [field.values(some, k) for k in range(field.count)]
                    self._cells[key] = [k for k, v in enumerate(seen) if ((v != _NOT_SENT) & (v > 0)).any()]
                if field.name == "voltage" and (base := self._esc_base(key)) is not None:
                    self._live |= {base + k for k in range(4) if (field.values(some, k) > 0).any()}

    def signal(self, key: _Key, field: Field, k: int, source: str) -> Signal:
        """The column as the standard means it. k: place in an array."""
        name = str(self._messages[key[0]].msgname)
        plain = Signal(source, field.unit, plain=True)
        if name == "BATTERY_STATUS" and (field.name in _BATTERY or field.name == "voltages"):
            return self._battery(key, field, k, source)
        if name == "SYS_STATUS" and field.name in _SYSTEM and key == (self._systems or [key])[0]:
            if self._batteries:
                return Signal(source, field.unit, plain=True, why="BATTERY_STATUS says it too, and more closely")
            return self._pack(source, field.unit, *_SYSTEM[field.name])
        table = {"ESC_STATUS": _ESC_STATUS, "ESC_INFO": _ESC_INFO}.get(name, {})
        if _TELEMETRY_NAME.fullmatch(name):
            table = _ESC_TELEMETRY
        if field.name in table and (base := self._esc_base(key)) is not None:
            return self._esc(base + k, source, field.unit, *table[field.name])
        return plain

    def _battery(self, key: _Key, field: Field, k: int, source: str) -> Signal:
        cells = self._cells.get(key, [])
        if field.name != "voltages":
            if len(self._batteries) == 1 and key == self._batteries[0]:
                return self._pack(source, field.unit, *_BATTERY[field.name])
            quantity, unit, _, _ = _BATTERY[field.name]
            return asked(source, field.unit, "Which pack", channel_name("pack", quantity), unit)
        if k not in cells:
            return Signal(source, field.unit, plain=True, why="this cell is not measured")
        if len(self._batteries) != 1 or key != self._batteries[0]:
            return asked(source, field.unit, "Which pack", "pack_voltage_V", "mV")
        if cells == [0]:  # the whole battery, where its cells are not known
            return self._pack(source, field.unit, "voltage_V", "mV", None, (_NOT_SENT,))
        channel = channel_name(f"cell{k + 1}", "voltage_V")
        return said(source, field.unit, channel, "mV", "the message set says mV", none=(_NOT_SENT,))

    def _pack(
        self, source: str, shown: str | None, quantity: str, unit: str, scale: float | None, none: tuple[float, ...]
    ) -> Signal:
        why = f"the message set says {shown or unit}"
        return said(source, shown, channel_name("pack", quantity), unit, why, scale=scale, none=none)

    def _esc_base(self, key: _Key) -> int | None:
        """The number (from 1) of the first controller of a message; None for other messages."""
        name = str(self._messages[key[0]].msgname)
        if name in ("ESC_STATUS", "ESC_INFO"):
            return max(key[3], 0) + 1
        found = _TELEMETRY_NAME.fullmatch(name)
        return int(found[1]) if found else None

    def _esc(self, number: int, source: str, shown: str | None, quantity: str, unit: str) -> Signal:
        if number not in self._live:
            return Signal(source, shown, plain=True, why="this controller reports nothing")
        part = numbered_controller(self._options, self._part, self._live, number)
        if part is None:
            first = next(known for known, kind in self._options.parts.items() if kind == "controller")
            which = f"Which controller of the build is number {number}"
            return asked(source, shown, which, channel_name(first, quantity), unit)
        none = (32767.0,) if unit == "cdegC" else ()
        channel = channel_name(part, quantity)
        return said(source, shown, channel, unit, f"the message set says {shown or unit}", none=none, sure="likely")
