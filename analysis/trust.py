"""What a log cannot show: clipping, zero error, frozen values, gaps, rate, held values, noise.

Every doubt is a QualityNote; `examine` also returns the Signal with clipped, offset and noise filled in, which the
figures' intervals then carry. Healthy logs give no note: each test says what it needs before it speaks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.findings import QualityNote
from analysis.frozen import frozen, top_was_passed
from analysis.sensor_faults import (
    GAP_INTERVALS,
    ClipState,
    clipping,
    detector_against,
    gaps,
    held_times,
    jitter_rel,
    noise_of,
    quantum,
    runs,
    zero_error,
)
from analysis.signal import Signal
from ingest.channels import parse_channel

REST_V = 0.4  # our choice: leads drop less than this at rest, and two 10-bit taps differ by less
REST_SHARE = 0.02  # our choice: two taps of 1 % gain each
REST_HEAD_S = 3.0  # our choice: long enough to outlast plugging in
SKEW_S = 0.005  # our choice: less does not change a figure

__all__ = [
    "ClipState",
    "Examined",
    "clipping",
    "clock_skew",
    "detector_against",
    "examine",
    "frozen",
    "gap_notes",
    "gaps",
    "held_times",
    "jitter_rel",
    "noise_of",
    "quantum",
    "rest_disagreement",
    "undersampled",
    "zero_error",
]


@dataclass(frozen=True)
class Examined:
    """signal with clipped, offset and noise filled in; notes; quantum 0.0 where the values are continuous."""

    signal: Signal
    notes: tuple[QualityNote, ...]
    quantum: float
    noise: float
    clip: ClipState
    jitter_rel: float
    held: float


def undersampled(signal: Signal, need_s: float, for_what: str) -> QualityNote | None:
    """A note where the logger's interval (or the held source behind it) is longer than a verdict needs."""
    if len(signal) < 2:
        return None
    held = held_times(signal.x[signal.valid])
    period = signal.period_s * (held if held >= 2 else 1.0)
    if period <= need_s * (1 + 1e-6):
        return None
    rate = 1.0 / period if period > 0 else 0.0
    note = f"{rate:.3g} new values a second; {for_what} needs one every {need_s:g} s"
    return _note("undersampled", signal, float(signal.t_s[0]), float(signal.t_s[-1]), note)


def _note(code: str, signal: Signal, start_s: float, end_s: float, note: str) -> QualityNote:
    channel = parse_channel(signal.channel)
    return QualityNote(code, signal.channel, channel.part if channel else "", start_s, end_s, note)


def examine(
    signal: Signal,
    *,
    full_scale: float | None = None,
    limit: float | None = None,
    companions: Sequence[Signal] = (),
) -> Examined:
    """All of the above for one signal. full_scale: the sensor's, where declared; limit: a set current limit;
    companions: channels on the same clock that move with this one (the pack's current for its voltage).
    """
    x = signal.x[signal.valid]
    if x.shape[0] < 2:
        return Examined(signal, (), 0.0, signal.noise, "not clipped", 0.0, 1.0)
    channel = parse_channel(signal.channel)
    kind = channel.quantity.kind if channel is not None else ""
    electric = kind in ("current", "voltage")
    step = quantum(x)
    noise = max(signal.noise, noise_of(x, step)) if electric else signal.noise
    notes: list[QualityNote] = []
    state: ClipState = "not clipped"
    out = replace(signal, noise=noise)
    if electric:
        state, mask = clipping(signal, full_scale, limit, rests_high=kind == "voltage")
        if state == "undetermined" and kind == "current":
            mask = top_was_passed(signal, companions)
            state = "clipped" if bool(mask.any()) else state
        if state == "clipped":
            out = replace(out, clipped=signal.clipped | mask)
            starts, ends = runs(mask)
            t = signal.t_s
            longest = max(float(t[e - 1] - t[s]) for s, e in zip(starts, ends, strict=True))
            top = f"{float(x.max()):.4g} {signal.channel.rsplit('_', 1)[-1]}"
            notes.append(
                _note(
                    "sensor_clipped",
                    signal,
                    float(t[starts[0]]),
                    float(t[ends[-1] - 1]),
                    f"{int(mask.sum())} samples stand at {top}, the sensor's top, in {len(starts)} stretches of up to "
                    f"{longest:.2f} s: the true values are at least that",
                )
            )
    if kind == "current" and "rail" not in signal.channel and signal.offset == 0.0:
        zero = zero_error(signal, noise, step)
        if zero is not None:
            out = replace(out, x=np.where(signal.valid, signal.x - zero, signal.x), offset=zero)
            notes.append(
                _note(
                    "sensor_offset",
                    signal,
                    float(signal.t_s[0]),
                    float(signal.t_s[-1]),
                    f"reads {zero:+.2f} A at rest; taken off",
                )
            )
    if electric or kind == "speed":
        notes += [
            _note("frozen_values", signal, start, end, f"one value for {end - start:.2f} s, which it cannot have held")
            for start, end in frozen(signal, companions)
        ]
        for start, end in [(n.start_s, n.end_s) for n in notes if n.code == "frozen_values"]:
            out = replace(out, valid=out.valid & ~((out.t_s > start) & (out.t_s <= end)))
    held = held_times(x) if electric else 1.0
    return Examined(out, tuple(notes), step, noise, state, jitter_rel(signal.t_s), held)


def gap_notes(signal: Signal, log_part: str = "", intervals: float = GAP_INTERVALS) -> list[QualityNote]:
    """One note for all gaps of a log's clock: the worst one's place, how many there are, how much is missing."""
    found = gaps(signal.t_s, signal.period_s, intervals)
    if signal.recording is not None and found:
        k = np.searchsorted(signal.t_s, [start for start, _ in found])
        found = [g for g, j in zip(found, k, strict=True) if signal.recording[j] == signal.recording[j + 1]]
    if not found:
        return []
    worst = max(found, key=lambda g: g[1] - g[0])
    missing = sum(end - start - signal.period_s for start, end in found)
    note = f"{len(found)} gaps, {missing:.2f} s missing, the longest {worst[1] - worst[0]:.2f} s"
    return [QualityNote("logger_gap", None, log_part, worst[0], worst[1], note)]


def rest_disagreement(voltages: Mapping[str, Signal], cells: Sequence[Signal] = ()) -> list[QualityNote]:
    """Voltage channels whose zero is off: at rest every tap of one pack shows the same voltage.

    voltages: channels on the pack's bus (not the rail), on one clock; cells: all cells of the pack, or none (their
    sum votes too). The first seconds of the log are compared; the one that is off from the median of at least three
    by more than REST_V and REST_SHARE is named; `rest_offsets` says by how much. With two voters nobody knows which is
    wrong: no note.
    """
    notes = []
    for name, (offset, votes) in rest_offsets(voltages, cells).items():
        signal = voltages[name]
        note = f"reads {offset:+.2f} V against the median of {votes} taps at rest"
        notes.append(_note("sensor_offset", signal, float(signal.t_s[0]), float(signal.t_s[-1]), note))
    return notes


def rest_offsets(voltages: Mapping[str, Signal], cells: Sequence[Signal] = ()) -> dict[str, tuple[float, int]]:
    """(V that it reads above the others at rest, number of voters) of every tap that disagrees with the others."""
    sources = [s.good() for s in (*voltages.values(), *cells)]
    if any(len(s) == 0 for s in sources) or not sources:
        return {}
    start = max(float(s.t_s[0]) for s in sources)
    heads = [s.between(start, start + REST_HEAD_S) for s in sources]
    if any(len(s) < 3 for s in heads):
        return {}
    levels = [float(np.median(s.x)) for s in heads]
    taps = dict(zip(voltages, levels, strict=False))
    votes = [*taps.values(), *([sum(levels[len(taps) :])] if cells else [])]
    middle = float(np.median(votes))
    if len(votes) < 3 or middle <= 0:
        return {}
    apart = {name: level - middle for name, level in taps.items()}
    return {n: (off, len(votes)) for n, off in apart.items() if abs(off) > max(REST_V, REST_SHARE * middle)}


def clock_skew(part: str, offset_s: float, error_s: float, start_s: float, end_s: float) -> QualityNote | None:
    """A note where two files that claim the same clock are apart by more than their alignment's error and 5 ms."""
    if not np.isfinite(error_s) or abs(offset_s) <= max(1.5 * error_s, SKEW_S):
        return None
    note = f"its stamps are {1e3 * offset_s:+.0f} ms (±{1e3 * error_s:.0f} ms) off the clock both files claim"
    return QualityNote("clock_skew", None, part, start_s, end_s, note)
