"""A run that measures more than its build explains: a thinner or longer wire, or a joint worse than stated.

The models of heat know a wire by its stated gauge and a joint by its stated resistance. Where the voltage taps on both
ends of a run say that it has more than its copper, hot and of fine strands, and all its joints can have, the rest sits
somewhere that no model heats: nothing in that run passes on its stated figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from analysis.contact_check import AS_STATED
from analysis.findings import NotChecked, Passed
from analysis.match_data import MatchData
from analysis.metrics_robot import harness_figures
from analysis.outcome import Row
from analysis.ratings import COPPER_RANGE_DEGC, OutsideValidity, copper_factor
from analysis.taps import joints
from analysis.wire_run import run_of_wire
from analysis.wiring import Run, Tree

# A sound plug, terminal or switch whose resistance is not stated has less than this, mΩ a pole (our choice, as for the
# step that counts as a bad joint).
JOINT_MOHM: Final = 1.0
# A blade fuse drops at most about this at its rated current, V (common practice: makers print 80 to 130 mV).
FUSE_V: Final = 0.13
# ... and this much more is still taps and lengths measured by a rule, as a share and in mΩ (our choice).
SLACK_REL, SLACK_MOHM = 0.1, 0.2
MEND: Final = "measure the wire and its length, and its joints with a milliohmmeter; correct the build file"


def as_stated(data: MatchData, wiring: Tree, rows: Iterable[Row], hottest_degC: Mapping[str, float]) -> list[Row]:
    """The rows of wire_temperature and contact_temperature, not passed where their run is not as stated.

    hottest_degC: by run, the upper end of its copper's temperature as the model has it.
    """
    kept = list(rows)
    if not any(isinstance(row, Passed) for row in kept):
        return kept
    told = unlike(data, wiring, hottest_degC)
    run_of = {c.id: run.id for run in wiring.runs.values() for c in run.contacts}
    out: list[Row] = []
    for row in kept:
        run_id = run_of.get(row.part, row.part) if isinstance(row, Passed) else ""
        # A contact with a sensor of its own is known by that.
        modelled = isinstance(row, Passed) and (row.check == "wire_temperature" or row.note == AS_STATED)
        if isinstance(row, Passed) and modelled and run_id in told:
            out.append(NotChecked(row.check, row.part, told[run_id], MEND))
        else:
            out.append(row)
    return out


def unlike(data: MatchData, wiring: Tree, hottest_degC: Mapping[str, float]) -> dict[str, str]:
    """By run, in words: what its taps measure and what its build explains at most; only runs beyond it.

    A run whose joint came loose in the match is left to the checks of joints.
    """
    if data.build is None or data.window is None or not hottest_degC:
        return {}
    seen = joints(data)
    loose = {run for step in seen.steps for run in step.runs} | {moment.run for moment in seen.flickers}
    found: dict[str, str] = {}
    for run_id, figure in harness_figures(data)[0].items():
        if run_id in loose or run_id not in hottest_degC:
            continue
        run = wiring.runs[run_id]
        most = explained_mohm(run, hottest_degC[run_id])
        if most is not None and figure.low > most * (1.0 + SLACK_REL) + SLACK_MOHM:
            found[run_id] = (
                f"between its taps {run_id} has {figure.value:.1f} mΩ; its wire and joints as stated have up to "
                f"{most:.1f} mΩ: a thinner or longer wire, or a poor joint"
            )
    return found


def explained_mohm(run: Run, copper_degC: float) -> float | None:
    """The most a run may have by its build, out and back, mΩ: copper at that temperature, its joints and fuses.

    None where the build states no length or gauge.
    """
    if run.wire.length_mm is None:
        return None
    try:
        wire = run_of_wire(run.wire)
    except OutsideValidity:
        return None
    cold = wire.mohm_per_m / wire.parallel * run.wire.length_mm / 1000.0 * min(run.wire.conductors, 2)
    low, high = COPPER_RANGE_DEGC
    total = cold * (1.0 + wire.resistance_spread) * copper_factor(min(max(copper_degC, low), high))
    for contact in run.contacts:
        each = JOINT_MOHM if contact.resistance_mohm is None else contact.resistance_mohm
        total += each * contact.pole_count
    for fuse in run.fuses:
        total += 1e3 * FUSE_V / fuse.rated_A if fuse.rated_A else 5.0 * JOINT_MOHM
    return total
