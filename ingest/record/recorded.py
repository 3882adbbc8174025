"""A finished recording as files are read: the bytes of one source as a stream of their own, and when each came.

Only where the blocks stand is held in memory (ten a second); the bytes are read when they are asked for.
"""

from __future__ import annotations

import bisect
import hashlib
import io
import json
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Any

from ingest.delimited.source import Source
from ingest.errors import UnreadableLog
from ingest.record.blocks import MAGIC, PACKET, SourceNote, read_block, whole_blocks
from ingest.record.sources.base import BATCH_S, Stamped

_READ_BYTES = 1 << 20


@dataclass(frozen=True)
class Marked:
    """An event of the recording."""

    source: int
    t_ns: int
    kind: str
    text: str


def checked_note(note: dict[str, Any]) -> SourceNote:
    """Raises TypeError or ValueError where it is none."""
    made = SourceNote(**note)
    texts = [made.name, made.kind, *made.settings.keys(), *made.settings.values(), made.reading or ""]
    if not all(isinstance(text, str) for text in texts):
        raise ValueError("a note of a source holds texts")
    return made


def packets_of(payload: bytes, number: int) -> list[Stamped]:
    """The packets of one source in the payload of a block."""
    found: list[Stamped] = []
    place = 0
    while place < len(payload):
        source, t_ns, size = PACKET.unpack_from(payload, place)
        place += PACKET.size
        if source == number:
            found.append((t_ns, payload[place : place + size]))
        place += size
    return found


class Recording:
    """What stands in a recording, up to its last whole block. Raises UnreadableLog where there is none.

    ended: the reason that the writer gave, None where it was killed; torn_bytes: behind the last whole block.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.notes: list[SourceNote] = []
        self.wall_start = ""
        self.events: list[Marked] = []
        self.ended: str | None = None
        self.sha256, self._size = _hashed(path)
        self._places: list[list[int]] = []  # of each source: where its blocks stand in the file
        self._sizes: list[list[int]] = []
        self.first_ns: list[int | None] = []
        self.last_ns: list[int] = []
        end = place = len(MAGIC)
        for kind, payload, end in whole_blocks(path):
            try:
                self._understand(kind, payload, place)
            except (ValueError, KeyError, TypeError, AttributeError, RecursionError, struct.error):
                raise UnreadableLog(
                    "holds a block that no recorder of ours wrote", file=path, byte=place, mend="Record it again."
                ) from None
            place = end
        self.torn_bytes = self._size - end
        if not self.notes:
            raise UnreadableLog("holds no whole block of a recording", file=path, mend="Record it again.")

    def _understand(self, kind: bytes, payload: bytes, place: int) -> None:
        if kind == b"head" and not self.notes:
            about = json.loads(payload)
            self.notes = [checked_note(note) for note in about["sources"]]
            self.wall_start = str(about["wall_start"])
            self._places, self._sizes = [[] for _ in self.notes], [[] for _ in self.notes]
            self.first_ns, self.last_ns = [None] * len(self.notes), [0] * len(self.notes)
        elif kind == b"pack":
            self._take(payload, place)
        elif kind == b"evnt":
            source, t_ns, what, text = json.loads(payload)
            self.events.append(Marked(int(source), int(t_ns), str(what), str(text)))
        elif kind == b"end ":
            self.ended = str(json.loads(payload))

    def _take(self, payload: bytes, place: int) -> None:
        for number in range(len(self.notes)):
            packets = packets_of(payload, number)
            if packets:
                self._places[number].append(place)
                self._sizes[number].append(sum(len(data) for _, data in packets))
                self.last_ns[number] = packets[-1][0]
                if self.first_ns[number] is None:
                    self.first_ns[number] = packets[0][0]

    def sizes(self, number: int) -> list[int]:
        """Bytes of one source in each of its blocks."""
        return self._sizes[number]

    def block(self, number: int, index: int) -> list[Stamped]:
        return packets_of(read_block(self.path, self._places[number][index]), number)

    def blocks(self, number: int) -> Iterator[list[Stamped]]:
        for index in range(len(self._places[number])):
            yield self.block(number, index)

    def line_came_s(self, number: int, line: int) -> float:
        """When the first byte of a line of text came; of a line that is not there, the first byte of all."""
        left = line - 1
        for packets in self.blocks(number):
            for t_ns, data in packets:
                if left == 0:
                    return t_ns / 1e9
                ends = data.count(b"\n")
                if ends > left or (ends == left and not data.endswith(b"\n")):
                    return t_ns / 1e9
                left -= ends
        return (self.first_ns[number] or 0) / 1e9

    def check_unchanged(self) -> None:
        if self.path.stat().st_size != self._size:
            raise UnreadableLog(
                "changed while it was read", file=self.path, mend="Wait until the recording has ended, and try again."
            )


class OneSource(Source):
    """The bytes of one source, to be read as a file is. made: what is read of each block, the packets as they are."""

    def __init__(
        self, recording: Recording, number: int, made: Callable[[int, list[Stamped]], bytes] | None = None
    ) -> None:
        self.path, self._recording = recording.path, recording
        sizes = recording.sizes(number)
        if made is not None:
            sizes = [len(made(k, packets)) for k, packets in enumerate(recording.blocks(number))]
        self._stream = io.BufferedReader(_Joined(recording, number, sizes, made or _plain), _READ_BYTES)
        self.size = sum(sizes)
        self.sha256 = ""
        self.nul_bytes = 0

    def check_unchanged(self) -> None:
        self._recording.check_unchanged()


def _plain(index: int, packets: list[Stamped]) -> bytes:
    return b"".join(data for _, data in packets)


class _Joined(io.RawIOBase):
    """The blocks of one source, one after the other."""

    def __init__(
        self, recording: Recording, number: int, sizes: list[int], made: Callable[[int, list[Stamped]], bytes]
    ) -> None:
        super().__init__()
        self._recording, self._number, self._made = recording, number, made
        self._ends = list(accumulate(sizes))
        self._place = 0
        self._held: tuple[int, bytes] = (-1, b"")

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._place, io.SEEK_END: self._ends[-1] if self._ends else 0}[whence]
        self._place = max(0, base + offset)
        return self._place

    def tell(self) -> int:
        return self._place

    def readinto(self, buffer: object) -> int:
        view = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        done = 0
        index = bisect.bisect_right(self._ends, self._place)
        while done < len(view) and index < len(self._ends):
            if self._held[0] != index:
                self._held = (index, self._made(index, self._recording.block(self._number, index)))
            data = self._held[1]
            start = self._place - (self._ends[index] - len(data))
            piece = data[start : start + len(view) - done]
            view[done : done + len(piece)] = piece
            done += len(piece)
            self._place += len(piece)
            index = bisect.bisect_right(self._ends, self._place)
        return done


def arrivals(packets: list[Stamped]) -> list[tuple[int, int, float]]:
    """(offset in the block, when that byte came in ns, ns for each byte after it) of each packet.

    Bytes of a packet came one after the other: until the next packet, at most as long as bytes are taken together.
    """
    found: list[tuple[int, int, float]] = []
    offset = 0
    for k, (t_ns, data) in enumerate(packets):
        room = packets[k + 1][0] - t_ns if k + 1 < len(packets) else BATCH_S * 1e9
        found.append((offset, t_ns, min(max(room, 0), BATCH_S * 1e9) / max(1, len(data))))
        offset += len(data)
    return found


def _hashed(path: Path) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    try:
        with path.open("rb", buffering=0) as stream:
            while block := stream.read(_READ_BYTES):
                digest.update(block)
                size += len(block)
    except OSError as error:
        raise UnreadableLog(f"cannot be read: {error.strerror}", file=path, mend="Copy it again.") from None
    return digest.hexdigest(), size
