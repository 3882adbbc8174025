"""Recordings: the recovery of torn ones, and reading them as logs."""

from __future__ import annotations

import contextlib
import json
import random
import struct
import zlib
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from benchmarks.fuzz_targets.target import One, Target

# docs/recording.md: the mark and the file's tag, then blocks of kind, tag, number, part, 0, length, CRC-32 of the
# payload, CRC-32 of place and head; packets of source, ns, length
_HEAD = struct.Struct("<4sIIHHII")
_PACKET = struct.Struct("<HqI")
_TAG = 0x5EED
_MARK = b"\x89ABREC2\n" + struct.pack("<I", _TAG)


def _joined(blocks: Sequence[tuple[bytes, bytes]], numbers: Sequence[int] | None = None) -> bytearray:
    """A file of blocks (kind, payload); a part begins with each head but the first."""
    made, part = bytearray(_MARK), -1
    for k, (kind, payload) in enumerate(blocks):
        part += kind == b"head"
        head = _HEAD.pack(kind, _TAG, numbers[k] if numbers else k, max(0, part), 0, len(payload), zlib.crc32(payload))
        made += head + struct.pack("<I", zlib.crc32(struct.pack("<Q", len(made)) + head)) + payload
    return made


def _made(kind: str, pieces: Sequence[bytes], reading: str | None = None, ended: bool = True, parts: int = 1) -> bytes:
    source = {"name": f"{kind}:x", "kind": kind, "settings": {}, "reading": reading}
    blocks: list[tuple[bytes, bytes]] = []
    for part in range(parts):
        wall = f"2026-05-09T14:2{part}:00+00:00"
        about = {"wall_start": wall, "clock_ns": part * 5_000_000_000, "boot": "b", "sources": [source]}
        blocks.append((b"head", json.dumps(about).encode()))
        for k in range(0, len(pieces), 8):
            some = enumerate(pieces[k : k + 8], k)
            packets = [_PACKET.pack(0, 5_000_000 + n * 20_000_000, len(raw)) + raw for n, raw in some]
            blocks.append((b"pack", b"".join(packets)))
        blocks.append((b"evnt", json.dumps([0, 7_000_000, "lost", "the port was gone"]).encode()))
        if ended:
            blocks.append((b"end ", json.dumps("stopped").encode()))
    return bytes(_joined(blocks))


def seeds() -> Sequence[bytes]:
    from ingest.readings_examples import EXAMPLE_BINARY_READING
    from tests.ingest.test_probes import frames

    lines = [b"time_s,pack_voltage_V\n"] + [b"%.2f,24.%d\n" % (k / 50, k % 10) for k in range(40)]
    binary = frames()
    pieces = [binary[k : k + 20] for k in range(0, 560, 20)]
    can = [struct.pack("<IBB", 0x1A0, 0, 8) + bytes(range(8)) for _ in range(40)]
    return [
        _made("serial", lines),
        _made("serial", pieces, EXAMPLE_BINARY_READING),
        _made("can", can),
        _made("udp", lines, ended=False)[:-30],
        _made("udp", lines, parts=3),
        _made("serial", pieces, EXAMPLE_BINARY_READING, parts=2),
    ]


def resealed(data: bytes, rng: random.Random) -> bytes:
    """Blocks dropped, doubled, moved; payloads changed; checksums sound again, most of the time."""
    blocks: list[tuple[bytes, bytearray]] = []
    at = len(_MARK)
    while at + _HEAD.size + 4 <= len(data):
        kind, length = _HEAD.unpack_from(data, at)[0], _HEAD.unpack_from(data, at)[5]
        blocks.append((kind, bytearray(data[at + _HEAD.size + 4 : at + _HEAD.size + 4 + length])))
        at += _HEAD.size + 4 + length
    for _ in range(rng.randint(1, 4)):
        if not blocks:
            break
        place = rng.randrange(len(blocks))
        change = rng.randrange(6)
        kind, payload = blocks[place]
        if change == 0:
            del blocks[place]
        elif change == 1:
            blocks.insert(rng.randrange(len(blocks) + 1), (kind, bytearray(payload)))
        elif change == 2:
            blocks[place] = (rng.choice((b"head", b"pack", b"evnt", b"end ", b"xxxx")), payload)
        elif change == 3 and payload:
            del payload[rng.randrange(len(payload)) :]
        elif payload:
            payload[rng.randrange(len(payload))] = rng.choice((0, 255, 34, 91, 123, 128, rng.randrange(256)))
    made = _joined([(kind, bytes(payload)) for kind, payload in blocks])
    if made and rng.random() < 0.3:
        del made[rng.randrange(len(made)) :]
    for _ in range(rng.choice((0, 0, 1, 3))):  # damaged places: blocks behind them are found again
        if made:
            place = rng.randrange(len(made))
            made[place : place + rng.choice((1, 8, 512))] = bytes(rng.randrange(256) for _ in range(rng.choice((1, 8))))
    return bytes(made)


def _recording(folder: Path) -> One:
    """Its whole blocks, its recovery, and reading it as a log where something is left."""
    from ingest.errors import UnreadableLog
    from ingest.formats import ReadOptions, formats
    from ingest.inspect import entry_of
    from ingest.record.blocks import whole_blocks
    from ingest.record.recovery import recover
    from ingest.record.tail import Tail

    path = folder / "bench.rec"
    form = next((form for form in formats() if form.name == "recording"), None)

    def one(data: bytes) -> object:
        path.write_bytes(data)
        whole = sum(1 for _ in whole_blocks(path))
        with contextlib.suppress(UnreadableLog):
            recover(path)
        with contextlib.suppress(UnreadableLog):
            Tail(path).more(1 << 20)
        if form is None:
            return whole
        reader = form.open(path, ReadOptions(counts_only=True))
        rows = sum(batch.num_rows for _, batch in reader.batches())
        entry_of(reader.provenance, path)
        return rows

    return one


def _damage(folder: Path) -> One:
    """Whatever was done to it, every block that is found is one that was written, at its own place."""
    from ingest.record.blocks import Block, scan

    path = folder / "bench.rec"
    written: set[Block] = set()
    for sound in seeds():
        path.write_bytes(sound)
        written |= {found for found in scan(path) if isinstance(found, Block)}

    def one(data: bytes) -> object:
        path.write_bytes(data)
        found = list(scan(path))
        blocks = [block for block in found if isinstance(block, Block)]
        assert set(blocks) <= written, "a block that nobody wrote"
        places = [(part.start, part.end) for part in found]
        assert all(a[1] <= b[0] for a, b in pairwise(places)), "blocks and holes overlap"
        return len(blocks)

    return one


TARGETS = (
    Target("recording", "a recording's recovery and reading", seeds, _recording, seconds=20.0, mutate=resealed),
    Target("recording_damage", "damage inside a recording: no block that nobody wrote", seeds, _damage, seconds=20.0),
)
