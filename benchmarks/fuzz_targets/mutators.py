"""Changes that keep an input's form, so that what lies behind the first check is reached too."""

from __future__ import annotations

import copy
import json
import random
import struct
import tomllib
from collections.abc import Callable
from typing import Any

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


def places_of(document: Any) -> list[tuple[Any, Any]]:
    """Every (container, key or index) of a document of tables and lists."""
    places: list[tuple[Any, Any]] = []

    def walk(here: Any) -> None:
        items = here.items() if isinstance(here, dict) else enumerate(here) if isinstance(here, list) else ()
        for key, value in items:
            places.append((here, key))
            walk(value)

    walk(document)
    return places


def toml_values(data: bytes, rng: random.Random) -> bytes:
    """A TOML file that is still one, with other values, keys left out, exchanged or doubled; now and then its lines."""
    try:
        document = tomllib.loads(data.decode())
    except (ValueError, RecursionError):
        return lines(data, rng)
    if rng.random() < 0.2:
        return lines(data, rng)
    places = places_of(document)
    for _ in range(rng.randint(1, 4)):
        if not places:
            break
        here, key = rng.choice(places)
        if key not in (here if isinstance(here, dict) else range(len(here))):
            continue
        other, other_key = rng.choice(places)
        theirs = other.get(other_key) if isinstance(other, dict) else other[other_key] if other_key < len(other) else 0
        change = rng.randrange(8)
        if change == 0:
            del here[key]
        elif change == 1:
            here[key] = copy.deepcopy(theirs)
        elif change == 2 and isinstance(here, list):
            here.append(copy.deepcopy(here[key]))
        elif change == 3 and isinstance(here, dict) and isinstance(other_key, str):
            here[other_key] = here.pop(key)
        elif change == 4 and isinstance(here[key], int | float) and not isinstance(here[key], bool):
            here[key] = here[key] * rng.choice((-1, 0, 0.5, 2, 10, 1000, 1e-6, 1e12))
        elif change == 5 and isinstance(here[key], str) and here[key]:
            cut = rng.randrange(len(here[key]))
            here[key] = (
                here[key][:cut] + rng.choice(("", " ", "\n", "\0", "½", "x" * 300, "-", "/..")) + here[key][cut:]
            )
        else:
            here[key] = tomllib.loads(f"v = {rng.choice(VALUES).decode()}")["v"]
    return toml_text(document).encode("utf-8", "replace")


def toml_text(document: dict[str, Any]) -> str:
    """Tables of the first level as tables, what lies deeper inline."""
    plain = [f"{_name(k)} = {_inline(v)}" for k, v in document.items() if not _tables(v)]
    for key, value in document.items():
        for table in value if isinstance(value, list) and _tables(value) else [value] if _tables(value) else ():
            plain.append(f"[[{_name(key)}]]" if isinstance(value, list) else f"[{_name(key)}]")
            plain += [f"{_name(k)} = {_inline(v)}" for k, v in table.items()]
    return "\n".join(plain) + "\n"


def _tables(value: Any) -> bool:
    if isinstance(value, list):
        return bool(value) and all(isinstance(v, dict) for v in value)
    return isinstance(value, dict)


def _name(key: str) -> str:
    return key if key.isascii() and key.replace("_", "").isalnum() else json.dumps(key)


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_name(k)} = {_inline(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return value.isoformat() if hasattr(value, "isoformat") else repr(value)


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
