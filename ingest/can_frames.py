"""Frames of a CAN trace as arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class FrameBlock:
    """Frames in the order of the file. ticks: µs, None where the trace has no stamps; bus: the interface's number.

    data: rows × 8 or 64, zeros behind the frame's own length.
    """

    ticks: NDArray[np.int64] | None
    ids: NDArray[np.int64]
    extended: NDArray[np.bool_]
    error: NDArray[np.bool_]
    remote: NDArray[np.bool_]
    fd: NDArray[np.bool_]
    lengths: NDArray[np.int64]
    bus: NDArray[np.int16]
    data: NDArray[np.uint8]

    @property
    def size(self) -> int:
        return int(self.ids.size)

    def only(self, keep: NDArray[np.bool_]) -> FrameBlock:
        """The frames where `keep` is true."""
        rest = {f.name: getattr(self, f.name)[keep] for f in fields(self) if f.name != "ticks"}
        return FrameBlock(None if self.ticks is None else self.ticks[keep], **rest)


def joined(blocks: list[FrameBlock]) -> FrameBlock:
    """Blocks that all have stamps as one; data as wide as the widest."""
    if len(blocks) == 1:
        return blocks[0]
    width = max(block.data.shape[1] for block in blocks)
    wide = [
        np.pad(b.data, ((0, 0), (0, width - b.data.shape[1]))) if b.data.shape[1] < width else b.data for b in blocks
    ]
    rest = {
        f.name: np.concatenate([getattr(b, f.name) for b in blocks]) for f in fields(FrameBlock) if f.name != "data"
    }
    return FrameBlock(data=np.concatenate(wide), **rest)
