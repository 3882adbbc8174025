"""Live figures out of CAN frames, by the user's CAN database; without one the frames are only counted."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ingest.can_files import needs_can
from ingest.can_signals import MessagePlan, load_dbc
from ingest.formats import ReadOptions
from ingest.record.blocks import unpack_can
from ingest.record.figures import Figure, SignalNames
from ingest.record.sources.base import Stamped
from ingest.stream_reader import Signal


class CanDecoder:
    """good: frames; bad: error frames and frames shorter than the database describes them."""

    word = "frames"
    learning = False
    header = b""

    def __init__(self, name: str, options: ReadOptions, dbc: Path | None) -> None:
        self._plans: dict[tuple[int, bool], MessagePlan] = {}
        if dbc is not None:
            needs_can(dbc)
            self._plans = load_dbc(dbc)
        self._named = SignalNames(name, options, None)
        self.good = self.bad = 0

    def feed(self, packets: Sequence[Stamped]) -> list[Figure]:
        by_id: dict[tuple[int, bool], list[bytes]] = {}
        errors = 0
        for _, raw in packets:
            frame = unpack_can(raw)
            if frame.error:
                errors += 1
            elif not frame.remote:
                by_id.setdefault((frame.frame_id, frame.extended), []).append(frame.data)
        self.bad += errors
        self.good += len(packets) - errors
        found: list[Figure] = []
        for key, rows in by_id.items():
            plan = self._plans.get(key)
            if plan is None or not plan.sources:
                continue
            whole = [row for row in rows if len(row) >= plan.length]
            self.bad += len(rows) - len(whole)
            if not whole:
                continue
            width = max(8, plan.length)
            joined = b"".join(row[:width].ljust(width, b"\0") for row in whole)
            values = plan.decode(np.frombuffer(joined, dtype=np.uint8).reshape(len(whole), width))
            signals = [Signal(s, u) for s, u in zip(plan.sources, plan.units, strict=True)]
            found += self._named.figures(plan.name, signals, values)
        return found

    def skip(self) -> None:
        return

    def forget(self) -> None:
        self.good = self.bad = 0

    def torn(self, tail: bytes) -> bytes:
        return b""
