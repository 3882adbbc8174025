"""The messages of MAVLink and their fields: from pymavlink's dialect, and two that it may leave out."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from ingest.binary.checksum import Crc, of_bytes

if TYPE_CHECKING:
    from ingest.mavlink_packets import Packets

X25: Final = Crc(16, 0x1021, 0xFFFF, True)  # CRC-16/MCRF4XX of the catalogue, which MAVLink calls X.25
_DTYPES: Final = {
    "uint8_t": "u1", "int8_t": "i1", "uint16_t": "<u2", "int16_t": "<i2", "uint32_t": "<u4", "int32_t": "<i4",
    "uint64_t": "<u8", "int64_t": "<i8", "float": "<f4", "double": "<f8", "char": "S1",
}  # fmt: skip


@dataclass(frozen=True)
class Field:
    """name as the dialect writes it; at: bytes from the payload's beginning; count: 0 for a single value."""

    name: str
    kind: str
    count: int
    at: int
    unit: str | None

    def values(self, some: Packets, index: int = 0) -> NDArray[Any]:
        """One figure of every packet; NaN where an older sender does not know the field."""
        kind = _DTYPES[self.kind]
        size = np.dtype(kind).itemsize
        at = self.at + index * size
        raw = np.ascontiguousarray(some.payload[:, at : at + size]).view(kind)[:, 0].astype(np.float64)
        return np.where(some.lengths < at + size, np.nan, raw)

    def texts(self, some: Packets) -> list[str]:
        raw = some.payload[:, self.at : self.at + max(self.count, 1)]
        return [bytes(row).split(b"\0")[0].decode("utf-8", "replace") for row in raw]


def fields_of(message: Any) -> tuple[Field, ...]:
    """The fields of a message class of the dialect, in the order of its definition."""
    kinds = dict(zip(message.fieldnames, message.fieldtypes, strict=True))
    place = 0
    found = {}
    for name, count in zip(message.ordered_fieldnames, message.array_lengths, strict=True):
        kind = "char" if kinds[name].startswith("char") else kinds[name].removesuffix("_mavlink_version").strip()
        found[name] = Field(name, kind, count, place, message.fieldunits_by_name.get(name))
        place += np.dtype(_DTYPES[kind]).itemsize * max(count, 1)
    return tuple(found[name] for name in message.fieldnames)


@dataclass(frozen=True)
class Message:
    """A message that the dialect does not bring, in the shape of the dialect's own classes."""

    msgname: str
    fieldnames: tuple[str, ...]
    fieldtypes: tuple[str, ...]
    ordered_fieldnames: tuple[str, ...]
    array_lengths: tuple[int, ...]
    fieldunits_by_name: dict[str, str]
    instance_field: str | None
    crc_extra: int
    unpacker: struct.Struct


def define(number: int, name: str, instance: str | None, *fields: tuple[str, str, int, str]) -> Any:
    """(number, message) from (type, name, array length, unit) in the order of the definition.

    On the wire the widest types come first; the extra byte is made from names and types (MAVLink serialization guide).
    """
    wire = sorted(fields, key=lambda field: -np.dtype(_DTYPES[field[0]]).itemsize)
    text = f"{name} ".encode()
    for kind, label, count, _ in wire:
        text += f"{kind} {label} ".encode() + (bytes([count]) if count else b"")
    check = of_bytes(X25, text)
    return number, Message(
        name,
        tuple(field[1] for field in fields),
        tuple(field[0] for field in fields),
        tuple(field[1] for field in wire),
        tuple(field[2] for field in wire),
        {field[1]: field[3] for field in fields if field[3]},
        instance,
        (check & 0xFF) ^ (check >> 8),
        struct.Struct(f"{sum(np.dtype(_DTYPES[k]).itemsize * max(n, 1) for k, _, n, _ in wire)}s"),
    )


# Of the common message set (mavlink.io/en/messages/common.html), where the dialect leaves them out.
ESC_MESSAGES: Final[dict[int, Any]] = dict(
    (
        define(
            290, "ESC_INFO", "index",
            ("uint8_t", "index", 0, ""), ("uint64_t", "time_usec", 0, "us"), ("uint16_t", "counter", 0, ""),
            ("uint8_t", "count", 0, ""), ("uint8_t", "connection_type", 0, ""), ("uint8_t", "info", 0, ""),
            ("uint16_t", "failure_flags", 4, ""), ("uint32_t", "error_count", 4, ""),
            ("int16_t", "temperature", 4, "cdegC"),
        ),
        define(
            291, "ESC_STATUS", "index",
            ("uint8_t", "index", 0, ""), ("uint64_t", "time_usec", 0, "us"), ("int32_t", "rpm", 4, "rpm"),
            ("float", "voltage", 4, "V"), ("float", "current", 4, "A"),
        ),
    )
)  # fmt: skip
