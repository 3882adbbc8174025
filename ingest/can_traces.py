"""Frames out of CAN traces: candump text as it stands in the file, ASC through python-can, BLF by its objects.

candump writes one frame a line: `(1700000000.000123) can0 1A0#0102` (log form) or `can0  1A0   [2]  01 02` (screen
form, stamps before it in brackets). Three digits are an 11-bit id, more are a 29-bit one; `##` marks CAN FD.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import islice
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from ingest.can_blf import BLF_ERRORS, BlfObjects
from ingest.can_files import AscLines, HeadSource, WatchedFile, asc_date, stamp_us
from ingest.can_frames import FrameBlock, joined
from ingest.delimited.source import Source
from ingest.errors import UnreadableLog

if TYPE_CHECKING:
    from can import Message

__all__ = ["BLOCK_FRAMES", "FrameBlock", "Trace", "trace_kind"]

BLOCK_FRAMES: Final = 131_072
_HEAD_FRAMES: Final = 4096
_PIECE: Final = 512  # messages held at once: many more cost the collector of unused objects its time
BLOCK_BYTES: Final = 4 << 20
_PARTS: Final = (
    attrgetter("timestamp"), attrgetter("arbitration_id"), attrgetter("dlc"), attrgetter("data"),
    attrgetter("is_extended_id"), attrgetter("is_error_frame"), attrgetter("is_remote_frame"), attrgetter("is_fd"),
    attrgetter("channel"),
)  # fmt: skip
ERROR_FLAG: Final = 0x20000000  # of the id in candump's text (linux/can.h)
ID_MASK: Final = 0x1FFFFFFF
_BEYOND: Final = 1 << 32
_HEX: Final = rb"(?:[0-9A-Fa-f]{2})"
_LOG: Final = re.compile(
    rb"^[ \t]*\((\d+\.\d+)\)[ \t]+(\S+)[ \t]+(?:0[xX])?([0-9A-Fa-f]{1,8})#"
    rb"([0-9A-Fa-f]*|#[0-9A-Fa-f]+|[Rr][0-9A-Fa-f]*)(?:_[0-9A-Fa-f])?[ \t]*[RTrt]?[ \t]*$",
    re.MULTILINE,
)
_SCREEN: Final = re.compile(
    rb"^[ \t]*(?:\(([^)]*)\)[ \t]+)?([A-Za-z][\w.-]*)[ \t]+(?:[RT]X(?:[ \t]+[-BE]){2}[ \t]+)?([0-9A-Fa-f]{1,8})[ \t]+"
    rb"\[(\d{1,2})\](?:[ \t]+("
    + _HEX
    + rb"(?:[ \t]+"
    + _HEX
    + rb")*)|[ \t]+([Rr]emote request))?(?:[ \t]*$|[ \t]{2,}.*$)",
    re.MULTILINE,
)
_ASC: Final = re.compile(
    rb"^[ \t]*\d+\.\d+[ \t]+"
    rb"(?:\d+[ \t]+(?:[0-9A-Fa-f]+x?[ \t]+(?:Tx|Rx)[ \t]+[dr]\b|ErrorFrame)|CANFD[ \t]+\d+[ \t]+(?:Tx|Rx))",
    re.MULTILINE | re.IGNORECASE,
)
_ASC_BASE: Final = re.compile(rb"^[ \t]*base[ \t]+(?:hex|dec)\b", re.MULTILINE | re.IGNORECASE)


def trace_kind(head: bytes) -> str | None:
    """ "candump", "asc" or "blf" by the first bytes of a file, else None."""
    if head.startswith(b"LOGG"):
        return "blf"
    start = head.removeprefix(b"\xef\xbb\xbf")[:16_384].replace(b"\0", b"")
    lines = [line for line in start.splitlines() if line.strip()]
    if len(lines) > 1 and len(head) > 16_000:
        lines = lines[:-1]
    lines = lines[:200]
    if not lines:
        return None
    frames = sum(bool(_LOG.match(line) or _SCREEN.match(line)) for line in lines)
    if frames >= max(1, 0.6 * len(lines)):
        return "candump"
    asc = sum(bool(_ASC.match(line)) for line in lines)
    if asc and (asc >= 0.6 * len(lines) or any(_ASC_BASE.match(line) for line in lines)):
        return "asc"
    return None


class Trace:
    """A CAN trace read once, block by block; sha256 and the counts of damage are complete at the end."""

    def __init__(self, path: Path, kind: str) -> None:
        self.path = path
        self.kind = kind
        self.sha256 = ""
        self.damaged = 0
        self.first_damaged: int | None = None
        self.other_lines = 0
        self.cut = ""
        self.wall_start: str | None = None
        self._buses: dict[Any, int] = {}

    def blocks(self) -> Iterator[FrameBlock]:
        """Raises UnreadableLog where the file cannot be read."""
        if self.kind == "candump":
            yield from self._candump()
        elif self.kind == "asc":
            yield from self._asc()
        else:
            yield from self._blf()

    def of_text(self, data: bytes) -> list[FrameBlock]:
        """The frames of some lines of candump's text."""
        return list(self._text_block(data, 1))

    def of_head(self, head: bytes) -> list[FrameBlock]:
        """The frames of the first bytes of an ASC or BLF file, as far as they reach."""
        source = HeadSource(head)
        blocks: list[FrameBlock] = []
        some: list[Message] = []
        with contextlib.suppress(*BLF_ERRORS):
            if self.kind == "asc":
                some.extend(islice(AscLines(source).messages(), _HEAD_FRAMES))
            else:
                blocks.extend(islice(self._from_objects(BlfObjects(WatchedFile(source))), 1))
        return [self._message_block([list(map(part, some)) for part in _PARTS])] if some else blocks

    def _bus(self, names: Iterable[Any]) -> NDArray[np.int16]:
        known = self._buses
        return np.fromiter((known.setdefault(name, len(known)) for name in names), dtype=np.int16)

    def _damage(self, line: int | None, count: int = 1) -> None:
        self.damaged += count
        if self.first_damaged is None:
            self.first_damaged = line

    # candump

    def _candump(self) -> Iterator[FrameBlock]:
        source = Source(self.path)
        try:
            carry, line = b"", 1
            for raw in source.raw_blocks(BLOCK_BYTES):
                data = carry + raw if carry else raw
                cut = data.rfind(b"\n") + 1
                if cut == 0 and len(data) > BLOCK_BYTES:
                    raise UnreadableLog(
                        "a line is longer than 4 MB", file=self.path, line=line, mend="Record it again."
                    )
                data, carry = data[:cut], data[cut:]
                yield from self._text_block(data, line)
                line += data.count(b"\n")
            yield from self._text_block(carry, line)
        finally:
            source.close()
        self.sha256 = source.sha256

    def _text_block(self, data: bytes, line: int) -> Iterator[FrameBlock]:
        data = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r", b"")
        if not data.strip():
            return
        rows = _LOG.findall(data)
        pattern, make = _LOG, self._log_block
        if not rows:
            rows, pattern, make = _SCREEN.findall(data), _SCREEN, self._screen_block
        written = sum(1 for text in data.split(b"\n") if text.strip())
        if written > len(rows):
            self._other_lines(data, line, pattern)
        if rows:
            yield make(rows)

    def _other_lines(self, data: bytes, line: int, pattern: re.Pattern[bytes]) -> None:
        for number, text in enumerate(data.split(b"\n"), line):
            if text.strip() and not pattern.match(text):
                if text.lstrip().startswith((b"#", b"//")):
                    self.other_lines += 1
                else:
                    self._damage(number)

    def _log_block(self, rows: list[tuple[bytes, ...]]) -> FrameBlock:
        stamps, buses, ids, rest = zip(*rows, strict=True)
        seconds = np.array(list(map(float, stamps)))
        fd = np.array([text[:1] == b"#" for text in rest])
        remote = np.array([text[:1] in b"rR" and text != b"" for text in rest])
        if fd.any() or remote.any():
            hexes = [text[2:] if text[:1] == b"#" else b"" if text[:1] in b"rR" else text for text in rest]
        else:
            hexes = list(rest)
        return self._block(_microseconds(seconds), buses, ids, hexes, fd, remote)

    def _screen_block(self, rows: list[tuple[bytes, ...]]) -> FrameBlock:
        stamps, buses, ids, lengths, hexes, remotes = zip(*rows, strict=True)
        ticks = None
        if all(stamps):
            ticks = np.array([stamp_us(stamp) for stamp in stamps], dtype=np.int64)
        stated = np.array(list(map(int, lengths)))
        fd = (stated > 8) | np.array([len(text) == 2 for text in lengths])
        remote = np.array([bool(text) for text in remotes])
        digits = [re.sub(rb"[ \t]+", b"", text) for text in hexes]
        return self._block(ticks, buses, ids, digits, fd, remote, stated)

    def _block(
        self, ticks: NDArray[np.int64] | None, buses: Any, ids: Any, hexes: list[bytes],
        fd: NDArray[np.bool_], remote: NDArray[np.bool_], stated: NDArray[np.int64] | None = None,
    ) -> FrameBlock:  # fmt: skip
        digits = np.fromiter(map(len, hexes), dtype=np.int64)
        keep = (digits % 2 == 0) & (digits <= np.where(fd, 128, 16))
        if stated is not None:
            keep &= remote | (digits // 2 == stated)
        width = 64 if fd.any() else 8
        whole = hexes if keep.all() else [text if good else b"" for text, good in zip(hexes, keep, strict=True)]
        joined = b"".join([text.ljust(2 * width, b"0") for text in whole])
        data = np.frombuffer(bytes.fromhex(joined.decode("ascii")), dtype=np.uint8).reshape(-1, width)
        number = np.array([int(text, 16) for text in ids], dtype=np.int64)
        long_id = np.fromiter(map(len, ids), dtype=np.int64) > 3
        error = long_id & (number & ERROR_FLAG != 0)
        block = FrameBlock(
            ticks, number & ID_MASK, long_id & ~error, error, remote & ~error, fd & ~error, digits // 2,
            self._bus(buses), data,
        )  # fmt: skip
        return block if keep.all() else self._only(block, keep)

    def _only(self, block: FrameBlock, keep: NDArray[np.bool_]) -> FrameBlock:
        """Without the frames whose length is not what stands in the line."""
        self._damage(None, int(np.count_nonzero(~keep)))
        return block.only(keep)

    # through python-can

    def _asc(self) -> Iterator[FrameBlock]:
        source = Source(self.path)
        lines = AscLines(source)
        try:
            yield from self._from_messages(lines.messages())
        except ValueError as error:
            raise UnreadableLog(f"cannot be read: {error}", file=self.path, mend="Record it again.") from None
        finally:
            source.close()
        self.sha256 = source.sha256
        self.damaged += lines.damaged
        self.first_damaged = self.first_damaged or lines.first_damaged
        self.other_lines = lines.others
        self.wall_start = asc_date(lines.date)

    def _blf(self) -> Iterator[FrameBlock]:
        file = WatchedFile(Source(self.path))
        try:
            try:
                objects = BlfObjects(file)
                yield from self._from_objects(objects)
                if file.short or file.size < objects.stated_size:
                    raise ValueError("it ends before its last object")
            except BLF_ERRORS as error:
                self.cut = f"{type(error).__name__}: {error}".rstrip(": ")
                self.first_damaged = file.place
            file.drain()
        finally:
            file.close()
        self.sha256 = file.sha256

    def _from_objects(self, objects: BlfObjects) -> Iterator[FrameBlock]:
        """Blocks of about BLOCK_FRAMES; what stands before damage is given first."""
        held: list[FrameBlock] = []
        try:
            for block, stated in objects.blocks():
                block = replace(block, bus=self._buses_of(block.bus))
                keep = block.remote | block.error | (block.lengths >= stated)
                held.append(block if keep.all() else self._only(block, keep))
                if sum(block.size for block in held) >= BLOCK_FRAMES:
                    yield joined(held)
                    held = []
        except BLF_ERRORS:
            if held:
                yield joined(held)
            raise
        if held:
            yield joined(held)

    def _buses_of(self, channels: NDArray[np.int16]) -> NDArray[np.int16]:
        """Numbers of interfaces in the order in which they appear."""
        values, first, places = np.unique(channels, return_index=True, return_inverse=True)
        numbers = np.empty(values.size, dtype=np.int16)
        order = np.argsort(first)
        numbers[order] = self._bus(values[order].tolist())
        return numbers[places]

    def _from_messages(self, messages: Iterator[Message]) -> Iterator[FrameBlock]:
        """Many small pieces, so that the messages themselves are soon forgotten, joined into blocks."""
        columns: list[list[Any]] = [[] for _ in _PARTS]
        try:
            while True:
                some: list[Message] = []
                try:
                    some.extend(islice(messages, _PIECE))
                finally:  # what was read before the damage counts
                    for column, part in zip(columns, _PARTS, strict=True):
                        column.extend(map(part, some))
                if len(some) < _PIECE:
                    return
                if len(columns[0]) >= BLOCK_FRAMES:
                    full, columns = columns, [[] for _ in _PARTS]
                    yield self._message_block(full)
        finally:
            if columns[0]:
                yield self._message_block(columns)

    def _message_block(self, columns: list[list[Any]]) -> FrameBlock:
        stamps, ids, dlcs, pieces, extended, error, remote, fd, bus = columns
        lengths = np.fromiter(map(len, pieces), dtype=np.int64, count=len(ids))
        none = np.zeros(len(ids), dtype=bool)
        flags = [np.array(flag, dtype=bool) if any(flag) else none for flag in (extended, error, remote, fd)]
        width = 64 if flags[3].any() else 8
        if (lengths != width).any():
            pieces = [bytes(piece[:width]).ljust(width, b"\0") for piece in pieces]
        data = np.frombuffer(b"".join(pieces), dtype=np.uint8).reshape(-1, width)
        buses = self._bus(bus) if len(set(bus)) > 1 else np.repeat(self._bus(bus[:1]), len(ids))
        kind_error, kind_remote = flags[1], flags[2] & ~flags[1]
        number, stated = _whole(ids), _whole(dlcs)
        block = FrameBlock(
            _microseconds(np.array(stamps)), number & ID_MASK,
            flags[0] & ~kind_error, kind_error, kind_remote, flags[3] & ~kind_error, lengths, buses, data,
        )  # fmt: skip
        keep = (kind_remote | kind_error | (lengths >= stated)) & (number < _BEYOND)
        return block if keep.all() else self._only(block, keep)


def _whole(numbers: list[Any]) -> NDArray[np.int64]:
    """What stands in the lines; a number of more than 32 bits, which no frame has, as that bound."""
    try:
        return np.array(numbers, dtype=np.int64)
    except OverflowError:
        return np.array([min(number, _BEYOND) for number in numbers], dtype=np.int64)


def _microseconds(seconds: NDArray[np.float64]) -> NDArray[np.int64]:
    """A stamp that no clock shows (beyond the year 2286) becomes -1 µs, which does not fit its neighbours."""
    return np.rint(np.where(np.abs(seconds) < 1e10, seconds * 1e6, -1.0)).astype(np.int64)
