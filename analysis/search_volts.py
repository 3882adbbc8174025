"""The lowest volts of every load with another root, another lead, another pack or a lower limit: for the search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.match_data import MatchData
from analysis.pack_check import pack_fit
from analysis.pack_model import PackFit
from analysis.replay.circuit import copper_mohm
from analysis.search_sizes import Sized
from analysis.signal import Floats
from analysis.wiring import RunCurrent, Tree, currents_of
from ingest.builds import Pack

# The pack's resistance that a lower limit relieves: of a hit that lasts about this long (our choice).
HIT_S = 0.3


@dataclass(frozen=True)
class Low:
    """A load at its lowest moment: volts, the limit it is held against, the current in each run, what it drew.

    source_ohm: the fitted pack at HIT_S; 0 where it could not be fitted.
    """

    branch: str
    volts: float
    floor: float
    full: float
    amps: dict[str, float]
    pack_A: float
    own_A: float
    source_ohm: float


def lows(data: MatchData, wiring: Tree) -> dict[str, Low]:
    """By the last run before it: every controller with a voltage and a cutoff or minimum."""
    assert data.build is not None
    found = {}
    currents = currents_of(data, wiring)
    pack = data.inside("pack_current_A")
    full = ((data.pack.full_cell_V if data.pack else None) or 4.2) * (data.cells or 1)
    fit = pack_fit(data)
    source = fit.step_ohm(HIT_S) if isinstance(fit, PackFit) else 0.0
    for controller in data.build.controllers:
        volts = data.inside(f"{controller.id}_voltage_V")
        floors = [v for v in (controller.cutoff_V, controller.minimum_V) if v is not None]
        path = wiring.path_to(controller.id)
        if volts is None or not floors or not path or pack is None:
            continue
        at = float(volts.t_s[int(np.argmin(volts.x))])
        amps = {
            run: float(np.interp(at, c.signal.t_s, c.signal.x))
            for run in path
            if isinstance(c := currents[run], RunCurrent)
        }
        own = data.inside(f"{controller.id}_input_current_A")
        drawn = 0.0 if own is None else float(np.interp(at, own.t_s, own.x))
        total = float(np.interp(at, pack.t_s, pack.x))
        found[path[-1]] = Low(path[-1], float(volts.x.min()), max(floors), full, amps, total, drawn, source)
    return found


def volt_margins(
    wiring: Tree, low: Low, base: Sized, sizes: Sequence[Sized], gain_ohm: float, cap: tuple[str, float] | None
) -> Floats:
    """(sizes,) margin in per cent of the lowest voltage of one load with this root size and each of its own."""
    old_root = copper_mohm(wiring.runs[base.run].wire)
    old_own = copper_mohm(wiring.runs[low.branch].wire)
    held = cap is not None and wiring.runs[low.branch].wire.to == cap[0]
    taken = max(low.own_A - cap[1], 0.0) if held and cap is not None else 0.0
    own = np.array([s.mohm for s in sizes])
    above = low.volts + gain_ohm * low.pack_A + low.amps.get(base.run, 0.0) * (old_root - base.mohm) / 1000.0
    volts = (
        above
        + low.amps.get(low.branch, 0.0) * (old_own - own) / 1000.0
        + taken * (low.source_ohm + (base.mohm + own) / 1000.0)
    )
    return np.asarray(100.0 * (volts - low.floor) / max(low.full - low.floor, 1e-9))


def pack_gain_ohm(data: MatchData, pack: Pack | None) -> float | None:
    """Ohm that another pack saves against the one that was fitted; None where that is not known."""
    if pack is None or (data.pack is not None and pack.id == data.pack.id):
        return 0.0
    fit = pack_fit(data)
    one = fit.at(1.0) if isinstance(fit, PackFit) else None
    if one is None or pack.resistance_mohm is None or data.pack is None:
        return None
    return (one.value - pack.resistance_mohm) / 1000.0
