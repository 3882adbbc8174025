"""The bytes of a log in blocks of whole lines: hashed as they are, then as UTF-8 with line feeds."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from ingest.delimited.encoding import Encoding, normal_ends
from ingest.errors import UnreadableLog

BLOCK_BYTES = 4 << 20
# Our choice: a row of 2,000 columns is some 40 kB; a line of a megabyte is no measurement log.
MAX_LINE_BYTES = 1 << 20
_NULS = re.compile(rb"\0+")


@dataclass(frozen=True, eq=False)
class Block:
    """Whole lines as UTF-8 with line feeds. line: number of the first; ended: the last line has its line end."""

    data: bytes
    line: int
    last: bool
    ended: bool


class Source:
    """A text file that is read once from end to end, with samples taken before by seeking."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._stream: BinaryIO = path.open("rb")
            self._status = os.fstat(self._stream.fileno())
        except OSError as error:
            raise UnreadableLog(f"cannot be read: {error.strerror}", file=path, mend="Check the file.") from None
        self.size = self._status.st_size
        self.sha256 = ""
        self.nul_bytes = 0

    def close(self) -> None:
        self._stream.close()

    def peek(self, offset: int, length: int) -> bytes:
        """Bytes at an offset, for sniffing."""
        try:
            self._stream.seek(offset)
            return self._stream.read(length)
        except OSError as error:
            raise self._failed(error) from None

    def sample_lines(self, offset: int, length: int, encoding: Encoding) -> list[str]:
        """Whole lines around an offset: the cut first and last are left out."""
        offset -= (offset - encoding.bom_bytes) % encoding.unit if offset else 0
        raw = self.peek(max(offset, 0), length)
        data = to_utf8(raw[: len(raw) - len(raw) % encoding.unit], encoding)
        lines = normal_ends(data).decode("utf-8", errors="replace").split("\n")
        return lines[1:-1] if offset > 0 else lines[:-1]

    def check_unchanged(self) -> None:
        """Refuse where the file was replaced, grew or was written to while it was read."""
        try:
            now = self.path.stat()
        except OSError as error:
            raise self._failed(error) from None
        was = self._status
        if (now.st_ino, now.st_size, now.st_mtime_ns) != (was.st_ino, was.st_size, was.st_mtime_ns):
            raise UnreadableLog(
                "changed while it was read",
                file=self.path,
                mend="Wait until the logger has closed it, or copy it, then try again.",
            )

    def _failed(self, error: OSError) -> UnreadableLog:
        return UnreadableLog(f"cannot be read: {error.strerror}", file=self.path, mend="Check the card or the disk.")

    def raw_blocks(self, size: int = BLOCK_BYTES) -> Iterator[bytes]:
        """All bytes in order, hashed in a second thread; sha256 is set at the end."""
        digest = hashlib.sha256()
        pending: Future[None] | None = None
        seen = 0
        with ThreadPoolExecutor(1) as hashing:
            try:
                self._stream.seek(0)
                while True:
                    raw = self._stream.read(size)
                    if pending is not None:
                        pending.result()
                    if not raw:
                        break
                    pending = hashing.submit(digest.update, raw)
                    seen += len(raw)
                    yield raw
            except OSError as error:
                raise self._failed(error) from None
        self.sha256 = digest.hexdigest()
        if seen != self.size:
            raise UnreadableLog(
                "changed while it was read",
                file=self.path,
                found=f"{seen} bytes",
                expected=f"{self.size} bytes",
                mend="Wait until the logger has closed it, or copy it, then try again.",
            )
        self.check_unchanged()

    def blocks(self, encoding: Encoding, line_end: str, strip_nuls: bool, size: int = BLOCK_BYTES) -> Iterator[Block]:
        """Blocks that end at a line end. NUL runs become one NUL, so that the line they damaged is known."""
        self.nul_bytes = 0
        carry = b""
        spare = b""  # half a UTF-16 unit, or a carriage return whose line feed is in the next block
        line = 1
        first = True
        for raw in self.raw_blocks(size):
            raw = spare + raw
            spare = b""
            if first:
                raw = raw[encoding.bom_bytes :]
                first = False
            if encoding.unit == 2:
                keep = len(raw) & ~1
                last = raw[keep - 2 : keep]
                if last in (b"\r\0", b"\0\r") or _is_high_surrogate(last, encoding):
                    keep -= 2
                raw, spare = raw[:keep], raw[keep:]
                data = to_utf8(raw, encoding)
            else:
                if raw.endswith(b"\r"):
                    kept = raw.rstrip(b"\r")
                    raw, spare = kept, raw[len(kept) :]
                data = raw if raw.isascii() or encoding.codec == "utf-8" else to_utf8(raw, encoding)
            if b"\0" in data:
                self.nul_bytes += data.count(0)
                data = data.replace(b"\0", b"") if strip_nuls else _NULS.sub(b"\0", data)
            data = carry + (data if line_end in ("lf", "crlf") else normal_ends(data))
            if line_end in ("lf", "crlf") and b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
                data = normal_ends(data)
            cut = whole_lines(data)
            if cut == 0:
                if len(data) > MAX_LINE_BYTES:
                    raise too_long(self.path, line)
                carry = data
                continue
            carry = data[cut:]
            if len(carry) > MAX_LINE_BYTES and b"\n" not in carry:
                raise too_long(self.path, line + data.count(b"\n", 0, cut))
            yield Block(data[:cut], line, False, True)
            line += data.count(b"\n", 0, cut)
        if spare and encoding.unit == 1:
            carry = normal_ends(carry + spare)
        elif spare:
            carry = normal_ends(carry + to_utf8(spare[: len(spare) & ~1], encoding))
        carry = carry.rstrip(b"\x1a")
        yield Block(carry, line, True, carry.endswith(b"\n") or not carry)


def too_long(file: object, line: int) -> UnreadableLog:
    return UnreadableLog(
        f"a line is longer than {MAX_LINE_BYTES >> 20} MB",
        file=file,
        line=line,
        expected="one row of measurements a line",
        mend="Export the log again as delimited text.",
    )


def _is_high_surrogate(unit: bytes, encoding: Encoding) -> bool:
    top = unit[1:2] if encoding.codec.endswith("le") else unit[0:1]
    return b"\xd8" <= top <= b"\xdb"


def to_utf8(raw: bytes, encoding: Encoding) -> bytes:
    if encoding.codec == "utf-8":
        return raw
    return raw.decode(encoding.codec, errors="replace").encode("utf-8")


def whole_lines(data: bytes) -> int:
    """Where the last whole row ends: a line feed that is not inside quotes, where quotes are in use at all."""
    end = data.rfind(b"\n") + 1
    if end == 0 or b'"' not in data:
        return end
    place = end
    quotes = data.count(b'"', 0, end)
    for _ in range(50):
        if quotes % 2 == 0:
            return place
        earlier = data.rfind(b"\n", 0, place - 1) + 1
        if earlier == 0:
            break
        quotes -= data.count(b'"', earlier, place)
        place = earlier
    return end  # a stray quote: lines are cut where they end
