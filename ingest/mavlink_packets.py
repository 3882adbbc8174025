"""MAVLink packets out of a telemetry log: each behind its 64-bit stamp (µs since 1970, big endian).

Specification: mavlink.io/en/guide/serialization.html (packets of versions 1 and 2, checksum with the message's own
extra byte, zeros cut off the end of a payload of version 2).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ingest.binary.checksum import of_bytes, over_frames
from ingest.mavlink_messages import ESC_MESSAGES, X25

STAMP: Final = 8
_MARK: Final = re.compile(rb"[\xfd\xfe]")
_SPAN_US: Final = (946_684_800_000_000, 4_102_444_800_000_000)  # 2000 to 2100
_DAY_US: Final = 86_400_000_000


def record_at(data: bytes, place: int) -> tuple[int, int] | None:
    """(stamp in µs, end of the record) where one may stand at `place`; None where none can, or bytes are missing."""
    if len(data) < place + STAMP + 2:
        return None
    mark = data[place + STAMP]
    if mark not in (0xFD, 0xFE):
        return None
    stamp = int.from_bytes(data[place : place + STAMP], "big")
    if not _SPAN_US[0] <= stamp < _SPAN_US[1]:
        return None
    length = data[place + STAMP + 1]
    if mark == 0xFE:
        return stamp, place + STAMP + 8 + length
    if len(data) < place + STAMP + 3:
        return None
    signed = data[place + STAMP + 2] & 1
    return stamp, place + STAMP + 12 + length + 13 * signed


def looks_like_records(head: bytes) -> bool:
    """Two records in a row, stamps in order of size; one is enough where it is the whole file.

    Behind a first record whose neighbour is damaged, three in a row anywhere in the head.
    """
    first = record_at(head, 0)
    if first is None:
        return False
    if first[1] >= len(head):
        return first[1] == len(head)
    if _chain(head, first, 1):
        return True
    marks = (found.start() - STAMP for found in _MARK.finditer(head, STAMP + 1))
    starts = (record for place in marks if (record := record_at(head, place)) is not None)
    return any(abs(start[0] - first[0]) < _DAY_US and _chain(head, start, 2) for start in starts)


def _chain(head: bytes, record: tuple[int, int], more: int) -> bool:
    """Whether as many further records follow, each within a day of the one before."""
    for _ in range(more):
        after = record_at(head, record[1])
        if after is None or abs(after[0] - record[0]) >= _DAY_US:
            return False
        record = after
    return True


@dataclass(frozen=True, eq=False)
class Packets:
    """Packets of one message and sender in order: stamps (µs), payloads filled up with zeros, lengths as sent."""

    stamps: NDArray[np.int64]
    places: NDArray[np.int64]
    payload: NDArray[np.uint8]
    lengths: NDArray[np.int64]


class Splitter:
    """Bytes in, packets with a right checksum out; what is damaged or unknown is counted."""

    def __init__(self, dialect: Any) -> None:
        self.map: dict[int, Any] = ESC_MESSAGES | dialect.mavlink_map
        self.bad = 0
        self.stray = 0
        self.first_bad: int | None = None
        self.unknown: dict[int, int] = {}
        self.trailing = 0
        self._carry = b""
        self._offset = 0
        self._last_us: int | None = None

    def feed(self, data: bytes, last: bool) -> dict[tuple[int, int, int], Packets]:
        """By (message id, system, component)."""
        raw = self._carry + data if self._carry else data
        starts, ends, stamps = self._split(raw, last)
        used = ends[-1] if ends else 0
        place = max(used, self._resume)
        self._carry = raw[place:] if not last else b""
        self.trailing = len(raw) - place if last else 0
        found = self._checked(raw, starts, ends, stamps)
        self._offset += place
        return found

    def _split(self, raw: bytes, last: bool) -> tuple[list[int], list[int], list[int]]:
        starts: list[int] = []
        ends: list[int] = []
        stamps: list[int] = []
        place = 0
        size = len(raw)
        while place < size:
            record = record_at(raw, place)
            short = record is None and size - place < STAMP + 3
            if short or (record is not None and record[1] > size):
                if not last or record is None or self._is_end(raw, place):
                    break
                record = None
            if record is not None and self._goes_on(raw, place, record, last):
                starts.append(place)
                ends.append(record[1])
                stamps.append(record[0])
                if self._near(record[0]) or self._agrees(raw, record):
                    self._last_us = record[0]
                place = record[1]
                continue
            self.first_bad = self.first_bad if self.first_bad is not None else self._offset + place
            self.bad += 1
            found = self._search(raw, place + 1, last)
            self.stray += found - place
            place = found
        self._resume = place
        return starts, ends, stamps

    _resume = 0

    def _is_end(self, raw: bytes, place: int) -> bool:
        """Whether nothing whole follows: the last record was cut off."""
        return self._search(raw, place + 1, True) >= len(raw) - STAMP - 2

    def _goes_on(self, raw: bytes, place: int, record: tuple[int, int], last: bool) -> bool:
        """A record stands behind it, or nothing; else its own checksum must be right."""
        stamp, end = record
        if self._last_us is not None and abs(stamp - self._last_us) > _DAY_US:
            return self._right(raw, place, end)
        if end + STAMP + 3 > len(raw):
            return not last or end == len(raw) or self._right(raw, place, end)
        return self._agrees(raw, record) or self._right(raw, place, end)

    def _agrees(self, raw: bytes, record: tuple[int, int]) -> bool:
        """Whether the next record's stamp is near: the checksum does not cover a stamp, one alone may be damaged."""
        following = record_at(raw, record[1])
        return following is not None and abs(following[0] - record[0]) < _DAY_US

    def _right(self, raw: bytes, place: int, end: int) -> bool:
        at = place + STAMP
        if end > len(raw):
            return False
        number, header = _id_of(raw, at)
        known = self.map.get(number)
        if known is None:
            return False
        stop = at + header + raw[at + 1]
        body = raw[at + 1 : stop] + bytes([known.crc_extra])
        return of_bytes(X25, body) == int.from_bytes(raw[stop : stop + 2], "little")

    def _search(self, raw: bytes, place: int, last: bool) -> int:
        """The next place where a whole record with a right checksum begins."""
        for found in _MARK.finditer(raw, place + STAMP):
            at = found.start() - STAMP
            record = record_at(raw, at)
            if record is None:
                continue
            if record[1] > len(raw):
                if not last and self._near(record[0]):
                    return at
                continue
            if self._near(record[0]) and self._right(raw, at, record[1]):
                return at
        return max(place, len(raw) - STAMP - 2)

    def _near(self, stamp: int) -> bool:
        return self._last_us is None or abs(stamp - self._last_us) < _DAY_US

    def _checked(
        self, raw: bytes, starts: list[int], ends: list[int], stamps: list[int]
    ) -> dict[tuple[int, int, int], Packets]:
        groups: dict[tuple[int, int, int, int], list[int]] = {}
        for k, start in enumerate(starts):
            at = start + STAMP
            number, header = _id_of(raw, at)
            sender = at + (5 if header == 10 else 3)  # system, component
            key = (number, header, raw[at + 1], raw[sender] << 8 | raw[sender + 1])
            groups.setdefault(key, []).append(k)
        buffer = np.frombuffer(raw, dtype=np.uint8)
        first, when = np.array(starts, dtype=np.int64), np.array(stamps, dtype=np.int64)
        parts: dict[tuple[int, int, int], list[Packets]] = {}
        for (number, header, length, sender), places in groups.items():
            known = self.map.get(number)
            if known is None:
                self.unknown[number] = self.unknown.get(number, 0) + len(places)
                continue
            rows = np.array(places)
            begins = first[rows] + STAMP
            frames = buffer[begins[:, None] + np.arange(header + length + 2)]
            stated = frames[:, -2].astype(np.int64) | frames[:, -1].astype(np.int64) << 8
            frames[:, -2] = known.crc_extra
            right = over_frames(X25, frames, 1, header + length + 1) == stated
            if not right.all():
                self.bad += int(np.count_nonzero(~right))
                if self.first_bad is None:
                    self.first_bad = self._offset + int(first[rows[~right][0]])
            size = int(known.unpacker.size)
            payload = np.zeros((rows.size, size), dtype=np.uint8)
            payload[:, : min(size, length)] = frames[:, header : header + min(size, length)]
            sent = size if header == 10 else length
            some = Packets(when[rows], rows, payload, np.full(rows.size, sent))
            some = some if right.all() else _taken(some, right)
            if some.stamps.size:
                parts.setdefault((number, sender >> 8, sender & 255), []).append(some)
        return {key: _joined(some) for key, some in parts.items()}


def _id_of(raw: bytes, at: int) -> tuple[int, int]:
    """(message id, bytes of the header) of a packet."""
    if raw[at] == 0xFE:
        return raw[at + 5], 6
    return int.from_bytes(raw[at + 7 : at + 10], "little"), 10


def _taken(some: Packets, which: Any) -> Packets:
    return Packets(some.stamps[which], some.places[which], some.payload[which], some.lengths[which])


def _joined(parts: list[Packets]) -> Packets:
    if len(parts) == 1:
        return parts[0]
    names = ("stamps", "places", "payload", "lengths")
    whole = Packets(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))
    return _taken(whole, np.argsort(whole.places, kind="stable"))


def split_by(some: Packets, values: NDArray[Any]) -> Iterator[tuple[int, Packets]]:
    """Packets apart by the figure that tells one instance from another; -1 where it is no number."""
    if values.dtype.kind == "f":
        values = np.where(np.isfinite(values), values, -1.0)
    for value in np.unique(values):
        yield int(value), _taken(some, values == value)
