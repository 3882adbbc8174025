"""The links of an MDF 4 file, walked before the library reads it: a chain that runs in a circle would never end.

ASAM MDF 4.1: a block begins with its tag (`##HD`), four bytes, its length and the number of its links, then the links.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Final

from ingest.errors import UnreadableLog

_HEAD: Final = struct.Struct("<4s4xQQ")
_MOST_BLOCKS: Final = 2_000_000  # our choice: more groups, channels and data lists than any log has
_FIRST: Final = 64  # of the header block
_DEEPEST: Final = 50  # our choice: structures inside structures


class _Chain:
    def __init__(self, stream: BinaryIO, path: Path, size: int) -> None:
        self._stream, self._path, self._size = stream, path, size
        self._seen: set[int] = set()

    def fail(self, what: str, at: int) -> UnreadableLog:
        return UnreadableLog(
            f"is a damaged MDF file: {what}",
            file=self._path,
            byte=at,
            mend="Save it again with the recorder's own software.",
        )  # fmt: skip

    def links(self, at: int, *tags: bytes) -> tuple[int, ...]:
        """The links of the block at `at`, which must be one of these, not met before and inside the file."""
        if at in self._seen:
            raise self.fail("its blocks form a circle", at)
        self._seen.add(at)
        if len(self._seen) > _MOST_BLOCKS:
            raise self.fail("it has too many blocks", at)
        if not 0 < at <= self._size - _HEAD.size:
            raise self.fail("a block lies beyond its end", at)
        self._stream.seek(at)
        tag, length, count = _HEAD.unpack(self._stream.read(_HEAD.size))
        if tag not in tags or length < _HEAD.size + 8 * count or length > self._size:
            raise self.fail(f"no {tags[0].decode().strip('#')} block stands here", at)
        raw = self._stream.read(8 * count)
        if len(raw) < 8 * count:
            raise self.fail("a block is cut off", at)
        return struct.unpack(f"<{count}Q", raw)

    def tag(self, at: int) -> bytes:
        """The first four bytes of the block at `at`."""
        if not 0 < at <= self._size - _HEAD.size:
            raise self.fail("a block lies beyond its end", at)
        self._stream.seek(at)
        return self._stream.read(4)

    def along(self, at: int, *tags: bytes) -> Iterator[tuple[int, ...]]:
        """The links of every block of a chain whose first link is the next one."""
        while at:
            links = self.links(at, *tags)
            yield links
            at = links[0] if links else 0


def check_links(path: Path) -> None:
    """Raises UnreadableLog, with the byte, where the chains of groups, channels or data run in a circle or astray."""
    with path.open("rb") as stream:
        size = stream.seek(0, 2)
        chain = _Chain(stream, path, size)
        header = chain.links(_FIRST, b"##HD")
        if not header:
            raise chain.fail("its header has no links", _FIRST)
        for group in chain.along(header[0], b"##DG"):
            for records in chain.along(_at(group, 1), b"##CG"):
                _channels(chain, _at(records, 1))
            _data(chain, _at(group, 2))


def _channels(chain: _Chain, at: int, depth: int = 0) -> None:
    if depth > _DEEPEST:
        raise chain.fail("its structures are nested too deeply", at)
    for channel in chain.along(at, b"##CN"):
        below = _at(channel, 1)
        # parts of a structure are channels again; arrays are not followed
        if below and chain.tag(below) == b"##CN":
            _channels(chain, below, depth + 1)


def _data(chain: _Chain, at: int) -> None:
    if not at:
        return
    tag = chain.tag(at)
    if tag == b"##HZ" or tag == b"##HL":
        at = _at(chain.links(at, b"##HL"), 0)
        tag = b"##DL"
    if tag == b"##DL":
        for _ in chain.along(at, b"##DL"):
            pass


def _at(links: tuple[int, ...], place: int) -> int:
    return links[place] if len(links) > place else 0
