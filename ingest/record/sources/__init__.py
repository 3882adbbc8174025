"""Live sources: a serial port, a CAN interface, datagrams, an invented stream. None of them ever sends."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ingest.errors import UsageError, nearest
from ingest.record.sources.base import RecordClock, Source, SourceGone, Stamped

__all__ = ["RecordClock", "Source", "SourceGone", "Stamped", "make_sources"]

KINDS = ("serial", "can", "udp", "demo")
EXAMPLES = (
    "serial:/dev/ttyUSB0@921600",
    "serial:COM3@115200",
    "can:socketcan:can0@500000",
    "can:virtual:bus1",
    "udp:127.0.0.1:14550",
    "demo:",
)


def make_sources(addresses: Sequence[str]) -> list[Source]:
    """A source for each address, named after its place; nothing is opened yet. Raises UsageError, located."""
    made: list[Source] = []
    for address in addresses:
        kind, colon, _ = address.partition(":")
        if not colon or kind not in KINDS:
            close = nearest(kind, KINDS) if kind and colon else "Write one like: " + ", ".join(EXAMPLES)
            raise UsageError("is no source", file=address, expected="serial:…, can:…, udp:… or demo:", mend=close)
        if any(source.address == address for source in made):
            raise UsageError("is named twice", file=address, mend="Name every source once.")
        name = source_name(address)
        taken = {source.name for source in made}
        made.append(_make(kind, address, name if name not in taken else f"{name}-{len(made) + 1}"))
    return made


def source_name(address: str) -> str:
    """A short name: serial:/dev/ttyUSB0@921600 is ttyUSB0, can:socketcan:can0 is can0, udp:14550 is udp14550."""
    kind, _, rest = address.partition(":")
    place = rest.partition("@")[0]
    if kind == "serial":
        place = re.split(r"[/\\]", place.rstrip("/\\"))[-1]
    elif kind == "can":
        place = place.partition(":")[2]
    elif kind == "udp":
        place = "udp" + place.rpartition(":")[2]
    return re.sub(r"[^A-Za-z0-9_.-]+", "_", place).strip("_.-") or kind


def _make(kind: str, address: str, name: str) -> Source:
    if kind == "serial":
        from ingest.record.sources.serial import SerialSource

        return SerialSource(address, name)
    if kind == "can":
        from ingest.record.sources.can import make_can_source

        return make_can_source(address, name)
    if kind == "udp":
        from ingest.record.sources.udp import UdpSource

        return UdpSource(address, name)
    from ingest.record.sources.demo import DemoSource

    return DemoSource(address, name)
