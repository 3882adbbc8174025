"""The changed match as MatchData: every channel that moves, on its own stamps, with its own noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.changes import Changes
from analysis.match_data import MatchData
from analysis.pack_model import CellFits, PackFit
from analysis.replay.circuit import LEAST_A, REST, Circuit
from analysis.replay.demand import PackChange, Solved
from analysis.replay.levers import Levers
from analysis.signal import Floats, Measured, Signal
from analysis.taps import Joints, joints

# A regulator holds its output while its input is this far above it (our choice; a switching one needs less).
HEADROOM_V = 1.0


def changed_data(
    data: MatchData, changes: Changes, c: Circuit, made: Solved, moved: Levers, *, volts_only: bool = False
) -> MatchData:
    """MatchData as the changed robot would have logged it; what needs no new fit stands in its memo.

    volts_only: motor currents and temperatures stay as they were (for the ends of the band).
    """
    signals = dict(data.signals)
    t = c.t_s

    def shift(name: str, by: Floats) -> None:
        if name in signals:
            signals[name] = _plus(signals[name], t, by)

    shift("pack_current_A", made.pack_A - c.pack_A)
    shift("pack_voltage_V", made.pack_V - c.pack_V)
    _cells(data, changes, signals, c, made)
    for branch in c.branches:
        if branch.id == REST:
            continue
        shift(f"{branch.id}_input_current_A", made.input_A[branch.id] - branch.input_A)
        shift(f"{branch.id}_voltage_V", made.after_V[branch.id] - made.before_V[branch.id])
        if not volts_only:
            _motor(signals, branch.id, t, made, moved)
    _nodes(data, signals, c, made)
    if not volts_only:
        _temperatures(data, signals, c, made)
    counted = "pack_charge_used_mAh"
    if counted in signals:
        ratio = float(np.sum(made.pack_A)) / max(float(np.sum(c.pack_A)), 1e-9)
        signals[counted] = signals[counted].with_values(signals[counted].x * ratio)
    packs = data.packs if changes.pack is None else (changes.pack, *data.packs[1:])
    memo = _memo(data, changes, c, made, moved)
    return replace(data, signals=signals, build=changes.build, packs=packs, _inside={}, memo=memo)


def _plus(signal: Signal, t: Floats, by: Floats) -> Signal:
    if signal.t_s.shape == t.shape and np.array_equal(signal.t_s, t):
        return signal.with_values(np.where(signal.valid, signal.x + by, signal.x))
    moved = signal.x + np.interp(signal.t_s, t, by)
    return signal.with_values(np.where(signal.valid, moved, signal.x))


def _times(signal: Signal, t: Floats, by: Floats) -> Signal:
    factor = float(by[0]) if by.shape == (1,) else np.interp(signal.t_s, t, by)
    return signal.with_values(signal.x * factor)


def _motor(signals: dict[str, Signal], name: str, t: Floats, made: Solved, moved: Levers) -> None:
    channel = f"{name}_motor_current_A"
    if channel not in signals:
        return
    signals[channel] = _times(signals[channel], t, np.atleast_1d(made.motor_factor[name]))
    cap = moved.caps.get(name)
    if cap is not None and cap.basis == "motor":  # between the pack's stamps it may still reach over
        x = np.clip(signals[channel].x, -cap.limit_A, cap.limit_A)
        signals[channel] = signals[channel].with_values(x)
    elif cap is not None and f"{name}_input_current_A" in signals:
        drawn = signals[f"{name}_input_current_A"]
        signals[f"{name}_input_current_A"] = drawn.with_values(np.minimum(drawn.x, cap.limit_A))


def _cells(data: MatchData, changes: Changes, signals: dict[str, Signal], c: Circuit, made: Solved) -> None:
    """Cells share a change as their resistances; those of another pack are taken as alike."""
    names = [n for n in signals if n.startswith("cell") and n.endswith("_voltage_V")]
    pack = data.pack
    if pack is None:
        return
    if fresh_cells(data, changes):
        even = made.pack_V / pack.cells
        for name in (*names, *(["cell_min_V"] if "cell_min_V" in signals else [])):
            s = signals[name]
            signals[name] = s.with_values(np.interp(s.t_s, c.t_s, even))
        return
    fits = data.memo.get("cell_fits")
    mohm = {n: m.value for n, m in fits.mohm.items()} if isinstance(fits, CellFits) else {}
    total = sum(mohm.values())
    for name in names:
        part = name.removesuffix("_voltage_V")
        own = mohm.get(part, mohm.get(name))
        share = own / total if own and total > 0 and len(mohm) == pack.cells else 1.0 / pack.cells
        signals[name] = _plus(signals[name], c.t_s, share * (made.pack_V - c.pack_V))
    if "cell_min_V" in signals:
        signals["cell_min_V"] = _plus(signals["cell_min_V"], c.t_s, (made.pack_V - c.pack_V) / pack.cells)


def fresh_cells(data: MatchData, changes: Changes) -> bool:
    """Whether another pack, or one of another resistance, is fitted: then no cell of the old one is in it."""
    old, new = data.pack, changes.pack
    if old is None or new is None:
        return False
    return changes.other or (new.resistance_mohm != old.resistance_mohm and new.parallel == old.parallel)


def _nodes(data: MatchData, signals: dict[str, Signal], c: Circuit, made: Solved) -> None:
    """Voltages of nodes and regulators move with the node; the rail only where its supply ran short."""
    rest = next(b for b in c.branches if b.id == REST)
    moved = made.after_V[REST] - made.before_V[REST]
    by_node = {c.wiring.runs[run].wire.to: run for run in rest.path}
    for node in by_node:
        name = f"{node}_voltage_V"
        if name in signals and node not in {b.id for b in c.branches}:
            signals[name] = _plus(signals[name], c.t_s, moved)
    assert data.build is not None
    for regulator in data.build.regulators:
        name = f"{regulator.id}_voltage_V"
        if name in signals and regulator.id not in by_node:
            signals[name] = _plus(signals[name], c.t_s, moved)
        rail = signals.get(f"{regulator.supplies}_rail_voltage_V")
        if rail is None or regulator.output_V is None:
            continue
        least = max(regulator.minimum_input_V or 0.0, regulator.output_V + HEADROOM_V)
        was = np.interp(rail.t_s, c.t_s, made.before_V[REST])
        now = np.interp(rail.t_s, c.t_s, made.after_V[REST])
        usual = float(np.median(rail.x))
        # Only a rail that fell with its supply rises with it, and no further than it usually stands.
        short = was < least
        risen = np.where(short, np.minimum(rail.x + np.maximum(now - was, 0.0), np.maximum(usual, rail.x)), rail.x)
        fallen = np.where(now < least, risen - np.maximum(np.minimum(was, least) - now, 0.0), risen)
        signals[rail.channel] = rail.with_values(np.maximum(fallen, 0.0))


def _temperatures(data: MatchData, signals: dict[str, Signal], c: Circuit, made: Solved) -> None:
    """A part's rise goes with the heat put in so far: ∫i² after against before (exact where nothing is lost yet)."""
    assert data.build is not None
    for controller in data.build.controllers:
        now = signals.get(f"{controller.id}_motor_current_A") or signals.get(f"{controller.id}_input_current_A")
        if now is None:
            continue
        before = data.signals[now.channel]
        if now is before:
            continue
        share = _heat_share(before, now)
        parts = [controller.id, *(m.id for m in data.build.motors if m.controller == controller.id)]
        for part in parts:
            name = f"{part}_temp_degC"
            if name in signals:
                signals[name] = _warmed(signals[name], before.t_s, share)
    if "pack_temp_degC" in signals:
        old = np.cumsum(np.maximum(c.pack_A * c.lost_V, 0.0))
        new = np.cumsum(np.maximum(made.pack_A * (c.lost_V + c.pack_V - made.pack_V), 0.0))
        signals["pack_temp_degC"] = _warmed(signals["pack_temp_degC"], c.t_s, new / np.maximum(old, 1e-9))


def _heat_share(before: Signal, now: Signal) -> Floats:
    old, new = np.cumsum(np.square(before.x)), np.cumsum(np.square(now.x))
    settled = old > LEAST_A**2 * 10
    return np.where(settled, new / np.maximum(old, 1e-9), 1.0)


def _warmed(temp: Signal, t: Floats, share: Floats) -> Signal:
    start = float(temp.x[temp.valid][0]) if temp.valid.any() else 0.0
    rise = (temp.x - start) * np.interp(temp.t_s, t, share)
    return temp.with_values(np.where(temp.valid, start + rise, temp.x))


def _memo(data: MatchData, changes: Changes, c: Circuit, made: Solved, moved: Levers) -> dict[str, object]:
    """Fits that follow from the change and need not be made again."""
    seen = joints(data)
    remade = set(changes.remade)
    left = Joints(
        tuple(step for step in seen.steps if not set(step.runs) <= remade),
        tuple(flicker for flicker in seen.flickers if flicker.run not in remade),
        seen.taps,
    )
    kept: dict[str, object] = {
        "pack_fit": scaled_fit(c.fit, moved.pack, c.t_s, made.pack_A),
        "joints": left,
    }
    kept |= {k: v for k, v in data.memo.items() if k == "power_gone" or k.startswith("part_heat:")}
    if "cell_fits" in data.memo and not fresh_cells(data, changes):
        kept["cell_fits"] = data.memo["cell_fits"]
    return kept


def scaled_fit(fit: PackFit, pack: PackChange, t: Floats, pack_A: Floats) -> PackFit:
    """The pack's fit with its resistance times `pack.resistance` and the replayed current: t (n,) s, pack_A (n,) A."""

    def scaled(m: Measured) -> Measured:
        k = pack.resistance
        return Measured(k * m.value, k * m.low, k * m.high, m.basis)

    return replace(
        fit,
        resistance_mohm={s: scaled(m) for s, m in fit.resistance_mohm.items()},
        replicates_mohm={s: pack.resistance * r for s, r in fit.replicates_mohm.items()},
        steps_ohm=pack.resistance * fit.steps_ohm,
        current_A=np.interp(fit.t_s, t, pack_A),
    )
