"""Which way every supply current counts: discharge is positive in the log, whatever the file does.

What the file says comes first (a column of states), then what it counts (charge taken and charge given in columns of
their own), then what its voltage does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.delimited.column import ColumnEvidence
from ingest.delimited.meaning_draft import FITS, FOLLOWS, UNKNOWN, Draft
from ingest.delimited.sign_of_charge import Signs, signs_of
from ingest.delimited.ways import way_of

Sample = NDArray[np.float64]

ENOUGH: Final = 30  # our choice: rows with both figures before anything is said about two columns
_ROWS_USED: Final = 4000  # more rows change nothing about a correlation above 0.4
STRONG: Final = 0.4  # our choice: partial correlation; two unrelated columns of 30 rows stay below 0.36 at p = 0.05
_FEW: Final = 3  # our choice: rows of one state that are no slip of the pen
_NEARLY_ALL: Final = 0.9  # our choice: the row in which a state changes may still show the current before
_FLOWS: Final = 0.02  # our choice: of the current's top; less is a rest


def partial_slope(voltage: Sample, current: Sample) -> tuple[float, float] | None:
    """(slope in V/A, partial correlation) of voltage on current with the run-down over the rows taken out.

    None where fewer than 30 rows have both, or one of them does not move.
    """
    step = max(1, voltage.size // _ROWS_USED)
    voltage, current = voltage[::step], current[::step]
    both = np.isfinite(voltage) & np.isfinite(current)
    if int(both.sum()) < ENOUGH:
        return None
    row = np.flatnonzero(both).astype(np.float64)
    base = np.column_stack([np.ones_like(row), row / row[-1], (row / row[-1]) ** 2])
    # their sizes do not matter here, and their squares may not overflow
    v_size, i_size = (float(np.max(np.abs(x[both]))) or 1.0 for x in (voltage, current))
    v, i = voltage[both] / v_size, current[both] / i_size
    v = v - base @ np.linalg.lstsq(base, v, rcond=None)[0]
    i = i - base @ np.linalg.lstsq(base, i, rcond=None)[0]
    vv, ii, vi = float(v @ v), float(i @ i), float(v @ i)
    if np.sqrt(vv) * v_size <= 1e-9 or np.sqrt(ii) * i_size <= 1e-9:
        return None
    return vi / ii * (v_size / i_size), vi / np.sqrt(vv * ii)


def settle_signs(live: Sequence[Draft], paired: set[int], drafts: Sequence[Draft]) -> None:
    """Discharge is positive: a supply current that is negative while the voltage sags is turned round."""
    for current in live:
        channel = current.parsed
        if channel is None or current.scale_said:
            continue
        if channel.quantity.suffix not in ("current_A", "input_current_A", "rail_current_A"):
            continue
        i = current.converted()
        known = i[np.isfinite(i)]
        if not known.size:
            continue
        if channel.part == "pack" and (_by_states(current, i, drafts) or _by_counters(current, i, live, drafts)):
            continue
        _by_voltage(current, i, live, id(current) in paired, drafts)
    _counters(live)


def _flows(i: Sample) -> NDArray[np.bool_]:
    return np.isfinite(i) & (np.abs(i) > _FLOWS * float(np.nanmax(np.abs(i))))


def _turn(current: Draft, reason: str) -> None:
    current.turn_round()
    current.fault("sign_normalised", "repaired", f"{reason}; discharge now counts as positive")
    current.why.append(reason)


def _by_states(current: Draft, i: Sample, drafts: Sequence[Draft]) -> bool:
    """Settled by a column whose words say charge and discharge, where there is just one."""
    told = [d.evidence for d in drafts if d.evidence.ways is not None]
    flows = _flows(i)
    told = [e for e in told if e.ways is not None and bool((flows & (np.abs(e.ways) == 1.0)).sum() >= _FEW)]
    if len({e.ways.tobytes() for e in told if e.ways is not None}) != 1:
        return False
    state = told[0]
    ways: Sample = state.ways if state.ways is not None else np.zeros(0)
    out, into = _share(i, flows & (ways == 1.0)), _share(i, flows & (ways == -1.0))
    both = out is not None and into is not None
    if both and out == into and out != 0:
        _sign_by(current, state, out or 1)
        return True
    if out == 0 or into == 0:
        return False  # the figures do not follow the words
    sign = out or -(into or -1)
    if sign < 0:
        _turn(current, f'"{state.source}" says discharge' if out is not None else f'"{state.source}" says charge')
    else:
        current.why.append(f'its sign agrees with "{state.source}"')
    return True


def _share(i: Sample, rows: NDArray[np.bool_]) -> int | None:
    """1 or -1 where nearly all of these rows have that sign, 0 where they differ, None where there are too few."""
    if int(rows.sum()) < _FEW:
        return None
    positive = float(np.mean(i[rows] > 0.0))
    return 1 if positive >= _NEARLY_ALL else -1 if positive <= 1.0 - _NEARLY_ALL else 0


def _sign_by(current: Draft, state: ColumnEvidence, sign: int) -> None:
    reason = f'it has no sign of its own: "{state.source}" says charge or discharge'
    if sign < 0:
        current.turn_round()
    current.way = state
    current.limit(FOLLOWS, reason)
    current.fault("sign_normalised", "repaired", f"{reason}; discharge now counts as positive")


def _by_counters(current: Draft, i: Sample, live: Sequence[Draft], drafts: Sequence[Draft]) -> bool:
    """Settled by charge taken and charge given that are counted apart: each grows only while its own current flows."""
    counters = [d for d in drafts if d.kind in ("charge", "energy") and d.evidence.kind == "number"]
    given = [d for d in counters if way_of(d.source) == 1.0]
    taken = [d for d in counters if way_of(d.source) == -1.0] if given else []
    out, into = _grows_with(given, i), _grows_with(taken, i)
    if out == into:
        if out:
            _unsigned(current, live, "charge and discharge are counted apart, and both grow while it is positive")
        return bool(out)
    if out < 0 or into > 0:
        name = (given if out else taken)[0].key
        _turn(current, f'it is {"negative" if out else "positive"} while "{name}" grows')
    else:
        current.why.append(f'"{(given if out else taken)[0].key}" grows with it')
    return True


def _grows_with(counters: Sequence[Draft], i: Sample) -> int:
    """The sign of the current while these counters grow; 0 where they do not, or while it has either sign."""
    flows = _flows(i)[1:]
    for counter in counters:
        grown = np.diff(counter.raw())
        use = np.isfinite(grown) & (grown > 0.0) & flows
        if int(use.sum()) < _FEW:
            continue
        share = float(grown[use & (i[1:] > 0.0)].sum() / grown[use].sum())
        if share >= _NEARLY_ALL or share <= 1.0 - _NEARLY_ALL:
            return 1 if share >= _NEARLY_ALL else -1
    return 0


def _unsigned(current: Draft, live: Sequence[Draft], reason: str) -> None:
    """No channel: charging cannot be told from discharge; nor can what counts both."""
    name = current.channel
    current.fault("implausible", "doubtful", f"{reason}, and charging cannot be told from discharge")
    current.drop(reason)
    current.cap, current.question = UNKNOWN, ""
    current.ask(f'Is "{current.key}" only ever a discharge? {reason[0].upper()}{reason[1:]}.', channel=name)
    for counter in live:
        if counter.kind in ("charge", "energy") and counter.channel is not None and not counter.from_reading:
            if way_of(counter.source) == 1.0:
                continue
            counter.drop("charging cannot be told from discharge in this file")
            counter.no_channel = True


def _by_voltage(current: Draft, i: Sample, live: Sequence[Draft], paired: bool, drafts: Sequence[Draft]) -> None:
    channel = current.parsed
    if channel is None:
        return
    low, high = (float(x) for x in np.percentile(i[np.isfinite(i)], (2.0, 98.0)))
    negative = low < -0.5 and -low > 3.0 * max(high, 0.0)
    voltages = [d for d in live if d.parsed and d.parsed.quantity.suffix == "voltage_V"]
    voltages = [d for d in voltages if d.parsed and d.parsed.part in (channel.part, "pack")]
    voltages = voltages or _only_voltage(drafts)
    slopes = [s for d in voltages if (s := partial_slope(d.converted(), i)) is not None]
    slope = max(slopes, key=lambda s: abs(s[1]), default=None)
    rises = slope is not None and slope[1] > STRONG
    sinks = slope is not None and slope[1] < -STRONG  # the voltage goes down whenever it goes up: a discharge
    found = signs_of(voltages[0].converted(), i) if len(voltages) == 1 else Signs()
    both_ways = low < -0.05 * max(high, 0.0) and high > 0.05 * -low and -low > 0.02
    if both_ways and not negative and found.sign == 1 and (found.steps or rises or found.opposite):
        _turn(current, "the voltage goes up with it: charging counted as positive")
        current.limit(FOLLOWS)
    elif negative and (rises or found.sign == 1 or _counter_rises(live)):
        sags = rises or found.sign == 1
        _turn(current, f"it is negative while the {'voltage sags' if sags else 'charge used rises'}")
        if not rises:
            current.limit(FOLLOWS)
    elif negative and found.sign == -1:
        current.limit(FOLLOWS, "the voltage climbs while it is negative: it charges then")
    elif negative:
        current.limit(FITS, "it is negative, and nothing else in the file tells which way discharge counts")
        current.ask(
            f'Does a negative "{current.key}" mean discharge?',
            channel=current.channel,
            unit=current.unit_text,
            scale=-1.0,
        )
    elif low >= 0.0 and found.unsigned and not current.no_channel:
        reason = "it is never negative, yet the voltage climbs in one run and falls in another: it has no sign"
        _unsigned(current, live, reason)
    elif low >= 0.0 and found.sign == 1 and found.drift == 1 and not sinks and not current.no_channel:
        taken = [d for d in drafts if d.kind == "charge" and way_of(d.source) == -1.0]
        if _grows_with(taken, i) == 1:
            _turn(current, f'the voltage climbs all the while, and "{taken[0].key}" grows')
            current.limit(FOLLOWS)
        else:
            _unsigned(current, live, "it is never negative, yet the voltage climbs all the while: it may be a charge")
    elif rises and paired and not current.no_channel and slope is not None and slope[1] > 0.6:
        current.limit(FITS, "the voltage rises with it: it may count charging as positive")
        current.ask(
            f'Does a positive "{current.key}" mean charging?',
            channel=current.channel,
            unit=current.unit_text,
            scale=-1.0,
        )


def _only_voltage(drafts: Sequence[Draft]) -> list[Draft]:
    """The file's one column in volts, where it is not said whose it is: the current's sign shows in it all the same."""
    volts = [
        d
        for d in drafts
        if d.kind == "voltage" and d.unit is not None and d.evidence.kind == "number" and not d.from_reading
    ]
    return volts if len(volts) == 1 else []


def _counters(live: Sequence[Draft]) -> None:
    """A charge or an energy that also grows while the battery is charged is not what was used."""
    for counter in live:
        if counter.parsed is None or counter.parsed.quantity.suffix not in ("charge_used_mAh", "energy_used_Wh"):
            continue
        part, grown = counter.parsed.part, np.diff(counter.converted())
        for current in live:
            same = current.parsed is not None and current.parsed.quantity.suffix == "current_A"
            if not same or current.parsed is None or current.parsed.part != part or counter.from_reading:
                continue
            i = current.converted()[1:]
            both = np.isfinite(i) & np.isfinite(grown) & (grown > 0)
            if both.sum() < ENOUGH:
                continue
            charged = float(grown[both & (i < -0.02 * float(np.nanmax(np.abs(i))))].sum())
            if charged > 0.1 * float(grown[both].sum()):
                counter.drop("it grows while the battery is charged too: not only what was used")
                counter.no_channel = True
                break


def _counter_rises(live: Sequence[Draft]) -> bool:
    for draft in live:
        if draft.parsed and draft.parsed.quantity.suffix == "charge_used_mAh":
            values = draft.converted()
            values = values[np.isfinite(values)]
            if values.size >= ENOUGH and values[-1] - values[0] > 0.8 * float(np.ptp(values)) > 0:
                return True
    return False
