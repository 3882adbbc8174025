"""The CAN frames of a recording as a trace."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ingest.can_traces import BLOCK_FRAMES, FrameBlock, Trace
from ingest.record.blocks import CAN_HEAD_BYTES, unpack_can
from ingest.record.recorded import Recording


class RecordedTrace(Trace):
    """One CAN source; its frames are stamped by when they came."""

    def __init__(self, recording: Recording, number: int) -> None:
        super().__init__(recording.path, "recording")
        self._recording, self._number = recording, number
        self.sha256 = recording.sha256

    def blocks(self) -> Iterator[FrameBlock]:
        columns: list[list[Any]] = [[] for _ in range(9)]
        for packets in self._recording.blocks(self._number):
            for t_ns, raw in packets:
                if len(raw) < CAN_HEAD_BYTES:
                    self._damage(None)
                    continue
                frame = unpack_can(raw)
                row = (
                    t_ns / 1e9, frame.frame_id, len(frame.data), frame.data, frame.extended, frame.error, frame.remote,
                    frame.fd, 0,
                )  # fmt: skip
                for column, value in zip(columns, row, strict=True):
                    column.append(value)
            if len(columns[0]) >= BLOCK_FRAMES:
                yield self._message_block(columns)
                columns = [[] for _ in range(9)]
        if columns[0]:
            yield self._message_block(columns)
