"""The bytes of one source of a recording, to be read as a file is, and when each of them came."""

from __future__ import annotations

import bisect
import io
from collections.abc import Callable
from itertools import accumulate

from ingest.delimited.source import Source
from ingest.record.recorded import Recording
from ingest.record.sources.base import BATCH_S, Stamped

_READ_BYTES = 1 << 20


class OneSource(Source):
    """The bytes of one source, to be read as a file is. made: what is read of each block, the packets as they are."""

    def __init__(
        self, recording: Recording, number: int, made: Callable[[int, list[Stamped]], bytes] | None = None
    ) -> None:
        self.path, self._recording = recording.path, recording
        sizes = recording.sizes(number)
        if made is not None:
            sizes = [len(made(k, packets)) for k, packets in enumerate(recording.blocks(number))]
        self._stream = io.BufferedReader(_Joined(recording, number, sizes, made or _plain), _READ_BYTES)
        self.size = sum(sizes)
        self.sha256 = ""
        self.nul_bytes = 0

    def check_unchanged(self) -> None:
        self._recording.check_unchanged()


def _plain(index: int, packets: list[Stamped]) -> bytes:
    return b"".join(data for _, data in packets)


class _Joined(io.RawIOBase):
    """The blocks of one source, one after the other."""

    def __init__(
        self, recording: Recording, number: int, sizes: list[int], made: Callable[[int, list[Stamped]], bytes]
    ) -> None:
        super().__init__()
        self._recording, self._number, self._made = recording, number, made
        self._ends = list(accumulate(sizes))
        self._place = 0
        self._held: tuple[int, bytes] = (-1, b"")

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._place, io.SEEK_END: self._ends[-1] if self._ends else 0}[whence]
        self._place = max(0, base + offset)
        return self._place

    def tell(self) -> int:
        return self._place

    def readinto(self, buffer: object) -> int:
        view = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        done = 0
        index = bisect.bisect_right(self._ends, self._place)
        while done < len(view) and index < len(self._ends):
            if self._held[0] != index:
                self._held = (index, self._made(index, self._recording.block(self._number, index)))
            data = self._held[1]
            start = self._place - (self._ends[index] - len(data))
            piece = data[start : start + len(view) - done]
            view[done : done + len(piece)] = piece
            done += len(piece)
            self._place += len(piece)
            index = bisect.bisect_right(self._ends, self._place)
        return done


def arrivals(packets: list[Stamped]) -> list[tuple[int, int, float]]:
    """(offset in the block, when that byte came in ns, ns for each byte after it) of each packet.

    Bytes of a packet came one after the other: until the next packet, at most as long as bytes are taken together.
    """
    found: list[tuple[int, int, float]] = []
    offset = 0
    for k, (t_ns, data) in enumerate(packets):
        room = packets[k + 1][0] - t_ns if k + 1 < len(packets) else BATCH_S * 1e9
        found.append((offset, t_ns, min(max(room, 0), BATCH_S * 1e9) / max(1, len(data))))
        offset += len(data)
    return found
