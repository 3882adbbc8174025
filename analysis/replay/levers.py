"""From a change of the build or pack to what moves in the circuit: the pack's figures, limits, gears."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from analysis.changes import Changes
from analysis.match_data import MatchData
from analysis.pack_check import capacity_Ah, pack_fit
from analysis.pack_model import ChargeState, NotFitted, PackFit, charge_state
from analysis.pack_model.open_circuit import open_circuit_cell_V
from analysis.replay.circuit import Refused
from analysis.replay.demand import Cap, Gear, PackChange
from analysis.signal import Signal
from ingest.builds import Controller, Motor

# Our choice: a current within this share of its limit is held by it, and what it would have been is not known.
AT_LIMIT = 0.97
# A pack in use is not the label's: its resistance may differ from the stated one by this (our choice).
STATED_SPREAD = 0.10
SPUN_UP, STANDING = 0.9, 0.1  # shares of the usual speed between which a spin-up lies (our choice)


@dataclass(frozen=True)
class Levers:
    """pack with the ends of its band; caps and gears by controller; notes for the reader."""

    pack: PackChange = field(default_factory=PackChange)
    pack_low: PackChange | None = None
    pack_high: PackChange | None = None
    caps: dict[str, Cap] = field(default_factory=dict)
    gears: dict[str, Gear] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def levers(data: MatchData, changes: Changes, fit: PackFit) -> Levers | Refused:
    """What the changes move, or why that cannot be told from this match."""
    notes: list[str] = []
    packs = _pack(data, changes, fit, notes)
    if isinstance(packs, Refused):
        return packs
    caps: dict[str, Cap] = {}
    gears: dict[str, Gear] = {}
    assert data.build is not None
    old_motors = {m.id: m for m in data.build.motors}
    for motor in changes.build.motors:
        old = old_motors[motor.id]
        if motor.gear_ratio == old.gear_ratio:
            continue
        gear = _gear(data, old, motor)
        if isinstance(gear, Refused):
            return gear
        gears[motor.controller] = gear
        notes.append(f"{motor.id}: the same force and speed at the wheel; the top speed is not checked")
    old_controllers = {c.id: c for c in data.build.controllers}
    for controller in changes.build.controllers:
        cap = _cap(data, old_controllers[controller.id], controller, notes)
        if isinstance(cap, Refused):
            return cap
        if cap is not None:
            caps[controller.id] = cap
    for controller in changes.build.controllers:
        if controller.id not in caps and controller.current_limit_A is not None:
            own = _own_limit(data, controller, controller.current_limit_A, controller.id in gears)
            if own is not None:
                caps[controller.id] = own
    return Levers(packs[0], packs[1], packs[2], caps, gears, tuple(notes))


def _pack(
    data: MatchData, changes: Changes, fit: PackFit, notes: list[str]
) -> tuple[PackChange, PackChange | None, PackChange | None] | Refused:
    old, new = data.pack, changes.pack
    rest = _charged(data, changes)
    if isinstance(rest, Refused):
        return rest
    if old is None or new is None or (old == new and rest == 0.0 and not changes.other):
        return PackChange(), None, None
    before, after = old.capacity_Ah, new.capacity_Ah
    capacity = after / before if before and after else 1.0
    if old.resistance_mohm == new.resistance_mohm and not changes.other:
        one = PackChange(1.0, capacity, rest)
        return one, None, None
    if new.resistance_mohm is None:
        return Refused(f"what pack {new.id} resists is not stated", f"state resistance_mohm in packs/{new.id}.toml")
    measured = fit.at(1.0)
    if measured is None:
        return Refused("the log does not show the pack's resistance at 1 s", "log the pack at 10 Hz or more")
    if not changes.other and old.resistance_mohm is not None and _scaled_alike(changes):
        ratio = new.resistance_mohm / old.resistance_mohm  # the same cells, more or fewer of them: as aged as they are
        return PackChange(ratio, capacity, rest), None, None
    # The stated figure is for 25 °C and half charge; this match was fought at its own.
    here = new.resistance_mohm / measured.value
    cold = 1.0
    if fit.temp_degC is not None and fit.temp_degC < data.settings.cold_pack_degC and old.resistance_mohm:
        # Cold or old, one match cannot tell: the other pack may be as cold.
        cold = max(measured.value / old.resistance_mohm, 1.0)
        notes.append("cold and ageing cannot be told apart here: the other pack is taken as good, up to as cold")
    spread = STATED_SPREAD
    return (
        PackChange(here, capacity, rest),
        PackChange(here * (1.0 - spread), capacity, rest),
        PackChange(here * (1.0 + spread) * cold, capacity, rest),
    )


def _scaled_alike(changes: Changes) -> bool:
    """More cells of the same kind side by side, or a capacity and a resistance that go together."""
    return ("pack", "parallel") in changes.keys


def _charged(data: MatchData, changes: Changes) -> float | Refused:
    """Volts that a fuller (or emptier) start adds to the open circuit, for the whole pack."""
    if changes.start_pct is None:
        return 0.0
    state = start_state(data)
    if state is None or isinstance(state.start_pct, NotFitted):
        reason = state.start_pct.reason if state is not None and isinstance(state.start_pct, NotFitted) else "no rest"
        return Refused(f"the charge at the start is not known: {reason}", "start the log before the match")
    was = open_circuit_cell_V(min(state.start_pct.value / 100.0, 1.0))
    now = open_circuit_cell_V(changes.start_pct / 100.0)
    if isinstance(was, NotFitted) or isinstance(now, NotFitted) or data.pack is None:
        return Refused("no curve of charge is known for this pack", "")
    return (now.value - was.value) * data.pack.cells


def start_state(data: MatchData) -> ChargeState | None:
    """Charge at the start and end of the match; None where the log or the pack does not tell."""
    pack, window = data.pack, data.window
    current, volts = data.get("pack_current_A"), data.get("pack_voltage_V")
    if pack is None or window is None or current is None or volts is None or pack.capacity_Ah is None:
        return None
    found = data.memo.get("charge_state")
    if isinstance(found, ChargeState) and not isinstance(found.start_pct, NotFitted):
        return found
    fit = pack_fit(data)
    return charge_state(
        current,
        volts,
        cells=pack.cells,
        capacity_Ah=capacity_Ah(data),
        chemistry=pack.chemistry,
        start_s=window.start_s,
        end_s=window.end_s,
        fit=fit if isinstance(fit, PackFit) else None,
    )


def _cap(data: MatchData, old: Controller, new: Controller, notes: list[str]) -> Cap | Refused | None:
    if new.ramp_s is not None and new.ramp_s != old.ramp_s:
        return _ramp(data, old, new, notes)
    limit = new.current_limit_A
    if limit == old.current_limit_A and new.rating_basis == old.rating_basis:
        return None
    if limit is None:
        return Refused(f"{new.id} without a limit: what it would draw the log cannot tell", "state a limit")
    signal = _rated(data, new)
    if signal is None:
        channel = f"{new.id}_{'motor' if new.rating_basis == 'motor' else 'input'}_current_A"
        return Refused(f"the limit of {new.id} is about {channel}, which was not logged", f"log {channel}")
    peak = float(np.abs(signal.x).max())
    if old.current_limit_A is not None and limit > old.current_limit_A and peak > AT_LIMIT * old.current_limit_A:
        return Refused(
            f"{new.id} stood at its limit of {old.current_limit_A:g} A: what it would draw beyond it the log cannot "
            "tell",
            "log a match with the higher limit",
        )
    return _limit(data, new, limit)


def _rated(data: MatchData, controller: Controller) -> Signal | None:
    basis = "motor" if controller.rating_basis == "motor" else "input"
    return data.inside(f"{controller.id}_{basis}_current_A")


def _limit(data: MatchData, controller: Controller, limit: float) -> Cap:
    """A limit on the motor current is torque that is simply missing; one on the input makes a spin-up longer."""
    motors = [m for m in (data.build.motors if data.build else ()) if m.controller == controller.id]
    ohm = motors[0].winding_mohm / 1000.0 / motors[0].count if motors and motors[0].winding_mohm else None
    return Cap(limit, controller.rating_basis, controller.rating_basis == "input", ohm)


def _own_limit(data: MatchData, controller: Controller, limit: float, geared: bool) -> Cap | None:
    """The limit it has anyway: more voltage brings no more than that, or than what it was seen to let through."""
    signal = _rated(data, controller)
    if signal is None or (controller.rating_basis == "motor" and not geared):
        return None
    return replace(_limit(data, controller, max(limit, float(np.abs(signal.x).max()))), keeps=False)


def _ramp(data: MatchData, old: Controller, new: Controller, notes: list[str]) -> Cap | Refused:
    """A ramp gives the drum its speed evenly: its charge of motor current spread over the ramp is a limit."""
    assert new.ramp_s is not None
    if new.ramp_s < (old.ramp_s or 0.0):
        return Refused(f"a quicker ramp of {new.id}: what it would draw the log cannot tell", "log a match with it")
    charge = spin_up_As(data, new)
    if isinstance(charge, Refused):
        return charge
    limit = charge / new.ramp_s
    notes.append(f"{new.id}: a ramp of {new.ramp_s:g} s spreads a spin-up over its length: about {limit:.0f} A")
    return Cap(limit, "input", False, None, ramp=True)


def spin_up_As(data: MatchData, controller: Controller) -> float | Refused:
    """Ampere-seconds of motor current of the first full spin-up, what turning at speed takes left out."""
    motors = [m.id for m in (data.build.motors if data.build else ()) if m.controller == controller.id]
    speed = next((s for n in (controller.id, *motors) if (s := data.get(f"{n}_speed_rpm")) is not None), None)
    motor = data.get(f"{controller.id}_motor_current_A")
    if speed is None or motor is None:
        return Refused(f"a ramp of {controller.id} needs its speed and motor current", "log both next time")
    speed, motor = speed.good(), motor.good()
    rpm = np.abs(speed.x)
    usual = float(np.percentile(rpm, 95))
    there = np.flatnonzero(rpm >= SPUN_UP * usual)
    standing = np.flatnonzero(rpm[: there[0]] <= STANDING * usual) if len(there) else there
    if usual <= 0 or not len(there) or not len(standing):
        return Refused(f"no full spin-up of {controller.id} is in the log", "start the log before the match")
    start, end = float(speed.t_s[standing[-1]]), float(speed.t_s[there[0]])
    part = motor.between(start, end)
    if len(part) < 3:
        return Refused(f"{controller.id} is logged too slowly for its spin-up", "log it at 20 Hz or more")
    running = float(np.median(np.abs(motor.x[np.interp(motor.t_s, speed.t_s, rpm) >= SPUN_UP * usual])))
    amps = np.maximum(np.abs(part.x) - 0.5 * running, 0.0)
    return float(np.trapezoid(amps, part.t_s)) / (SPUN_UP - STANDING)


def _gear(data: MatchData, old: Motor, new: Motor) -> Gear | Refused:
    if old.gear_ratio is None or new.gear_ratio is None:
        return Refused(f"the gear ratio of {new.id} before is not stated", f'state gear_ratio in [[motor]] "{new.id}"')
    if data.inside(f"{old.controller}_motor_current_A") is None:
        return Refused(f"a gear moves the motor current of {old.controller}, which was not logged", "log it")
    if old.winding_mohm is None:
        return Refused(f"the winding of {old.id} is not known", f'state winding_mohm in [[motor]] "{old.id}"')
    return Gear(old.gear_ratio / new.gear_ratio, old.winding_mohm / 1000.0 / old.count)
