"""Recordings: the recovery of torn ones, and reading them as logs."""

from __future__ import annotations

import json
import random
import struct
import zlib
from collections.abc import Sequence
from pathlib import Path

from benchmarks.fuzz_targets.target import One, Target

# docs/recording.md: the mark, then blocks of kind, length, CRC-32 of kind and payload; packets of source, ns, length
_MARK = b"\x89ABREC1\n"
_HEAD = struct.Struct("<4sII")
_PACKET = struct.Struct("<HqI")


def _block(kind: bytes, payload: bytes) -> bytes:
    return _HEAD.pack(kind, len(payload), zlib.crc32(payload, zlib.crc32(kind))) + payload


def _made(kind: str, pieces: Sequence[bytes], reading: str | None = None, ended: bool = True) -> bytes:
    source = {"name": f"{kind}:x", "kind": kind, "settings": {}, "reading": reading}
    about = {"wall_start": "2026-05-09T14:20:00+00:00", "sources": [source]}
    blocks = [_MARK, _block(b"head", json.dumps(about).encode())]
    for k in range(0, len(pieces), 8):
        some = enumerate(pieces[k : k + 8], k)
        packets = [_PACKET.pack(0, 5_000_000 + n * 20_000_000, len(raw)) + raw for n, raw in some]
        blocks.append(_block(b"pack", b"".join(packets)))
    blocks.append(_block(b"evnt", json.dumps([0, 7_000_000, "gap", "the port was gone"]).encode()))
    return b"".join(blocks) + (_block(b"end ", json.dumps("stopped").encode()) if ended else b"")


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
    ]


def resealed(data: bytes, rng: random.Random) -> bytes:
    """Blocks dropped, doubled, moved; payloads changed; checksums sound again, most of the time."""
    blocks, at = [], len(_MARK)
    while at + _HEAD.size <= len(data):
        kind, length, _ = _HEAD.unpack_from(data, at)
        blocks.append((kind, bytearray(data[at + _HEAD.size : at + _HEAD.size + length])))
        at += _HEAD.size + length
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
    made = bytearray(_MARK + b"".join(_block(kind, bytes(payload)) for kind, payload in blocks))
    if rng.random() < 0.3:
        del made[rng.randrange(len(made)) :]
    return bytes(made)


def _recording(folder: Path) -> One:
    """Recovered up to the last whole block, and read as a log where something is left."""
    from ingest.formats import ReadOptions, formats
    from ingest.inspect import entry_of
    from ingest.record.blocks import whole_blocks

    path = folder / "bench.rec"
    form = next((form for form in formats() if form.name == "recording"), None)

    def one(data: bytes) -> object:
        path.write_bytes(data)
        whole = sum(1 for _ in whole_blocks(path))
        if form is None:
            return whole
        reader = form.open(path, ReadOptions(counts_only=True))
        rows = sum(batch.num_rows for _, batch in reader.batches())
        entry_of(reader.provenance, path)
        return rows

    return one


TARGETS = (Target("recording", "a recording's recovery and reading", seeds, _recording, seconds=20.0, mutate=resealed),)
