"""The wiring tree of a build: which current flows in which run.

A run's current is logged, or follows: the sum of all that hang below it, or its parent less its logged siblings.
Two unlogged siblings leave both unknown; a run with an unlogged load below it is known only as "at least".
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from analysis.match_data import MatchData
from analysis.signal import Signal
from ingest.builds import Build, Contact, Fuse, Regulator, Wire

# Switching regulators of this size: common practice, no source; the interval is what the share of a
# regulator in a battery lead needs, which is under 2 %.
REGULATOR_EFFICIENCY = (0.75, 0.85, 0.95)
_GAP_INTERVALS = 5.0


@dataclass(frozen=True)
class Run:
    """One wire of the tree with what sits in it."""

    wire: Wire
    contacts: tuple[Contact, ...]
    fuses: tuple[Fuse, ...]
    children: tuple[str, ...]
    is_motor_lead: bool
    depth: int

    @property
    def id(self) -> str:
        return self.wire.id


@dataclass(frozen=True)
class Tree:
    """Runs by id, roots first; regulators that hang on a node without a wire of their own."""

    runs: dict[str, Run]
    roots: tuple[str, ...]
    taps: dict[str, tuple[Regulator, ...]]

    def parent_of(self, run_id: str) -> str | None:
        start = self.runs[run_id].wire.from_
        for run in self.runs.values():
            if run.wire.to == start:
                return run.id
        return None

    def path_to(self, node: str) -> tuple[str, ...]:
        """The runs from the pack to a node, in order."""
        path: list[str] = []
        here = next((r.id for r in self.runs.values() if r.wire.to == node), None)
        while here is not None and here not in path:
            path.append(here)
            here = self.parent_of(here)
        return tuple(reversed(path))

    def below(self, run_id: str) -> Iterator[str]:
        """The run and every run under it."""
        yield run_id
        for child in self.runs[run_id].children:
            yield from self.below(child)

    def run_of_contact(self, contact_id: str) -> str | None:
        for run in self.runs.values():
            if any(contact.id == contact_id for contact in run.contacts):
                return run.id
        return None


@dataclass(frozen=True, eq=False)
class RunCurrent:
    """Current in one run. complete=False: at least this much flows (a load below it was not logged)."""

    run: str
    signal: Signal
    complete: bool
    how: str
    logged: bool


@dataclass(frozen=True)
class NoCurrent:
    run: str
    reason: str
    mend: str


def tree(build: Build) -> Tree:
    """The tree of a checked build (ingest.builds refuses loops and missing nodes)."""
    contacts = {contact.id: contact for contact in build.contacts}
    controllers = {controller.id for controller in build.controllers}
    starts = {slot.id for slot in build.packs} | {"pack"}
    children: dict[str, list[str]] = {}
    for wire in build.wires:
        children.setdefault(wire.from_, []).append(wire.id)
    runs: dict[str, Run] = {}

    def visit(wire: Wire, depth: int) -> None:
        runs[wire.id] = Run(
            wire,
            tuple(contacts[c] for c in wire.through if c in contacts),
            tuple(fuse for fuse in build.fuses if fuse.wire == wire.id),
            tuple(children.get(wire.to, ())),
            wire.from_ in controllers,
            depth,
        )
        for child in build.wires:
            if child.from_ == wire.to and child.id not in runs:
                visit(child, depth + 1)

    roots = [wire for wire in build.wires if wire.from_ in starts]
    for root in roots:
        visit(root, 0)
    with_wire = {wire.to for wire in build.wires}
    taps: dict[str, list[Regulator]] = {}
    for regulator in build.regulators:
        if regulator.id not in with_wire:
            taps.setdefault(regulator.from_, []).append(regulator)
    return Tree(runs, tuple(root.id for root in roots), {k: tuple(v) for k, v in taps.items()})


def currents_of(data: MatchData, wiring: Tree) -> dict[str, RunCurrent | NoCurrent]:
    """run_currents, made once for a review."""
    if "currents" not in data.memo:
        data.memo["currents"] = run_currents(data, wiring)
    found: dict[str, RunCurrent | NoCurrent] = data.memo["currents"]
    return found


def run_currents(data: MatchData, wiring: Tree) -> dict[str, RunCurrent | NoCurrent]:
    """The current of every run, or why it is not known."""
    assert data.build is not None
    known: dict[str, RunCurrent] = {}
    for run in wiring.runs.values():
        found = _logged(data, wiring, run)
        if found is not None:
            known[run.id] = found
    changed = True
    while changed:
        changed = False
        for run in sorted(wiring.runs.values(), key=lambda r: -r.depth):
            for found in _derived(data, wiring, run, known):
                known[found.run] = found
                changed = True
    result: dict[str, RunCurrent | NoCurrent] = {}
    for run in sorted(wiring.runs.values(), key=lambda r: -r.depth):
        current = known.get(run.id) or _at_least(data, wiring, run, known)
        if isinstance(current, RunCurrent):
            known[run.id] = current
        result[run.id] = current
    return {run_id: result[run_id] for run_id in wiring.runs}


def _logged(data: MatchData, wiring: Tree, run: Run) -> RunCurrent | None:
    """A run whose own current a channel gives."""
    assert data.build is not None
    for sensor in data.build.sensors:
        signal = data.get(sensor.channel)
        if sensor.wire == run.id and signal is not None:
            return RunCurrent(run.id, signal, True, sensor.channel, True)
    wire = run.wire
    inline = [contact.id for contact in run.contacts] + [fuse.id for fuse in run.fuses]
    names = [f"{part}_current_A" for part in (wire.id, *inline)]
    if run.is_motor_lead:
        names.append(f"{wire.from_}_motor_current_A")
    elif not run.children:
        names += [f"{wire.to}_input_current_A", f"{wire.to}_current_A"]
    if wire.id in wiring.roots and sum(wiring.runs[r].wire.from_ == wire.from_ for r in wiring.roots) == 1:
        names.append(f"{wire.from_}_current_A")
    for name in names:
        signal = data.get(name)
        if signal is None:
            continue
        if run.is_motor_lead and name.endswith("motor_current_A"):
            signal = _lead_rms(data, wire, signal)
        return RunCurrent(run.id, signal, True, name, True)
    controllers = {controller.id for controller in data.build.controllers}
    if wire.to in controllers:
        signal = data.get(f"{wire.to}_input_current_A")
        if signal is not None:
            return RunCurrent(run.id, signal, True, f"{wire.to}_input_current_A", True)
        return None
    for regulator in data.build.regulators:
        if regulator.id == wire.to:
            return _regulator_input(data, run.id, regulator)
    return None


def _lead_rms(data: MatchData, wire: Wire, signal: Signal) -> Signal:
    """Motor current as the r.m.s. in one lead.

    A peak phase figure is divided by root two (sine). A d.c. figure of a three-lead motor flows in two leads at a
    time, so each carries it two thirds of the time (six-step commutation): root of two thirds.
    """
    assert data.build is not None
    for controller in data.build.controllers:
        if controller.id != wire.from_:
            continue
        if controller.motor_current_is == "phase_peak":
            return signal.with_values(signal.x / math.sqrt(2.0))
        if controller.motor_current_is == "dc" and wire.conductors == 3:
            return signal.with_values(signal.x * math.sqrt(2.0 / 3.0))
    return signal


def _regulator_input(data: MatchData, run_id: str, regulator: Regulator) -> RunCurrent | None:
    """Input current of a regulator from what it delivers: P_out / (efficiency * V_in)."""
    rail = data.get(f"{regulator.supplies}_rail_current_A") or data.get(f"{regulator.id}_rail_current_A")
    if rail is None or regulator.output_V is None:
        return None
    supply = next(
        (
            data.get(n)
            for n in (f"{regulator.id}_voltage_V", f"{regulator.from_}_voltage_V", "pack_voltage_V")
            if data.get(n)
        ),
        None,
    )
    if supply is None:
        return None
    volts = max(float(np.median(supply.good().x)), 1.0)
    low, mid, high = (regulator.output_V / (eff * volts) for eff in reversed(REGULATOR_EFFICIENCY))
    signal = replace(rail.with_values(rail.x * mid), gain_rel=max((high - mid) / mid, (mid - low) / mid))
    return RunCurrent(run_id, signal, True, f"{rail.channel} through the regulator at 75 to 95 %", False)


def _tap_currents(data: MatchData, wiring: Tree, node: str) -> list[RunCurrent | None]:
    found: list[RunCurrent | None] = []
    for regulator in wiring.taps.get(node, ()):
        signal = data.get(f"{regulator.id}_input_current_A")
        if signal is not None:
            found.append(RunCurrent(regulator.id, signal, True, signal.channel, True))
        else:
            found.append(_regulator_input(data, regulator.id, regulator))
    return found


def _derived(data: MatchData, wiring: Tree, run: Run, known: dict[str, RunCurrent]) -> Iterator[RunCurrent]:
    """What follows at the far end of a run: its own current from below, or one missing branch from above."""
    if run.is_motor_lead or not (run.children or wiring.taps.get(run.wire.to)):
        return
    below: list[tuple[str, RunCurrent | None]] = [(c, known.get(c)) for c in run.children]
    below += [(f"tap:{i}", tap) for i, tap in enumerate(_tap_currents(data, wiring, run.wire.to))]
    if any(wiring.runs[c].is_motor_lead for c in run.children):
        return  # a controller changes the current: what enters is not what leaves
    missing = [name for name, current in below if current is None]
    parts = [current for _, current in below if current is not None]
    channels = [p.signal.channel for p in parts]
    if run.id not in known and not missing:
        if data.same_clock(*channels):
            summed = combine([p.signal for p in parts], [1.0] * len(parts), f"{run.id}_current_A")
            how = "sum of " + ", ".join(p.how for p in parts)
            yield RunCurrent(run.id, summed, all(p.complete for p in parts), how, False)
    elif run.id in known and known[run.id].complete and len(missing) == 1 and not missing[0].startswith("tap:"):
        above = known[run.id]
        if data.same_clock(above.signal.channel, *channels):
            signals = [above.signal, *(p.signal for p in parts)]
            left = combine(signals, [1.0] + [-1.0] * len(parts), f"{missing[0]}_current_A", mean_s=0.25)
            how = f"{above.how} less the logged branches, on 0.25 s means"
            yield RunCurrent(missing[0], left, True, how, False)


def _at_least(data: MatchData, wiring: Tree, run: Run, known: dict[str, RunCurrent]) -> RunCurrent | NoCurrent:
    parts = [known[c] for c in run.children if c in known and not wiring.runs[c].is_motor_lead]
    parts += [tap for tap in _tap_currents(data, wiring, run.wire.to) if tap is not None]
    if parts and data.same_clock(*(p.signal.channel for p in parts)):
        summed = combine([p.signal for p in parts], [1.0] * len(parts), f"{run.id}_current_A")
        how = "at least: only " + ", ".join(p.how for p in parts) + " logged below it"
        return RunCurrent(run.id, summed, False, how, False)
    if parts:
        return NoCurrent(run.id, "the logs of its branches share no clock", "log one common voltage in both")
    if run.is_motor_lead:
        return NoCurrent(run.id, "motor current is not logged", f"log the motor current of {run.wire.from_}")
    return NoCurrent(run.id, "no current below it is logged", f"log the current of {run.wire.to}")


def combine(signals: list[Signal], signs: list[float], channel: str, mean_s: float = 0.0) -> Signal:
    """Signed sum on the clock of the fastest signal (linear between samples); not valid where one has a gap.

    mean_s > 0: means over bins of that length instead, for differences that must not see a clock error of
    some milliseconds. Noise and gain errors are added as independent.
    """
    if len(signals) == 1 and mean_s == 0.0:
        return signals[0].with_values(signals[0].x * signs[0], channel)
    fastest = min(signals, key=lambda s: s.period_s or math.inf)
    start = max(float(s.t_s[0]) for s in signals)
    end = min(float(s.t_s[-1]) for s in signals)
    if mean_s > 0.0:
        edges = np.arange(start, max(end, start) + mean_s, mean_s)
        t = 0.5 * (edges[:-1] + edges[1:])
        columns = [_bin_mean(s, edges) for s in signals]
    else:
        t = fastest.t_s[(fastest.t_s >= start) & (fastest.t_s <= end)]
        columns = [_at(s, t) for s in signals]
    total = np.zeros(len(t))
    valid = np.ones(len(t), dtype=bool)
    clipped = np.zeros(len(t), dtype=bool)
    for sign, (x, ok, clip) in zip(signs, columns, strict=True):
        total += sign * x
        valid &= ok
        clipped |= clip
    size = [float(np.sqrt(np.mean(x[ok] ** 2))) if ok.any() else 0.0 for x, ok, _ in columns]
    rms = float(np.sqrt(np.mean(total[valid] ** 2))) if valid.any() else 0.0
    error = math.sqrt(sum((s.gain_rel * a) ** 2 for s, a in zip(signals, size, strict=True)))
    return Signal(
        channel,
        t,
        np.where(valid, total, 0.0),
        valid,
        clipped,
        mean_s or fastest.period_s,
        "average" if mean_s else fastest.detector,
        min(error / rms, 1.0) if rms > 0 else 0.0,
        0.0,
        math.sqrt(sum(s.noise**2 for s in signals)),
    )


def _at(s: Signal, t: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A signal linearly between its valid samples; not valid where those lie more than five intervals apart."""
    if s.t_s.shape == t.shape and np.array_equal(s.t_s, t):
        return s.x, s.valid, s.clipped
    good = s.good()
    if len(good) < 2:
        return np.zeros(len(t)), np.zeros(len(t), dtype=bool), np.zeros(len(t), dtype=bool)
    after = np.clip(np.searchsorted(good.t_s, t), 1, len(good) - 1)
    near = (good.t_s[after] - good.t_s[after - 1]) <= _GAP_INTERVALS * s.period_s
    inside = (t >= good.t_s[0] - s.period_s) & (t <= good.t_s[-1] + s.period_s)
    clip = good.clipped[after] | good.clipped[after - 1]
    return np.interp(t, good.t_s, good.x), near & inside, clip


def _bin_mean(s: Signal, edges: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    good = s.good()
    if s.period_s > float(edges[1] - edges[0]):
        return _at(s, 0.5 * (edges[:-1] + edges[1:]))
    count, _ = np.histogram(good.t_s, edges)
    total, _ = np.histogram(good.t_s, edges, weights=good.x)
    clip, _ = np.histogram(good.t_s[good.clipped], edges)
    ok = count > 0
    return np.where(ok, total / np.maximum(count, 1), 0.0), ok, clip > 0
