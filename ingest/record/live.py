"""The running figures of a recording: rates, last values, lowest voltage, highest current, what was lost, alarms.

Everything here is for looking at while the recording runs. Looking may never cost the recording anything: where
decoding takes more than its share of the time, some of what came is not looked at, and the view says so.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from ingest.channels import parse_channel
from ingest.record.figures import Decoder, Figure
from ingest.record.limits import LOOK_S, Alarm, Limit, Watch
from ingest.record.sources.base import Source, Stamped

RATE_OVER_S: Final = 2.0  # our choice: steady enough to read, quick enough to see a stream stop
# Our choice: of the time between two looks. With the reading itself it stays well under a quarter of one core.
SHARE_FOR_LOOKING: Final = 0.10
MOST_NAMES: Final = 400  # our choice: a view of more figures is read by nobody, and a broken stream could invent many


@dataclass
class Value:
    """One figure of the view. Times in seconds of the recording."""

    name: str
    unit: str
    last: float = np.nan
    low: float = np.inf
    high: float = -np.inf
    low_at_s: float = 0.0
    high_at_s: float = 0.0
    seen_s: float = 0.0

    @property
    def quantity(self) -> str:
        """voltage, current, temperature … where the name is a channel's, or where the unit says it."""
        channel = parse_channel(self.name)
        if channel is not None:
            return channel.quantity.kind
        return {"V": "voltage", "A": "current", "degC": "temperature"}.get(self.unit, "other")

    def take(self, values: np.ndarray, at_s: float) -> None:
        good = values[np.isfinite(values)]
        if good.size == 0:
            return
        self.last, self.seen_s = float(good[-1]), at_s
        low, high = float(good.min()), float(good.max())
        if low < self.low:
            self.low, self.low_at_s = low, at_s
        if high > self.high:
            self.high, self.high_at_s = high, at_s


@dataclass
class SourceView:
    """One source as it stands. state: listening, silent (nothing came yet), lost (vanished), ended."""

    source: Source
    decoder: Decoder
    state: str = "silent"
    packets: int = 0
    bytes: int = 0
    gaps: list[tuple[float, float | None, str]] = field(default_factory=list)
    values: dict[str, Value] = field(default_factory=dict)
    unseen: int = 0  # packets that were recorded but not looked at
    skipped_names: int = 0
    last_s: float = 0.0
    _waiting: list[Stamped] = field(default_factory=list)
    _waiting_bytes: int = 0
    _behind_s: float = 0.0
    _recent: deque[tuple[float, int, int, int]] = field(default_factory=deque)

    @property
    def name(self) -> str:
        return self.source.name

    def learn(self, earlier: Iterable[Sequence[Stamped]]) -> None:
        """Know the table from what the source gave before; nothing of it is counted or shown."""
        for packets in earlier:
            if not self.decoder.learning:
                break
            self.decoder.feed(packets)
        self.decoder.forget()

    def take(self, packets: Sequence[Stamped]) -> None:
        if not packets:
            return
        if self.state == "silent":
            self.state = "listening"
        size = sum(len(raw) for _, raw in packets)
        self.packets += len(packets)
        self.bytes += size
        self.last_s = packets[-1][0] / 1e9
        self._waiting.extend(packets)
        self._waiting_bytes += size

    def figures(self, span_s: float) -> list[Figure]:
        """What came since the last look, decoded; nothing where earlier looks took too long."""
        packets, self._waiting, self._waiting_bytes = self._waiting, [], 0
        if not packets:
            self._behind_s = max(0.0, self._behind_s - SHARE_FOR_LOOKING * span_s)
            return []
        if self._behind_s > SHARE_FOR_LOOKING * LOOK_S and not self.decoder.learning:
            self._behind_s = max(0.0, self._behind_s - SHARE_FOR_LOOKING * span_s)
            self.unseen += len(packets)
            self.decoder.skip()
            return []
        began = time.thread_time()
        found = self.decoder.feed(packets)
        self._behind_s = max(0.0, self._behind_s + time.thread_time() - began - SHARE_FOR_LOOKING * span_s)
        return found

    def keep(self, figures: Sequence[Figure], at_s: float) -> None:
        for name, unit, values in figures:
            value = self.values.get(name)
            if value is None:
                if len(self.values) >= MOST_NAMES:
                    self.skipped_names += 1
                    continue
                value = self.values[name] = Value(name, unit)
            value.take(values, at_s)

    def note_rate(self, at_s: float) -> None:
        self._recent.append((at_s, self.packets, self.bytes, self.decoder.good))
        while len(self._recent) > 2 and self._recent[1][0] <= at_s - RATE_OVER_S:
            self._recent.popleft()

    def rates(self) -> tuple[float, float, float]:
        """Packets, bytes, and rows or frames a second."""
        if len(self._recent) < 2:
            return 0.0, 0.0, 0.0
        first, last = self._recent[0], self._recent[-1]
        span_s = max(last[0] - first[0], 1e-9)
        packets, size, good = (max(0, last[k] - first[k]) / span_s for k in (1, 2, 3))
        return packets, size, good


@dataclass
class Extreme:
    """The lowest voltage or the highest current so far."""

    name: str
    value: float
    unit: str
    at_s: float


class Live:
    """All sources together. take() as packets come, look() a few times a second."""

    def __init__(self, views: Sequence[SourceView], limits: Sequence[Limit] = ()) -> None:
        self.views = list(views)
        self.watch = Watch(list(limits))
        self._looked_s = 0.0

    @property
    def alarms(self) -> list[Alarm]:
        return self.watch.alarms

    def look(self, now_s: float) -> tuple[list[Figure], list[Alarm]]:
        """Decode what came; gives the figures since the last look and the alarms that are new."""
        span_s = max(now_s - self._looked_s, 1e-3)
        everything: list[Figure] = []
        for view in self.views:
            figures = view.figures(span_s)
            view.keep(figures, now_s)
            view.note_rate(now_s)
            everything.extend(figures)
        new = self.watch.take(everything, self._looked_s, now_s) if everything else []
        self._looked_s = now_s
        return everything, new

    def names(self) -> list[str]:
        return sorted({name for view in self.views for name in view.values})

    def lowest_voltage(self) -> Extreme | None:
        """Of the pack where it is logged, else of all that are no rail and no cell."""
        best = _of_the_pack("voltage", "pack_voltage_V", self.views)
        chosen = min(best, key=lambda v: v.low, default=None)
        return None if chosen is None else Extreme(chosen.name, chosen.low, chosen.unit, chosen.low_at_s)

    def highest_current(self) -> Extreme | None:
        best = _of_the_pack("current", "pack_current_A", self.views)
        chosen = max(best, key=lambda v: v.high, default=None)
        return None if chosen is None else Extreme(chosen.name, chosen.high, chosen.unit, chosen.high_at_s)


def _of_the_pack(quantity: str, name: str, views: Sequence[SourceView]) -> list[Value]:
    values = [v for view in views for v in view.values.values() if v.quantity == quantity and np.isfinite(v.low)]
    pack = [v for v in values if v.name == name]
    others = [v for v in values if "rail" not in v.name and "cell" not in v.name]
    return pack or others or values
