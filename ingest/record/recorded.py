"""A finished recording as files are read: where the bytes of each source stand, and when they came.

Only where the blocks stand is held in memory (ten a second); the bytes are read when they are asked for. A recording
may have several parts (it was gone on with), and blocks may be damaged: the stream of a source then has seams, and
what stands on the two sides of a seam is never taken together.
"""

from __future__ import annotations

import hashlib
import json
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ingest.errors import UnreadableLog
from ingest.record.blocks import SEAMS, Block, Damage, SourceNote, packets_in, read_block, scan
from ingest.record.notes import Head, head_of
from ingest.record.parts import Part, placed
from ingest.record.sources.base import Stamped

_READ_BYTES: Final = 1 << 20


@dataclass(frozen=True)
class Marked:
    """An event of the recording, on the clock of its first part."""

    source: int
    t_ns: int
    kind: str
    text: str


@dataclass(frozen=True)
class Hole:
    """A damaged place. from_ns, to_ns: the last stamp before it and the first behind, None where there is none."""

    damage: Damage
    from_ns: int | None
    to_ns: int | None


@dataclass(frozen=True)
class Run:
    """Bytes of a source without a seam: where they begin in its stream, how many, first and last stamp, place known."""

    offset: int
    size: int
    first_ns: int
    last_ns: int
    placed: bool


class Recording:
    """What stands in a recording, in its whole blocks. Raises UnreadableLog where there is none.

    ended: the reason that the writer gave, None where it was killed; torn_bytes: behind the last whole block.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.notes: list[SourceNote] = []
        self.parts: list[Part] = []
        self.events: list[Marked] = []
        self.holes: list[Hole] = []
        self.ended: str | None = None
        self.sha256, self._size = _hashed(path)
        self._places: list[list[tuple[int, int]]] = []  # of each source: where its blocks stand, and in which part
        self._sizes: list[list[int]] = []
        self._spans: list[list[tuple[int, int]]] = []  # first and last stamp in each block
        self._fresh: list[dict[int, bool]] = []  # blocks that stand behind a seam; whether their place in time is known
        self._cuts: list[dict[int, tuple[int, int]]] = []  # bytes at a block's two ends that are left out
        self._heads: dict[int, Head] = {}
        self._last_ns: int | None = None
        self._hole: tuple[Damage, int | None] | None = None
        end = place = 0
        waiting: list[Block | Damage] = []
        try:
            for found in scan(path):
                place = found.start
                end = found.end if isinstance(found, Block) else end
                self._understand(found, waiting)
            if not self.notes:
                raise UnreadableLog("holds no whole block of a recording", file=path, mend="Record it again.")
            self._take_waiting(waiting, -1, None)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError, struct.error):
            raise UnreadableLog(
                "holds a block that no recorder of ours wrote", file=path, byte=place, mend="Record it again."
            ) from None
        if self._hole is not None:
            self.holes.append(Hole(self._hole[0], self._hole[1], None))
        self.torn_bytes = self._size - end

    @property
    def wall_start(self) -> str:
        return self.parts[0].wall_start

    def _understand(self, found: Block | Damage, waiting: list[Block | Damage]) -> None:
        """Blocks wait for the head of their part, which damage may have taken; it stands there again a second later."""
        if isinstance(found, Damage):
            (waiting if waiting or not self.notes else []).append(found)
            if self.notes and not waiting:
                self._take_in(found)
            return
        if found.kind == b"head" and found.part not in self._heads:
            head = head_of(found.payload)
            if not self.notes:
                self._name(head.sources)
            self._take_waiting(waiting, found.part, head)
            if found.part not in self._heads:
                self._open_part(found.part, head)
            return
        if found.part in self._heads and not waiting:
            self._take_in(found)
        else:
            waiting.append(found._replace(payload=b"") if found.kind == b"pack" else found)

    def _take_waiting(self, waiting: list[Block | Damage], part: int, head: Head | None) -> None:
        """head: of that part. Of a part whose own head is lost it is known who the sources are, not when it began."""
        for late in waiting:
            if isinstance(late, Block) and late.part not in self._heads:
                known = head if late.part == part and head is not None else Head("", 0, None, self.notes)
                self._open_part(late.part, known)
            self._take_in(late)
        waiting.clear()

    def _name(self, notes: list[SourceNote]) -> None:
        self.notes = list(notes)
        count = len(notes)
        self._places = [[] for _ in range(count)]
        self._sizes = [[] for _ in range(count)]
        self._spans = [[] for _ in range(count)]
        self._fresh = [{} for _ in range(count)]
        self._cuts = [{} for _ in range(count)]
        self.first_ns: list[int | None] = [None] * count
        self.last_ns = [0] * count

    def _open_part(self, number: int, head: Head) -> None:
        self._heads[number] = head
        self.ended = None
        if not self.parts:
            self.parts.append(Part(number, head.wall_start, 0, "first"))
            return
        kinds = [(note.name, note.kind) for note in self.notes]
        if [(note.name, note.kind) for note in head.sources] != kinds:
            raise ValueError("a part of other sources")
        for place, (old, new) in enumerate(zip(self.notes, head.sources, strict=True)):
            if old.reading is None and new.reading is not None:
                self.notes[place] = new
        self.parts.append(placed(number, head, self._heads[self.parts[0].number], self._last_ns))
        self._seam(None, self.parts[-1].placed != "unknown")

    def _seam(self, source: int | None, known: bool = True) -> None:
        """From here on the bytes of a source, or of all, do not follow on from those before."""
        for number in range(len(self.notes)) if source is None else (source,):
            index = len(self._places[number])
            if index:
                self._fresh[number][index] = known and self._fresh[number].get(index, True)

    def _take_in(self, found: Block | Damage) -> None:
        if isinstance(found, Damage):
            if self._hole is not None:
                self.holes.append(Hole(self._hole[0], self._hole[1], None))
            self._hole = (found, self._last_ns)
            self._seam(None)
            return
        kind, payload = found.kind, found.payload
        part = next(p for p in self.parts if p.number == found.part)
        if kind == b"pack":
            self._take(payload or read_block(self.path, found.start), found.start, part)
        elif kind == b"evnt":
            source, t_ns, what, text = json.loads(payload)
            self.events.append(Marked(int(source), int(t_ns) + part.shift_ns, str(what), str(text)))
            if what in SEAMS and 0 <= int(source) < len(self.notes):
                self._seam(None if what == "overflow" else int(source))
        if kind != b"head":
            self.ended = str(json.loads(payload)) if kind == b"end " else None

    def _take(self, payload: bytes, place: int, part: Part) -> None:
        sizes: dict[int, int] = {}
        spans: dict[int, tuple[int, int]] = {}
        for packet in packets_in(payload):
            number, t_ns = packet.source, packet.t_ns + part.shift_ns
            if number >= len(self.notes):
                raise ValueError("a packet of no source")
            sizes[number] = sizes.get(number, 0) + len(packet.data)
            spans[number] = (spans.get(number, (t_ns, 0))[0], t_ns)
            if self._hole is not None:
                self.holes.append(Hole(self._hole[0], self._hole[1], t_ns))
                self._hole = None
            self._last_ns = t_ns
        for number, size in sizes.items():
            self._places[number].append((place, part.shift_ns))
            self._sizes[number].append(size)
            self._spans[number].append(spans[number])
            self.last_ns[number] = spans[number][1]
            if self.first_ns[number] is None:
                self.first_ns[number] = spans[number][0]

    def sizes(self, number: int) -> list[int]:
        """Bytes of one source in each of its blocks, without what is left out."""
        cuts = self._cuts[number]
        return [size - sum(cuts.get(k, (0, 0))) for k, size in enumerate(self._sizes[number])]

    def count(self, number: int) -> int:
        return len(self._places[number])

    def block(self, number: int, index: int) -> list[Stamped]:
        """The packets of one source in one of its blocks, without what is left out."""
        place, shift_ns = self._places[number][index]
        packets = read_block(self.path, place)
        found = [(p.t_ns + shift_ns, p.data) for p in packets_in(packets) if p.source == number]
        if index in self._cuts[number]:
            head, tail = self._cuts[number][index]
            while found and head >= len(found[0][1]):
                head -= len(found.pop(0)[1])
            if head:
                found[0] = (found[0][0], found[0][1][head:])
            while found and tail >= len(found[-1][1]):
                tail -= len(found.pop()[1])
            if tail:
                found[-1] = (found[-1][0], found[-1][1][:-tail])
        return found

    def blocks(self, number: int) -> Iterator[list[Stamped]]:
        for index in range(len(self._places[number])):
            yield self.block(number, index)

    def seams(self, number: int) -> list[int]:
        """The blocks of a source that do not follow on from the one before."""
        return [index for index in sorted(self._fresh[number]) if index < self.count(number)]

    def leave_out(self, number: int, index: int, head: int, tail: int) -> None:
        """Bytes at the beginning and the end of a block that are not to be read."""
        before = self._cuts[number].get(index, (0, 0))
        self._cuts[number][index] = (before[0] + head, before[1] + tail)

    def runs(self, number: int) -> list[Run]:
        """The stream of a source between its seams."""
        begins = [0, *self.seams(number)]
        made: list[Run] = []
        sizes, spans = self.sizes(number), self._spans[number]
        for first, end in zip(begins, [*begins[1:], len(sizes)], strict=True):
            offset = made[-1].offset + made[-1].size if made else 0
            known = self._fresh[number].get(first, True)
            made.append(Run(offset, sum(sizes[first:end]), spans[first][0], spans[end - 1][1], known))
        return made

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
