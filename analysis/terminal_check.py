"""contact_drop: what a stud or screw terminal drops at a test current, against what a sound one may.

The limit is that of stud terminals in MIL-DTL-83454A: 7.5 mV at 25 to 43 A, held here at 43 A. It says that a joint
is made well, not that it is safe: what its heat does is `contact_temperature`'s question.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from analysis.contact_drop import STUD_TEST_A, drop_mV, stud_terminal_check
from analysis.findings import Finding, NotChecked
from analysis.match_data import MatchData
from analysis.metrics_robot import harness_figures
from analysis.outcome import Held, Outcome, Row, judge
from analysis.ratings import COPPER_RANGE_DEGC, OutsideValidity, copper_factor, rating, weakest_limit
from analysis.settings import Settings
from analysis.signal import Measured
from analysis.wire_run import run_of_wire
from analysis.wiring import Run, Tree, tree
from ingest.builds import Build, Contact

CHECK: Final = "contact_drop"
TEST_A: Final = STUD_TEST_A[1]
MEND: Final = "tap the voltage on both sides of the terminal alone, or measure it with a milliohmmeter"


def check(data: MatchData) -> Outcome:
    """Every terminal of the build by what the taps on both sides of its run measured."""
    if data.build is None:
        return Outcome()
    wiring = tree(data.build)
    terminals = [c for c in data.build.contacts if c.kind == "terminal"]
    figures = harness_figures(data)[0] if terminals and data.window is not None else {}
    return Outcome(tuple(_measured(data, wiring, contact, figures) for contact in terminals))


def _measured(data: MatchData, wiring: Tree, contact: Contact, figures: dict[str, Measured]) -> Row:
    run_id = wiring.run_of_contact(contact.id)
    if run_id is None:
        return NotChecked(CHECK, contact.id, "it is in no run", f'add "{contact.id}" to the through of a wire')
    run, figure = wiring.runs[run_id], figures.get(run_id)
    if figure is None:
        reason = f"no two voltage taps tell the resistance of {run.id}{_stated(contact)}"
        return NotChecked(CHECK, contact.id, reason, MEND)
    others = [c.id for c in run.contacts if c.kind != "terminal"]
    if others:
        reason = f"{', '.join(others)} lie between the same taps{_stated(contact)}"
        return NotChecked(CHECK, contact.id, reason, MEND)
    try:
        cold, warm = copper_mohm(run)
    except OutsideValidity as outside:
        return NotChecked(CHECK, contact.id, str(outside), outside.mend)
    count = sum(c.pole_count for c in run.contacts)
    # All of what is left may be in one of them; at least its even share is in the worst.
    low, high = max(figure.low - warm, 0.0) / count, figure.high - cold
    middle = min(max((figure.value - (cold + warm) / 2) / count, low), high)
    if high <= 0:
        reason = "its run measures less than its copper alone: its length or gauge is not as stated"
        return NotChecked(CHECK, contact.id, reason, f"correct the length_mm or gauge of {run.id}")
    limit = rating("stud_terminal_drop_max")
    at = [drop_mV(TEST_A, r) for r in (middle, low, high)]
    basis = f"at {TEST_A:g} A: {figure.value:.2f} mΩ of {run.id} less {cold:.2f} to {warm:.2f} mΩ of its copper"
    if at[1] <= limit.value < at[2]:
        reason = f"{at[1]:.1f} to {at[2]:.1f} mV {basis}; the limit is {limit.value:g} mV: the copper hides it"
        return NotChecked(CHECK, contact.id, reason, MEND)
    span = (data.window.start_s, data.window.end_s) if data.window is not None else (0.0, 0.0)
    return judge(_held(contact), Measured(at[0], at[1], at[2], basis), span, data.settings)


def stated_rows(build: Build, run: Run, settings: Settings) -> list[Row]:
    """The terminals of a run by the resistance that the build states; beyond the limit it is a note."""
    rows: list[Row] = []
    for contact in run.contacts:
        if contact.kind != "terminal":
            continue
        if contact.resistance_mohm is None:
            mend = f"measure resistance_mohm of {contact.id} and state it in {build.source_name or 'the build file'}"
            rows.append(NotChecked(CHECK, contact.id, "resistance_mohm is not stated", mend))
            continue
        found = stud_terminal_check(contact.resistance_mohm, TEST_A)
        figure = Measured.exact(found.drop_mV, f"{contact.resistance_mohm:g} mΩ as stated, at {TEST_A:g} A")
        row = judge(_held(contact), figure, (0.0, 0.0), settings)
        rows.append(replace(row, verdict="note") if isinstance(row, Finding) else row)
    return rows


def copper_mohm(run: Run) -> tuple[float, float]:
    """The run's copper out and back without its contacts, mΩ: least (20 °C) and most (at its insulation's limit).

    Raises OutsideValidity where the build states no length or gauge.
    """
    if run.wire.length_mm is None:
        raise OutsideValidity(f"length_mm of {run.id} is not stated", f"state length_mm of {run.id}")
    wire = run_of_wire(run.wire)
    limit = weakest_limit(run.wire.insulation, stated_degC=run.wire.limit_degC).value
    cold = wire.mohm_per_m / wire.parallel * run.wire.length_mm / 1000.0 * min(run.wire.conductors, 2)
    return cold, cold * (1.0 + wire.resistance_spread) * copper_factor(min(limit, COPPER_RANGE_DEGC[1]))


def _stated(contact: Contact) -> str:
    if contact.resistance_mohm is None:
        return ""
    return f"; as stated it drops {drop_mV(TEST_A, contact.resistance_mohm):.1f} mV at {TEST_A:g} A"


def _held(contact: Contact) -> Held:
    limit = rating("stud_terminal_drop_max")
    return Held(
        CHECK, contact.id, limit.value, 0.0, "mV", str(limit.source), "wiring_fault", from_memory=limit.is_memory,
        cause="terminal_loose",
    )  # fmt: skip
