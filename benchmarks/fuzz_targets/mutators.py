"""Changes that keep an input's form, so that what lies behind the first check is reached too."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable

Mutator = Callable[[bytes, random.Random], bytes]

VALUES = (
    b"0", b"-1", b"6", b"1e308", b"-1e-320", b"nan", b"inf", b"-inf", b"9223372036854775807", b"-9223372036854775808",
    b"99999999999999999999", b'""', b'"unknown"', b'"b"', b"true", b"[]", b"[1, 2]", b"[[1, 2, 3]]", b"{}",
    b"1979-05-27", b"1979-05-27T07:32:00Z", b"07:32:00", b'"\\u0000"', b'"<script>"', b"0.1", b"1e-9", b"40", b'"pack"',
    b'"12 AWG"', b'"4 mm2"', b'"weapon"', b'["weapon", "weapon"]', b'"0 AWG"', b'"-3 mm2"', b"65535", b"4294967296",
)  # fmt: skip


def lines(data: bytes, rng: random.Random) -> bytes:
    """Lines dropped, doubled, moved and swapped; the value or the key of one replaced."""
    rows = data.split(b"\n")
    for _ in range(rng.randint(1, 4)):
        if not rows:
            break
        at, other = rng.randrange(len(rows)), rng.randrange(len(rows))
        kind = rng.randrange(7)
        key, sign, value = rows[at].partition(b"=")
        if kind == 0:
            del rows[at]
        elif kind == 1:
            rows.insert(other, rows[at])
        elif kind == 2:
            rows[at], rows[other] = rows[other], rows[at]
        elif kind == 3 and sign:
            rows[at] = key + b"= " + rng.choice(VALUES)
        elif kind == 4 and sign:
            rows[at] = key + b"=" + (rows[other].partition(b"=")[2] or value)
        elif kind == 5 and sign:
            rows[at] = (rows[other].partition(b"=")[0] or key) + b"=" + value
        else:
            rows[at] = _cells(rows[at], rng)
    return b"\n".join(rows)


def _cells(row: bytes, rng: random.Random) -> bytes:
    """One cell of a row of figures replaced."""
    sign = next((s for s in (b";", b"\t", b",", b" ") if s in row), b",")
    cells = row.split(sign)
    cells[rng.randrange(len(cells))] = rng.choice(VALUES).strip(b'"')
    return sign.join(cells)


def frames(data: bytes, rng: random.Random) -> bytes:
    """The example reading's frames (14 bytes, from AA 55) with other figures and sound checksums again."""
    from ingest.binary.checksum import KINDS, of_bytes

    made = bytearray(data)
    for at in range(0, len(made) - 13, 14):
        if rng.random() < 0.2:
            place = at + 2 + rng.randrange(10)
            made[place] = rng.choice((0, 255, 128, rng.randrange(256)))
            made[at + 12 : at + 14] = struct.pack("<H", of_bytes(KINDS["crc16-ccitt"], bytes(made[at + 2 : at + 12])))
    if rng.random() < 0.3:
        cut = rng.randrange(len(made) + 1)
        del made[cut : cut + rng.randrange(20)]
    return bytes(made)


def packets(data: bytes, rng: random.Random) -> bytes:
    """MAVLink records with other stamps and payloads and sound checksums again (X.25 and the message's extra byte)."""
    from pymavlink.dialects.v20 import ardupilotmega as dialect

    made = bytearray(data)
    at = 0
    while at + 8 + 12 <= len(made):
        start = at + 8
        length = made[start + 1]
        head = {0xFE: 6, 0xFD: 10}.get(made[start])
        if head is None or start + head + length + 2 > len(made):
            break
        end = start + head + length
        number = made[start + 5] if head == 6 else int.from_bytes(made[start + 7 : start + 10], "little")
        if rng.random() < 0.3 and length:
            made[start + head + rng.randrange(length)] = rng.choice((0, 255, 127, 128, rng.randrange(256)))
        if rng.random() < 0.1:
            made[at + rng.randrange(8)] = rng.randrange(256)
        kind = dialect.mavlink_map.get(number)
        if kind is not None:
            crc = dialect.x25crc(bytes(made[start + 1 : end]))
            crc.accumulate(bytes([kind.crc_extra]))
            made[end : end + 2] = struct.pack("<H", crc.crc)
        at = end + 2
    return bytes(made)


def measurement(data: bytes, rng: random.Random) -> bytes:
    """An MDF 4 file with its blocks and links as they are, other bytes changed: figures, counts, types, texts."""
    made = bytearray(data)
    guarded = set(range(24)) if rng.random() < 0.9 else set()
    at = made.find(b"##", 64)
    while at >= 0 and at + 24 <= len(made):
        links = int.from_bytes(made[at + 16 : at + 24], "little")
        guarded.update(range(at, at + 24 + 8 * min(links, 1000)))
        at = made.find(b"##", at + 24)
    free = [place for place in range(len(made)) if place not in guarded]
    for _ in range(rng.randint(1, 6)):
        if free:
            made[rng.choice(free)] = rng.choice((0, 1, 255, 128, 127, rng.randrange(256)))
    return bytes(made)
