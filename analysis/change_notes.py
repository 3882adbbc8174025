"""What a change does that no replay of a match shows: a rating only rewritten, a wire its fuse no longer protects, a
cutoff that lets the pack run empty, grams over the limit. And figures that no robot has, refused before they are tried.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.build_check import BuildCheck, check_build
from analysis.charging import LEAST_CELL_V
from analysis.findings import Finding, Passed
from analysis.masses import room_g
from analysis.wording.names import name_of
from ingest.builds import Build, Controller, Pack

if TYPE_CHECKING:
    from analysis.changes import Changes

# What a robot cannot have, our choice: ten metres are longer than any run in one, an ohm in a joint is an open one,
# and 5,000 A melt any of its wires at once.
MOST = {
    "length_mm": (10_000.0, "mm"),
    "resistance_mohm": (1_000.0, "mΩ"),
    "resistance_mohm_per_m": (10_000.0, "mΩ/m"),
    "gear_ratio": (1_000.0, ""),
    "capacity_Ah": (1_000.0, "Ah"),
    "mass_g": (100_000.0, "g"),
    "parallel": (40.0, ""),
    "count": (40.0, ""),
    "current_limit_A": (5_000.0, "A"),
    "rated_A": (5_000.0, "A"),
    "ramp_s": (60.0, "s"),
}
LEAST = {"length_mm": (1.0, "mm"), "gear_ratio": (0.01, ""), "capacity_Ah": (0.01, "Ah")}
# Keys that say what a part may bear or needs: another figure there is another part, not a mended one.
RATINGS = {
    "rated_A", "continuous_A", "burst_A", "burst_s", "limit_degC", "minimum_V", "maximum_V", "continuous_C", "burst_C",
    "charge_C", "minimum_cell_V", "curve", "insulation", "rating_basis", "minimum_input_V", "chemistry",
    "insulation_class",
}  # fmt: skip


def beyond_sense(field: str, value: object) -> str:
    """Why a figure cannot be, in words; empty where it can."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < float("inf"):
        return ""  # what is below zero or no number the file's own rules refuse
    most, unit = MOST.get(field, (float("inf"), ""))
    if value > most:
        return f"at most {most:g} {unit}".strip()
    least, unit = LEAST.get(field, (float("-inf"), ""))
    return f"at least {least:g} {unit}".strip() if value < least else ""


def change_notes(build: Build, pack: Pack | None, changes: Changes) -> tuple[str, ...]:
    """What is to be said beside the replay; build and pack: as they were."""
    found = [note for text in changes.texts if (note := _rating(text))]
    found += _cutoffs(build, pack, changes)
    found += _limits(build, changes)
    found += _parallel(pack, changes)
    found += _fuses(build, pack, changes)
    found += _mass(changes)
    return tuple(found)


def _rating(text: str) -> str:
    key, _, value = text.partition(" = ")
    field = key.rpartition(".")[2]
    if field not in RATINGS:
        return ""
    return f"only the paper changes: {key} is a rating, and written as {value} it makes no part better"


def _cutoffs(build: Build, pack: Pack | None, changes: Changes) -> list[str]:
    now = changes.pack or pack
    if now is None:
        return []
    least_V = max(LEAST_CELL_V, now.cell_minimum_V or 0.0)
    old = {c.id: c for c in build.controllers}
    found = []
    for c in changes.build.controllers:
        was = old.get(c.id)
        if c.cutoff_V is None or was is None or c.cutoff_V == was.cutoff_V:
            continue
        each = c.cutoff_V / now.cells
        if each < least_V and (was.cutoff_V is None or c.cutoff_V < was.cutoff_V):
            found.append(
                f"a cutoff of {c.cutoff_V:g} V lets the pack fall to {each:.2f} V a cell, minimum {least_V:.1f} V:"
                " it spoils the pack and cures nothing"
            )
    return found


def _limits(build: Build, changes: Changes) -> list[str]:
    def raised(old: Controller, new: Controller) -> bool:
        return old.current_limit_A is not None and (new.current_limit_A or float("inf")) > old.current_limit_A

    old = {c.id: c for c in build.controllers}
    found = []
    for c in changes.build.controllers:
        was = old.get(c.id)
        if was is None or c.current_limit_A == was.current_limit_A:
            continue
        if raised(was, c):
            found.append(
                f"a higher current limit of the {name_of(c.id)} cures nothing: the next match may draw all of it"
            )
        elif c.current_limit_A is not None:
            found.append(
                f"a limit of {c.current_limit_A:g} A leaves the {name_of(c.id)} less torque: what it then no longer "
                "lifts, pushes or spins up to, no replay shows"
            )
    return found


def _parallel(pack: Pack | None, changes: Changes) -> list[str]:
    if pack is None or changes.pack is None or changes.pack.parallel <= pack.parallel:
        return []
    return [
        "packs side by side only where they are alike, of one age and at equal volts when they are joined: else one "
        "drives current into the other; measure both first"
    ]


def _fuses(build: Build, pack: Pack | None, changes: Changes) -> list[str]:
    """Runs that the fuse above them protected before and does not any more."""
    if build == changes.build:
        return []
    was, now = check_build(build, pack), check_build(changes.build, changes.pack)
    lost = (_fused(was, Passed) - _fused(now, Passed)) | (_fused(now, Finding) - _fused(was, Finding))
    return [f"no fuse would protect the {name_of(run)} any more: a short could burn the wire" for run in sorted(lost)]


def _fused(checked: BuildCheck, kind: type) -> set[str]:
    """Runs whose fuse protects them (Passed), or surely does not (Finding)."""
    return {
        row.part
        for row in checked.of(kind)
        if isinstance(row, Passed | Finding)
        and row.check == "fuse_protects_wire"
        and (isinstance(row, Passed) or row.verdict == "over")
    }


def _mass(changes: Changes) -> list[str]:
    """Over the limit whatever is changed here."""
    room = room_g(changes.build)
    over = room is not None and room < 0
    return [f"the robot is {-(room or 0.0):.0f} g over its mass limit already, before this change"] if over else []
