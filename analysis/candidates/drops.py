"""Less drop on the way to a load that saw too few volts: thicker, doubled, shorter, a better contact or one fewer."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.candidates.common import AIM, BETTER_CONTACT, CONTACT, OPEN, SHORTER, WIRE, Candidate
from analysis.candidates.wires import thicker
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.ratings import OutsideValidity
from analysis.replay.circuit import copper_mohm
from analysis.wiring import Run, RunCurrent, Tree, currents_of


def drop_changes(data: MatchData, wiring: Tree, f: Finding) -> list[Candidate]:
    """For one controller's lowest voltage; only what would bring it clear of its limit by itself."""
    if f.check not in ("controller_cutoff", "controller_voltage") or f.limit is None or f.measured is None:
        return []
    full = ((data.pack.full_cell_V if data.pack else None) or 4.2) * (data.cells or 1)
    wanted = f.limit + AIM * data.settings.close_margin_pct / 100.0 * (full - f.limit) - f.measured
    found: dict[tuple[str, str], Candidate] = {}
    currents = currents_of(data, wiring)
    for name in wiring.path_to(f.part):
        current = currents.get(name)
        if not isinstance(current, RunCurrent):
            continue
        amps = float(np.interp(f.start_s, current.signal.t_s, current.signal.x))
        for saved_mohm, one in (*_wires(wiring.runs[name], f), *_contacts(wiring, wiring.runs[name], f)):
            if amps * saved_mohm / 1000.0 >= wanted:
                found.setdefault((one.action, one.parts[0]), one)  # the lightest of each kind that does it
    return list(found.values())


def _wires(run: Run, f: Finding) -> Iterator[tuple[float, Candidate]]:
    """(mΩ saved, candidate) of every wire that may take this run's place, the lightest first."""
    wire = run.wire
    try:
        old = copper_mohm(wire)
    except OutsideValidity:
        return
    key, takes = f"wire.{wire.id}", OPEN + WIRE
    for gauge in thicker(wire):
        new = wire.model_copy(update={"gauge": gauge, "area_mm2": None, "resistance_mohm_per_m": None})
        sets = ((f"{key}.gauge", gauge),)
        yield old - copper_mohm(new), Candidate(sets, "gauge", (wire.id,), gauge, takes, (f.id,), f"{gauge} wire")
    doubled = wire.parallel + 1
    sets = ((f"{key}.parallel", str(doubled)),)
    needs = "wire like it"
    yield (
        old * (1.0 - wire.parallel / doubled),
        Candidate(sets, "parallel", (wire.id,), str(doubled), takes, (f.id,), needs),
    )
    if wire.length_mm is not None:
        short = float(f"{SHORTER * wire.length_mm:.2g}")
        sets = ((f"{key}.length_mm", f"{short:g}"),)
        yield (
            old * (1.0 - short / wire.length_mm),
            Candidate(sets, "length_mm", (wire.id,), f"{short:g} mm", takes, (f.id,), "parts that can be moved closer"),
        )


def _contacts(wiring: Tree, run: Run, f: Finding) -> Iterator[tuple[float, Candidate]]:
    """A better contact, or one fewer: never the main disconnect, nor a plug of the pack's own lead."""
    for contact in run.contacts:
        if not contact.resistance_mohm:
            continue
        ohm = contact.resistance_mohm * contact.pole_count
        better = contact.resistance_mohm * BETTER_CONTACT[1]
        sets: tuple[tuple[str, str], ...] = ((f"contact.{contact.id}.resistance_mohm", f"{better:.2g}"),)
        rated = ""
        if contact.rated_A is not None:
            rated = f"{contact.rated_A * BETTER_CONTACT[0]:.2g} A"
            sets = ((f"contact.{contact.id}.rated_A", f"{contact.rated_A * BETTER_CONTACT[0]:.2g}"), *sets)
        needs = "the larger size, both halves"
        one = Candidate(sets, "contact", (contact.id,), rated or "larger", OPEN + CONTACT, (f.id,), needs)
        yield ohm * (1.0 - BETTER_CONTACT[1]), one
        if removable(wiring, run, contact.kind):
            sets = ((f"contact.{contact.id}", "removed"),)
            needs = "solder; the run can then not be unplugged"
            yield ohm, Candidate(sets, "one_fewer", (contact.id,), "", OPEN + CONTACT, (f.id,), needs)


def removable(wiring: Tree, run: Run, kind: str | None) -> bool:
    """Whether a contact may be soldered through: the disconnect never, and the pack must still come out."""
    return kind not in (None, "disconnect") and not (run.id in wiring.roots and kind == "connector")
