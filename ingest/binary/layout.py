"""The layout of a declared frame: from a binary reading to the pieces that decode it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ingest.binary.checksum import KINDS, Bytes, Checksum, Crc, over_frames, size_bytes
from ingest.delimited.clock import UNIT_S
from ingest.delimited.meaning import clock_unit_hint
from ingest.errors import ReadingError, nearest
from ingest.readings import Reading, ReadingChecksum, ReadingField

_BLOCK_ROWS: Final = 16_384  # our choice: what is worked on stays in the processor's cache
_DTYPES: Final = {
    **{f"{sign}{bits}": f"{sign}{bits // 8}" for sign in "ui" for bits in (8, 16, 32, 64)},
    "f32": "f4",
    "f64": "f8",
}


@dataclass(frozen=True, eq=False)
class Layout:
    """A frame as declared. check_first ≤ i < check_end is what the checksum covers; it stands at check_at."""

    length: int
    sync: bytes
    skip: int
    big: bool
    fields: tuple[ReadingField, ...]
    checksum: Checksum | None = None
    check_first: int = 0
    check_end: int = 0
    check_at: int = 0
    check_big: bool = False
    time: ReadingField | None = None
    time_unit: str | None = None

    def good(self, frames: Bytes) -> NDArray[np.bool_]:
        """Which rows (rows × bytes) begin with the sync bytes and carry the right checksum."""
        rows = frames.shape[0]
        good = np.ones(rows, dtype=bool)
        for place, byte in enumerate(self.sync):
            good &= frames[:, place] == byte
        if self.checksum is None:
            return good
        for start in range(0, rows, _BLOCK_ROWS):
            block = frames[start : start + _BLOCK_ROWS]
            wanted = over_frames(self.checksum, block, self.check_first, self.check_end)
            good[start : start + _BLOCK_ROWS] &= wanted == self._stated(block)
        return good

    def _stated(self, frames: Bytes) -> NDArray[np.int64]:
        assert self.checksum is not None
        size = size_bytes(self.checksum)
        if frames.strides[1] == 1 and size in (1, 2, 4):
            kind = f"{'>' if self.check_big else '<'}u{size}"
            return frames[:, self.check_at : self.check_at + size].view(kind)[:, 0].astype(np.int64)
        value = np.zeros(frames.shape[0], dtype=np.int64)
        for k in range(size):
            shift = 8 * (size - 1 - k if self.check_big else k)
            value |= frames[:, self.check_at + k].astype(np.int64) << shift
        return value

    def values(self, field: ReadingField, frames: Bytes) -> NDArray[Any]:
        """One field of every row, as its own type; a part of one as a whole number."""
        raw = self._raw(field, frames)
        if field.bit is None and field.bits is None:
            return raw
        bits = field.bits or 1
        if bits == 64:
            return raw
        part = (raw >> raw.dtype.type(field.bit or 0)).astype(np.int64) & ((1 << bits) - 1)
        if field.type.startswith("i"):
            part = np.where(part >> (bits - 1), part - (1 << bits), part)
        return part

    def _raw(self, field: ReadingField, frames: Bytes) -> NDArray[Any]:
        at = field.offset_byte
        if field.type in ("u24", "i24"):
            order = (2, 1, 0) if self.big else (0, 1, 2)
            low, middle, high = (frames[:, at + k].astype(np.int64) for k in order)
            value = low | middle << 8 | high << 16
            return np.where(value >> 23, value - (1 << 24), value) if field.type == "i24" else value
        kind = _DTYPES[field.type]
        size = int(kind[1:])
        piece = frames[:, at : at + size]
        if piece.strides[1] != 1:
            piece = np.ascontiguousarray(piece)
        return piece.view(("u1" if kind == "u1" else "i1") if size == 1 else (">" if self.big else "<") + kind)[:, 0]

    @property
    def time_bits(self) -> int | None:
        """Where the counter wraps; None for a fractional one or where there is none."""
        if self.time is None or self.time.type.startswith("f"):
            return None
        if self.time.bit is not None or self.time.bits is not None:
            return self.time.bits or 1
        return int(self.time.type[1:])


def layout_of(reading: Reading) -> Layout:
    """The layout that a binary reading declares. Raises ReadingError where it does not hold together."""

    def fail(what: str, column: str, found: object, mend: str, expected: str | None = None) -> ReadingError:
        return ReadingError(
            what, file=reading.path or reading.name, column=column, found=found, expected=expected, mend=mend
        )

    frame = reading.frame
    if frame is None or not reading.fields:
        raise fail(
            "is not a binary reading", "[reading] kind", reading.kind, "Add [frame] and a [[field]] for each value."
        )
    time: ReadingField | None = None
    unit: str | None = None
    if reading.time_column is not None:
        known: Mapping[str, ReadingField] = {field.name: field for field in reading.fields}
        if reading.time_column not in known:
            raise fail(
                "names no field", "[reading] time_column", reading.time_column, nearest(reading.time_column, known)
            )
        time = known[reading.time_column]
        unit = reading.time_unit or clock_unit_hint(time.name, None)
        if unit not in UNIT_S:
            raise fail(
                "does not say the unit of its time field",
                "[reading] time_unit",
                unit,
                'Add: time_unit = "ms"',
                "s, ms, us, ns, min or h",
            )
    for field in reading.fields:
        if field.type.startswith("f") and (field.bit is not None or field.bits is not None):
            raise fail(
                "takes bits out of a fractional number", f"[[field]] {field.name}", field.type, "Give it a whole type."
            )
    given = reading.checksum
    checksum = None if given is None else checksum_of(given)
    first = end = at = 0
    if given is not None and checksum is not None:
        at, first, size = given.at_byte, given.first_byte, size_bytes(checksum)
        end = given.end_byte if given.end_byte is not None else (at if first < at else frame.length_bytes)
        if at + size > frame.length_bytes:
            raise fail(
                "reaches past the end of the frame",
                "[checksum] at_byte",
                at,
                "Correct at_byte or length_bytes.",
                f"at most {frame.length_bytes - size}",
            )
        if not first < end <= frame.length_bytes:
            raise fail("covers no bytes of the frame", "[checksum] end_byte", end, "Correct first_byte and end_byte.")
        if first < at + size and at < end:
            raise fail("covers itself", "[checksum] end_byte", end, f"Leave out the bytes {at} to {at + size - 1}.")
    return Layout(
        frame.length_bytes, frame.sync, frame.skip_bytes, frame.byte_order == "big", reading.fields,
        checksum, first, end, at,
        (given.byte_order if given is not None and given.byte_order else frame.byte_order) == "big",
        time, unit,
    )  # fmt: skip


def checksum_of(given: ReadingChecksum) -> Checksum:
    """A kind by name, or a cyclic check by its parameters."""
    if given.kind in KINDS:
        return KINDS[given.kind]
    return Crc(
        int(getattr(given, "width_bits", 16) or 16),
        int(getattr(given, "polynomial", 0x1021) or 0x1021),
        int(getattr(given, "start", 0) or 0),
        bool(getattr(given, "reflect", False)),
        int(getattr(given, "xor_out", 0) or 0),
    )
