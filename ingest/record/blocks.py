"""The recording file: whole blocks one after the other, each with its place, number and checksums; only appended to.

A block is found again behind damage by its head alone, and bytes that are none are never taken for one: the head's
checksum also covers the place in the file at which it stands, its tag is that of the file, its number goes on from
the last, and its payload has a checksum of its own. So a recording within a recording is payload, never blocks.
"""

from __future__ import annotations

import os
import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, Literal, NamedTuple

MAGIC: Final = b"\x89ABREC2\n"  # no text begins so
KINDS: Final = (b"head", b"pack", b"evnt", b"end ")
# Events behind which a source's bytes do not follow on from those before.
SEAMS: Final = ("lost", "back", "overflow", "dropped", "cut", "slept")
HEAD_BYTES: Final = 28
_HEAD: Final = struct.Struct("<4sIIHHII")  # kind, tag, number, part, 0, length, CRC-32 of the payload; then its own
_OWN: Final = struct.Struct("<I")
_PLACE: Final = struct.Struct("<Q")
_TAG: Final = struct.Struct("<I")
START: Final = len(MAGIC) + _TAG.size  # where the first block stands, behind the file's tag
_ANY_KIND: Final = re.compile(b"|".join(KINDS))
PACKET: Final = struct.Struct("<HqI")
_CAN: Final = struct.Struct("<IBB")
CAN_HEAD_BYTES: Final = _CAN.size
_LOOK_BYTES: Final = 1 << 14  # searched at once behind damage, four times as much each time, up to a megabyte
_MOST_LOOK_BYTES: Final = 1 << 20


@dataclass(frozen=True)
class SourceNote:
    """One source as it is written into the file. reading: the text of the reading that says what its bytes mean."""

    name: str
    kind: Literal["serial", "can", "udp", "demo"]
    settings: dict[str, str]
    reading: str | None


class Packet(NamedTuple):
    """What came at once. t_ns: since the clock of its part began; CAN frames as pack_can writes them."""

    source: int
    t_ns: int
    data: bytes


class Block(NamedTuple):
    """A whole block: where it begins and ends in the file, its number in it, and the part that it belongs to."""

    kind: bytes
    payload: bytes
    start: int
    end: int
    number: int
    part: int
    tag: int


class Damage(NamedTuple):
    """Bytes between two blocks that are no whole block. blocks: how many are missing, by the numbers around them."""

    start: int
    end: int
    blocks: int


class CanFrame(NamedTuple):
    """One CAN frame as it was packed."""

    frame_id: int
    data: bytes
    extended: bool
    remote: bool
    error: bool
    fd: bool


def pack_can(
    frame_id: int,
    data: bytes,
    *,
    extended: bool = False,
    remote: bool = False,
    error: bool = False,
    fd: bool = False,
    brs: bool = False,
    esi: bool = False,
    dlc: int | None = None,
) -> bytes:
    """One CAN frame as the data of a packet: id, flags, length, data."""
    flags = extended | remote << 1 | error << 2 | fd << 3 | brs << 4 | esi << 5
    return _CAN.pack(frame_id, flags, len(data) if dlc is None else dlc) + data


def unpack_can(raw: bytes) -> CanFrame:
    """The inverse of pack_can."""
    frame_id, flags, _ = _CAN.unpack_from(raw)
    return CanFrame(frame_id, raw[6:], bool(flags & 1), bool(flags & 2), bool(flags & 4), bool(flags & 8))


def pack_block(kind: bytes, payload: bytes, place: int, number: int, part: int, tag: int) -> bytes:
    """A block as it stands at a place of the file."""
    head = _HEAD.pack(kind, tag, number, part, 0, len(payload), zlib.crc32(payload))
    return head + _OWN.pack(zlib.crc32(head, zlib.crc32(_PLACE.pack(place)))) + payload


class _Head(NamedTuple):
    kind: bytes
    tag: int
    number: int
    part: int
    length: int
    check: int


def _head_at(raw: bytes, place: int, tag: int | None, after: int) -> _Head | None:
    """The head in 28 bytes that stand at a place of the file; None where they are none, or of another file."""
    kind, its, number, part, zero, length, check = _HEAD.unpack_from(raw)
    if kind not in KINDS or zero or number <= after or (tag is not None and its != tag):
        return None
    own = zlib.crc32(raw[: _HEAD.size], zlib.crc32(_PLACE.pack(place)))
    if _OWN.unpack_from(raw, _HEAD.size)[0] != own:
        return None
    return _Head(kind, its, number, part, length, check)


def file_mark(tag: int) -> bytes:
    """What a recording begins with."""
    return MAGIC + _TAG.pack(tag)


def _tag_of(stream: BinaryIO, size: int) -> int | None:
    """The tag that stands at the beginning, if any block of the file has it; else its first sound block's will do."""
    stream.seek(len(MAGIC))
    raw = stream.read(_TAG.size)
    if len(raw) < _TAG.size:
        return None
    tag: int = _TAG.unpack(raw)[0]
    return tag if _next_head(stream, START, size, tag, -1) is not None else None


def scan(path: Path, start: int = START, number: int = -1, tag: int | None = None) -> Iterator[Block | Damage]:
    """Every whole block of a file, and between them what is damaged; what is torn at the end is not told.

    start, number, tag: behind a block that was seen before, its end, its number and its tag.
    """
    with path.open("rb") as stream:
        size = os.fstat(stream.fileno()).st_size
        tag = _tag_of(stream, size) if tag is None else tag
        place, broken = start, -1  # where damage began that is not told yet
        while True:
            stream.seek(place)
            raw = stream.read(HEAD_BYTES)
            if len(raw) < HEAD_BYTES:
                return
            head = _head_at(raw, place, tag, number)
            if head is None or head.length > size - place - HEAD_BYTES:
                broken = place if broken < 0 else broken
                found = _next_head(stream, place + 1, size, tag, number)
                if found is None:
                    return
                place = found
                continue
            payload = stream.read(head.length)
            end = place + HEAD_BYTES + head.length
            if len(payload) < head.length or zlib.crc32(payload) != head.check:
                broken = place if broken < 0 else broken
                place = end
                continue
            missing = head.number - number - 1
            if broken >= 0 or missing:
                yield Damage(place if broken < 0 else broken, place, missing)
                broken = -1
            yield Block(head.kind, payload, place, end, head.number, head.part, head.tag)
            place, number, tag = end, head.number, head.tag


def _next_head(stream: BinaryIO, place: int, size: int, tag: int | None, number: int) -> int | None:
    """Where the next sound head stands, from a place on; None: nowhere."""
    window = _LOOK_BYTES
    while place + HEAD_BYTES <= size:
        stream.seek(place)
        raw = stream.read(window + HEAD_BYTES - 1)
        for hit in _ANY_KIND.finditer(raw):
            at = hit.start()
            if at + HEAD_BYTES > len(raw):
                break
            head = _head_at(raw[at : at + HEAD_BYTES], place + at, tag, number)
            if head is not None and head.length <= size - place - at - HEAD_BYTES:
                return place + at
        place += window
        window = min(4 * window, _MOST_LOOK_BYTES)
    return None


def whole_blocks(path: Path) -> Iterator[Block]:
    """Every whole block, also those behind damage."""
    return (found for found in scan(path) if isinstance(found, Block))


def read_block(path: Path, place: int) -> bytes:
    """The payload of the block that stands at a place of the file."""
    with path.open("rb") as stream:
        stream.seek(place)
        length = _HEAD.unpack_from(stream.read(HEAD_BYTES))[5]
        return stream.read(length)


def packets_in(payload: bytes) -> Iterator[Packet]:
    """The packets of a block. Raises struct.error where there is none that a recorder wrote."""
    place = 0
    while place < len(payload):
        source, t_ns, size = PACKET.unpack_from(payload, place)
        place += PACKET.size
        yield Packet(source, t_ns, payload[place : place + size])
        place += size


def read_packets(path: Path) -> Iterator[Packet]:
    """Every packet of the whole blocks, in the order of the file; stamps as they were written, part by part."""
    for block in whole_blocks(path):
        if block.kind == b"pack":
            yield from packets_in(block.payload)
