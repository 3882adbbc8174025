"""Does a fuse protect its wire? For a build on paper: no log is needed.

Two questions. A dead short: does the fuse clear before the copper reaches the limit of the run (IEC 60949,
longest opening time against the adiabatic i²t)? An overload: in which currents does the wire pass its limit
before the fuse must open? A band that is not covered is common on a robot, where a fuse guards against shorts
and the log guards against overloads: it is a note, not a fault; so is a run without a fuse.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from .binned import Binned
from .fuses import FuseBody
from .ratings import OutsideValidity, Rating, value
from .signal import Floats
from .wire_heat import wire_heat
from .wire_run import WireRun
from .wire_steady import adiabatic_i2t, steady_current

Protection = Literal["protects", "short only", "does not protect", "no fuse", "unknown"]

ADIABATIC_S: Final = 5.0  # IEC 60949: no loss to the surroundings up to about 5 s
# Our choice: a current held longer than half an hour is no match load.
_LONGEST_S: Final = 1800.0
_POINTS: Final = 48  # currents tried between the wire's steady current and the short: 5 % apart on a decade


@dataclass(frozen=True)
class FuseWire:
    """A fuse against its run.

    protection     "protects"; "short only": a band of overloads is not covered; "does not protect": a dead
                   short brings the copper past its limit; "no fuse"; "unknown": no prospective current given
    clears_in_s    longest opening time at the prospective current (inf: it need not open)
    let_through_A2s, withstand_A2s   of the fuse, and of the copper from start to limit
    uncovered_A    (low, high) of the overloads that the fuse does not cover, None where there is none
    rests_on_memory  the gates that decide were recalled
    notes          in words
    """

    fuse: str | None
    run: str
    protection: Protection
    limit: Rating
    clears_in_s: float | None
    let_through_A2s: float | None
    withstand_A2s: float
    uncovered_A: tuple[float, float] | None
    rests_on_memory: bool
    notes: tuple[str, ...]


def fuse_against_wire(
    fuse: FuseBody | None,
    run: WireRun,
    limit: Rating,
    *,
    prospective_A: float | None = None,
    air_degC: float = 25.0,
    start_degC: float | None = None,
) -> FuseWire:
    """The check of a fuse against the run it feeds.

    limit          of the run, °C (ratings.weakest_limit)
    prospective_A  current of a dead short at the end of the run: pack voltage over all resistance; None where
                   the pack's resistance is not known
    air_degC       about the wire; start_degC the copper before the fault (default: the air)

    Raises OutsideValidity where the wire model does not hold (limit above 250 °C, limit not above the start).
    """
    start = air_degC if start_degC is None else start_degC
    if not max(start, air_degC) < limit.value <= 250:
        raise OutsideValidity(
            f"a limit of {limit.value:g} degC is not between {start:g} and 250 degC", "state limit_degC"
        )
    copper = run.area_mm2 * run.parallel
    withstand = adiabatic_i2t(copper, start, limit.value)
    if fuse is None:
        note = f"{run.id} has no fuse: a short ends only when the pack, the wire or a disconnect gives way"
        return FuseWire(None, run.id, "no fuse", limit, None, None, withstand, None, False, (note,))

    notes: list[str] = []
    clears = let_through = None
    held: bool | None = None
    if prospective_A is None:
        notes.append("the current of a dead short is not known: state resistance_mohm in the pack file")
    else:
        clears = float(fuse.curve.opening_s(prospective_A / fuse.rated_A)[1])
        let_through = prospective_A**2 * clears
        held = let_through <= withstand
        if not held and clears > ADIABATIC_S and not math.isinf(clears):
            held = _time_to_limit(run, np.array([prospective_A]), limit.value, air_degC, start)[0] >= clears
        if math.isinf(clears):
            notes.append(f"a dead short of {prospective_A:.0f} A is no current at which {fuse.id} must open")
        capacity = value("fuse_breaking_capacity", "ISO 8820-3")
        if prospective_A > capacity:
            notes.append(
                f"a dead short of {prospective_A:.0f} A is above the {capacity:.0f} A that a blade fuse of "
                "ISO 8820-3 is tested to break: take the breaking capacity from the fuse's data sheet"
            )
    band = _uncovered(fuse, run, limit.value, prospective_A, air_degC, start)
    if band is not None:
        notes.append(
            f"{fuse.id} does not cover overloads of {run.id} from {band[0]:.0f} to {band[1]:.0f} A: "
            "there the wire passes its limit first, and only the log shows it"
        )
    recalled = bool(fuse.curve.memory[fuse.curve.multiple > 1.2].any())
    if recalled:
        notes.append("some gates of the curve are recalled: compare with the fuse's data sheet")
    protection: Protection = "protects"
    if held is None:
        protection = "unknown"
    elif not held:
        protection = "does not protect"
    elif band is not None:
        protection = "short only"
    return FuseWire(fuse.id, run.id, protection, limit, clears, let_through, withstand, band, recalled, tuple(notes))


def _uncovered(
    fuse: FuseBody, run: WireRun, limit_degC: float, prospective_A: float | None, air: float, start: float
) -> tuple[float, float] | None:
    """The lowest and highest current at which the wire reaches its limit before the fuse must open."""
    lowest = steady_current(run, limit_degC, air).value
    highest = prospective_A if prospective_A is not None else fuse.rated_A * fuse.curve.highest
    if highest <= lowest:
        return None
    currents = np.geomspace(lowest * 1.001, highest, _POINTS)
    wire_s = _time_to_limit(run, currents, limit_degC, air, start)
    open_ = np.flatnonzero(fuse.curve.opening_s(currents / fuse.rated_A)[1] > wire_s)
    if open_.size == 0:
        return None
    return float(currents[open_[0]]), float(currents[open_[-1]])


def _time_to_limit(run: WireRun, currents: Floats, limit_degC: float, air: float, start: float) -> Floats:
    """Seconds of each steady current until the copper reaches the limit; inf beyond half an hour.

    Under half a second the adiabatic equation, which is a little short and so on the safe side.
    """
    edges = np.concatenate((np.arange(0, 10, 0.1), np.arange(10, 100, 1.0), np.arange(100, _LONGEST_S + 1, 10.0)))
    ones = np.ones(edges.shape[0] - 1)
    loads = [Binned(edges, ones * i * i, ones, ones * i * i, ones * i * i) for i in currents]
    heats = wire_heat([run] * len(loads), loads, air, start_degC=np.full(len(loads), start))
    quick = adiabatic_i2t(run.area_mm2 * run.parallel, start, limit_degC) / np.square(currents)
    slow = np.array([math.inf if (s := heat.first_above_s(limit_degC)) is None else s for heat in heats])
    return np.where((slow < 0.5) | (quick < 0.5), quick, slow)
