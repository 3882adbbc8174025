"""Which signals stand in which panel of the traces, with their labels and their ratings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from analysis.findings import Review
from analysis.signal import Floats, Signal, signal
from dashboard.page_words import figure, part_name, short_source
from dashboard.pyramid import pyramid_of
from dashboard.rows import Row, margin_rows
from dashboard.thin import extremes
from ingest.builds import Build
from ingest.channels import parse_channel

Tone = Literal["blue", "orange", "ink", "grey"]

_MOST = 4  # traces in one panel (our choice: more cannot be told apart by their direct labels)


@dataclass(frozen=True, eq=False)
class Trace:
    """One line: a signal with its label. low and high are the ends of its interval, where it is an estimate."""

    label: str
    signal: Signal
    tone: Tone
    width: float = 1.5
    low: Floats | None = None
    high: Floats | None = None


@dataclass(frozen=True)
class RatingLine:
    label: str
    source: str
    value: float


@dataclass(frozen=True, eq=False)
class Panel:
    title: str
    about: str
    unit: str
    traces: tuple[Trace, ...]
    ratings: tuple[RatingLine, ...] = ()
    from_zero: bool = False
    height: int = 150


@dataclass
class _Parts:
    """Signals by quantity, and the parts that a verdict names, those first."""

    signals: Mapping[str, Signal]
    rows: list[Row]
    by_quantity: dict[str, list[tuple[str, Signal]]] = field(default_factory=dict)


def signals_of(review: Review) -> Mapping[str, Signal]:
    """The channels on the match clock, as the review used them."""
    kept = review.curves.get("signals", {})
    return kept if isinstance(kept, Mapping) else {}


def panels(review: Review, build: Build | None) -> list[Panel]:
    """The panels in order: current, voltage, cells, temperature, speed, rail, radio; those that were logged."""
    parts = _Parts(signals_of(review), margin_rows(review))
    concerned = [row.part for row in parts.rows if row.verdict in ("over", "close")]
    concerned += [finding.part for finding in review.findings]
    for channel, one in parts.signals.items():
        known = parse_channel(channel)
        if known is not None and pyramid_of(one).n > 1:
            parts.by_quantity.setdefault(known.quantity.suffix, []).append((known.part, one))
    for found in parts.by_quantity.values():
        found.sort(key=lambda item: (item[0] != "pack", _concern(item[0], concerned)))
    made = [
        _current(parts), _voltage(parts), _cells(parts), _temperature(parts, review), _speed(parts), _rail(parts),
        _radio(parts),
    ]  # fmt: skip
    return [panel for panel in made if panel is not None and panel.traces]


def _concern(part: str, concerned: list[str]) -> int:
    """The place of a part, or of the controller it belongs to, among those that a finding names."""
    return next((i for i, name in enumerate(concerned) if part == name or part.startswith(f"{name}_")), 99)


def _label(part: str, said: str) -> str:
    return f"{part_name(part).lower()}, {said}" if part else said


def _peak(one: Signal) -> float:
    return extremes(one)[1]


def _least(one: Signal) -> float:
    return extremes(one)[0]


def _rating(rows: list[Row], parts: set[str], *checks: str) -> list[RatingLine]:
    """The ratings of these checks; the same value once."""
    out: dict[float, RatingLine] = {}
    for row in rows:
        if row.check in checks and (row.part in parts or not parts):
            name = f"{part_name(row.part).lower()} {figure(row.limit, row.unit)}"
            out.setdefault(row.limit, RatingLine(name, short_source(row.source), row.limit))
    return list(out.values())[:2]


def _current(parts: _Parts) -> Panel | None:
    found = [("pack", s) for p, s in parts.by_quantity.get("current_A", []) if p.startswith("pack")]
    found += parts.by_quantity.get("input_current_A", [])[: _MOST - len(found) - 1]
    tones: tuple[Tone, ...] = ("blue", "ink", "grey", "grey")
    traces = [
        Trace(_label(part, f"peak {figure(_peak(one), 'A')}"), one, tones[i], 1.75 if i == 0 else 1.25)
        for i, (part, one) in enumerate(found[:_MOST])
    ]
    return Panel("Current", "A, drawn from the supply", "A", tuple(reversed(traces)), from_zero=True)


def _voltage(parts: _Parts) -> Panel | None:
    found = parts.by_quantity.get("voltage_V", [])
    supply = [(p, s) for p, s in found if not p.startswith("cell") and "_cell" not in p][:3]
    tones: tuple[Tone, ...] = ("blue", "ink", "grey")
    traces = tuple(
        Trace(_label(part, f"lowest {figure(_least(one), 'V')}"), one, tones[i], 1.75 if i == 0 else 1.25)
        for i, (part, one) in enumerate(supply)
    )
    ratings = _rating(parts.rows, {p for p, _ in supply}, "controller_cutoff")[:1]
    return Panel("Voltage", "V", "V", traces, tuple(ratings))


def _cells(parts: _Parts) -> Panel | None:
    cells = [(p, s) for p, s in parts.by_quantity.get("voltage_V", []) if p.startswith("cell") or "_cell" in p]
    cells += parts.by_quantity.get("cell_min_V", [])
    cells.sort(key=lambda item: _least(item[1]))
    traces = [
        Trace(
            _label(part, f"lowest {figure(_least(one), 'V')}"),
            one,
            "blue" if i == 0 else "grey",
            1.5 if i == 0 else 1,
        )
        for i, (part, one) in enumerate(cells)
    ]
    traces = traces[:1] + [Trace("", t.signal, t.tone, t.width) for t in traces[1:]]
    return Panel(
        "Cells", "V, each cell", "V", tuple(reversed(traces)), tuple(_rating(parts.rows, set(), "cell_minimum")[:1])
    )


def _curve(review: Review, name: str) -> tuple[Signal, Floats | None, Floats | None] | None:
    curve = review.curves.get(name)
    if curve is None or len(curve[0]) < 2:
        return None
    made = signal(name, curve[0], curve[1])
    if len(curve) < 4:
        return made, None, None
    low, high = (np.asarray(side, dtype=np.float64) for side in curve[2:4])
    return made, low, high


def _temperature(parts: _Parts, review: Review) -> Panel | None:
    """The joint and the wire that came nearest to their limit, as estimated, and what was measured."""
    traces: list[Trace] = []
    shown: set[str] = set()
    kinds: tuple[tuple[str, Tone], ...] = (("contact_degC", "ink"), ("wire_degC", "blue"))
    for kind, tone in kinds:
        checks = ("contact_temperature",) if kind == "contact_degC" else ("wire_temperature",)
        worst = next((r for r in parts.rows if r.check in checks and f"{kind}:{r.part}" in review.curves), None)
        if worst is None:
            continue
        curve = _curve(review, f"{kind}:{worst.part}")
        if curve is None:
            continue
        over: Tone = "orange" if worst.verdict == "over" else tone
        what = "joint" if kind == "contact_degC" else "wire"
        label = _label(worst.part, f"{what} {figure(worst.measured, 'degC')}")
        traces.append(Trace(label, curve[0], over, 2.0, curve[1], curve[2]))
        shown |= {worst.part}
    for part, one in parts.by_quantity.get("temp_degC", [])[: _MOST - len(traces)]:
        traces.append(Trace(_label(part, figure(_peak(one), "degC")), one, "grey", 1.25))
        shown |= {part}
    ratings = _rating(parts.rows, shown, "contact_temperature", "wire_temperature", "controller_temperature")
    return Panel("Temperature", "°C, joint and wire estimated", "degC", tuple(traces), tuple(ratings), height=180)


def _speed(parts: _Parts) -> Panel | None:
    found = parts.by_quantity.get("speed_rpm", [])[:2]
    tones: tuple[Tone, ...] = ("ink", "grey")
    traces = tuple(
        Trace(_label(part, f"up to {figure(_peak(one), 'rpm')}"), one, tones[i]) for i, (part, one) in enumerate(found)
    )
    return Panel("Speed", "rpm at the motor", "rpm", traces, from_zero=True, height=110)


def _rail(parts: _Parts) -> Panel | None:
    found = parts.by_quantity.get("rail_voltage_V", [])[:1]
    traces = tuple(Trace(f"rail, lowest {figure(_least(one), 'V')}", one, "blue") for _, one in found)
    return Panel("Rail", "V", "V", traces, tuple(_rating(parts.rows, set(), "rail_voltage")[:1]), height=90)


def _radio(parts: _Parts) -> Panel | None:
    found = parts.by_quantity.get("quality_pct", [])[:1]
    traces = tuple(Trace(f"radio, lowest {figure(_least(one), '%')}", one, "ink") for _, one in found)
    return Panel("Radio", "%", "%", traces, height=90)


def run_panel(review: Review, run_id: str) -> Panel | None:
    """One run over time: its wire, the contacts in it where they were estimated, the limits of both."""
    traces: list[Trace] = []
    for kind, what, tone in (("wire_degC", "wire", "blue"), ("contact_degC", "joint", "orange")):
        curve = _curve(review, f"{kind}:{run_id}")
        if curve is not None:
            label = f"{what}, up to {figure(_peak(curve[0]), 'degC')}"
            traces.append(Trace(label, curve[0], "blue" if tone == "blue" else "orange", 2.0, curve[1], curve[2]))
    if not traces:
        return None
    rows = [row for row in margin_rows(review) if row.part == run_id]
    ratings = _rating(rows, {run_id}, "wire_temperature", "contact_temperature")
    return Panel(part_name(run_id), "°C, estimated", "degC", tuple(traces), tuple(ratings), height=200)
