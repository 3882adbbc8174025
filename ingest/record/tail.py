"""Reads a recording that is still being written, from the last whole block on."""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass, field
from pathlib import Path

from ingest.errors import UnreadableLog
from ingest.record.blocks import Block, Damage, Packet, packets_in, scan
from ingest.record.notes import head_of
from ingest.record.parts import placed


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
    goes_on: bool = False  # a part began behind an end


class Tail:
    """Raises UnreadableLog where no whole block is there yet, or where no recorder of ours wrote it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        first = next((b for b in scan(path) if isinstance(b, Block) and b.kind == b"head"), None)
        if first is None:
            raise UnreadableLog("holds no whole block yet", file=path)
        try:
            self._head = head_of(first.payload)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            raise self._strange() from None
        self.sources = self._head.sources
        self.wall_start = self._head.wall_start
        self.offset = first.end
        self._number, self._tag, self._part = first.number, first.tag, first.part
        self._shift_ns = self._last_ns = 0

    def _strange(self) -> UnreadableLog:
        return UnreadableLog("holds a block that no recorder of ours wrote", file=self.path)

    def more(self, most: int) -> More:
        """At most so many bytes at once."""
        found = More()
        size = 0
        try:
            for block in scan(self.path, self.offset, self._number, self._tag):
                if isinstance(block, Damage):
                    text = f"{block.end - block.start} bytes of the file are damaged, {block.blocks} blocks are lost"
                    found.events.append(Event(0, self._last_ns, "damaged", text))
                    continue
                self._take(block, found)
                self.offset, self._number = block.end, block.number
                size += len(block.payload)
                if size > most or found.ended is not None:
                    break
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError, struct.error):
            raise self._strange() from None
        return found

    def _take(self, block: Block, found: More) -> None:
        if block.kind == b"head" and block.part != self._part:
            part = placed(block.part, head_of(block.payload), self._head, self._last_ns)
            self._part = block.part
            self._shift_ns = part.shift_ns if part.placed != "unknown" else self._last_ns
            found.goes_on = True
            found.events.append(Event(0, self._last_ns, "part", f"the recording was gone on with on {part.wall_start}"))
        elif block.kind == b"pack":
            for packet in packets_in(block.payload):
                self._last_ns = max(self._last_ns, packet.t_ns + self._shift_ns)
                found.packets.append(packet._replace(t_ns=packet.t_ns + self._shift_ns))
        elif block.kind == b"evnt":
            source, t_ns, kind, text = json.loads(block.payload)
            found.events.append(Event(int(source), int(t_ns) + self._shift_ns, str(kind), str(text)))
        elif block.kind == b"end ":
            found.ended = str(json.loads(block.payload))
