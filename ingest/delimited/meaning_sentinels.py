"""Values that stand for "no value": found among a column's figures, so that they become missing and are told."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.channels import QUANTITIES
from ingest.delimited.meaning_draft import Draft

Sample = NDArray[np.float64]

# 9.91e37 is "not a number" and 9.9e37 infinity of the instrument command standard (SCPI-1999, volume 1, 7.2.1.5).
# Limits of 8, 16 and 32 bit integers, and runs of nines: common practice, no source.
_ALWAYS: Final = (9.91e37, 9.9e37, -9.9e37)
_WHERE_APART: Final = (
    *(-999.0, -999.9, -99.0, -99.9, 999.0, 999.9, 9999.0, -1000.0, -32768.0, 32767.0, 65535.0, 65534.0, 4294967295.0),
    *(-2147483648.0, 2147483647.0, 327.67, -327.68, 3276.7, -3276.8, 655.35, 6553.5, 65.535, 32.767, -32.768),
    *(-128.0, 255.0, -9999.0, 99999.0, -99999.0, 999999.0),
)
# A common one-wire digital thermometer gives -127 when unplugged and 85 after a reset: common practice, no source.
_THERMOMETER: Final = (-127.0, 85.0)
# Figures that are also set in whole numbers, by a load or a power supply; the others are limits of a converter.
_ALSO_SET: Final = (-99.0, -99.9, -999.0, -999.9, -1000.0, 999.0, 999.9, 9999.0, -9999.0, 99999.0, -99999.0, 999999.0)
_SET_KINDS: Final = ("current", "voltage", "power", "speed", "command", "duty")
_PLATEAU: Final = 0.8  # our choice: share of rows that repeat the one before, where a value is set and not measured
_RUN: Final = 5  # our choice: rows that a step of a test lasts at least
_PART_OF_A_FILE: Final = 10_000  # rows from which the sample may be only a part of the file
_JUMP_K: Final = 15.0  # our choice: no part of a robot changes by this between two rows and back
_ENOUGH: Final = 8  # our choice: fewer figures than this decide nothing


def finite(values: Sample) -> Sample:
    return values[np.isfinite(values)]


def find_sentinels(draft: Draft) -> None:
    """Values that stand for "no value": recorded on the draft, with a fault."""
    counts = draft.kind in ("count", "time", "fault", "failsafe", "uptime", "frames_lost")
    if draft.evidence.kind != "number" or draft.evidence.is_clock or counts:
        return
    values = finite(draft.evidence.values)
    if not values.size:
        return
    least, most = float(values.min()), float(values.max())
    edge = 1e-6 * max(abs(least), abs(most))
    inside = [s for s in (*_ALWAYS, *_WHERE_APART) if least - edge <= s <= most + edge]
    found = [s for s in inside if s in _ALWAYS and _holds(values, s).any()]
    for sentinel in (s for s in inside if s not in _ALWAYS):
        here = _holds(values, sentinel)
        if here.any() and _apart(values[~here], sentinel) and not _set_point(draft, sentinel):
            found.append(sentinel)
    if draft.kind == "temperature":
        found += [s for s in _THERMOMETER if _holds(values, s).any() and _jumpy(draft.evidence.values, s)]
    seen = len(found)
    if values.size >= _PART_OF_A_FILE:
        found += [s for s in (*_ALWAYS, *_WHERE_APART) if s not in found and _cannot_be(draft, s)]
    if found and not seen:
        draft.sentinels = tuple(sorted(found))
    elif found:
        exact = np.unique(values[np.logical_or.reduce([_holds(values, s) for s in found[:seen]])])
        draft.sentinels = tuple(sorted({*(float(v) for v in exact), *found[seen:]}))
        count = int(np.isin(values, exact).sum())
        shown = ", ".join(f"{v:g}" for v in exact)
        share = f"{count} of {values.size} sampled rows"
        draft.fault("sentinel", "repaired", f"{shown} stands for no value ({share}); kept as missing")


def _cannot_be(draft: Draft, sentinel: float) -> bool:
    """A value outside all that is plausible may stand in the rows that were not sampled: it is missing there too."""
    unit = draft.unit
    ranges = [q for q in QUANTITIES.values() if unit is not None and q.unit == unit.unit]
    if unit is None or not ranges:
        return False
    value = sentinel * unit.scale + unit.offset
    return all(not q.low <= value <= q.high for q in ranges)


def _holds(values: Sample, sentinel: float) -> NDArray[np.bool_]:
    return np.asarray(np.abs(values - sentinel) <= 1e-6 * abs(sentinel), dtype=bool)


def _apart(rest: Sample, sentinel: float) -> bool:
    """Whether the sentinel stands well outside all other values: twice as far as they reach from their middle."""
    if rest.size < _ENOUGH:
        return rest.size == 0 and abs(sentinel) >= 999.0
    low, high = float(rest.min()), float(rest.max())
    middle = float(np.median(rest))
    reach = max(high - middle, middle - low, 0.02 * abs(middle), 1.0)
    gap = sentinel - high if sentinel > high else low - sentinel
    return gap > 0 and abs(sentinel - middle) > 3.0 * reach and gap > reach


def _set_point(draft: Draft, sentinel: float) -> bool:
    """Whether the value is a step among steps: the whole column stands still for many rows at each of its values."""
    if draft.kind not in _SET_KINDS or sentinel not in _ALSO_SET:
        return False
    known = finite(draft.evidence.values)
    edges = np.flatnonzero(np.diff(known) != 0.0)
    here = _holds(known, sentinel)
    runs = 1 + np.count_nonzero(np.diff(np.flatnonzero(here)) > 1)
    rest = known[~here]
    steady = rest.size < 2 or float(np.mean(np.diff(rest) == 0.0)) >= _PLATEAU
    return bool(edges.size <= (1.0 - _PLATEAU) * known.size and steady and here.sum() >= _RUN * runs)


def _jumpy(values: Sample, sentinel: float) -> bool:
    """Whether the value only comes as a jump, there and back: a warm part passes through 85 in small steps."""
    known = values[np.isfinite(values)]
    here = _holds(known, sentinel)
    rest = known[~here]
    if rest.size < _ENOUGH:
        return bool(sentinel == -127.0 and rest.size == 0)
    edges = np.flatnonzero(here[1:] != here[:-1])
    return bool(edges.size and np.all(np.abs(known[edges + 1] - known[edges]) > _JUMP_K))
