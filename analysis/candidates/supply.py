"""The pack, and the volts that a lower limit leaves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.candidates.common import (
    AIM,
    BIGGER_PACK,
    FRESHER,
    LARGER,
    LOW_VOLTS,
    NOT_FULL_PCT,
    PACK,
    PARALLEL_PACKS,
    SETTING,
    Candidate,
)
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.pack_check import pack_fit
from analysis.pack_model import PackFit
from analysis.replay.levers import start_state
from analysis.signal import Measured
from analysis.stated_path import path_mohm
from analysis.wiring import Tree
from ingest.builds import Pack


def pack_changes(data: MatchData, f: Finding, packs: Sequence[Pack] = ()) -> list[Candidate]:
    """A pack as it should be, another that is there, a larger one, two side by side, and starting full.

    packs: the others of the season; only those of as many cells and less resistance are of use.
    """
    pack, fit = data.pack, pack_fit(data)
    if pack is None:
        return []
    one = fit.at(1.0) if isinstance(fit, PackFit) else None
    found = []
    worn = f.check in ("cell_resistance", "pack_resistance") or f.cause in ("weak_cell", "ageing", "pack_empty")
    aged = one is not None and pack.resistance_mohm is not None and one.value > 1.15 * pack.resistance_mohm
    ids = (f.id,)
    if pack.resistance_mohm is not None and (worn or aged):
        sets = (("pack.condition", "sound"),)
        found.append(
            Candidate(
                sets, "sound_pack", (pack.id,), f"{pack.resistance_mohm:g}", PACK, ids, "a sound pack of the same kind"
            )
        )
    now = one.value if one is not None else pack.resistance_mohm
    for other in packs:
        if other.id == pack.id or other.cells != pack.cells or other.resistance_mohm is None or now is None:
            continue
        if other.resistance_mohm <= FRESHER * now:
            needs = f"{other.id} charged, and as good as its file states"
            figure = f"{other.resistance_mohm:g} mΩ" + (f"; keep {pack.id} out of the robot" if worn else "")
            found.append(Candidate((("pack", other.id),), "other_pack", (other.id,), figure, PACK, ids, needs))
    if f.cause == "cold_pack":
        why = "what warmth does to this pack was not measured"
        found.append(Candidate((("pack.start_degC", "20"),), "warm", (pack.id,), "", PACK, ids, "", why, 0.0))
    state = start_state(data)
    start = state.start_pct if state is not None else None
    if isinstance(start, Measured) and start.high < NOT_FULL_PCT and f.check in LOW_VOLTS:
        full = (("pack.start_pct", "100"),)
        found.append(Candidate(full, "full", (pack.id,), "", PACK, ids, "a charge to the end"))
    if worn:  # more of a worn pack is no cure
        return found
    if pack.capacity_Ah is not None and pack.resistance_mohm is not None and pack.mass_g is not None:
        more, heavier = LARGER
        base = one.value if one is not None and not worn else pack.resistance_mohm
        larger = (
            ("pack.capacity_Ah", f"{pack.capacity_Ah * more:.2g}"),
            ("pack.resistance_mohm", f"{base / more:.3g}"),
            ("pack.mass_g", f"{pack.mass_g * heavier:.3g}"),
        )
        figure = f"{pack.capacity_Ah * more:.2g} Ah"
        found.append(Candidate(larger, "larger_pack", (pack.id,), figure, BIGGER_PACK, ids, "the space for it"))
        double = (("pack.parallel", str(2 * pack.parallel)),)
        found.append(
            Candidate(
                double, "parallel_packs", (pack.id,), "", PARALLEL_PACKS, ids, "alike packs at equal volts, a harness"
            )
        )
    return found


def volt_changes(data: MatchData, wiring: Tree, f: Finding) -> list[Candidate]:
    """The limit that leaves the voltage enough, on the load that drew most when it was lowest."""
    assert data.build is not None
    fit = pack_fit(data)
    if f.limit is None or f.measured is None or not isinstance(fit, PackFit) or f.check not in LOW_VOLTS:
        return []
    drawn = {
        c.id: float(np.interp(f.start_s, s.t_s, s.x))
        for c in data.build.controllers
        if (s := data.inside(f"{c.id}_input_current_A")) is not None
    }
    if not drawn:
        return []
    biggest = max(drawn, key=lambda name: drawn[name])
    controller = next(c for c in data.build.controllers if c.id == biggest)
    if controller.rating_basis == "motor":
        return []
    full = ((data.pack.full_cell_V if data.pack else None) or 4.2) * (data.cells or 1)
    per_cell = data.cells or 1 if f.check == "cell_minimum" else 1
    wanted = f.limit + AIM * data.settings.close_margin_pct / 100.0 * (full / per_cell - f.limit)
    path = (path_mohm(wiring, biggest) or 0.0) / 1000.0 if f.check.startswith("controller") else 0.0
    per_A = (fit.step_ohm(1.0) + path) / per_cell
    limit = float(np.floor(drawn[biggest] - max(wanted - f.measured, 0.0) / max(per_A, 1e-4)))
    if not 0.3 * drawn[biggest] <= limit < drawn[biggest]:
        return []
    sets = ((f"controller.{biggest}.current_limit_A", f"{limit:g}"),)
    return [Candidate(sets, "limit", (biggest,), f"{limit:g} A", SETTING, (f.id,), "the controller's programmer")]
