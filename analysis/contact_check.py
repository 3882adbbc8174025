"""contact_temperature: every contact in its run; where the taps saw a bad joint, the joints of that run as a whole."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from analysis.binned import Binned
from analysis.contact_sensors import sensed
from analysis.contacts import ContactHeat, body_of_contact, contact_heat, default_limit
from analysis.findings import Estimate, Finding, NotChecked, Passed
from analysis.match_data import MatchData
from analysis.outcome import Held, Outcome, Row, judge
from analysis.ratings import OutsideValidity
from analysis.run_loads import complete, i2_band, loads, signal_of
from analysis.signal import Floats, Measured
from analysis.taps import joints
from analysis.wiring import Run, Tree, currents_of
from ingest.builds import Contact

# What a contact that passes rests on: the model cannot see a joint that no voltage tap shows.
AS_MEASURED = "with what the voltage taps saw of its joints added to the resistance stated"
AS_STATED = "with its resistance as stated; a joint that came loose and no voltage tap shows would be hotter"


def contacts(data: MatchData, wiring: Tree) -> Outcome:
    """contact_temperature: every contact in its run; where the taps saw a bad joint, the run's joints as a whole."""
    assert data.build is not None
    rows: list[Row] = []
    curves: dict[str, object] = {}
    made = loads(data, wiring)
    for run in wiring.runs.values():
        load = made[run.id]
        bad = bad_joint(data, run.id, load) if isinstance(load, Binned) else None
        if bad is not None and isinstance(load, Binned):
            rows += _joint_rows(data, wiring, run, load, bad, curves)
            continue
        for contact in run.contacts:
            if isinstance(load, NotChecked):
                rows.append(NotChecked("contact_temperature", contact.id, load.reason, load.mend))
                continue
            heat = _contact_heat(data, wiring, run, contact, load)
            if isinstance(heat, NotChecked):
                rows.append(heat)
                continue
            curves[f"contact_degC:{contact.id}"] = (heat.t_s, heat.temp_degC, heat.low_degC, heat.high_degC)
            rows += contact_rows(data, contact.id, contact.limit_degC, heat, _unsure(data, wiring, run))
    for contact in data.build.contacts:
        if wiring.run_of_contact(contact.id) is None:
            mend = f'add "{contact.id}" to the through of a wire'
            rows.append(NotChecked("contact_temperature", contact.id, "it is in no run", mend))
    own = sensed(data)
    rows = [row for row in rows if row.part not in own] + [row for some in own.values() for row in some]
    return Outcome(tuple(rows), curves)


@dataclass(frozen=True, eq=False)
class BadJoint:
    """What the taps saw beyond the stated resistance in one run, (n,) mΩ in the bins of its load, and in words."""

    excess_mohm: Floats
    low_mohm: Floats
    high_mohm: Floats
    told: str


def bad_joint(data: MatchData, run_id: str, load: Binned) -> BadJoint | None:
    """Everything that lasting and passing bad joints add in a run; None where the taps saw none there.

    A joint that may sit in another run too adds nothing at the lower end. One that comes and goes is taken as bad
    through its bad stretches; at the upper end from the first to the last of them, at the lower end not at all.
    """
    seen = joints(data)
    start, end = load.edges_s[:-1], load.edges_s[1:]
    total = np.zeros((3, len(start)))
    told: list[str] = []
    for one in seen.steps:
        if run_id not in one.runs:
            continue
        after = start >= one.step.at_s.value
        change = one.step.change_mohm
        low = change.low if len(one.runs) == 1 and not one.from_pack else 0.0
        total += np.array([max(x, 0.0) * after for x in (change.value, low, change.high)])
        told.append(f"{change.value:.1f} mΩ were added in {run_id}")
    for moment in (f for f in seen.flickers if f.run == run_id):
        inside = np.logical_or.reduce([(end > a) & (start < b) for a, b, _ in moment.spans])
        ever = (end > min(a for a, _, _ in moment.spans)) & (start < max(b for _, b, _ in moment.spans))
        total += np.array([moment.mohm.value * inside, np.zeros(len(start)), moment.mohm.high * ever])
        told.append(f"up to {moment.mohm.value:.0f} mΩ came and went in {run_id}")
    return BadJoint(total[0], total[1], total[2], " and ".join(told)) if told else None


def _unsure(data: MatchData, wiring: Tree, run: Run) -> bool:
    current = currents_of(data, wiring)[run.id]
    return not complete(current) or i2_band(signal_of(current))[2]


def _contact_heat(
    data: MatchData, wiring: Tree, run: Run, contact: Contact, load: Binned, bad: BadJoint | None = None
) -> ContactHeat | NotChecked:
    low, high, _ = i2_band(signal_of(currents_of(data, wiring)[run.id]))
    none = np.zeros(load.mean_i2.shape)
    try:
        return contact_heat(
            body_of_contact(contact),
            load,
            data.air_degC[0],
            excess_mohm=none if bad is None else bad.excess_mohm,
            excess_low_mohm=none if bad is None else bad.low_mohm,
            excess_high_mohm=none if bad is None else bad.high_mohm,
            air_uncertainty_K=data.air_degC[1],
            i2_low_rel=low,
            i2_high_rel=high,
            at_least=_unsure(data, wiring, run),
        )
    except OutsideValidity as outside:
        return NotChecked("contact_temperature", contact.id, str(outside), outside.mend)


def _joint_rows(
    data: MatchData, wiring: Tree, run: Run, load: Binned, bad: BadJoint, curves: dict[str, object]
) -> list[Row]:
    """The bad joint is one of the run's; the coolest of them as it would be is the least it reached."""
    rows: list[Row] = []
    heats: list[tuple[Contact, ContactHeat]] = []
    for contact in run.contacts:
        heat = _contact_heat(data, wiring, run, contact, load, bad)
        if isinstance(heat, NotChecked):
            rows.append(heat)
        else:
            heats.append((contact, heat))
            reason = f"{bad.told}: in this one or in another of its joints"
            rows.append(NotChecked("contact_temperature", contact.id, reason, "remake the joints of this run"))
    if not heats:
        return rows
    by_heat = sorted(heats, key=lambda pair: -pair[1].peak.value)
    hottest, coolest = by_heat[0][1], by_heat[-1][1]
    limit = min((c.limit_degC for c, _ in heats if c.limit_degC is not None), default=None)
    judged = limit if limit is not None else default_limit().value
    # Which joint it is cannot be told, so the worst is shown and the least is its lower end: better remade in vain.
    spread = tuple(f"{h.peak.value:.0f} °C if it is {c.id}" for c, h in by_heat)
    peak = Measured(hottest.peak.value, coolest.peak.low, hottest.peak.high, hottest.peak.basis)
    curves[f"contact_degC:{run.id}"] = (hottest.t_s, hottest.temp_degC, coolest.low_degC, hottest.high_degC)
    past = sum(h.peak.value > judged for _, h in by_heat)
    for row in contact_rows(data, run.id, limit, replace(hottest, peak=peak), False, AS_MEASURED):
        if isinstance(row, Finding):
            row = replace(
                row,
                could_be=tuple(c.id for c, _ in by_heat),
                cause="contact_heating",
                consequence_of="joint",
                confidence="likely" if 2 * past >= len(by_heat) else "possible",
                evidence=(*spread, *row.evidence),
            )
        rows.append(row)
    return rows


def contact_rows(
    data: MatchData,
    contact_id: str,
    stated_degC: float | None,
    heat: ContactHeat,
    at_least: bool,
    note: str = AS_STATED,
) -> list[Row]:
    """The peak of a contact in °C as an estimate, and held against its limit; at_least: the load is a lower bound."""
    assert data.build is not None
    default = default_limit()
    limit = stated_degC if stated_degC is not None else default.value
    source = f"{data.build.source_name} {contact_id}.limit_degC" if stated_degC is not None else str(default.source)
    peak = heat.peak
    rows: list[Row] = [
        Estimate("contact_peak_degC", contact_id, peak.value, peak.low, peak.high, "degC", "first order", peak.basis)
    ]
    held = Held(
        "contact_temperature",
        contact_id,
        limit,
        data.air_degC[0],
        "degC",
        source,
        "thermal_buildup",
        "max",
        None,
        stated_degC is None and default.is_memory,
        cause="contact_heating",
    )
    over = heat.temp_degC > limit
    first = float(heat.t_s[over][0]) if over.any() else heat.peak_s
    last = float(heat.t_s[over][-1]) if over.any() else heat.peak_s
    row = judge(held, peak, (first, last), data.settings, at_least=at_least)
    if isinstance(row, Passed):
        row = replace(row, note=note)
    rows.append(row)
    return rows


def split_suspects(passed: Iterable[Passed], findings: Iterable[Finding]) -> tuple[list[Passed], list[NotChecked]]:
    """Passed rows that stand, and contacts that do not pass because a fault names or suspects them.

    Their temperature was worked out with their resistance as stated; what opened, bounced or came loose under load
    has another, and an arc besides.
    """
    stands: list[Passed] = []
    falls: list[NotChecked] = []
    faults = [f for f in findings if f.kind in ("wiring_fault", "power_loss") and f.verdict in ("fault", "over")]
    for row in passed:
        found = next((f for f in faults if row.part in (f.part, *f.could_be)), None)
        if row.note != AS_STATED or found is None:
            stands.append(row)
            continue
        reason = f"it may be what failed at {found.start_s:.1f} s: its stated resistance says nothing of it then"
        falls.append(NotChecked(row.check, row.part, reason, "look at it: browning, a loose pin, cracked solder"))
    return stands, falls
