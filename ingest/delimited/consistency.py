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
from ingest.delimited.signs import ENOUGH, STRONG, partial_slope, settle_signs

Sample = NDArray[np.float64]

_OHMS: Final = (2e-4, 5.0)  # our choice: source and leads from a 110 kg robot's pack to a small bench supply


def check_together(drafts: Sequence[Draft]) -> None:
    """All checks between columns. Changes only certainty, sign, questions and faults."""
    live = [d for d in drafts if d.evidence.kind == "number" and d.channel is not None]
    _shift_cells(live)
    pairs = _supplies(live)
    for voltage, current in pairs:
        _sag(voltage, current)
    settle_signs(live, {id(c) for _, c in pairs}, drafts)
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
    if found is None or abs(found[1]) < STRONG:
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


def _power(live: Sequence[Draft], pairs: Sequence[tuple[Draft, Draft]]) -> None:
    """power = V x I settles units that only fitted, or shows that one of the three is wrong."""
    for power in (d for d in live if d.parsed and d.parsed.quantity.suffix == "power_W"):
        for voltage, current in pairs:
            if power.parsed and current.parsed and power.parsed.part not in (current.parsed.part, "pack"):
                continue
            product = voltage.converted() * current.converted()
            watts = power.converted()
            both = np.isfinite(product) & np.isfinite(watts)
            if both.sum() < ENOUGH:
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
    if both.sum() < ENOUGH:
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
