"""Text lines without a clock of their own get a first column: when each line came."""

from __future__ import annotations

import bisect
from typing import Final

from ingest.record.one_source import arrivals
from ingest.record.recorded import Recording
from ingest.record.sources.base import Stamped

NAME: Final = "arrival_s"
WIDTH: Final = 16  # of the column, so that it is known how long a line becomes


class Stamping:
    """made(index, packets) for OneSource: every line begins with the seconds at which it came."""

    def __init__(self, recording: Recording, number: int, delimiter: str, names_line: int | None, first: int) -> None:
        self._delimiter = (delimiter or ",").encode()
        self._begins: list[bool] = []  # whether a block begins with a new line
        self._lines: list[int] = []  # the number of the line that a block begins in
        fresh, line = True, 1
        for packets in recording.blocks(number):
            data = b"".join(raw for _, raw in packets)
            self._begins.append(fresh)
            self._lines.append(line)
            line += data.count(b"\n")
            fresh = data.endswith(b"\n")
        self._names_line, self._first = names_line, first

    def __call__(self, index: int, packets: list[Stamped]) -> bytes:
        data = b"".join(raw for _, raw in packets)
        came = arrivals(packets)
        offsets = [offset for offset, _, _ in came]
        made: list[bytes] = []
        line, place = self._lines[index], 0
        fresh = self._begins[index]
        while place < len(data):
            end = data.find(b"\n", place) + 1 or len(data)
            if fresh:
                at = bisect.bisect_right(offsets, place) - 1
                offset, t_ns, step = came[at]
                made.append(self._prefix(line, t_ns + (place - offset) * step))
            made.append(data[place:end])
            fresh = data[end - 1 : end] == b"\n"
            line += fresh
            place = end
        return b"".join(made)

    def _prefix(self, line: int, t_ns: float) -> bytes:
        if line >= self._first:
            text = f"{t_ns / 1e9:{WIDTH}.6f}".replace(" ", "0")
        else:
            text = (NAME if line == self._names_line else "s").ljust(WIDTH)
        return text.encode() + self._delimiter
