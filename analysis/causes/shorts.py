"""A lead to its return: more current than any motor on it may draw, and the voltage pulled down with it.

A controller's limiter bounds what its motor draws, in a hit and in a stall alike; a short lies outside of it. Seen by
the sensor of the branch, the short is behind that sensor; seen by the pack's alone, it is before the controllers.
"""

from __future__ import annotations

import numpy as np

from analysis.causes.drives import Drive, Happening, as_finding
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.signal import Floats, Signal
from analysis.spans import at_times, min_between, spans

# Our choices, tried on simulated matches:
OVER_LIMIT = 1.5  # times the set limit: limiters overshoot by less
OVER_USUAL = 2.5  # times the usual highest current, where no limit is stated
DIP_SHARE = 0.10  # of the voltage before: tens of milliohm of a pack under a few hundred ampere
UNEXPLAINED_SHARE = 0.8  # of the pack's usual highest current, more than its branches drew
UNEXPLAINED_A = 40.0
BEFORE_S, LAST = 0.15, 3  # the voltage before: the lowest of the last three samples
JOIN_S = 0.02
TAP_V = 0.7  # a tap this far under the others lies beyond the wire that carries the short


def shorts(data: MatchData, found: list[Drive]) -> list[Happening]:
    """Shorts on each branch; where no branch saw one, shorts that only the pack's sensor saw."""
    seen = [happening for drive in found for happening in _of_branch(data, drive)]
    return seen or _of_pack(data, found)


def _of_branch(data: MatchData, drive: Drive) -> list[Happening]:
    signal = drive.raw.get("input") or drive.raw["motor"]
    size = np.maximum(signal.x, 0.0)  # backwards it is a spinning weapon that feeds a bus without supply
    limit = drive.limit_A
    usual = float(np.percentile(size, 98))
    level = max(OVER_LIMIT * limit, usual) if limit is not None else OVER_USUAL * usual
    level += 5.0 * signal.noise
    found = []
    for start, end in _pulses(signal, size > level):
        volts = drive.raw.get("voltage") or data.inside("pack_voltage_V")
        dip = _dip(volts, start, end, signal.period_s)
        if volts is not None and (dip is None or dip < DIP_SHARE):
            continue
        inside = (signal.t_s >= start) & (signal.t_s <= end)
        peak = float(size[inside].max())
        than = f"it is limited to {limit:g} A" if limit is not None else f"its highest is usually {usual:.0f} A"
        fell = f"; the voltage fell by {100 * dip:.0f} % with it" if dip is not None else ""
        found.append(Happening("short", drive.id, start, end, "short", f"{peak:.0f} A; {than}{fell}", peak))
    return found


def _pulses(signal: Signal, mask: np.ndarray) -> list[tuple[float, float]]:
    return spans(mask, signal.t_s, join_s=max(JOIN_S, 1.5 * signal.period_s))


def _dip(volts: Signal | None, start: float, end: float, period_s: float) -> float | None:
    """How far the voltage fell below what it was just before, as a share of that."""
    if volts is None:
        return None
    reach = max(period_s, volts.period_s)
    before = volts.between(start - BEFORE_S - 3 * reach, start - 0.5 * reach).good().x[-LAST:]
    lowest = min_between(volts, start, end)  # while it flows: an inrush follows a low voltage, a short makes one
    if lowest is None:
        lowest = min_between(volts, start - 0.5 * reach, end + 0.5 * reach)
    if not len(before) or lowest is None or float(before.min()) <= 0:
        return None
    return 1.0 - lowest / float(before.min())


def _of_pack(data: MatchData, found: list[Drive]) -> list[Happening]:
    pack, volts = data.inside("pack_current_A"), data.inside("pack_voltage_V")
    if pack is None or data.build is None:
        return []
    usual = float(np.percentile(pack.x, 99))
    drawn = _branches(data, found, pack)
    if drawn is not None:
        surplus = pack.x - drawn
        mask = surplus > UNEXPLAINED_SHARE * usual + UNEXPLAINED_A
        than = "the controllers' own sensors account for {:.0f} A of it"
    else:
        limits = [c.current_limit_A for c in data.build.controllers]
        if not limits or any(limit is None for limit in limits):
            return []
        total = sum(limit for limit in limits if limit is not None)
        mask = pack.x > OVER_LIMIT * total
        than = f"all controllers together are limited to {total:g} A"
    happened = []
    for start, end in _pulses(pack, mask):
        dip = _dip(volts, start, end, pack.period_s)
        few = int(((pack.t_s >= start) & (pack.t_s <= end)).sum()) < 2
        if few or (volts is not None and (dip is None or dip < DIP_SHARE)):
            continue
        inside = (pack.t_s >= start) & (pack.t_s <= end)
        peak = float(pack.x[inside].max())
        fell = f"; its voltage fell by {100 * dip:.0f} % with it" if dip is not None else ""
        detail = (
            f"{peak:.0f} A from the pack; {than.format(float(drawn[inside].max()) if drawn is not None else 0)}{fell}"
        )
        happened.append(Happening("short", _place(data, found, start, end), start, end, "short", detail, peak))
    return happened


def _branches(data: MatchData, found: list[Drive], pack: Signal) -> Floats | None:
    """What all controllers drew at the pack sensor's times; None where one was not logged on the same clock."""
    assert data.build is not None
    inputs = [drive.raw.get("input") for drive in found]
    if len(found) < len(data.build.controllers) or any(s is None for s in inputs):
        return None
    total = np.zeros(len(pack))
    for signal in inputs:
        assert signal is not None
        if not data.same_clock(pack.channel, signal.channel):
            return None
        same = len(signal) == len(pack) and bool(np.array_equal(signal.t_s, pack.t_s))
        total += np.maximum(signal.x if same else at_times(signal, pack.t_s)[0], 0.0)
    return total


def _place(data: MatchData, found: list[Drive], start: float, end: float) -> str:
    """The run that carries it: a controller's lead where its tap alone is dragged down, else the main run."""
    assert data.build is not None
    starts = {slot.id for slot in data.build.packs} | {"pack"}
    main = next((wire.id for wire in data.build.wires if wire.from_ in starts), "pack")
    lowest = [
        (low, drive.id)
        for drive in found
        if "voltage" in drive.raw and (low := min_between(drive.raw["voltage"], start, end)) is not None
    ]
    if len(lowest) < 2:
        return main
    lowest.sort()
    if lowest[1][0] - lowest[0][0] < TAP_V:
        return main
    return next((wire.id for wire in data.build.wires if wire.to == lowest[0][1]), main)


def findings(data: MatchData, happened: list[Happening]) -> list[Finding]:
    """One finding a part; what could be touched there are the runs of that branch."""
    assert data.build is not None
    found = []
    for part in dict.fromkeys(h.part for h in happened):
        mine = [h for h in happened if h.part == part]
        run = next((wire for wire in data.build.wires if part in (wire.to, wire.id)), None)
        channel = "pack_current_A" if run is not None and part == run.id else f"{part}_input_current_A"
        places: tuple[str, ...] = (run.id, *run.through) if run is not None else ()
        if run is not None and part == run.id:
            places += tuple(wire.id for wire in data.build.wires if wire.from_ == run.to)
        motors = tuple(m.id for m in data.build.motors if m.controller == part)
        places = tuple(dict.fromkeys((*places, *motors)))
        found.append(as_finding("current_spike", mine, "fault", "likely", channel, "A", (), places))
    return found
