"""What the columns say about one another: current pulls the voltage down, power is V x I, cells add up to the pack.

These agreements raise or lower how sure a column is, and find the sign of discharge. They never rename a column.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.channels import cell_number
from ingest.delimited.meaning_draft import FITS, FOLLOWS, UNKNOWN, Draft
from ingest.delimited.sign_of_charge import Signs, signs_of

Sample = NDArray[np.float64]

_ENOUGH: Final = 30  # our choice: rows with both figures before anything is said about two columns
_ROWS_USED: Final = 4000  # more rows change nothing about a correlation above 0.4
_STRONG: Final = 0.4  # our choice: partial correlation; two unrelated columns of 30 rows stay below 0.36 at p = 0.05
_OHMS: Final = (2e-4, 5.0)  # our choice: source and leads from a 110 kg robot's pack to a small bench supply


def check_together(drafts: Sequence[Draft]) -> None:
    """All checks between columns. Changes only certainty, sign, questions and faults."""
    live = [d for d in drafts if d.evidence.kind == "number" and d.channel is not None]
    _shift_cells(live)
    pairs = _supplies(live)
    for voltage, current in pairs:
        _sag(voltage, current)
    _signs(live, {id(c) for _, c in pairs}, drafts)
    _counters(live)
    _power(live, pairs)
    _cells(live)


def _shift_cells(live: Sequence[Draft]) -> None:
    """Cells counted from 0 become cells counted from 1."""
    cells = [(d, cell_number(d.parsed.part)) for d in live if d.parsed and d.parsed.part.startswith("cell")]
    zero = [d for d in live if d.part == "cell0"]
    if not zero:
        return
    for draft in [*(d for d, n in cells if n is not None), *zero]:
        number = int(str(draft.part)[4:]) + 1
        draft.part = f"cell{number}"
        draft.channel = f"cell{number}_voltage_V"
        draft.limit(FOLLOWS, f"the file counts cells from 0: this is cell {number}")


def _supplies(live: Sequence[Draft]) -> list[tuple[Draft, Draft]]:
    """(voltage, current) of one part's supply side, where the file has just one of each."""
    pairs = []
    for current in live:
        channel = current.parsed
        if channel is None or channel.quantity.suffix not in ("current_A", "input_current_A"):
            continue
        same = [
            d for d in live if d.parsed and d.parsed.quantity.suffix == "voltage_V" and d.parsed.part == channel.part
        ]
        if not same:
            same = [d for d in live if d.channel == "pack_voltage_V"]
        if len(same) == 1:
            pairs.append((same[0], current))
    return pairs


def partial_slope(voltage: Sample, current: Sample) -> tuple[float, float] | None:
    """(slope in V/A, partial correlation) of voltage on current with the run-down over the rows taken out.

    None where fewer than 30 rows have both, or one of them does not move.
    """
    step = max(1, voltage.size // _ROWS_USED)
    voltage, current = voltage[::step], current[::step]
    both = np.isfinite(voltage) & np.isfinite(current)
    if int(both.sum()) < _ENOUGH:
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


def _spread(values: Sample) -> float:
    """How much of its size a column moves: near 0 for a supply's voltage, near 1 for a current."""
    low, high = np.nanpercentile(values, (5.0, 95.0))
    size = max(abs(low), abs(high))
    return float((high - low) / size) if size else 0.0


def _sag(voltage: Draft, current: Draft) -> None:
    v, i = voltage.converted(), current.converted()
    if not np.isfinite(v).any() or not np.isfinite(i).any() or voltage.from_reading or current.from_reading:
        return
    found = partial_slope(v, i)
    if found is None or abs(found[1]) < _STRONG:
        return
    if _spread(v) > 0.8 and _spread(i) < 0.35 and float(np.nanpercentile(np.abs(i), 5.0)) > 2.5:
        names = {id(voltage): current.channel, id(current): voltage.channel}
        for draft, other in ((voltage, current), (current, voltage)):
            draft.fault("implausible", "doubtful", f'its figures move like those of "{other.key}" should')
            draft.drop("voltage and current look swapped", names[id(draft)])
            draft.cap, draft.question = UNKNOWN, ""
            draft.ask(f'Are "{voltage.key}" and "{current.key}" swapped?', channel=names[id(draft)])
        return
    ohms = abs(found[0])
    if abs(found[1]) > 0.7 and not _OHMS[0] <= ohms <= _OHMS[1]:
        text = f"the voltage would move {ohms:.3g} V for each ampere"
        for draft in (voltage, current):
            draft.fault("implausible", "doubtful", text)
            draft.limit(FITS, f"{text}: one of the two units is wrong")
            draft.ask(f'Which unit is "{draft.key}" in? {text}.', channel=draft.channel, unit=draft.unit_text)


def _signs(live: Sequence[Draft], paired: set[int], drafts: Sequence[Draft]) -> None:
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
        low, high = (float(x) for x in np.percentile(known, (2.0, 98.0)))
        negative = low < -0.5 and -low > 3.0 * max(high, 0.0)
        voltages = [d for d in live if d.parsed and d.parsed.quantity.suffix == "voltage_V"]
        voltages = [d for d in voltages if d.parsed and d.parsed.part in (channel.part, "pack")]
        voltages = voltages or _only_voltage(drafts)
        slopes = [s for d in voltages if (s := partial_slope(d.converted(), i)) is not None]
        slope = max(slopes, key=lambda s: abs(s[1]), default=None)
        rises = slope is not None and slope[1] > _STRONG
        found = signs_of(voltages[0].converted(), i) if len(voltages) == 1 else Signs()
        both_ways = low < -0.05 * max(high, 0.0) and high > 0.05 * -low and -low > 0.02
        if both_ways and not negative and found.sign == 1 and (found.steps or rises):
            reason = "the voltage goes up with it: charging counted as positive"
            current.turn_round()
            current.fault("sign_normalised", "repaired", f"{reason}; discharge now counts as positive")
            current.why.append(reason)
            current.limit(FOLLOWS)
        elif negative and (rises or found.sign == 1 or _counter_rises(live)):
            current.turn_round()
            reason = "it is negative while the charge used rises"
            if rises or found.sign == 1:
                reason = "it is negative while the voltage sags"
            current.fault("sign_normalised", "repaired", f"{reason}; discharge now counts as positive")
            current.why.append(reason)
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
            name = current.channel
            current.fault("implausible", "doubtful", f"{reason}, and charging cannot be told from discharge")
            current.drop(reason)
            current.cap, current.question = UNKNOWN, ""
            current.ask(f'Is "{current.key}" only ever a discharge? {reason[0].upper()}{reason[1:]}.', channel=name)
            for counter in live:
                if counter.kind in ("charge", "energy") and counter.channel is not None and not counter.from_reading:
                    counter.drop("charging cannot be told from discharge in this file")
                    counter.no_channel = True
        elif rises and id(current) in paired and not current.no_channel and slope is not None and slope[1] > 0.6:
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
            if both.sum() < _ENOUGH:
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
            if values.size >= _ENOUGH and values[-1] - values[0] > 0.8 * float(np.ptp(values)) > 0:
                return True
    return False


def _power(live: Sequence[Draft], pairs: Sequence[tuple[Draft, Draft]]) -> None:
    """power = V x I settles units that only fitted, or shows that one of the three is wrong."""
    for power in (d for d in live if d.parsed and d.parsed.quantity.suffix == "power_W"):
        for voltage, current in pairs:
            if power.parsed and current.parsed and power.parsed.part not in (current.parsed.part, "pack"):
                continue
            product = voltage.converted() * current.converted()
            watts = power.converted()
            both = np.isfinite(product) & np.isfinite(watts)
            if both.sum() < _ENOUGH:
                continue
            use = both & (np.abs(product) > 0.1 * np.max(np.abs(product[both])))
            if not use.any():
                continue
            ratio = float(np.median(np.abs(watts[use] / product[use])))
            scatter = float(np.median(np.abs(np.abs(watts[use] / product[use]) / ratio - 1.0))) if ratio else 1.0
            if scatter > 0.1:
                continue
            three = (power, voltage, current)
            if 0.9 <= ratio <= 1.1:
                for draft in three:
                    if draft.unit_level == FITS:
                        draft.unit_level = FOLLOWS
                        draft.question = ""
                    draft.why.append("power = V x I holds")
            else:
                text = f"power is {ratio:.3g} times voltage x current"
                for draft in three:
                    draft.fault("implausible", "doubtful", text)
                    draft.limit(FITS, f"{text}: one of the three units is wrong")
                    draft.ask(f'Which unit is "{draft.key}" in? {text}.', channel=draft.channel, unit=draft.unit_text)


def _cells(live: Sequence[Draft]) -> None:
    """The cells of a pack add up to its voltage."""
    cells = [d for d in live if d.parsed and cell_number(d.parsed.part) and d.parsed.quantity.suffix == "voltage_V"]
    packs = [d for d in live if d.channel == "pack_voltage_V"]
    if len(cells) < 2 or len(packs) != 1:
        return
    total = np.sum([d.converted() for d in cells], axis=0)
    pack = packs[0].converted()
    both = np.isfinite(total) & np.isfinite(pack) & (np.abs(pack) > 1.0)
    if both.sum() < _ENOUGH:
        return
    ratio = float(np.median(total[both] / pack[both]))
    if 0.97 <= ratio <= 1.03:
        for draft in (*cells, packs[0]):
            if draft.unit_level == FITS:
                draft.unit_level = FOLLOWS
                draft.question = ""
            draft.why.append("the cells add up to the pack")
    elif ratio > 1.1 or not any(np.isclose(ratio * n, len(cells), rtol=0.05) for n in range(len(cells), 25)):
        text = f"the cells add up to {ratio:.3g} times the pack's voltage"
        for draft in (*cells, packs[0]):
            draft.fault("implausible", "doubtful", text)
            draft.limit(FOLLOWS, text)
