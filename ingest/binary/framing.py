"""Finding the frames in a stream of bytes, and finding them again behind damage.

As long as frames follow one another they are checked in growing blocks; at a bad one the next place is looked for
where the sync bytes stand and the checksum is right. Without a checksum the sync bytes must stand a frame's length
further on too, or two lengths on, where the next frame is the damaged one; behind damage at three of the next four
places (our choice: sync bytes also occur inside a frame).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.binary.checksum import Bytes
from ingest.binary.layout import Layout

_FIRST_ROWS: Final = 64  # a block after damage; doubled as long as all is well
_MOST_ROWS: Final = 16_384
_WINDOW: Final = 8192  # bytes searched at once, four times as many each time nothing is found
_MOST_WINDOW: Final = 1 << 20


@dataclass
class Framer:
    """Bytes in, good frames out; carries what is unfinished from block to block.

    bad: frames that were recognised by their place but not by their checksum, or lost; stray: bytes that belong to
    no good frame. frame numbers count the lost ones too, by the bytes that were passed.
    """

    layout: Layout
    skips: bool = True  # whether the layout's header stands before the first frame
    good: int = 0
    bad: int = 0
    stray: int = 0
    first_bad_byte: int | None = None
    trailing: int = 0
    _carry: bytes = b""
    _offset: int = 0  # of the carry's first byte in the file
    _skip: int = field(init=False)
    _number: int = 0
    _gap_from: int | None = None

    def __post_init__(self) -> None:
        self._skip = self.layout.skip if self.skips else 0

    @property
    def next_number(self) -> int:
        """Of the frame that would come next."""
        return self._number

    def feed(self, data: bytes, last: bool) -> list[tuple[Bytes, NDArray[np.int64]]]:
        """Runs of good frames (rows × length, views) with their frame numbers."""
        if self._skip:
            left = min(self._skip, len(data))
            data, self._skip, self._offset = data[left:], self._skip - left, self._offset + left
        raw = self._carry + data if self._carry else data
        buffer = np.frombuffer(raw, dtype=np.uint8)
        runs: list[tuple[Bytes, NDArray[np.int64]]] = []
        length = self.layout.length
        # without a checksum a frame is judged by what follows it
        ahead = 0 if self.layout.checksum is not None or last else 4 * length + len(self.layout.sync)
        stop = len(raw) - ahead
        place, rows = 0, _FIRST_ROWS
        while place + length <= stop:
            count = min(rows, (stop - place) // length)
            frames = buffer[place : place + count * length].reshape(count, length)
            ok = self._judge(buffer, frames, place, last)
            used, other = self._in_step(raw, buffer, ok, place, last)
            if used:
                runs.append(self._take(frames[:used], ok[:used], place))
                place += used * length
            if other is None and used == count:
                rows = min(rows * 2, _MOST_ROWS)
                continue
            rows = _FIRST_ROWS
            if used and other is None:
                continue  # what is bad at the end of a block is judged with what follows
            if self._gap_from is None:
                self._gap_from = self._offset + place
            place = other if other is not None else self._search(raw, buffer, place + 1, stop, last)
        if last and place < len(raw):
            self._end(raw, place)
            place = len(raw)
        self._carry = raw[place:]
        self._offset += place
        return runs

    def _in_step(
        self, raw: bytes, buffer: Bytes, ok: NDArray[np.bool_], place: int, last: bool
    ) -> tuple[int, int | None]:
        """How many rows up to a good one are in step, and where else a frame begins in a gap between good ones.

        A gap of one row has no room for another frame; in a longer one a frame may stand out of step.
        """
        if ok.all():
            return ok.size, None
        good = np.flatnonzero(ok)
        if good.size == 0:
            return 0, None
        before = np.concatenate(([-1], good[:-1]))
        length = self.layout.length
        for k in np.flatnonzero(good - before > 2):
            first, end = int(before[k]) + 1, int(good[k])
            low, high = place + first * length + 1, place + (end - 1) * length + 1
            if self.layout.sync:
                stop = high - 1 + len(self.layout.sync)
                hit = raw.find(self.layout.sync, low, stop)
                while hit >= 0 and (hit - place) % length == 0:  # in step, and known to be bad
                    hit = raw.find(self.layout.sync, hit + 1, stop)
                if hit < 0:
                    continue
            found = self._search(raw, buffer, low, high + length - 1, last)
            if found < high:
                return first, found
        return int(good[-1]) + 1, None

    def _take(self, frames: Bytes, ok: NDArray[np.bool_], place: int) -> tuple[Bytes, NDArray[np.int64]]:
        """The good rows, and the account of the bad ones between them; the last row is good."""
        first = int(np.argmax(ok))
        if first and self._gap_from is None:
            self._gap_from = self._offset + place
        self._close_gap(self._offset + place + first * self.layout.length)
        numbers = self._number + np.arange(ok.size - first)
        lost = int(ok.size - first - np.count_nonzero(ok))
        if lost and self.first_bad_byte is None:
            self.first_bad_byte = self._offset + place + int(np.argmin(ok[first:]) + first) * self.layout.length
        self.bad += lost
        self.stray += lost * self.layout.length
        self.good += ok.size - first - lost
        self._number += ok.size - first
        return (frames[first:], numbers) if lost == 0 else (frames[ok], numbers[ok[first:]])

    def _judge(self, buffer: Bytes, frames: Bytes, place: int, last: bool) -> NDArray[np.bool_]:
        good = self.layout.good(frames)
        sync, length = self.layout.sync, self.layout.length
        if self.layout.checksum is not None or not sync:
            return good
        starts = place + np.arange(frames.shape[0]) * length
        return good & (self._sync_at(buffer, starts + length, last) | self._sync_at(buffer, starts + 2 * length, last))

    def _sync_at(self, buffer: Bytes, starts: NDArray[np.int64], last: bool) -> NDArray[np.bool_]:
        """Whether the sync bytes stand there; at the end of the file nothing can be asked."""
        beyond = starts + len(self.layout.sync) > buffer.size
        inside = np.minimum(starts, max(buffer.size - len(self.layout.sync), 0))
        good = np.ones(starts.size, dtype=bool)
        for k, byte in enumerate(self.layout.sync):
            good &= buffer[inside + k] == byte
        return good | beyond if last else good & ~beyond

    def _search(self, raw: bytes, buffer: Bytes, place: int, stop: int, last: bool) -> int:
        """The next place from `place` on where a good frame begins, or where too few bytes are left for one."""
        length, sync = self.layout.length, self.layout.sync
        end = stop - length + 1
        if not sync and self.layout.checksum is None:
            return max(place, end)
        window = _WINDOW
        while place < end:
            until = min(place + window, end)
            window = min(window * 4, _MOST_WINDOW)
            if sync:
                first = buffer[place:until] == sync[0]
                for k in range(1, len(sync)):
                    first = first & (buffer[place + k : until + k] == sync[k])
                starts = np.flatnonzero(first) + place
            else:
                starts = np.arange(place, until)
            for part in range(0, starts.size, 4096):
                some = starts[part : part + 4096]
                frames = np.lib.stride_tricks.sliding_window_view(buffer, length)[some]
                ok = self.layout.good(frames)
                if self.layout.checksum is None:
                    ok &= sum(self._sync_at(buffer, some + k * length, last) for k in (1, 2, 3, 4)) >= 3
                if ok.any():
                    return int(some[int(np.argmax(ok))])
            place = until
        return max(place, end)

    def _close_gap(self, upto: int) -> None:
        if self._gap_from is None:
            return
        passed = upto - self._gap_from
        lost = int(passed / self.layout.length + 0.5)
        if self.good:
            self._number += lost
        self.bad += lost
        self.stray += passed
        if self.first_bad_byte is None:
            self.first_bad_byte = self._gap_from
        self._gap_from = None

    def _end(self, raw: bytes, place: int) -> None:
        """What is left at the end: a frame cut short, or stray bytes."""
        begun = self.layout.sync and raw[place : place + len(self.layout.sync)] == self.layout.sync[: len(raw) - place]
        if self._gap_from is None and (begun or not self.layout.sync):
            self.trailing = len(raw) - place
            return
        if self._gap_from is None:
            self._gap_from = self._offset + place
        self._close_gap(self._offset + len(raw))


def share_of_frames(layout: Layout, head: bytes) -> float:
    """Which share of the first bytes is good frames of this layout; 0 where fewer than four are there."""
    framer = Framer(layout)
    framer.feed(head, True)
    body = len(head) - layout.skip
    return framer.good * layout.length / body if framer.good >= 4 and body > 0 else 0.0
