"""Reads a recording that is still being written, from the last whole block on."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path

from ingest.errors import UnreadableLog
from ingest.record.blocks import PACKET, Packet, SourceNote, whole_blocks


@dataclass
class Event:
    """A mark in the recording."""

    source: int
    t_ns: int
    kind: str
    text: str


@dataclass
class More:
    """What was added since the last look; ended: the reason of the end, once it is there."""

    packets: list[Packet] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    ended: str | None = None


class Tail:
    """Raises UnreadableLog where no whole block is there yet."""

    def __init__(self, path: Path) -> None:
        self.path = path
        first = next(whole_blocks(path), None)
        if first is None:
            raise UnreadableLog("holds no whole block yet", file=path)
        about = json.loads(first[1])
        self.sources = [SourceNote(**s) for s in about["sources"]]
        self.wall_start = about["wall_start"]
        self.offset = first[2]

    def more(self, most: int) -> More:
        found = More()
        size = 0
        for kind, payload, end in whole_blocks(self.path, self.offset):
            self.offset = end
            if kind == b"pack":
                place = 0
                while place < len(payload):
                    s, t, n = PACKET.unpack_from(payload, place)
                    place += PACKET.size
                    found.packets.append(Packet(s, t, payload[place : place + n]))
                    place += n
            elif kind == b"evnt":
                found.events.append(Event(*json.loads(payload)))
            elif kind == b"end ":
                found.ended = json.loads(payload)
            size += len(payload)
            if size > most:
                break
        return found
