"""Text on the two sides of a seam: the line that was torn before it and the one behind it are never put together.

A cut line may still look like a row (`1234,24.0` without its first digits is `34,24.0`), so both are left out. Only a
line of the table's own head is known to be whole: a controller that restarts prints it again.
"""

from __future__ import annotations

import re
from typing import Final

from ingest.record.recorded import Recording

HEAD_LINES: Final = 50  # our choice: the head of a table is shorter
MOST_LINE_BYTES: Final = 1 << 20
_WORDS: Final = re.compile(rb"[A-DF-Za-df-z]")  # e and E stand in numbers


def trim_lines(recording: Recording, number: int) -> int:
    """Leave out the torn lines beside every seam of a text source; gives how many bytes that were."""
    seams = recording.seams(number)
    if not seams:
        return 0
    heads = _head_lines(recording, number)
    bounds = [0, *seams, recording.count(number)]
    left_out = 0
    for before, seam, behind in zip(bounds, seams, bounds[2:], strict=False):
        left_out += _tail(recording, number, before, seam) + _head(recording, number, seam, behind, heads)
    return left_out


def _data(recording: Recording, number: int, index: int) -> bytes:
    return b"".join(data for _, data in recording.block(number, index))


def _head_lines(recording: Recording, number: int) -> set[bytes]:
    found = b""
    for packets in recording.blocks(number):
        found += b"".join(data for _, data in packets)
        if found.count(b"\n") >= HEAD_LINES or len(found) > MOST_LINE_BYTES:
            break
    return {line.strip() for line in found.split(b"\n")[:HEAD_LINES] if _WORDS.search(line)}


def _tail(recording: Recording, number: int, first: int, seam: int) -> int:
    """From the last line end before a seam up to it."""
    left_out = 0
    for index in range(seam - 1, first - 1, -1):
        data = _data(recording, number, index)
        cut = len(data) - data.rfind(b"\n") - 1
        recording.leave_out(number, index, 0, cut)
        left_out += cut
        if cut < len(data):
            break
    return left_out


def _head(recording: Recording, number: int, seam: int, behind: int, heads: set[bytes]) -> int:
    """From a seam up to the first line end behind it, unless a line of the table's head stands there."""
    line, cuts = b"", []
    for index in range(seam, behind):
        data = _data(recording, number, index)
        end = data.find(b"\n") + 1
        line += data[: end or len(data)]
        cuts.append((index, end or len(data)))
        if end or len(line) > MOST_LINE_BYTES:
            break
    if line.strip() in heads:
        return 0
    for index, cut in cuts:
        recording.leave_out(number, index, cut, 0)
    return len(line)
