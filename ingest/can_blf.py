"""BLF traces: containers unpacked once, and their plain CAN frames taken as arrays.

A BLF file is a header and a row of objects, most of them containers that hold the logged objects end to end, packed
by zlib; an object may go on in the next container. Objects of one kind and size stand in runs, which are read at once.
The layout is the one that python-can reads and writes; the tests hold every frame against it.
"""

from __future__ import annotations

import datetime as dt
import struct
import zlib
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ingest.can_files import MOST_CONTAINER, WatchedFile
from ingest.can_frames import FrameBlock

BLF_ERRORS: Final = (struct.error, zlib.error, ValueError, OverflowError, IndexError)
_FILE: Final = struct.Struct("<4sL8BQQLL8H8H")
_OBJECT: Final = struct.Struct("<4sHHLL")  # signature, header's size and version, size, type
_CONTAINER: Final = struct.Struct("<H6xL4x")  # method, size unpacked
_CAN: Final = (1, 86)
_ERROR: Final = 73
_FD: Final = 100
_FD_64: Final = 101
# Type -> the least size of its own figures, and where in them its fields stand: (name, format, offset).
_FIELDS: Final[dict[int, tuple[int, tuple[tuple[str, str, int], ...]]]] = {
    **dict.fromkeys(_CAN, (16, (("channel", "<u2", 0), ("mark", "u1", 2), ("dlc", "u1", 3), ("id", "<u4", 4)))),
    _ERROR: (32, (("channel", "<u2", 0), ("dlc", "u1", 10), ("id", "<u4", 16))),
    _FD: (
        84,
        (("channel", "<u2", 0), ("mark", "u1", 2), ("dlc", "u1", 3), ("id", "<u4", 4), ("fd", "u1", 13),
         ("valid", "u1", 14)),
    ),
    _FD_64: (
        40,
        (("channel", "u1", 0), ("dlc", "u1", 1), ("valid", "u1", 2), ("id", "<u4", 4), ("fd", "<u4", 12),
         ("behind", "u1", 35)),
    ),
}  # fmt: skip
_DATA_AT: Final = {1: 8, 86: 8, _ERROR: 24, _FD: 20, _FD_64: 40}
_LENGTHS: Final = np.array([0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64])  # of CAN FD (ISO 11898-1), by DLC
_PACKED: Final = 10
_LEAST: Final = 32  # base header of 16 bytes and one of version 1
_BODY: Final = {1: 32, 2: 40}  # where an object's own figures begin, by the version of its header
_RUN: Final = 16  # objects alike that make it worth looking for a long run: our choice
_TENTHS_OF_MS: Final = 1  # flag of stamps in 10 µs; the others are in ns
_MOST_US: Final = 10**16  # beyond the year 2286 no clock shows it


class BlfObjects:
    """The objects of a BLF file; damage raises ValueError, struct.error or zlib.error with what stood before given."""

    def __init__(self, file: WatchedFile) -> None:
        self._file = file
        self._tail = b""
        head = file.read(_FILE.size)
        fields = _FILE.unpack(head)
        if fields[0] != b"LOGG":
            raise ValueError("it does not begin as a BLF file does")
        self.stated_size = int(fields[10])
        self.start_us = _moment_us(fields[14:22])
        file.read(fields[1] - _FILE.size)

    def blocks(self) -> Iterator[tuple[FrameBlock, NDArray[np.int64]]]:
        """Frames of one container after the other (bus: the channel as written), and the lengths that they state."""
        while True:
            base = self._file.read(_OBJECT.size)
            if not base:
                return
            signature, _, _, size, kind = _OBJECT.unpack(base)
            if signature != b"LOBJ":
                raise ValueError("no object stands where one must")
            body = self._file.read(size - _OBJECT.size)
            self._file.read(size % 4)
            if kind != _PACKED:
                continue
            unpacked = _unpacked(body)
            if unpacked is None:
                continue
            data = self._tail + unpacked if self._tail else unpacked
            if len(data) > MOST_CONTAINER:
                raise ValueError(f"an object of more than {MOST_CONTAINER:,} bytes is no part of a trace")
            whole = _Walk(data)
            self._tail = data[whole.end :]
            if whole.count:
                yield self._block(whole)
            if whole.damage:
                raise ValueError(whole.damage)

    def _block(self, whole: _Walk) -> tuple[FrameBlock, NDArray[np.int64]]:
        count = whole.count
        wide = any(kind in (_FD, _FD_64) for _, _, kind in whole.runs)
        stamps, coarse = np.zeros(count, dtype=np.uint64), np.zeros(count, dtype=bool)
        ids, bus = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int16)
        remote, fd, error = (np.zeros(count, dtype=bool) for _ in range(3))
        stated, lengths = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
        data = np.zeros((count, 64 if wide else 8), dtype=np.uint8)
        for (_, size, kind), runs in whole.runs.items():
            rows = np.concatenate([np.arange(first, first + run.size) for first, run in runs])
            run = runs[0][1] if len(runs) == 1 else np.concatenate([run for _, run in runs])
            stamps[rows], coarse[rows] = run["stamp"], run["flags"] == _TENTHS_OF_MS
            ids[rows], bus[rows] = run["id"], run["channel"].astype(np.int64) - 1
            if kind in (_FD, _FD_64):
                marks = run["fd"]
                fd[rows] = marks & (0x1 if kind == _FD else 0x1000) != 0
                remote[rows] = run["mark"] & 0x80 != 0 if kind == _FD else marks & 0x10 != 0
                stated[rows] = _LENGTHS[np.minimum(run["dlc"], 15)]
                valid = np.minimum(run["valid"], 64).astype(np.int64)
                there = valid
                if kind == _FD_64:  # more may be stated than is there: zeros
                    end = np.where(run["behind"] != 0, run["behind"], size).astype(np.int64)
                    there = np.clip(np.minimum(valid, end - run["header"] - 40), 0, None)
            else:
                error[rows] = kind == _ERROR
                remote[rows] = run["mark"] & 0x80 != 0 if kind in _CAN else False
                stated[rows] = run["dlc"]
                valid = there = np.minimum(run["dlc"], 8).astype(np.int64)
            lengths[rows] = valid
            own = run["data"]
            data[rows, : own.shape[1]] = np.where(np.arange(own.shape[1]) < there[:, None], own, 0)
        lengths[remote] = 0
        data[remote] = 0
        us = np.where(coarse, np.minimum(stamps, _MOST_US // 10) * 10, (stamps // 500 + 1) // 2)
        ticks = np.minimum(us, _MOST_US).astype(np.int64) + self.start_us
        ticks = np.where(ticks < _MOST_US, ticks, -1)
        extended = ids & 0x80000000 != 0
        block = FrameBlock(
            ticks, ids & 0x1FFFFFFF, extended & ~error, error, remote & ~error, fd & ~error, lengths, bus, data
        )
        return block, stated


class _Walk:
    """The whole objects of unpacked data. end: where the last one ends; what follows goes on in the next container."""

    def __init__(self, data: bytes) -> None:
        self.runs: dict[tuple[int, int, int], list[tuple[int, NDArray[Any]]]] = {}  # by version, size and type
        self.count = 0
        self.damage = ""
        self.end = 0
        alike, before = 0, (0, 0, 0)
        size_of = len(data)
        while True:
            start = data.find(b"LOBJ", self.end, self.end + 8)
            if start < 0:
                if self.end + 8 <= size_of:
                    self.damage = "no object stands where one must"
                return
            if start + _OBJECT.size > size_of:
                return
            _, _, version, size, kind = _OBJECT.unpack_from(data, start)
            known = kind in _FIELDS and version in _BODY
            if size < (_BODY[version] + _FIELDS[kind][0] if known else _LEAST):
                self.damage = "an object is shorter than its own header"
                return
            if start + size > size_of:
                return
            count = 1
            if known:
                alike = alike + 1 if (version, size, kind) == before else 0
                before = (version, size, kind)
                if alike >= _RUN:
                    count = _run_length(data, start, version, size, kind)
                run = np.frombuffer(data, _layout(version, size, kind), count, start)
                self.runs.setdefault(before, []).append((self.count, run))
                self.count += count
            self.end = start + count * size


def _run_length(data: bytes, start: int, version: int, size: int, kind: int) -> int:
    """How many whole objects of this very size and kind stand end to end from here."""
    room = (len(data) - start) // size
    base = np.frombuffer(data, _base_layout(size), room, start)
    other = (base["signature"] != _SIGNATURE) | (base["version"] != version)
    other |= (base["size"] != size) | (base["kind"] != kind)
    first = int(np.argmax(other)) if room else 0
    return max(1, first if other[first] else room)


_SIGNATURE: Final = int.from_bytes(b"LOBJ", "little")


@lru_cache(maxsize=64)
def _base_layout(size: int) -> np.dtype[Any]:
    return np.dtype(
        {"names": ["signature", "version", "size", "kind"], "formats": ["<u4", "<u2", "<u4", "<u4"],
         "offsets": [0, 6, 8, 12], "itemsize": size}
    )  # fmt: skip


@lru_cache(maxsize=256)
def _layout(version: int, size: int, kind: int) -> np.dtype[Any]:
    """A frame with the header of this version, as far as its figures are needed."""
    body = _BODY[version]
    data_at = body + _DATA_AT[kind]
    width = {_FD: 64, _FD_64: min(64, size - data_at)}.get(kind, 8)
    fields = [("header", "<u2", 4 - body), ("flags", "<u4", 16 - body), ("stamp", "<u8", 24 - body), *_FIELDS[kind][1]]
    fields.append(("data", f"({width},)u1", data_at - body))
    names, formats, offsets = zip(*fields, strict=True)
    places = [body + offset for offset in offsets]
    return np.dtype({"names": list(names), "formats": list(formats), "offsets": places, "itemsize": size})


def _unpacked(body: bytes) -> bytes | None:
    """The content of a container; None where its method of packing is not known."""
    method, _ = _CONTAINER.unpack_from(body)
    packed = memoryview(body)[_CONTAINER.size :]
    if method == 0:
        return bytes(packed)
    if method != 2:
        return None
    inflate = zlib.decompressobj()
    data = inflate.decompress(packed, MOST_CONTAINER)
    if inflate.unconsumed_tail:
        raise ValueError(f"a container unpacks to more than {MOST_CONTAINER:,} bytes")
    return data


def _moment_us(parts: tuple[int, ...]) -> int:
    """A SYSTEMTIME (year, month, weekday, day, hour, minute, second, ms) as µs from 1970; 0 where it is none."""
    year, month, _, day, hour, minute, second, ms = parts
    try:
        moment = dt.datetime(year, month, day, hour, minute, second, ms * 1000, tzinfo=dt.UTC)
    except ValueError:
        return 0
    return (moment - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) // dt.timedelta(microseconds=1)
