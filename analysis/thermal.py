"""Thermal build-up: every wire run and contact by model, controllers and motors by their sensors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.binned import Binned, bin_signal
from analysis.contact_sensors import sensed
from analysis.contacts import ContactHeat, body_of_contact, contact_heat, default_limit
from analysis.findings import Estimate, Finding, NotChecked, Occurrence, Passed
from analysis.match_data import MatchData
from analysis.outcome import Held, Outcome, Row, joined, judge, not_logged, not_stated
from analysis.ratings import OutsideValidity, weakest_limit
from analysis.signal import Floats, Measured, Signal
from analysis.taps import JointStep, joint_step
from analysis.wire_heat import RunHeat, wire_heat
from analysis.wire_run import WireRun, run_of_wire
from analysis.wiring import NoCurrent, Run, RunCurrent, Tree, currents_of, tree
from ingest.builds import Contact

# i² from samples this far apart is a guess of what lies between (our choice: a hit lasts 0.1 to 0.3 s).
SLOW_PERIOD_S = 0.25
TOO_SLOW_S = 1.0
SLOW_I2_LOW, SLOW_I2_HIGH = 0.3, 0.5
# A sensor taped to a part reads its surface: it may be off by this (our choice).
SENSOR_K = 1.0
# What a contact that passes rests on: the model cannot see a joint that no voltage tap shows.
AS_STATED = "with its resistance as stated; a joint that came loose and no voltage tap shows would be hotter"


def check(data: MatchData) -> Outcome:
    outcomes = []
    if data.build is not None:
        wiring = tree(data.build)
        outcomes += [wires(data, wiring), contacts(data, wiring)]
    outcomes.append(sensors(data))
    return joined(outcomes)


def loads(data: MatchData, wiring: Tree) -> dict[str, Binned | NotChecked]:
    """i² of every run in common bins over the match window, made once."""
    if "loads" not in data.memo:
        found: dict[str, Binned | NotChecked] = {}
        for run_id, current in currents_of(data, wiring).items():
            found[run_id] = _load(data, run_id, current)
        data.memo["loads"] = found
    made: dict[str, Binned | NotChecked] = data.memo["loads"]
    return made


def _load(data: MatchData, run_id: str, current: RunCurrent | NoCurrent) -> Binned | NotChecked:
    if isinstance(current, NoCurrent):
        return NotChecked("wire_temperature", run_id, current.reason, current.mend)
    if data.window is None:
        return NotChecked("wire_temperature", run_id, "no match window", "log a current")
    if current.signal.period_s > TOO_SLOW_S:
        rate = 1.0 / current.signal.period_s
        return NotChecked(
            "wire_temperature",
            run_id,
            f"{current.signal.channel} at {rate:.2g} Hz hides its peaks",
            "log at 10 Hz or more",
        )
    try:
        return bin_signal(current.signal, data.settings.wire_bin_s, data.window.start_s, data.window.end_s)
    except OutsideValidity as outside:
        return NotChecked("wire_temperature", run_id, str(outside), outside.mend)


def i2_band(signal: Signal) -> tuple[float, float, bool]:
    """How far i² may lie below and above as shares, and whether it is only a lower bound."""
    gain = 4.0 * signal.gain_rel  # two sigma, squared
    low, high = gain, gain
    slow = signal.period_s > SLOW_PERIOD_S
    if slow:
        low, high = low + SLOW_I2_LOW, high + SLOW_I2_HIGH
    return low, high, bool(signal.clipped.any()) or (slow and signal.detector == "average")


def wires(data: MatchData, wiring: Tree) -> Outcome:
    """wire_temperature: every run against its weakest part."""
    assert data.build is not None
    rows: list[Row] = []
    curves: dict[str, object] = {}
    made = loads(data, wiring)
    currents = currents_of(data, wiring)
    models: list[WireRun] = []
    binned: list[Binned] = []
    for run in wiring.runs.values():
        load = made[run.id]
        if isinstance(load, NotChecked):
            rows.append(load)
            continue
        try:
            models.append(run_of_wire(run.wire))
            binned.append(load)
        except OutsideValidity as outside:
            rows.append(NotChecked("wire_temperature", run.id, str(outside), outside.mend))
    if not models:
        return Outcome(tuple(rows))
    air, air_off, air_source = data.air_degC
    bands = [i2_band(_signal(currents[m.id])) for m in models]
    unsure = [not _complete(currents[m.id]) or band[2] for m, band in zip(models, bands, strict=True)]
    try:
        heated = wire_heat(
            models,
            binned,
            air,
            air_uncertainty_K=air_off,
            i2_low_rel=[band[0] for band in bands],
            i2_high_rel=[band[1] for band in bands],
            at_least=unsure,
        )
    except OutsideValidity as outside:
        rows += [NotChecked("wire_temperature", m.id, str(outside), outside.mend) for m in models]
        return Outcome(tuple(rows))
    for heat, at_least in zip(heated, unsure, strict=True):
        run = wiring.runs[heat.run.id]
        curves[f"wire_degC:{run.id}"] = (heat.t_s, heat.temp_degC, heat.low_degC, heat.high_degC)
        rows += _wire_rows(data, run, heat, at_least, air, air_source, currents[run.id])
    return Outcome(tuple(rows), curves)


def _signal(current: RunCurrent | NoCurrent) -> Signal:
    assert isinstance(current, RunCurrent)
    return current.signal


def _complete(current: RunCurrent | NoCurrent) -> bool:
    return isinstance(current, RunCurrent) and current.complete


def _wire_rows(
    data: MatchData,
    run: Run,
    heat: RunHeat,
    at_least: bool,
    air: float,
    air_source: str,
    current: RunCurrent | NoCurrent,
) -> list[Row]:
    assert data.build is not None
    limit = weakest_limit(run.wire.insulation, stated_degC=run.wire.limit_degC)
    peak = heat.peak
    how = current.how if isinstance(current, RunCurrent) else ""
    rows: list[Row] = [
        Estimate(
            "wire_peak_degC",
            run.id,
            peak.value,
            peak.low,
            peak.high,
            "degC",
            f"energy balance per metre from {how}",
            f"air {air:.0f} °C ({air_source}); {peak.basis}",
        )
    ]
    first = heat.first_above_s(limit.value)
    span = (first if first is not None else heat.peak_s, float(heat.t_s[-1]) if first is not None else heat.peak_s)
    source = f"{data.build.source_name} {run.id}.limit_degC" if run.wire.limit_degC is not None else str(limit.source)
    held = Held(
        "wire_temperature",
        run.id,
        limit.value,
        air,
        "degC",
        source,
        "thermal_buildup",
        "max",
        None,
        limit.is_memory and run.wire.limit_degC is None,
        cause="thin_wire",
    )
    rows.append(judge(held, peak, span, data.settings, at_least=at_least, evidence=(f"current: {how}",)))
    return rows


def contacts(data: MatchData, wiring: Tree) -> Outcome:
    """contact_temperature: every contact in its run; where a joint stepped up, the run's joint as a whole."""
    assert data.build is not None
    rows: list[Row] = []
    curves: dict[str, object] = {}
    made = loads(data, wiring)
    joint = joint_step(data)
    for run in wiring.runs.values():
        load = made[run.id]
        if joint is not None and run.id in joint.runs and isinstance(load, Binned):
            rows += _joint_rows(data, wiring, run, load, joint, curves)
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


def _unsure(data: MatchData, wiring: Tree, run: Run) -> bool:
    current = currents_of(data, wiring)[run.id]
    return not _complete(current) or i2_band(_signal(current))[2]


def _contact_heat(
    data: MatchData,
    wiring: Tree,
    run: Run,
    contact: Contact,
    load: Binned,
    excess: tuple[Floats, Floats, Floats] | None = None,
) -> ContactHeat | NotChecked:
    low, high, _ = i2_band(_signal(currents_of(data, wiring)[run.id]))
    zero = np.zeros(load.mean_i2.shape)
    middle, less, more = excess or (zero, zero, zero)
    try:
        return contact_heat(
            body_of_contact(contact),
            load,
            data.air_degC[0],
            excess_mohm=middle,
            excess_low_mohm=less,
            excess_high_mohm=more,
            air_uncertainty_K=data.air_degC[1],
            i2_low_rel=low,
            i2_high_rel=high,
            at_least=_unsure(data, wiring, run),
        )
    except OutsideValidity as outside:
        return NotChecked("contact_temperature", contact.id, str(outside), outside.mend)


def _joint_rows(
    data: MatchData, wiring: Tree, run: Run, load: Binned, joint: JointStep, curves: dict[str, object]
) -> list[Row]:
    """The joint that stepped up is one of the run's; the coolest of them as it would be is the least it reached."""
    rows: list[Row] = []
    after = load.edges_s[:-1] >= joint.step.at_s.value
    change = joint.step.change_mohm
    excess = tuple(np.where(after, max(m, 0.0), 0.0) for m in (change.value, change.low, change.high))
    heats: list[tuple[Contact, ContactHeat]] = []
    for contact in run.contacts:
        heat = _contact_heat(data, wiring, run, contact, load, (excess[0], excess[1], excess[2]))
        if isinstance(heat, NotChecked):
            rows.append(heat)
        else:
            heats.append((contact, heat))
            reason = f"{change.value:.1f} mΩ were added in {run.id}: in this one or in another of its joints"
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
    for row in contact_rows(data, run.id, limit, replace(hottest, peak=peak), False):
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
    data: MatchData, contact_id: str, stated_degC: float | None, heat: ContactHeat, at_least: bool
) -> list[Row]:
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
        row = replace(row, note=AS_STATED)
    rows.append(row)
    return rows


def sensors(data: MatchData) -> Outcome:
    """controller_temperature and motor_temperature from their own channels."""
    if data.build is None:
        return Outcome()
    rows: list[Row] = []
    name = data.build.source_name or "the build file"
    for controller in data.build.controllers:
        rows += _sensed(data, "controller_temperature", controller.id, controller.limit_degC, name)
    for motor in data.build.motors:
        rows += _sensed(data, "motor_temperature", motor.id, motor.limit_degC, name)
    return Outcome(tuple(rows))


def _sensed(data: MatchData, check_name: str, part: str, limit: float | None, file_name: str) -> list[Row]:
    channel = f"{part}_temp_degC"
    signal = data.inside(channel)
    if signal is None:
        return [not_logged(check_name, part, channel)]
    at = int(signal.x.argmax())
    value, when = float(signal.x[at]), float(signal.t_s[at])
    spread = SENSOR_K + 2.0 * signal.noise
    figure = Measured(value, value - spread, value + spread, "hottest sample of its own sensor")
    rows: list[Row] = []
    if check_name == "controller_temperature":
        rows.append(Estimate("controller_peak_degC", part, value, figure.low, figure.high, "degC", "own sensor"))
    else:
        rows.append(Estimate("motor_peak_degC", part, value, figure.low, figure.high, "degC", "own sensor"))
    if limit is None:
        rows.append(not_stated(check_name, part, "limit_degC", file_name))
        return rows
    over = signal.x > limit
    start = float(signal.t_s[over][0]) if over.any() else when
    held = Held(
        check_name,
        part,
        limit,
        data.air_degC[0],
        "degC",
        f"{file_name} {part}.limit_degC",
        "thermal_buildup",
        "max",
        channel,
    )
    rows.append(judge(held, figure, (start, when), data.settings, occurrences=(Occurrence(start, when, value),)))
    return rows
