"""Resistance of runs and paths as the build states them: copper by gauge and length, contacts by their figures."""

from __future__ import annotations

from analysis.ratings import OutsideValidity
from analysis.wire_run import run_of_wire
from analysis.wiring import Run, Tree


def path_mohm(wiring: Tree, node: str) -> float | None:
    """Resistance from pack to a node, out and back, wires and contacts; None where a wire does not state its copper."""
    total = 0.0
    for run_id in wiring.path_to(node):
        one = run_mohm(wiring.runs[run_id])
        if one is None:
            return None
        total += one
    return total


def run_mohm(run: Run) -> float | None:
    """One run with its contacts, at 20 °C; a contact without a stated resistance counts as none."""
    try:
        wire = run_of_wire(run.wire)
    except OutsideValidity:
        return None
    if run.wire.length_mm is None:
        return None
    conductors = min(run.wire.conductors, 2)
    copper = wire.mohm_per_m / wire.parallel * run.wire.length_mm / 1000.0 * conductors
    return copper + sum((c.resistance_mohm or 0.0) * c.pole_count for c in run.contacts)
