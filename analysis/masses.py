"""Grams of what a change adds: copper and jacket, contacts, packs."""

from __future__ import annotations

from analysis.ratings import OutsideValidity
from analysis.wire_run import run_of_wire
from ingest.builds import Build, Contact, Wire

# A mated pair of power connectors weighs about this for each ampere of its rating (from memory: 7 g for a 60 A
# pair, 14 g for a 120 A one). Only differences are used, so its own error is a gram or two.
CONTACT_G_PER_A = 0.12

KG = 1000.0


def wire_g(wire: Wire) -> float | None:
    """Copper and jacket of all conductors of a run, g; None where gauge, insulation or length are not known."""
    if wire.length_mm is None:
        return None
    try:
        run = run_of_wire(wire)
        return run.size.mass_g_per_m * wire.parallel * wire.length_mm / 1000.0 * wire.conductors
    except OutsideValidity:
        return None


def contact_g(contact: Contact) -> float | None:
    """Rough grams of a contact from its rating; None where that is not stated."""
    return None if contact.rated_A is None else CONTACT_G_PER_A * contact.rated_A


def room_g(build: Build) -> float | None:
    """Grams left under the mass limit (negative: over it already); None where mass or limit are not stated."""
    mass, limit = build.build.mass_kg, build.build.mass_limit_kg
    return None if mass is None or limit is None else KG * (limit - mass)
