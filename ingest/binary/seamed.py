"""Frames of a stream that has seams: places at which the bytes do not follow on, such as a pulled cable.

A frame is never put together across a seam. Frame numbers leap there by the time that passed, so that a time counter
that went round meanwhile is followed, and frames that are placed by their number keep their place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ingest.binary.checksum import Bytes
from ingest.binary.framing import Framer
from ingest.binary.layout import Layout


class Seam(NamedTuple):
    """byte: where a new run begins; at_s: when, from the first byte on, None where that is not known."""

    byte: int
    at_s: float | None


@dataclass
class SeamedFramer:
    """A Framer for each run, and their sums. rate_Hz: frames a second, for the numbers behind a seam."""

    layout: Layout
    seams: Sequence[Seam]
    rate_Hz: float | None
    restarts: list[int] = field(default_factory=list)  # frame numbers from which on the place in time is unknown
    gaps: list[tuple[int, int]] = field(default_factory=list)  # frame numbers before and behind a seam

    def __post_init__(self) -> None:
        self._framer = Framer(self.layout)
        self._done: list[Framer] = []
        self._begun = self._seen = 0  # bytes
        self._number = 0

    def feed(self, data: bytes, last: bool) -> list[tuple[Bytes, NDArray[np.int64]]]:
        """As Framer.feed."""
        made: list[tuple[Bytes, NDArray[np.int64]]] = []
        while len(self._done) < len(self.seams):
            seam = self.seams[len(self._done)]
            if seam.byte > self._seen + len(data) or (seam.byte == self._seen + len(data) and not last):
                break
            room = seam.byte - self._seen
            made += self._numbered(self._framer.feed(data[:room], True))
            data, self._seen = data[room:], seam.byte
            self._next(seam)
        self._seen += len(data)
        return made + self._numbered(self._framer.feed(data, last))

    def _numbered(self, runs: list[tuple[Bytes, NDArray[np.int64]]]) -> list[tuple[Bytes, NDArray[np.int64]]]:
        return [(frames, numbers + self._number) for frames, numbers in runs]

    def _next(self, seam: Seam) -> None:
        before = self._number + self._framer.next_number
        begins = before
        if seam.at_s is None:
            self.restarts.append(before)
        elif self.rate_Hz is not None:
            base = self.restarts[-1] if self.restarts else 0
            begins = max(before + 1, base + round(seam.at_s * self.rate_Hz)) if before else before
            if before:
                self.gaps.append((before - 1, begins))
        self._number, self._begun = begins, seam.byte
        self._done.append(self._framer)
        self._framer = Framer(self.layout, skips=False)

    @property
    def _all(self) -> list[Framer]:
        return [*self._done, self._framer]

    @property
    def next_number(self) -> int:
        return self._number + self._framer.next_number

    @property
    def good(self) -> int:
        return sum(framer.good for framer in self._all)

    @property
    def bad(self) -> int:
        return sum(framer.bad for framer in self._all)

    @property
    def stray(self) -> int:
        """Bytes of no frame, those of frames that a seam has torn among them."""
        return sum(framer.stray for framer in self._all) + sum(framer.trailing for framer in self._done)

    @property
    def trailing(self) -> int:
        return self._framer.trailing

    @property
    def first_bad_byte(self) -> int | None:
        begins = [0, *(seam.byte for seam in self.seams)]
        for begin, framer in zip(begins, self._all, strict=False):
            if framer.first_bad_byte is not None:
                return begin + framer.first_bad_byte
            if framer.trailing and framer is not self._framer:
                return begin
        return None
