"""A build held against its own ratings, with no log: before any match, and after every change of the wiring.

The demand is what the controllers may draw for a match (their continuous figure, or their own limit where lower),
never a label's burst figure alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.binned import Binned
from analysis.build_fit import fit_rows
from analysis.findings import Estimate, Finding, NotChecked, Passed
from analysis.fuse_wire import FuseWire, fuse_against_wire
from analysis.fuses import body_of_fuse
from analysis.outcome import Held, Row, judge, not_stated
from analysis.ratings import OutsideValidity, weakest_limit
from analysis.separate import trees_of
from analysis.settings import DEFAULTS, Settings
from analysis.signal import Measured
from analysis.stated_path import path_mohm
from analysis.terminal_check import stated_rows
from analysis.wire_heat import wire_heat
from analysis.wire_run import run_of_wire
from analysis.wiring import Run, Tree, tree
from ingest.builds import Build, Pack

MATCH_S = 180.0  # a usual match (common practice, no source)
FULL_CELL_V = 4.2


@dataclass(frozen=True)
class BuildCheck:
    """Rows as in a review, and the list to tick before power."""

    build: Build
    pack: Pack | None
    rows: tuple[Row, ...]
    list_before_power: tuple[str, ...]

    def of(self, kind: type) -> tuple[Row, ...]:
        return tuple(row for row in self.rows if isinstance(row, kind))


BEFORE_POWER = (
    "Main disconnect: mechanical, takes all power off, reachable without tools.",
    "Power light: visible from outside and working.",
    "Weapon restrained; wheels off the surface.",
    "Pack: no dent, puff or hole, not warm; every cell measured, full and alike.",
    "Plugs: polarity right, fully seated, nothing browned.",
    "Receiver supply: its voltage is right before the receiver is plugged in.",
    "Failsafe: transmitter off, drives stop, weapon to zero.",
    "Motor directions and phase order after any motor wire was moved.",
)  # fmt: skip


def check_build(build: Build, pack: Pack | None, settings: Settings = DEFAULTS) -> BuildCheck:
    """Every check of a build that needs no log. pack: the one that will be fitted, or None.

    A robot of several packs is checked tree by tree, the pack in the one tree that is wired for as many cells.
    """
    wiring = tree(build)
    trees = trees_of(build)
    if trees:
        meant = [slot.id for slot, _ in trees if pack is not None and slot.cells == pack.cells]
        apart: list[Row] = []
        for slot, alone in trees:
            own = pack if meant == [slot.id] else None
            apart += [row for row in check_build(alone, own, settings).rows if _of_a_tree(row)]
        return BuildCheck(build, pack, (*apart, *_mass_rows(build, wiring)), BEFORE_POWER)
    demand = {run.id: _demand_A(build, wiring, run) for run in wiring.runs.values()}
    rows: list[Row] = []
    for run in wiring.runs.values():
        rows += _fuse_rows(build, pack, wiring, run, settings)
        rows.append(_wire_row(build, run, demand[run.id], settings))
        rows += _contact_rows(build, run, demand[run.id], settings)
        rows += stated_rows(build, run, settings)
    rows += _supply_rows(build, pack, settings)
    rows += _sag_rows(build, pack, wiring, demand, settings)
    rows += fit_rows(build, pack)
    rows += _mass_rows(build, wiring)
    return BuildCheck(build, pack, tuple(rows), BEFORE_POWER)


def _of_a_tree(row: Row) -> bool:
    """Whether a row is about one tree and not about the mass of the whole."""
    name = row.name if isinstance(row, Estimate) else row.check
    return name not in ("mass", "wiring_mass_g")


def _name(build: Build) -> str:
    return build.source_name or "the build file"


def _air(build: Build, settings: Settings) -> float:
    return build.build.air_degC if build.build.air_degC is not None else settings.air_degC


def _demand_A(build: Build, wiring: Tree, run: Run) -> float | None:
    """What the loads below a run may draw for a match; None where one of them does not state it."""
    if run.is_motor_lead:
        loads = {run.wire.from_}
    else:
        loads = {wiring.runs[b].wire.to for b in wiring.below(run.id) if not wiring.runs[b].is_motor_lead}
    total = 0.0
    for controller in build.controllers:
        if controller.id in loads:
            stated = [a for a in (controller.continuous_A, controller.current_limit_A) if a is not None]
            if not stated:
                return None
            total += min(stated)
    for regulator in build.regulators:
        if regulator.id in loads or regulator.from_ in loads:
            if regulator.rated_A is None or regulator.output_V is None:
                return None
            lowest = 3.3 * build.cells
            total += regulator.rated_A * regulator.output_V / (0.75 * lowest)
    return total


def _prospective_A(build: Build, pack: Pack | None, wiring: Tree, run: Run) -> float | None:
    """Current of a dead short at the end of the run."""
    if pack is None or pack.resistance_mohm is None:
        return None
    loop = path_mohm(wiring, run.wire.to)
    if loop is None:
        return None
    return 1000.0 * FULL_CELL_V * pack.cells / (pack.resistance_mohm + loop)


def _fuse_rows(build: Build, pack: Pack | None, wiring: Tree, run: Run, settings: Settings) -> list[Row]:
    """fuse_protects_wire: the fuse of the run, or the nearest one above it."""
    if run.is_motor_lead:
        return []
    above = [wiring.runs[r] for r in wiring.path_to(run.wire.to)]
    fuse = next((f for r in reversed(above) for f in r.fuses), None)
    try:
        wire = run_of_wire(run.wire)
        body = body_of_fuse(fuse) if fuse is not None else None
        limit = weakest_limit(run.wire.insulation, stated_degC=run.wire.limit_degC)
        found = fuse_against_wire(
            body,
            wire,
            limit,
            prospective_A=_prospective_A(build, pack, wiring, run),
            air_degC=_air(build, settings),
        )
    except OutsideValidity as outside:
        return [NotChecked("fuse_protects_wire", run.id, str(outside), outside.mend)]
    return [_fuse_row(build, run, fuse.id if fuse is not None else "", found)]


def _fuse_row(build: Build, run: Run, fuse_id: str, found: FuseWire) -> Row:
    notes = "; ".join(found.notes)
    if found.protection == "unknown":
        return NotChecked(
            "fuse_protects_wire",
            run.id,
            "the current of a dead short is not known",
            "state resistance_mohm of the pack and the lengths of the wires, and give --pack",
        )
    over = found.protection == "does not protect"
    if found.protection == "protects" and found.let_through_A2s is not None:
        return Passed(
            "fuse_protects_wire",
            run.id,
            found.let_through_A2s,
            found.withstand_A2s,
            "A²s",
            100.0 * (1.0 - min(found.let_through_A2s / found.withstand_A2s, 1.0)),
            rating_source=f"{fuse_id}, IEC 60364-5-54",
            note=notes,
        )
    return Finding(
        kind="wiring_fault",
        cause="short" if over else "thin_wire",
        part=run.id,
        channel=None,
        start_s=0.0,
        end_s=0.0,
        measured=found.let_through_A2s if over else None,
        low=None,
        high=None,
        unit="A²s",
        verdict="over" if over and not found.rests_on_memory else "note",
        confidence="likely",
        limit=found.withstand_A2s if over else None,
        margin_pct=None,
        evidence=tuple(found.notes),
        rating_source=f"{_name(build)} {fuse_id or run.id}",
        check="fuse_protects_wire",
    )


def _wire_row(build: Build, run: Run, demand_A: float | None, settings: Settings) -> Row:
    """wire_temperature after a match of full demand."""
    if demand_A is None:
        return NotChecked(
            "wire_temperature",
            run.id,
            "what its loads may draw is not stated",
            "state continuous_A of every controller",
        )
    try:
        wire = run_of_wire(run.wire)
        limit = weakest_limit(run.wire.insulation, stated_degC=run.wire.limit_degC)
        edges = np.arange(0.0, MATCH_S + 0.25, 0.25)
        square = np.full(len(edges) - 1, demand_A**2)
        load = Binned(edges, square, np.ones(len(square)), square, square)
        heat = wire_heat([wire], [load], _air(build, settings), air_uncertainty_K=settings.air_uncertainty_K)[0]
    except OutsideValidity as outside:
        return NotChecked("wire_temperature", run.id, str(outside), outside.mend)
    held = Held(
        "wire_temperature",
        run.id,
        limit.value,
        _air(build, settings),
        "degC",
        str(limit.source),
        "thermal_buildup",
        from_memory=limit.is_memory,
        cause="thin_wire",
    )
    note = f"after {MATCH_S:.0f} s of the {demand_A:.0f} A that its loads may draw all the time"
    return _not_over(judge(held, heat.peak, (0.0, MATCH_S), settings, note=note))


def _not_over(row: Row) -> Row:
    """A sum of continuous ratings is what could flow and not what does: close at most, a log decides."""
    if isinstance(row, Finding) and row.verdict == "over":
        return replace(row, verdict="close")
    return row


def _contact_rows(build: Build, run: Run, demand_A: float | None, settings: Settings) -> list[Row]:
    rows: list[Row] = []
    for contact in run.contacts:
        if contact.rated_A is None:
            rows.append(not_stated("contact_current", contact.id, "rated_A", _name(build)))
        elif demand_A is None:
            mend = "state continuous_A of every controller"
            rows.append(NotChecked("contact_current", contact.id, "what its loads may draw is not stated", mend))
        else:
            held = Held(
                "contact_current",
                contact.id,
                contact.rated_A,
                0.0,
                "A",
                f"{_name(build)} {contact.id}.rated_A",
                "current_spike",
            )
            figure = Measured.exact(demand_A, "all loads at their continuous figure at once: no match does that")
            rows.append(_not_over(judge(held, figure, (0.0, MATCH_S), settings)))
    return rows


def _supply_rows(build: Build, pack: Pack | None, settings: Settings) -> list[Row]:
    """rail_voltage of the regulator against the receiver, and its input against the pack's lowest."""
    rows: list[Row] = []
    for regulator in build.regulators:
        minimum = build.receiver.minimum_V
        if minimum is None:
            rows.append(not_stated("rail_voltage", regulator.supplies, "receiver.minimum_V", _name(build)))
        elif regulator.output_V is None:
            rows.append(not_stated("rail_voltage", regulator.id, "output_V", _name(build)))
        else:
            held = Held(
                "rail_voltage",
                regulator.supplies,
                minimum,
                1.5 * regulator.output_V,
                "V",
                f"{_name(build)} receiver.minimum_V",
                "voltage_sag",
                "min",
            )
            rows.append(judge(held, Measured.exact(regulator.output_V, "stated output"), (0.0, 0.0), settings))
        lowest = pack.cell_minimum_V if pack is not None else None
        if regulator.minimum_input_V is None:
            rows.append(not_stated("regulator_input", regulator.id, "minimum_input_V", _name(build)))
        elif lowest is None or pack is None:
            rows.append(NotChecked("regulator_input", regulator.id, "no pack is named", "give --pack"))
        else:
            held = Held(
                "regulator_input",
                regulator.id,
                regulator.minimum_input_V,
                FULL_CELL_V * pack.cells,
                "V",
                f"{_name(build)} {regulator.id}.minimum_input_V",
                "voltage_sag",
                "min",
            )
            figure = Measured.exact(lowest * pack.cells, "pack at its cell minimum")
            rows.append(judge(held, figure, (0.0, 0.0), settings))
    return rows


def _sag_rows(
    build: Build, pack: Pack | None, wiring: Tree, demand: dict[str, float | None], settings: Settings
) -> list[Row]:
    """controller_cutoff: a half-charged pack under everything the controllers' own limits allow at once."""
    rows: list[Row] = []
    for controller in build.controllers:
        if controller.cutoff_V is None:
            rows.append(not_stated("controller_cutoff", controller.id, "cutoff_V", _name(build)))
            continue
        loop = path_mohm(wiring, controller.id)
        limits = [c.current_limit_A or c.burst_A for c in build.controllers]
        if pack is None or pack.resistance_mohm is None or loop is None or any(a is None for a in limits):
            rows.append(
                NotChecked(
                    "controller_cutoff",
                    controller.id,
                    "the expected sag is not known",
                    "state resistance_mohm of the pack, lengths of the wires and the controllers' current limits",
                )
            )
            continue
        total = sum(a for a in limits if a is not None)
        rest = 3.80 * pack.cells  # half charge: Ai2020, Ecker and Chen and Rincon-Mora agree within 16 mV
        volts = rest - total * (pack.resistance_mohm + loop) / 1000.0
        note = f"half-charged pack, {total:.0f} A at once: every controller at its limit"
        if volts < controller.cutoff_V:
            note += f"; under its cutoff of {controller.cutoff_V:g} V, so it may cut at a full spin-up"
        rows.append(Estimate("expected_lowest_V", controller.id, volts, volts - 1.5, volts + 1.5, "V", "Ohm", note))
    return rows


def _mass_rows(build: Build, wiring: Tree) -> list[Row]:
    rows: list[Row] = []
    total = 0.0
    unknown = []
    for run in wiring.runs.values():
        try:
            wire = run_of_wire(run.wire)
        except OutsideValidity:
            unknown.append(run.id)
            continue
        if run.wire.length_mm is None:
            unknown.append(run.id)
            continue
        total += wire.size.mass_g_per_m * wire.parallel * run.wire.length_mm / 1000.0 * run.wire.conductors
    if total > 0:
        note = f"without {', '.join(unknown)}" if unknown else ""
        rows.append(Estimate("wiring_mass_g", "", total, 0.9 * total, 1.1 * total, "g", "copper and jacket", note))
    mass, limit = build.build.mass_kg, build.build.mass_limit_kg
    if mass is None or limit is None:
        rows.append(not_stated("mass", build.id, "mass_kg and mass_limit_kg", _name(build)))
    elif mass <= limit:
        rows.append(Passed("mass", build.id, mass, limit, "kg", 100.0 * (limit - mass) / limit))
    else:
        rows.append(
            Finding(
                "wiring_fault", "unknown", build.id, None, 0.0, 0.0, mass, mass, mass, "kg", "over", "certain", limit,
                100.0 * (limit - mass) / limit, check="mass", rating_source=f"{_name(build)} mass_limit_kg",
            )
        )  # fmt: skip
    assert math.isfinite(total)
    return rows
