"""Whether the parts of a build fit one another and the pack: cells, highest volts, cutoffs, limiters, the disconnect.

Nothing here needs a log; what no file states is not_checked.
"""

from __future__ import annotations

from analysis.charging import LEAST_CELL_V
from analysis.findings import Finding, Kind, Verdict
from analysis.outcome import Row
from ingest.builds import Build, Controller, Pack

FULL_CELL_V = 4.2


def fit_rows(build: Build, pack: Pack | None) -> list[Row]:
    """Every such row of one supply. pack: the one that will be fitted, or None."""
    rows: list[Row] = []
    if build.wires and not any(c.kind == "disconnect" for c in build.contacts):
        told = "no main disconnect is described: without one that takes all power off, do not power up"
        rows.append(_found(build, "main_disconnect", build.id, "fault", "power_loss", told))
    if pack is not None and pack.cells != build.cells:
        told = f"pack {pack.id} has {pack.cells} cells, the build is wired for {build.cells}: do not connect it"
        rows.append(_found(build, "fits_build", build.id, "over", "wiring_fault", told))
    for controller in build.controllers:
        rows += _controller(build, pack, controller)
    for regulator in build.regulators:
        bears = f"it is rated {regulator.rated_A:g} A; " if regulator.rated_A is not None else ""
        told = f"{bears}what hangs on it draws is stated nowhere: log receiver_rail_current_A once, servos moving"
        rows.append(_found(build, "rail_current", regulator.id, "note", "voltage_sag", told))
    return rows


def _controller(build: Build, pack: Pack | None, c: Controller) -> list[Row]:
    rows: list[Row] = []
    cells = pack.cells if pack is not None else build.cells
    full_V = ((pack.full_cell_V if pack is not None else None) or FULL_CELL_V) * cells
    if c.maximum_V is not None and full_V > c.maximum_V:
        told = f"a full pack has {full_V:.1f} V; it bears {c.maximum_V:g} V"
        rows.append(_found(build, "controller_overvoltage", c.id, "over", "wiring_fault", told))
    least_V = max(LEAST_CELL_V, (pack.cell_minimum_V if pack is not None else None) or 0.0)
    if c.cutoff_V is not None and c.cutoff_V < LEAST_CELL_V * cells:
        each = c.cutoff_V / cells
        told = f"its cutoff of {c.cutoff_V:g} V is {each:.2f} V a cell; the pack's own minimum is {least_V:.1f} V"
        rows.append(_found(build, "controller_cutoff", c.id, "note", "voltage_sag", told))
    if c.cutoff_V is not None and c.cutoff_V >= 0.9 * full_V:
        told = f"its cutoff of {c.cutoff_V:g} V lies at a full pack's {full_V:.1f} V: it will cut at the first spin-up"
        rows.append(_found(build, "controller_cutoff", c.id, "close", "voltage_sag", told))
    if c.current_limit_A is not None and c.burst_A is not None and c.current_limit_A > c.burst_A:
        told = f"its limiter lets through {c.current_limit_A:g} A; it is rated {c.burst_A:g} A in bursts"
        rows.append(_found(build, "burst_current", c.id, "close", "current_spike", told))
    return rows


def _found(build: Build, check: str, part: str, verdict: Verdict, kind: Kind, told: str) -> Finding:
    return Finding(
        kind=kind, cause="unknown", part=part, channel=None, start_s=0.0, end_s=0.0, measured=None, low=None, high=None,
        unit="", verdict=verdict, confidence="certain", evidence=(told,), check=check,
        rating_source=f"{build.source_name or 'the build file'} {part}",
    )  # fmt: skip
