"""Files as python-can takes them: watched while it reads, so that damage ends in an answer and not in a loop."""

from __future__ import annotations

import datetime as dt
import logging
import re
from collections.abc import Iterator
from itertools import chain
from typing import TYPE_CHECKING, Any, Final

from ingest.delimited.source import Source
from ingest.errors import MissingExtra

if TYPE_CHECKING:
    from can import Message

_STAMP: Final = re.compile(r"^(\s*)(\d+\.\d+)(?=\s)")
_STAMPED: Final = re.compile(rb"^[ \t]*\d+\.\d+[ \t]+(?!Start of)", re.MULTILINE)
_HEADER: Final = re.compile(r"\s*(?:date\s|base\s|//|(?:no\s+)?internal\s+events)", re.IGNORECASE)
_EVENTS: Final = "no internal events logged\n"
_MOST_LINE: Final = 1 << 20
MOST_CONTAINER: Final = 64 << 20  # our choice: BLF writers pack 128 kB at a time; a small file must not fill memory


class HeadSource:
    """The first bytes of a file in the place of the whole file."""

    sha256 = ""

    def __init__(self, head: bytes) -> None:
        self._head = head
        self.size = len(head)

    def raw_blocks(self) -> Iterator[bytes]:
        yield self._head

    def close(self) -> None:
        """Nothing is open."""


class AscLines:
    """The lines of an ASC file for python-can's reader: it stops at a bad line, so it is started again behind it.

    Stamps that count from the line before ("timestamps relative") are added up. The header is closed by hand, as the
    reader would take the first line behind an unclosed one for a part of it.
    """

    def __init__(self, source: Source | HeadSource) -> None:
        self._source = source
        self._lines = self._numbered()
        self._feed: Iterator[str] = self._fed()
        self._line = 0
        self._in_header = True
        self._relative = False
        self._now_s = 0.0
        self.fed = 0
        self.others = 0
        self.damaged = 0
        self.first_damaged: int | None = None
        self.date: str | None = None

    def messages(self) -> Iterator[Message]:
        import can

        reader = can.ASCReader(self)  # type: ignore[arg-type]
        made = 0
        while True:
            try:
                for message in reader:
                    made += 1
                    yield message
                break
            except (ValueError, IndexError, KeyError, UnboundLocalError):
                self.damaged += 1
                self.first_damaged = self.first_damaged or self._line
                self._feed = chain([_EVENTS], self._feed)  # the reader begins with a header again
        self.date = self.date or reader.date
        self.others = max(0, self.fed - made - self.damaged)

    def _numbered(self) -> Iterator[str]:
        carry = b""
        for raw in self._source.raw_blocks():
            data = carry + raw
            cut = data.rfind(b"\n") + 1
            data, carry = data[:cut], data[cut:]
            if len(carry) > _MOST_LINE:
                raise ValueError("a line is longer than a megabyte")
            self.fed += len(_STAMPED.findall(data))
            yield from data.decode("utf-8", errors="replace").split("\n")[:-1]
        if carry:
            self.fed += len(_STAMPED.findall(carry))
            yield carry.decode("utf-8", errors="replace")

    def __iter__(self) -> Iterator[str]:
        return self._feed  # one and the same: the reader begins several loops over it

    def _fed(self) -> Iterator[str]:
        for text in self._lines:
            self._line += 1
            if self._relative and not self._in_header:
                yield self._timed(text)
            elif not self._in_header:
                yield text
            else:
                yield from self._header(text.removeprefix("\ufeff"))

    def _header(self, text: str) -> Iterator[str]:
        found = re.match(r"\s*base\s+\w+\s+timestamps\s+relative", text, re.IGNORECASE)
        self._relative = self._relative or found is not None
        if not _HEADER.match(text) and text.strip():
            self._in_header = False
            yield _EVENTS
            yield self._timed(text) if self._relative else text
            return
        if "internal" in text.lower():
            self._in_header = False
        yield text

    def _timed(self, text: str) -> str:
        stamp = _STAMP.match(text)
        if stamp is None:
            return text
        self._now_s += float(stamp[2])
        return f"{stamp[1]}{self._now_s:.9f}{text[stamp.end() :]}"

    def read(self, *_: Any) -> str:
        raise OSError("read by lines")

    def write(self, *_: Any) -> int:
        raise OSError("not written to")

    def close(self) -> None:
        """The source is closed by who opened it."""


class WatchedFile:
    """A BLF file: hashed as it is read, with a bound on what one object can hold."""

    def __init__(self, source: Source | HeadSource) -> None:
        self._source = source
        self._blocks = source.raw_blocks()
        self._held = b""
        self.place = 0
        self.short = False  # an object was cut off by the end of the file

    def read(self, size: int) -> bytes:
        if size < 0:
            raise ValueError("an object is shorter than its own header")
        if size > MOST_CONTAINER:
            raise ValueError(f"an object of {size:,} bytes is no part of a trace")
        while len(self._held) < size:
            more = next(self._blocks, b"")
            if not more:
                break
            self._held += more
        data, self._held = self._held[:size], self._held[size:]
        self.place += len(data)
        self.short = self.short or 0 < len(data) < size
        return data

    def drain(self) -> None:
        """The rest is only hashed."""
        for _ in self._blocks:
            pass

    def write(self, *_: Any) -> int:
        raise OSError("not written to")

    def seek(self, *_: Any) -> int:
        raise OSError("read once")

    def close(self) -> None:
        self._source.close()

    @property
    def sha256(self) -> str:
        return self._source.sha256

    @property
    def size(self) -> int:
        return self._source.size

    def __enter__(self) -> WatchedFile:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def needs_can(file: object) -> None:
    """Raises MissingExtra where the libraries for CAN are not there."""
    try:
        import can
        import cantools  # noqa: F401
    except ImportError:
        raise MissingExtra("can", "a CAN trace", file) from None
    for name in ("can", "cantools"):  # what they warn of is told as faults
        if not logging.getLogger(name).handlers:
            logging.getLogger(name).addHandler(logging.NullHandler())
    del can


def stamp_us(text: bytes) -> int:
    """Seconds, or a date and time, as µs; -1 where it is neither, or no clock shows it (beyond the year 2286)."""
    plain = text.decode("ascii", "replace").strip()
    try:
        seconds = float(plain)
        return round(seconds * 1e6) if abs(seconds) < 1e10 else -1
    except ValueError:
        pass
    try:
        moment = dt.datetime.fromisoformat(plain)
    except ValueError:
        return -1
    return round((moment - dt.datetime(1970, 1, 1, tzinfo=moment.tzinfo)).total_seconds() * 1e6)


def asc_date(text: str | None) -> str | None:
    for form in (
        "%b %d %I:%M:%S.%f %p %Y",
        "%b %d %H:%M:%S.%f %Y",
        "%b %d %I:%M:%S %p %Y",
        "%b %d %H:%M:%S %Y",
    ):
        try:
            return dt.datetime.strptime(text or "", form).isoformat()
        except ValueError:
            continue
    return None
