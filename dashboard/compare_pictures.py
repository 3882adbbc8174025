"""Matches over each other: a channel from the match start on, envelopes, and how long which current flowed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.signal import Floats, Signal
from dashboard.envelope import envelope_curve
from dashboard.ink import Theme
from dashboard.line_picture import POINTS, Axes, Line, lines_svg
from dashboard.page_words import part_name, unit_word
from dashboard.reviewing import Bench
from dashboard.thin import thin_signal
from dashboard.traces import signals_of
from ingest.channels import parse_channel

SHARES = 120  # steps of the current at which the time above it is told (our choice: finer than the drawing)


@dataclass(frozen=True, eq=False)
class Beside:
    """One match of the comparison. second: of the second group."""

    name: str
    bench: Bench
    second: bool

    @property
    def start_s(self) -> float:
        return self.bench.review.match.start_s or 0.0

    def line(self, x: Floats, y: Floats) -> Line:
        return Line(self.name, np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64), self.second)


def channels(matches: Sequence[Beside]) -> list[str]:
    """Those that every match has, pack current and voltage first."""
    if not matches:
        return []
    common = [c for c in signals_of(matches[0].bench.review) if parse_channel(c) is not None]
    for other in matches[1:]:
        had = signals_of(other.bench.review)
        common = [c for c in common if c in had]
    first = ["pack_current_A", "pack_voltage_V"]
    return sorted(common, key=lambda c: (first.index(c) if c in first else len(first), c))


def words(channel: str) -> str:
    """ "weapon, temperature, °C"."""
    known = parse_channel(channel)
    if known is None:
        return channel
    quantity = known.quantity.suffix.rpartition("_")[0].replace("_", " ").replace("temp", "temperature")
    return f"{part_name(known.part).lower()} {quantity}".strip()


def unit_of(channel: str) -> str:
    return unit_word(channel.rpartition("_")[2])


def current_of(bench: Bench) -> Signal | None:
    """The pack's current where it was logged."""
    found = signals_of(bench.review)
    return next((s for c, s in found.items() if c.endswith("_current_A") and c.startswith("pack")), None)


def time_above(signal: Signal, start_s: float, end_s: float) -> tuple[Floats, Floats]:
    """(currents in A from zero up, % of the samples of the window above each)."""
    x = np.sort(signal.good().between(start_s, end_s).x)
    if len(x) < 2:
        return np.empty(0), np.empty(0)
    amps = np.linspace(0.0, float(x[-1]), SHARES)
    return amps, 100.0 * (len(x) - np.searchsorted(x, amps, side="right")) / len(x)


def overlaid(matches: Sequence[Beside], channel: str) -> list[Line]:
    """A channel of every match, zero at its start; gaps stay open."""
    out = []
    for one in matches:
        signal = signals_of(one.bench.review).get(channel)
        if signal is None:
            continue
        end = one.bench.review.match.end_s
        t, x = thin_signal(signal, one.start_s, end, POINTS)
        out.append(one.line(t - one.start_s, x))
    return out


def drawings(
    matches: Sequence[Beside], channel: str, *, theme: Theme, width: float = 1032, size: float = 16, uid: str = ""
) -> dict[str, str | None]:
    """{"traces", "envelopes", "currents"}: each a drawing, None where the logs do not hold what it needs."""
    narrow = width < 600
    tall = 280.0 if narrow else 320.0
    said = ", ".join(one.name for one in matches)
    curves = [(one, envelope_curve(one.bench.review)) for one in matches]
    shares = []
    for one in matches:
        current, facts = current_of(one.bench), one.bench.review.match
        if current is not None and len(current):
            end = facts.end_s if facts.end_s is not None else float(current.t_s[-1])
            shares.append(one.line(*time_above(current, one.start_s, end)))

    def draw(lines: Sequence[Line], axes: Axes, what: str, name: str) -> str | None:
        told = f"{what} of {said}"
        return lines_svg(lines, axes, told, theme=theme, width=width, height=tall, size=size, uid=f"{name}{uid}")

    zero = not channel.endswith("_V")
    return {
        "traces": draw(overlaid(matches, channel), Axes("s", unit_of(channel), from_zero=zero), words(channel), "t"),
        "envelopes": draw([one.line(*c) for one, c in curves if c is not None],
                          Axes("s", "A r.m.s.", log_x=True, log_y=True), "Envelopes", "e"),
        "currents": draw(shares, Axes("A", "% of the match above"), "Time above each current", "c"),
    }  # fmt: skip
