"""Checksums of many frames at once: one numpy operation for two bytes of every frame.

A cyclic redundancy check is given by width, polynomial, start value, reflection and final xor, the parameters of the
catalogue of parametrised CRC algorithms (G. Cook, reveng.sourceforge.io/crc-catalogue), whose names stand below.
Range: widths of 3 to 32 bits; input and output are reflected alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
_WORD: Final = 16


@dataclass(frozen=True)
class Crc:
    """width_bits 3 to 32; polynomial without its top term; start and xor_out as the catalogue writes them."""

    width_bits: int
    polynomial: int
    start: int = 0
    reflect: bool = False
    xor_out: int = 0


@dataclass(frozen=True)
class Sum8:
    """The bytes added, modulo 256."""


@dataclass(frozen=True)
class Xor8:
    """The bytes combined by exclusive or."""


Checksum = Crc | Sum8 | Xor8

KINDS: Final[dict[str, Checksum]] = {
    "sum8": Sum8(),
    "xor8": Xor8(),
    "crc8": Crc(8, 0x07),  # CRC-8/SMBUS
    "crc16-ccitt": Crc(16, 0x1021, 0xFFFF),  # CRC-16/IBM-3740, also known as CCITT-FALSE
    "crc16-modbus": Crc(16, 0x8005, 0xFFFF, True),  # CRC-16/MODBUS
    "crc32": Crc(32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF),  # CRC-32/ISO-HDLC
}


def size_bytes(checksum: Checksum) -> int:
    """The bytes that the checksum takes up in a frame."""
    return (checksum.width_bits + 7) // 8 if isinstance(checksum, Crc) else 1


def over_frames(checksum: Checksum, frames: Bytes, first: int, end: int) -> NDArray[np.int64]:
    """The checksum over bytes first ≤ i < end of each row of frames (rows × bytes)."""
    part = frames[:, first:end]
    if isinstance(checksum, Sum8):
        return part.sum(axis=1, dtype=np.int64) & 0xFF
    if isinstance(checksum, Xor8):
        return np.bitwise_xor.reduce(part, axis=1).astype(np.int64)
    return _crc_over(checksum, frames, first, end)


def of_bytes(checksum: Checksum, data: bytes) -> int:
    """The checksum of one message."""
    row = np.frombuffer(data, dtype=np.uint8).reshape(1, -1)
    return int(over_frames(checksum, row, 0, row.shape[1])[0])


def _crc_over(crc: Crc, frames: Bytes, first: int, end: int) -> NDArray[np.int64]:
    rows = frames.shape[0]
    kept = max(crc.width_bits, _WORD)  # a short register is kept at the top of a word, or at its bottom
    lift = 0 if crc.reflect else kept - crc.width_bits
    start = _reversed_bits(crc.start, crc.width_bits) if crc.reflect else crc.start << lift
    register = np.full(rows, start, dtype=np.int64)
    table = _table(crc, _WORD)
    place = first
    while place + 2 <= end:
        word = _words(frames, place, "<u2" if crc.reflect else ">u2")
        register = _step(crc, register, word, table, _WORD, kept)
        place += 2
    if place < end:
        register = _step(crc, register, frames[:, place], _table(crc, 8), 8, kept)
    if lift:
        register >>= lift
    return register ^ crc.xor_out


def _step(
    crc: Crc, register: NDArray[np.int64], word: NDArray[Any], table: NDArray[np.int64], bits: int, kept: int
) -> NDArray[np.int64]:
    """Shift `bits` bits of every frame into its register."""
    if crc.reflect:
        index = register ^ word
        if kept <= bits:
            return table.take(index, mode="clip")
        index &= (1 << bits) - 1
        return table.take(index, mode="clip") ^ (register >> bits)
    if kept <= bits:
        return table.take(register ^ word, mode="clip")
    index = (register >> (kept - bits)) ^ word
    return table.take(index, mode="clip") ^ ((register << bits) & ((1 << kept) - 1))


def _words(frames: Bytes, place: int, kind: str) -> NDArray[Any]:
    """Two bytes of each row as one number, without a copy where the rows lie evenly in memory."""
    if frames.strides[1] == 1:
        return frames[:, place : place + 2].view(kind)[:, 0]
    high = frames[:, place + 1].astype(np.int64)
    low = frames[:, place].astype(np.int64)
    return low | high << 8 if kind == "<u2" else low << 8 | high


@lru_cache(maxsize=32)
def _table(crc: Crc, bits: int) -> NDArray[np.int64]:
    """What `bits` bits shifted through an otherwise empty register leave behind."""
    kept = max(crc.width_bits, _WORD)
    register = np.arange(1 << bits, dtype=np.int64)
    if crc.reflect:
        polynomial = _reversed_bits(crc.polynomial, crc.width_bits)
        for _ in range(bits):
            register = (register >> 1) ^ np.where(register & 1, polynomial, 0)
        return register
    polynomial = crc.polynomial << (kept - crc.width_bits)
    register <<= kept - bits
    top, mask = 1 << (kept - 1), (1 << kept) - 1
    for _ in range(bits):
        register = ((register << 1) & mask) ^ np.where(register & top, polynomial, 0)
    return register


def _reversed_bits(value: int, width: int) -> int:
    return int(f"{value:0{width}b}"[::-1], 2)
