"""Thermal build-up: every wire run by its model, controllers and motors by their sensors."""

from __future__ import annotations

from analysis.binned import Binned
from analysis.contact_check import contacts
from analysis.covered import judge_seen
from analysis.findings import Estimate, NotChecked, Occurrence
from analysis.match_data import MatchData
from analysis.outcome import Held, Outcome, Row, joined, judge, not_logged, not_stated
from analysis.ratings import OutsideValidity, weakest_limit
from analysis.run_as_stated import as_stated
from analysis.run_loads import complete, i2_band, loads, signal_of
from analysis.signal import Measured
from analysis.wire_heat import RunHeat, wire_heat
from analysis.wire_run import WireRun, run_of_wire
from analysis.wiring import NoCurrent, Run, RunCurrent, Tree, currents_of, tree

# A sensor taped to a part reads its surface: it may be off by this (our choice).
SENSOR_K = 1.0


def check(data: MatchData) -> Outcome:
    outcomes = []
    if data.build is not None:
        wiring = tree(data.build)
        both = joined([wires(data, wiring), contacts(data, wiring)])
        heated = {name.partition(":")[2]: curve for name, curve in both.curves.items() if name.startswith("wire_degC:")}
        hottest = {run: float(curve[3].max()) for run, curve in heated.items()}
        outcomes.append(Outcome(tuple(as_stated(data, wiring, both.rows, hottest)), both.curves))
    outcomes.append(sensors(data))
    return joined(outcomes)


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
    bands = [i2_band(signal_of(currents[m.id])) for m in models]
    unsure = [not complete(currents[m.id]) or band[2] for m, band in zip(models, bands, strict=True)]
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
    rows.append(judge_seen(data, held, signal, figure, (start, when), occurrences=(Occurrence(start, when, value),)))
    return rows
