"""Before anything is judged: every signal with its clipping, zero error and noise marked, and the log's own faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.claimed_clocks import clock_skews
from analysis.findings import QualityNote
from analysis.match_data import MatchData
from analysis.sampling import SLOWEST_USEFUL_S
from analysis.signal import Signal
from analysis.trust import detector_against, examine, gap_notes, rest_disagreement, rest_offsets
from ingest.builds import Build
from ingest.channels import parse_channel

# Channels whose rate decides whether peaks and dips can be judged at all.
_RATED_KINDS = ("current", "voltage")
# Our choice: bus capacitors are charged within milliseconds, what their inrush does to the pack lasts some tenths.
SETTLED_S = 0.5


def trusted(data: MatchData) -> MatchData:
    """The same data with marked signals and quality notes; what a note takes away, the checks then leave out."""
    signals: dict[str, Signal] = {}
    notes: list[QualityNote] = list(data.quality)
    pack_current = data.signals.get("pack_current_A")
    for name, signal in data.signals.items():
        examined = examine(
            signal,
            full_scale=_full_scale(data.build, name),
            limit=_current_limit(data.build, name),
            companions=_companions(data, name, pack_current),
        )
        marked = examined.signal
        for twin in data.twins.get(name, ()):
            if marked.detector == "unknown" and twin.period_s < marked.period_s:
                marked = replace(marked, detector=detector_against(marked, twin))
        signals[name] = marked
        notes += examined.notes
        slow = _undersampled(signal, data)
        if slow is not None:
            notes.append(slow)
    notes += _gaps(data)
    notes += _truncated(data)
    notes += clock_skews(data)
    for note, offset_V in _taps_at_rest(data):
        notes.append(note)
        if note.channel is not None:  # not taken off: which end of it is wrong is not known, so it widens what it says
            signals[note.channel] = replace(signals[note.channel], offset=offset_V)
    return replace(data, signals=signals, quality=tuple(notes), _inside={}, memo={})


def _taps_at_rest(data: MatchData) -> list[tuple[QualityNote, float]]:
    """A voltage tap whose zero is off, by the others, once the pack is plugged in; and by how many volts."""
    names = [n for n in data.signals if n.endswith("_voltage_V") and "_rail_" not in n and n != "receiver_voltage_V"]
    names = [n for n in names if data.placed[data.source[n]].placed]
    if data.build is None or len(data.build.packs) != 1 or len(names) < 2:
        return []
    cells = [n for n in names if n.startswith("cell")]
    taps = [n for n in names if n not in cells]
    starts = [_plugged_in_s(data.signals[n]) for n in names]
    since = max(starts) + SETTLED_S
    until = np.inf if data.window is None else data.window.start_s
    if since + SETTLED_S > until:
        return []
    cut = {n: data.signals[n].between(since, until) for n in names}
    whole = [cut[n] for n in cells] if len(cells) == data.cells else []
    told, off = rest_disagreement({n: cut[n] for n in taps}, whole), rest_offsets({n: cut[n] for n in taps}, whole)
    return [(note, off[note.channel][0]) for note in told if note.channel is not None]


def _plugged_in_s(signal: Signal) -> float:
    """The first stamp at which a voltage is more than half of what it usually is."""
    good = signal.good()
    up = np.flatnonzero(good.x > 0.5 * float(np.percentile(good.x, 90))) if len(good) else np.zeros(0, dtype=int)
    return float(good.t_s[up[0]]) if len(up) else 0.0


def _full_scale(build: Build | None, channel: str) -> float | None:
    for sensor in build.sensors if build is not None else ():
        if sensor.channel == channel:
            return sensor.full_scale
    return None


def _current_limit(build: Build | None, channel: str) -> float | None:
    """A controller's own limit: a plateau there is the limiter at work and not the sensor."""
    for controller in build.controllers if build is not None else ():
        if channel.startswith(controller.id + "_") and channel.endswith("current_A"):
            return controller.current_limit_A
    return None


def _companions(data: MatchData, name: str, pack_current: Signal | None) -> tuple[Signal, ...]:
    """The channel of the same log that must have moved with this one, for telling frozen from quiet."""
    channel = parse_channel(name)
    if channel is None or channel.quantity.suffix in ("rail_voltage_V", "rail_current_A"):
        return ()
    if channel.quantity.kind == "voltage" and pack_current is not None and data.same_clock(name, "pack_current_A"):
        return (pack_current,)
    if name == "pack_current_A":
        volts = data.signals.get("pack_voltage_V")
        return (volts,) if volts is not None and data.same_clock(name, "pack_voltage_V") else ()
    if channel.quantity.suffix == "input_current_A":
        other = data.signals.get(f"{channel.part}_motor_current_A")
        return (other,) if other is not None else ()
    if channel.quantity.suffix == "motor_current_A":
        other = data.signals.get(f"{channel.part}_input_current_A")
        return (other,) if other is not None and data.same_clock(name, other.channel) else ()
    return ()


def _undersampled(signal: Signal, data: MatchData) -> QualityNote | None:
    """Only where the rate takes a check away: slower than the shortest window that a rating is held against."""
    channel = parse_channel(signal.channel)
    if channel is None or channel.quantity.kind not in _RATED_KINDS or len(signal) < 2:
        return None
    if signal.period_s <= SLOWEST_USEFUL_S * data.settings.shortest_window_s / 0.1:
        return None
    rate = 1.0 / signal.period_s
    return QualityNote(
        "undersampled",
        signal.channel,
        channel.part,
        float(signal.t_s[0]),
        float(signal.t_s[-1]),
        f"{rate:.3g} samples a second: peaks and dips between them are not seen, so they are not assessed",
    )


def _gaps(data: MatchData) -> list[QualityNote]:
    """Gaps of each log's clock, once a log and not once a channel."""
    notes: list[QualityNote] = []
    seen: set[tuple[int, int, float]] = set()
    for name, signal in data.signals.items():
        if len(signal) < 2:
            continue
        key = (data.source[name], len(signal), float(signal.t_s[0]))
        if key in seen:
            continue
        seen.add(key)
        channel = parse_channel(name)
        notes += gap_notes(signal, channel.part if channel else "", data.settings.gap_intervals)
    return notes


def _truncated(data: MatchData) -> list[QualityNote]:
    notes = []
    for index, placed in enumerate(data.placed):
        for fault in placed.log.provenance.faults:
            if fault.code in ("truncated", "nul_bytes"):
                ends = [float(s.t_s[-1]) for n, s in data.signals.items() if data.source[n] == index and len(s)]
                end = max(ends, default=0.0)
                notes.append(QualityNote("truncated", None, "", end, end, f"{placed.log.name}: {fault.note}"))
                break
    return notes
