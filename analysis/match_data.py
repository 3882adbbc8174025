"""Everything a review looks at, brought together once: signals on the match clock, the window, build and pack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from analysis.findings import NotChecked, QualityNote
from analysis.settings import DEFAULTS, Settings
from analysis.signal import Signal
from ingest.align import FixedClock, PlacedLog, align
from ingest.arrays import numbers
from ingest.builds import Build, Match, Pack
from ingest.channels import parse_channel
from ingest.log import Log, Stream

# Our choice: no fight and no wait between two lasts so long; what stands behind is placed as after a restart.
LONGEST_SILENCE_S = 6 * 3600.0


@dataclass(frozen=True)
class Window:
    """The match inside the log: start and end on the match clock, and how they were found."""

    start_s: float
    end_s: float
    how: str

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


@dataclass(frozen=True, eq=False)
class MatchData:
    """Signals by channel on the match clock; `source` says which log each came from.

    A channel logged twice stands once in `signals` (the least faulted, then the fastest) and the others in
    `twins`. `unplaced` logs have no known place on the match clock: their channels serve only checks of one part.
    """

    signals: Mapping[str, Signal]
    source: Mapping[str, int]
    twins: Mapping[str, tuple[Signal, ...]]
    placed: tuple[PlacedLog, ...]
    build: Build | None
    packs: tuple[Pack, ...]
    match: Match | None
    settings: Settings
    window: Window | None = None
    quality: tuple[QualityNote, ...] = ()
    undermined: tuple[NotChecked, ...] = ()
    _inside: dict[str, Signal] = field(default_factory=dict, repr=False)
    memo: dict[str, Any] = field(default_factory=dict, repr=False)  # figures several checks share

    @property
    def pack(self) -> Pack | None:
        return self.packs[0] if self.packs else None

    @property
    def cells(self) -> int | None:
        if self.pack is not None and len(self.packs) == 1:
            return self.pack.cells
        return None if self.build is None else self.build.cells

    def get(self, channel: str) -> Signal | None:
        """The whole signal, before and after the match too."""
        return self.signals.get(channel)

    def inside(self, channel: str) -> Signal | None:
        """The valid samples inside the match window; None where the channel was not logged or holds nothing."""
        if channel not in self.signals:
            return None
        if channel not in self._inside:
            signal = self.signals[channel]
            if self.window is not None:
                signal = signal.between(self.window.start_s, self.window.end_s)
            self._inside[channel] = signal.good()
        cut = self._inside[channel]
        return cut if len(cut) else None

    def same_clock(self, *channels: str) -> bool:
        """Whether all these channels have a known place on one clock."""
        logs = {self.source[c] for c in channels if c in self.source}
        return len(logs) <= 1 or all(self.placed[i].placed for i in logs)

    @cached_property
    def air_degC(self) -> tuple[float, float, str]:
        """Air inside the chassis at the start: figure, how far it may be off (K), where it came from."""
        start = self.window.start_s if self.window else -np.inf
        chassis = self.get("chassis_temp_degC")
        if chassis is not None and len(chassis.good()):
            before = chassis.good()
            early = before.x[before.t_s <= max(start, before.t_s[0])]
            return float(np.median(early)), 2.0, "chassis_temp_degC before the match"
        air, off, source = self._air_stated()
        coldest = self._coldest_part_degC(start)
        if coldest is not None and coldest > air + off:
            return air, coldest - air, f"{source}; no part was colder than {coldest:.0f} °C at first"
        return air, off, source

    def _air_stated(self) -> tuple[float, float, str]:
        if self.match is not None and self.match.air_degC is not None:
            return self.match.air_degC, 3.0, f"{self.match.source_name or 'match'} air_degC"
        if self.build is not None and self.build.build.air_degC is not None:
            return (
                self.build.build.air_degC,
                self.settings.air_uncertainty_K,
                f"{self.build.source_name} air_degC",
            )
        return self.settings.air_degC, self.settings.air_uncertainty_K, "default: nothing states it"

    def _coldest_part_degC(self, start_s: float) -> float | None:
        """The coldest of at least two sensors on parts as the logs begin: the air about them may be as warm as that.

        Fewer say nothing: one part may be warm of the match before.
        """
        early = []
        for name, signal in self.signals.items():
            if name.endswith("_temp_degC") and len(good := signal.good()):
                early.append(float(np.median(good.x[good.t_s <= max(start_s, good.t_s[0] + 1.0)])))
        return min(early) if len(early) > 1 else None


def place(logs: Log | Sequence[Log] | Sequence[PlacedLog], match: Match | None) -> tuple[PlacedLog, ...]:
    """Logs with their place on the match clock: as given, as the match file states, else by alignment."""
    if isinstance(logs, Log):
        return (PlacedLog(logs, how="the match clock"),)
    if all(isinstance(item, PlacedLog) for item in logs):
        return tuple(item for item in logs if isinstance(item, PlacedLog))
    plain = [item for item in logs if isinstance(item, Log)]
    fixed: dict[int, FixedClock] = {}
    entries = {entry.sha256: entry for entry in match.logs} if match is not None else {}
    for index, log in enumerate(plain):
        entry = entries.get(log.provenance.sha256)
        if entry is not None and entry.clock_offset_s is not None:
            fixed[index] = FixedClock(
                entry.clock_offset_s,
                entry.clock_drift_ppm,
                entry.clock_by or "match file",
                entry.clock_correlation,
                entry.clock_error_s,
            )
    return align(plain, fixed)


def channel_signals(placed: PlacedLog, build: Build | None) -> tuple[list[Signal], list[QualityNote]]:
    """Every channel of one log as a Signal on the match clock, and what its clock did."""
    signals: list[Signal] = []
    notes: list[QualityNote] = []
    for whole in placed.log.streams:
        stream, left_over = _without_older(whole, placed)
        notes += left_over
        t_s, recording, stream_notes = _stream_clock(stream, placed)
        notes += stream_notes
        if len(t_s) == 0:
            continue
        if not np.isfinite(t_s).any():
            notes.append(_no_clock(stream, placed))
            continue
        rising = np.concatenate(([True], t_s[1:] > np.maximum.accumulate(t_s)[:-1]))
        if not rising.all():  # two samples on one stamp, or a stamp behind: the first is kept
            t_s = t_s[rising]
            recording = None if recording is None else recording[rising]
        keep = None if rising.all() else rising
        period = float(np.median(np.diff(t_s))) if len(t_s) > 1 else 0.0
        for name in stream.channels:
            column = stream.table.column(name)
            x = np.ascontiguousarray(numbers(column), dtype=np.float64)
            if keep is not None:
                x = x[keep]
            valid = np.isfinite(x) if column.null_count else np.ones(len(x), dtype=bool)
            if column.null_count:
                x = np.where(valid, x, 0.0)
            valid, impossible = _possible(name, t_s, x, valid)
            notes += impossible
            if not valid.any():
                continue
            sensor = _sensor(build, name)
            signals.append(
                Signal(
                    name,
                    t_s,
                    x,
                    valid,
                    np.zeros(len(x), dtype=bool),
                    period,
                    {"instant": "instant", "average": "average"}.get(sensor[0] or "", "unknown"),  # type: ignore[arg-type]
                    sensor[1],
                    recording=recording,
                )
            )
    return signals, notes


def _without_older(stream: Stream, placed: PlacedLog) -> tuple[Stream, list[QualityNote]]:
    """The stream without rows that are perhaps an older recording's: nothing is judged by what may be another match."""
    clock = placed.log.provenance.clock
    first = None if clock is None else clock.leftovers_from
    if first is None or not stream.table.num_rows:
        return stream, []
    recording = numbers(stream.table.column("recording"))
    keep = int(np.searchsorted(recording, first))  # recordings follow one another
    if keep == stream.table.num_rows:
        return stream, []
    t = numbers(stream.table.column("time_s"))[: max(keep, 1)]
    at = float(t[-1]) * (1 + placed.drift_ppm * 1e-6) + placed.offset_s
    parsed = parse_channel(stream.channels[0]) if stream.channels else None
    note = (
        f"{stream.table.num_rows - keep} rows at the end of {placed.log.name} are perhaps left over from an older "
        "recording: left out; if they belong to this match, cut the file there and add both parts"
    )
    return replace(stream, table=stream.table.slice(0, keep)), [
        QualityNote("leftovers", None, parsed.part if parsed else "", at, at, note)
    ]


def _no_clock(stream: Stream, placed: PlacedLog) -> QualityNote:
    parsed = parse_channel(stream.channels[0]) if stream.channels else None
    note = f"{placed.log.name} has no clock and no rate was given: left out; state it with --rate"
    return QualityNote("clock_missing", None, parsed.part if parsed else "", 0.0, 0.0, note)


def _possible(name: str, t_s: np.ndarray, x: np.ndarray, valid: np.ndarray) -> tuple[np.ndarray, list[QualityNote]]:
    """Samples that no such channel can have are no values: a wrong unit, a spike of the logger (ingest/channels.py)."""
    channel = parse_channel(name)
    if channel is None:
        return valid, []
    low, high = channel.quantity.low, channel.quantity.high
    beyond = valid & ((x < low) | (x > high))
    count = int(np.count_nonzero(beyond))
    if not count:
        return valid, []
    at = t_s[beyond]
    worst = float(x[beyond][np.argmax(np.abs(x[beyond]))])
    share = "all of its samples are" if count == int(np.count_nonzero(valid)) else f"{count} samples are"
    note = f"{share} outside what {name} can be ({low:g} to {high:g}), up to {worst:.4g}: left out; is its unit right?"
    return valid & ~beyond, [QualityNote("implausible", name, channel.part, float(at[0]), float(at[-1]), note)]


def _sensor(build: Build | None, channel: str) -> tuple[str | None, float]:
    for sensor in build.sensors if build is not None else ():
        if sensor.channel == channel:
            # A stated limit of error is taken as two sigma (our choice: makers state limits, not deviations).
            return sensor.detection, (sensor.gain_error_pct or 0.0) / 200.0
    return None, 0.0


def _stream_clock(stream: Stream, placed: PlacedLog) -> tuple[np.ndarray, np.ndarray | None, list[QualityNote]]:
    """Match-clock times of a stream. A recording after a restart is put right behind the one before, and said.

    So is what a clock places hours later: a logger's clock that gets its date in the middle of a log (from 1970 to
    today) is no silence of years, and no model runs over it.
    """
    t = np.array(numbers(stream.table.column("time_s")), dtype=np.float64)
    recording = np.array(numbers(stream.table.column("recording")), dtype=np.int64)
    notes: list[QualityNote] = []
    if len(t) == 0:
        return t, None, notes
    recording[1:] += np.cumsum(np.diff(t) > LONGEST_SILENCE_S)
    several = bool(recording[0] != recording[-1])
    if several:
        period = float(np.median(np.diff(t)))
        for start in np.flatnonzero(np.diff(recording)) + 1:
            end = int(np.searchsorted(recording[start:], recording[start], side="right")) + int(start)
            later_s = float(t[start] - t[start - 1])
            what = "starts again"
            if later_s > LONGEST_SILENCE_S:
                what = f"goes on {later_s / 3600:,.0f} h later: it was set, or the logger stood still"
            if not 0 < later_s <= LONGEST_SILENCE_S:
                t[start:end] += t[start - 1] + period - t[start]
            at = float(t[start] * (1 + placed.drift_ppm * 1e-6) + placed.offset_s)
            channels = stream.channels
            first = parse_channel(channels[0]) if channels else None
            notes.append(
                QualityNote(
                    "clock_reset",
                    None,
                    first.part if first else "",
                    at,
                    at,
                    f"the clock of {placed.log.name} {what}; how long it was silent is not known, "
                    "so what follows is placed right behind",
                )
            )
    t = t * (1.0 + placed.drift_ppm * 1e-6) + placed.offset_s
    return t, recording if several else None, notes


def gather(
    placed: Sequence[PlacedLog],
    build: Build | None,
    packs: Sequence[Pack],
    match: Match | None,
    settings: Settings = DEFAULTS,
) -> MatchData:
    """All logs' channels, each once; the window and the trust notes are added by the review."""
    by_channel: dict[str, list[tuple[Signal, int]]] = {}
    notes: list[QualityNote] = []
    for index, item in enumerate(placed):
        signals, clock_notes = channel_signals(item, build)
        notes += clock_notes
        for signal in signals:
            by_channel.setdefault(signal.channel, []).append((signal, index))
    chosen: dict[str, Signal] = {}
    source: dict[str, int] = {}
    twins: dict[str, tuple[Signal, ...]] = {}
    for name, found in by_channel.items():
        found.sort(key=lambda pair: (not placed[pair[1]].placed, 1.0 - float(pair[0].valid.mean()), pair[0].period_s))
        chosen[name], source[name] = found[0]
        if len(found) > 1:
            twins[name] = tuple(signal for signal, _ in found[1:])
    return MatchData(chosen, source, twins, tuple(placed), build, tuple(packs), match, settings, quality=tuple(notes))
