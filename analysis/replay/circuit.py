"""The match as a circuit: pack, runs, and what each load drew, all on the pack current's own stamps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.changes import Changes, misfit
from analysis.match_data import MatchData
from analysis.pack_check import pack_fit
from analysis.pack_model import NotFitted, PackFit
from analysis.pack_model.ladder import low_pass
from analysis.ratings import OutsideValidity, value
from analysis.separate import separate
from analysis.signal import Floats, Signal
from analysis.taps import joints
from analysis.wire_run import run_of_wire
from analysis.wiring import Tree, tree
from ingest.builds import Build, Controller, Wire

# What the pack gave and no branch shows flows to the node where the runs part.
REST = "rest"
# Our choice: below this the share that a limit leaves of a current is noise.
LEAST_A = 0.5
CURVE_POINTS = 2000  # our choice: straight lines between them are within a tenth of a millivolt


@dataclass(frozen=True)
class Refused:
    """Why a change cannot be replayed on this match, and what would make it possible."""

    reason: str
    mend: str

    @property
    def text(self) -> str:
        mend = f" {self.mend[:1].upper()}{self.mend[1:]}." if self.mend else ""
        return f"{self.reason}.{mend}"


@dataclass(frozen=True, eq=False)
class Branch:
    """One load: its input current (n,) A, the runs from the pack to it, its controller where it is one."""

    id: str
    input_A: Floats
    path: tuple[str, ...]
    controller: Controller | None
    motor_A: Floats | None = None


@dataclass(frozen=True, eq=False)
class Circuit:
    """The match before and its loops after.

    t_s, pack_A, pack_V (n,); lost_V (n,) the fitted pack's own drop and lost_factor (n,) what its charge does to it;
    used_Ah (n,) since the first sample; before_mohm, after_mohm: run -> (n,) mΩ of the loop, or one figure.
    """

    t_s: Floats
    pack_A: Floats
    pack_V: Floats
    fit: PackFit
    lost_V: Floats
    lost_factor: Floats
    branches: tuple[Branch, ...]
    wiring: Tree
    before_mohm: dict[str, Floats | float]
    after_mohm: dict[str, Floats | float]
    period_s: float
    used_Ah: Floats
    curve: tuple[Floats, Floats]

    def rest_V(self, used_Ah: Floats) -> Floats:
        """(n,) open-circuit volts at this charge used since the first sample, read off a table of the fitted curve."""
        return np.interp(used_Ah, *self.curve)


def thinned(c: Circuit, most: int) -> Circuit:
    """The circuit on block means, at most about `most` samples: for the ends of the band, which need no more."""
    k = -(-len(c.t_s) // most)
    if k <= 1:
        return c

    def mean(x: Floats) -> Floats:
        n = len(x) // k * k
        return np.asarray(x[:n].reshape(-1, k).mean(axis=1))

    def loops(found: dict[str, Floats | float]) -> dict[str, Floats | float]:
        return {run: mean(ohm) if isinstance(ohm, np.ndarray) else ohm for run, ohm in found.items()}

    branches = tuple(
        replace(b, input_A=mean(b.input_A), motor_A=None if b.motor_A is None else mean(b.motor_A)) for b in c.branches
    )
    return replace(
        c, t_s=mean(c.t_s), pack_A=mean(c.pack_A), pack_V=mean(c.pack_V), lost_V=mean(c.lost_V),
        lost_factor=mean(c.lost_factor), used_Ah=mean(c.used_Ah), branches=branches,
        before_mohm=loops(c.before_mohm), after_mohm=loops(c.after_mohm), period_s=k * c.period_s,
    )  # fmt: skip


def copper_mohm(wire: Wire) -> float:
    """Loop resistance of a run's copper at 20 °C; OutsideValidity where gauge or length are not known."""
    if wire.length_mm is None:
        raise OutsideValidity(f"the length of {wire.id} is not known", f'state length_mm in [[wire]] "{wire.id}"')
    made = run_of_wire(wire)
    return made.mohm_per_m / made.parallel * wire.length_mm / 1000.0 * min(wire.conductors, 2)


def contacts_mohm(build: Build, wire: Wire) -> float:
    """All contacts in series in a run, their poles counted; one without a stated resistance counts as none."""
    return sum((c.resistance_mohm or 0.0) * c.pole_count for c in build.contacts if c.id in wire.through)


def circuit_of(data: MatchData, changes: Changes, curves: dict[str, Any]) -> Circuit | Refused:
    """Everything the demand model needs, or why it cannot be had. curves: those of the review before."""
    assert data.build is not None
    refused = _refusal(data, changes)
    if refused is not None:
        return refused
    fit = pack_fit(data)
    if isinstance(fit, NotFitted):
        return Refused(f"the pack could not be fitted: {fit.reason}", fit.mend)
    current, volts = data.signals["pack_current_A"].good(), data.signals["pack_voltage_V"].good()
    wiring = tree(data.build)
    t = current.t_s
    try:
        loops = [
            _loops(data, b, wiring, changes, t, curves, after)
            for b, after in ((data.build, False), (changes.build, True))
        ]
    except OutsideValidity as outside:
        return Refused(str(outside.reason), outside.mend)
    used = charge_Ah(t, current.x)
    curve = _curve(fit, t, used)
    period = float(np.median(np.diff(t)))
    lost, factor = _lost(fit, t, current.x, used, period)
    branches = _branches(data, wiring, t, current.x)
    pack_V = np.interp(t, volts.t_s, volts.x)
    return Circuit(t, current.x, pack_V, fit, lost, factor, branches, wiring, loops[0], loops[1], period, used, curve)


def unreplayable(data: MatchData) -> Refused | None:
    """Why no change at all could be replayed on this match; None where the pack and its channels are there."""
    if data.build is None:
        return Refused("no build is named for this match", "name one in its match file")
    if separate(data):
        return Refused("each pack of this robot feeds a tree of its own; the search is for robots of one supply", "")
    refused = _refusal(data, Changes(data.build, data.pack, (), ()))
    if refused is not None:
        return refused
    fit = pack_fit(data)
    return Refused(f"the pack could not be fitted: {fit.reason}", fit.mend) if isinstance(fit, NotFitted) else None


def _refusal(data: MatchData, changes: Changes) -> Refused | None:
    if len(data.packs) > 1 or (data.build is not None and len(data.build.packs) > 1):
        return Refused(
            "several packs feed one supply of this robot: which of them gave how much the log does not show",
            "give each pack its own [[pack]] tree, or replay a robot with one pack",
        )
    for channel in ("pack_current_A", "pack_voltage_V"):
        if data.get(channel) is None or len(data.signals[channel].good()) < 2:
            return Refused(f"{channel} was not logged", f"log {channel} next time")
    unit = misfit(changes.build, changes.pack)
    if unit:
        return Refused(unit, "")
    used = ["pack_current_A", *(f"{c.id}_input_current_A" for c in changes.build.controllers)]
    for channel in used:
        signal = data.get(channel)
        if signal is not None and bool(signal.clipped.any()):
            return Refused(
                f"{channel} stands at its sensor's top: how much flowed is not known",
                "use a sensor with a larger range",
            )
    if not data.same_clock(*(c for c in used if c in data.signals), "pack_voltage_V"):
        return Refused("the logs share no clock", "log one common voltage in every logger")
    period = data.signals["pack_current_A"].period_s
    if period > data.settings.shortest_window_s * 1.2:
        return Refused(
            f"the pack current has {1.0 / period:.2g} samples a second: its peaks are not in the log",
            f"log it at {1.0 / data.settings.shortest_window_s:.0f} Hz or more",
        )
    return None


def _loops(
    data: MatchData, build: Build, wiring: Tree, changes: Changes, t: Floats, curves: dict[str, Any], after: bool
) -> dict[str, Floats | float]:
    """mΩ of every supply run: copper as warm as it was, contacts, and the joint that stepped up."""
    alpha = value("copper_temperature_coefficient", "20 degC")
    old = {wire.id: wire for wire in data.build.wires} if data.build is not None else {}
    found: dict[str, Floats | float] = {}
    for wire in build.wires:
        if wiring.runs[wire.id].is_motor_lead:
            continue
        copper: Floats | float = copper_mohm(wire)
        curve = curves.get(f"wire_degC:{wire.id}")
        if curve is not None:
            degC = np.interp(t, curve[0], curve[1])
            if after and wire != old[wire.id]:
                # Thicker copper warms less, by about its loss per surface: the power 1.5 of the area (our choice;
                # it moves a voltage by millivolts, the temperatures themselves are computed anew).
                share = copper / max(copper_mohm(old[wire.id]), 1e-9) * (old[wire.id].length_mm or 1.0)
                degC = degC[0] + (degC - degC[0]) * (share / (wire.length_mm or 1.0)) ** 1.5
            copper = copper * (1.0 + alpha * (np.minimum(degC, 250.0) - 20.0))
        found[wire.id] = copper + contacts_mohm(build, wire)
    for joint in joints(data).steps:
        runs = [r for r in joint.runs if r in found]
        if runs and not (after and set(runs) <= set(changes.remade)):
            added = np.where(t >= joint.step.at_s.value, max(joint.step.change_mohm.value, 0.0), 0.0)
            found[runs[0]] = found[runs[0]] + added
    return found


def charge_Ah(t: Floats, current: Floats) -> Floats:
    """(n,) ampere-hours since the first sample."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (current[1:] + current[:-1]) * np.diff(t)))) / 3600.0


def _curve(fit: PackFit, t: Floats, used: Floats) -> tuple[Floats, Floats]:
    """The fitted open-circuit curve on a table; a smaller pack is used further along it."""
    start = float(np.interp(t[0], fit.t_s, fit.used_Ah))
    reach = 3.0 * float(np.ptp(used)) + 1e-6
    at = np.linspace(float(used.min()) - 0.1 * reach, float(used.max()) + reach, CURVE_POINTS)
    return at, fit.open_circuit_V(start + at)


def _lost(fit: PackFit, t: Floats, current: Floats, used: Floats, period: float) -> tuple[Floats, Floats]:
    """(n,) volts that the fitted losses take, and their factor at each moment's charge."""
    start = float(np.interp(t[0], fit.t_s, fit.used_Ah))
    at = np.linspace(float(used.min()), float(used.max()) + 1e-6, CURVE_POINTS)
    factor = np.interp(used, at, fit.loss_factor(start + at))
    return factor * ladder_V(fit, current, period), factor


def ladder_V(fit: PackFit, current: Floats, period_s: float) -> Floats:
    """(n,) volts of the immediate resistance and the branches, before the factor of the charge."""
    lost = float(fit.steps_ohm[0]) * current
    active = np.flatnonzero(fit.steps_ohm[1:] > 0)
    for k in active:
        lost = lost + float(fit.steps_ohm[1 + k]) * low_pass(current, period_s, fit.taus_s[k : k + 1])[:, 0]
    return lost


def _branches(data: MatchData, wiring: Tree, t: Floats, pack_A: Floats) -> tuple[Branch, ...]:
    """Every logged load, and the rest of the pack's current at the node the unlogged loads hang on."""
    assert data.build is not None
    found: list[Branch] = []
    unlogged: list[tuple[str, ...]] = []
    total = np.zeros(len(t))
    for controller in data.build.controllers:
        path = wiring.path_to(controller.id)
        signal = data.get(f"{controller.id}_input_current_A")
        if signal is None or len(signal.good()) < 2:
            unlogged.append(path)
            continue
        drawn = _on(signal, t)
        motor = data.get(f"{controller.id}_motor_current_A")
        found.append(Branch(controller.id, drawn, path, controller, None if motor is None else _on(motor, t)))
        total += drawn
    for regulator in data.build.regulators:
        unlogged.append(wiring.path_to(regulator.id) or wiring.path_to(regulator.from_))
    shared = _shared(unlogged) if unlogged else (wiring.roots[:1] if wiring.roots else ())
    found.append(Branch(REST, pack_A - total, shared, None))
    return tuple(found)


def _on(signal: Signal, t: Floats) -> Floats:
    """The signal on other stamps; nothing flows where it was not logged at all."""
    good = signal.good()
    return np.interp(t, good.t_s, good.x, left=0.0, right=0.0)


def _shared(paths: list[tuple[str, ...]]) -> tuple[str, ...]:
    common = paths[0]
    for path in paths[1:]:
        common = tuple(a for a, b in zip(common, path, strict=False) if a == b)
    return common
