"""Contacts, fuses and the receiver's supply."""

from __future__ import annotations

from analysis.candidates.common import (
    BETTER_CONTACT,
    BLADES_A,
    CONTACT,
    FUSE,
    OPEN,
    REGULATOR_G,
    SERVO,
    SUPPLY,
    Candidate,
)
from analysis.candidates.drops import removable
from analysis.findings import Finding
from analysis.fuse_wire import fuse_against_wire
from analysis.fuses import body_of_fuse
from analysis.match_data import MatchData
from analysis.ratings import OutsideValidity, weakest_limit
from analysis.stated_path import path_mohm
from analysis.wire_run import run_of_wire
from analysis.wiring import Tree
from ingest.builds import Build


def contact_changes(data: MatchData, wiring: Tree, f: Finding) -> list[Candidate]:
    """The next larger size, and none at all where the run can be soldered through."""
    assert data.build is not None
    contact = next((c for c in data.build.contacts if c.id == f.part), None)
    if contact is None or contact.rated_A is None:
        return []
    rated = float(f"{contact.rated_A * BETTER_CONTACT[0]:.2g}")
    sets = [(f"contact.{contact.id}.rated_A", f"{rated:g}")]
    if contact.resistance_mohm:
        sets.append((f"contact.{contact.id}.resistance_mohm", f"{contact.resistance_mohm * BETTER_CONTACT[1]:.2g}"))
    needs = "the larger size, both halves"
    found = [Candidate(tuple(sets), "contact", (contact.id,), f"{rated:g} A", OPEN + CONTACT, (f.id,), needs)]
    run = wiring.run_of_contact(contact.id)
    if run is not None and removable(wiring, wiring.runs[run], contact.kind):
        gone = ((f"contact.{contact.id}", "removed"),)
        needs = "solder; the run can then not be unplugged"
        found.append(Candidate(gone, "one_fewer", (contact.id,), "", OPEN + CONTACT, (f.id,), needs))
    return found


def fuse_changes(data: MatchData, wiring: Tree, f: Finding) -> list[Candidate]:
    """The next rating that the wire still allows."""
    assert data.build is not None
    fuse = next((x for x in data.build.fuses if x.id == f.part), None)
    if fuse is None or fuse.rated_A is None:
        return []
    for rated in BLADES_A:
        if rated > fuse.rated_A and fuse_allowed(data.build, data, wiring, fuse.wire, fuse.id, float(rated)):
            sets = ((f"fuse.{fuse.id}.rated_A", f"{rated:g}"),)
            return [
                Candidate(
                    sets,
                    "fuse",
                    (fuse.id,),
                    f"{rated:g} A",
                    OPEN + FUSE,
                    (f.id,),
                    f"a {rated:g} A fuse of the same curve",
                )
            ]
    return []


def fuse_allowed(build: Build, data: MatchData, wiring: Tree, run_id: str, fuse_id: str, rated_A: float) -> bool:
    """Whether a fuse of that rating still clears a dead short before the copper of its run reaches its limit."""
    fuse = next(x for x in build.fuses if x.id == fuse_id).model_copy(update={"rated_A": rated_A})
    wire = wiring.runs[run_id].wire
    loop, pack = path_mohm(wiring, wire.to), data.pack
    if loop is None or pack is None or pack.resistance_mohm is None:
        return False
    short = 1000.0 * (pack.full_cell_V or 4.2) * pack.cells / (pack.resistance_mohm + loop)
    try:
        limit = weakest_limit(wire.insulation, stated_degC=wire.limit_degC)
        air = data.air_degC[0]
        found = fuse_against_wire(body_of_fuse(fuse), run_of_wire(wire), limit, prospective_A=short, air_degC=air)
    except OutsideValidity:
        return False
    return found.protection in ("protects", "short only")


def regulator_changes(data: MatchData, f: Finding) -> list[Candidate]:
    """Another supply, or one load less, for a finding's regulator; not proved: the log does not part its loads."""
    assert data.build is not None
    names = [r.id for r in data.build.regulators if r.id in (f.part, *f.could_be) or r.supplies == f.part]
    if not names:
        return []
    one = names[0]
    why = "the log does not part the servo from the receiver"
    own, freed = ((f"regulator.{one}.servo", "own supply"),), ((f"regulator.{one}.servo", "freed"),)
    return [
        Candidate(own, "own_supply", (one,), "", SUPPLY, (f.id,), "a second regulator", why, REGULATOR_G),
        Candidate(freed, "servo", (one,), "", SERVO, (f.id,), "", why, 0.0),
    ]
