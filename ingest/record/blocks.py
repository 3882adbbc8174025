"""The recording file: whole blocks one after the other, each with its length and checksum, only ever appended to."""

from __future__ import annotations

import json
import os
import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Final, Literal, NamedTuple

from ingest.store import Store

MAGIC: Final = b"\x89ABREC1\n"  # no text begins so
_HEAD: Final = struct.Struct("<4sII")
PACKET: Final = struct.Struct("<HqI")
_CAN: Final = struct.Struct("<IBB")
CAN_HEAD_BYTES: Final = _CAN.size
# Our choice: a killed process or a power cut loses what waits here, half a second at most
# together with a turn of the session; ten blocks a second cost some hundred bytes.
FLUSH_NS: Final = 100_000_000
SYNC_NS: Final = 250_000_000


@dataclass(frozen=True)
class SourceNote:
    """One source as it is written into the file. reading: the text of the reading that says what its bytes mean."""

    name: str
    kind: Literal["serial", "can", "udp", "demo"]
    settings: dict[str, str]
    reading: str | None


class Packet(NamedTuple):
    """What came at once. t_ns: monotonic, since the recording's clock began; CAN frames as pack_can writes them."""

    source: int
    t_ns: int
    data: bytes


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


class RecordingWriter:
    """A recording that grows. Packets wait at most 0.1 s for their block, a block at most 0.25 s for the disk."""

    def __init__(self, store: Store, path: Path, sources: Sequence[SourceNote], wall_start: datetime) -> None:
        self._output = store.record(path)
        self._packets: list[bytes] = []
        self._flushed = self._synced = 0
        self.bytes_written = 0
        self._put(MAGIC)
        about = {"wall_start": wall_start.isoformat(), "sources": [asdict(s) for s in sources]}
        self._block(b"head", json.dumps(about).encode())
        self._output.sync()

    def _put(self, data: bytes) -> None:
        self._output.write(data)
        self.bytes_written += len(data)

    def _block(self, kind: bytes, payload: bytes) -> None:
        self._put(_HEAD.pack(kind, len(payload), zlib.crc32(payload, zlib.crc32(kind))) + payload)

    def write(self, packets: Sequence[Packet]) -> None:
        pack = PACKET.pack
        for source, t_ns, data in packets:
            self._packets.append(pack(source, t_ns, len(data)))
            self._packets.append(data)

    def _gather(self) -> None:
        if self._packets:
            self._block(b"pack", b"".join(self._packets))
            self._packets.clear()

    def event(self, source: int, t_ns: int, kind: str, text: str) -> None:
        self._gather()
        self._block(b"evnt", json.dumps([source, t_ns, kind, text]).encode())

    def tick(self, now_ns: int) -> None:
        if now_ns - self._flushed >= FLUSH_NS:
            self._gather()
            self._flushed = now_ns
        if now_ns - self._synced >= SYNC_NS:
            self._synced = now_ns
            self._output.sync()

    def close(self, reason: str) -> None:
        self._gather()
        self._block(b"end ", json.dumps(reason).encode())
        self._output.finish()


def whole_blocks(path: Path, start: int = 0) -> Iterator[tuple[bytes, bytes, int]]:
    """(kind, payload, place behind it) of every block up to the first that is torn or damaged."""
    with path.open("rb") as stream:
        stream.seek(start or len(MAGIC))
        while len(head := stream.read(_HEAD.size)) == _HEAD.size:
            kind, length, check = _HEAD.unpack(head)
            if length > os.fstat(stream.fileno()).st_size - stream.tell():  # torn, or a damaged length: never asked for
                return
            payload = stream.read(length)
            if len(payload) < length or zlib.crc32(payload, zlib.crc32(kind)) != check:
                return
            yield kind, payload, stream.tell()


def read_block(path: Path, place: int) -> bytes:
    """The payload of the block that stands at a place of the file."""
    with path.open("rb") as stream:
        stream.seek(place)
        _, length, _ = _HEAD.unpack(stream.read(_HEAD.size))
        return stream.read(length)


def read_packets(path: Path) -> Iterator[Packet]:
    """Every packet of the whole blocks, in the order of the file."""
    for kind, payload, _ in whole_blocks(path):
        if kind != b"pack":
            continue
        place = 0
        while place < len(payload):
            source, t_ns, size = PACKET.unpack_from(payload, place)
            place += PACKET.size
            yield Packet(source, t_ns, payload[place : place + size])
            place += size
