"""One pack before the next match: what the logs hold against it, how warm it is, how long until it may go in.

No charge time for a pack that was hit or puffed, past its own temperature, ever below 3.0 V a cell, outside 0 to
40 °C or of unknown temperature, nor after a log that was cut: what it drew after that nobody knows.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from analysis.charging import (
    BALANCE_MIN,
    CHARGE_RANGE_DEGC,
    CHARGE_SPREAD,
    FULL_CELL_V,
    LEAST_CELL_V,
    USUAL_C,
    charge_time,
    cooling_s,
    pack_time_constant_s,
)
from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.pack_verdict import PackVerdict, pack_verdict, seen_bad
from analysis.replay.levers import start_state
from analysis.season_rows import MatchRow
from analysis.sensor_faults import gaps
from analysis.signal import Measured
from ingest.builds import Match, Pack
from ingest.season_file import Charger

SOUND = ("reuse", "watch")  # verdicts with which a pack may go in
SWAP_MIN = 5.0  # our choice: pack in, strapped, plugged, and a spin in the test box
FULL_PCT = 97.0  # our choice: a charge that reads this is full
USUAL_G = 500.0  # our choice: of a pack whose mass is not stated
MEASURED_FULL_V = 4.10  # our choice: a cell that reads this at rest has nine tenths of its charge or more
LATE_S = 10.0  # our choice: a temperature read longer than this before the end is not the pack's now
NOTED_TEMPERATURE = ("temp", "temperature")
DOUBTED = ("frozen_values", "sensor_clipped", "implausible", "sensor_offset")
SILENT_S = 3.0  # our choice: at 100 A three seconds of silence are less than 0.1 Ah
NEAR_S = 1.0  # our choice: a log that was cut within this of a channel's last sample is that channel's
NEVER = PackVerdict("", "not checked", ("no match of this season was logged with it",), "Log a match.")


@dataclass(frozen=True, eq=False)
class PackHistory:
    """One pack of the season and the last match that it was seen in (None: never).

    ever: what any earlier match holds against charging it (`ever_against`).
    """

    pack: Pack
    data: MatchData | None
    review: Review | None
    ever: tuple[str, ...] = ()


@dataclass(frozen=True)
class PackPlan:
    """charge_pct after its last match; temp_degC now and its interval; wait_min to cool, charge_min with its interval.

    ready_min: minutes until it may go in (None: cannot be said, and why); last: it came out of the last match;
    assumed: what the minutes take for granted because no file states it.
    """

    pack: str
    last: bool
    match: str | None
    verdict: PackVerdict
    charge_pct: Measured | None
    resistance_mohm: Measured | None
    temp_degC: Measured | None
    wait_min: float | None
    charge_min: Measured | None
    ready_min: float | None
    why: str
    fits: bool
    assumed: tuple[str, ...] = ()


def ever_against(pack: Pack, matches: Iterable[Match], rows: Mapping[str, MatchRow]) -> tuple[str, ...]:
    """What any match of a pack holds against charging it: seen by a person, or below 3.0 V a cell.

    matches: of the season; rows: their season rows by id. A match without a row counts by its notes alone.
    """
    found: list[str] = []
    for match in matches:
        if pack.id not in match.fitted_packs:
            continue
        found += [f"{text}, in {match.id}" for text in seen_bad(match)]
        row = rows.get(match.id)
        if row is None or len(match.fitted_packs) > 1:
            continue
        cell, whole = row.metric("cell_minimum_V", "pack"), row.metric("pack_minimum_V", "pack")
        lowest = cell.value if cell is not None else whole.value / pack.cells if whole is not None else math.inf
        if lowest < LEAST_CELL_V:
            found.append(f"down to {lowest:.2f} V a cell in {match.id}; under {LEAST_CELL_V:.1f} V a cell is suspect")
    return tuple(dict.fromkeys(found))


def pack_plan(h: PackHistory, last: bool, charger: Charger | None, left_min: float, cells: int | None) -> PackPlan:
    """The plan of one pack. cells: that the build is wired for; last: it came out of the last match."""
    if h.data is None or h.review is None:
        verdict = PackVerdict(h.pack.id, NEVER.word, NEVER.reasons, NEVER.would_change, h.ever)
        why = "its charge is not known: measure each cell, charge it full"
        if h.ever:
            why = f"no charge time: {h.ever[0]}"
        return PackPlan(h.pack.id, False, None, verdict, None, None, None, None, None, None, why, False)
    verdict = _verdict(h)
    rows = {e.name: Measured(e.value, e.low, e.high, e.method) for e in h.review.estimates if e.part == "pack"}
    ohm = rows.get("pack_resistance_1s_mohm") if verdict.word != "not checked" else None
    match = h.review.match.id
    if not last:
        return _rested(h, verdict, match, ohm, left_min, cells)
    charge, temp, air = _charge(h.data), _temperature(h.data), air_degC(h.data)
    wait, takes, why, assumed = _charging(h, charge, rows, temp, air, charger, verdict)
    ready = None if wait is None or takes is None else wait + takes.high + BALANCE_MIN + SWAP_MIN
    if charge is not None and charge.low >= FULL_PCT and not verdict.no_charge and verdict.word in SOUND:
        wait, takes, assumed, ready, why = None, None, (), SWAP_MIN, "still full: measure each cell"
    fits = ready is not None and ready <= left_min and verdict.word in SOUND
    if ready is not None and not why:
        why = (
            f"ready in {ready:.0f} minutes"
            if ready <= left_min
            else f"needs {ready:.0f} minutes, {left_min:g} are left"
        )
        why += f", if {' and '.join(assumed)}" if assumed else ""
    return PackPlan(h.pack.id, True, match, verdict, charge, ohm, temp, wait, takes, ready, why, fits, assumed)


def _verdict(h: PackHistory) -> PackVerdict:
    """The verdict after its last match, with what earlier ones hold against charging it."""
    assert h.data is not None and h.review is not None
    match = h.data.match
    if match is not None and len(match.fitted_packs) > 1:
        beside = ", ".join(p for p in match.fitted_packs if p != h.pack.id)
        why = f"logged together with {beside}: whose figure is whose is not known"
        own = PackVerdict(h.pack.id, "not checked", (why,), "Log each pack's own current and voltage.")
    else:
        own = pack_verdict(h.data, h.review)
    against = tuple(dict.fromkeys((*own.no_charge, *h.ever)))
    reasons, word = own.reasons, own.word
    if against and word in ("reuse", "watch"):
        word = "watch"
        reasons = tuple(dict.fromkeys((*against, *(own.reasons if own.word == "watch" else ()))))
    return PackVerdict(h.pack.id, word, reasons, own.would_change, against)


def _rested(
    h: PackHistory, verdict: PackVerdict, match: str, ohm: Measured | None, left_min: float, cells: int | None
) -> PackPlan:
    """A pack that was not in the last match: whether it was charged since, no log tells."""
    full = f"once every cell reads {MEASURED_FULL_V:.2f} V or more" if _is_polymer(h.pack) else "once measured full"
    ready: float | None = SWAP_MIN
    fits = left_min >= SWAP_MIN
    why = f"not logged since {match}; {SWAP_MIN:.0f} minutes to fit it, {full}"
    if not fits:
        why += f"; {left_min:g} are left"
    if cells is not None and cells != h.pack.cells:
        ready, fits, why = None, False, f"it has {h.pack.cells} cells, the build is wired for {cells}"
    elif verdict.word == "retire":
        ready, fits, why = None, False, "not to be used"
    elif verdict.no_charge:
        ready, fits, why = None, False, f"no charge time: {verdict.no_charge[0]}"
    elif verdict.word == "not checked":
        ready, fits, why = None, False, f"not logged since {match}: measure each cell"
    return PackPlan(h.pack.id, False, match, verdict, None, ohm, None, None, None, ready, why, fits)


def _is_polymer(pack: Pack) -> bool:
    return pack.chemistry == "lithium-polymer"


def _charge(data: MatchData) -> Measured | None:
    """Charge at the match's end; None where it is not known, or where the pack went on giving and no log saw it."""
    state = start_state(data)
    if state is None or not isinstance(state.end_counted_pct, Measured) or _cut(data, "pack_current_A"):
        return None
    return state.end_counted_pct


def _cut(data: MatchData, channel: str) -> bool:
    """Whether the log of a channel stopped before the match did, or was silent for long in it."""
    signal = data.get(channel)
    if signal is None or not len(signal):
        return True
    good = signal.good()
    if not len(good):
        return True
    last_s = float(good.t_s[-1])
    if any(n.code == "truncated" and n.end_s <= last_s + NEAR_S for n in data.quality):
        return True
    if any(n.code == "clock_reset" for n in data.quality):
        return True
    lost = sum(end - start for start, end in gaps(good.t_s, signal.period_s, data.settings.gap_intervals))
    return lost > SILENT_S


def _charging(
    h: PackHistory,
    charge: Measured | None,
    rows: Mapping[str, Measured],
    temp: Measured | None,
    air: float,
    charger: Charger | None,
    verdict: PackVerdict,
) -> tuple[float | None, Measured | None, str, tuple[str, ...]]:
    """(minutes to cool, minutes to charge, why not, what the minutes take for granted)."""
    pack = h.pack
    why = _no_charge(pack, charge, temp, air, verdict)
    if why:
        return None, None, f"no charge time: {why}", ()
    assert temp is not None and charge is not None and pack.capacity_Ah is not None
    tau = pack_time_constant_s(pack.mass_g or USUAL_G)
    high = CHARGE_RANGE_DEGC[1]
    wait = cooling_s(temp.high, air, high, tau.high) / 60.0
    if not math.isfinite(wait):
        return None, None, f"no charge time: it does not cool under {high:.0f} °C in air of {air:.0f} °C", ()
    slow = rows.get("pack_resistance_10s_mohm") or rows.get("pack_resistance_1s_mohm")
    limit_A = (pack.charge_C or USUAL_C) * pack.capacity_Ah
    max_A = charger.max_A if charger is not None else None
    max_W = charger.max_W if charger is not None else None
    assumed = []
    if pack.charge_C is None:
        assumed.append(f"it may be charged at {USUAL_C:g}C (its file does not say)")
    wanted = [f"{limit_A:.1f} A"] if max_A is None else []
    limit_A = min(limit_A, max_A or math.inf)
    wanted += [f"{limit_A * FULL_CELL_V * pack.cells:.0f} W"] if max_W is None else []
    if wanted:
        assumed.append(f"the charger gives {' and '.join(wanted)} (season.toml does not say)")
    if pack.mass_g is None and wait > 0:
        assumed.append(f"it weighs about {USUAL_G:.0f} g")
    capacity_Ah = pack.capacity_Ah

    def minutes(pct: float) -> float:
        ohm = (slow.value if slow is not None else 0.0) / 1000.0
        start = min(max(pct / 100.0, 0.0), 1.0)
        watts = max_W or math.inf
        return charge_time(
            start, capacity_Ah=capacity_Ah, cells=pack.cells, pack_ohm=ohm, limit_A=limit_A, limit_W=watts
        ).minutes

    value = minutes(charge.value)
    spread = Measured(
        value,
        minutes(charge.high) * (1.0 - CHARGE_SPREAD),
        max(minutes(charge.low), value) * (1.0 + CHARGE_SPREAD),
        f"{limit_A:.1f} A, then 4.20 V a cell until a twentieth of the capacity",
    )
    return wait, spread, "", tuple(assumed)


def _no_charge(pack: Pack, charge: Measured | None, temp: Measured | None, air: float, verdict: PackVerdict) -> str:
    """Why no charge time may be given; empty where it may."""
    low, high = CHARGE_RANGE_DEGC
    if verdict.no_charge:
        return verdict.no_charge[0]
    if verdict.word == "retire":
        return verdict.reasons[0]
    if not _is_polymer(pack):
        return f"no curve for {pack.chemistry}"
    if temp is None:
        return "its temperature is not known; measure it and note it"
    if charge is None or pack.capacity_Ah is None:
        return "its charge is not known; measure each cell"
    if temp.low < low or air < low:
        return f"{min(temp.value, air):.0f} °C is outside {low:.0f} to {high:.0f} °C, or too near to tell"
    return ""


def _temperature(data: MatchData) -> Measured | None:
    """The pack's temperature when the log ends, or what a person noted; None where the sensor stopped before that."""
    for noted in data.match.noted if data.match is not None else ():
        if noted.part == "pack" and noted.quantity in NOTED_TEMPERATURE and noted.unit in ("degC", "degF"):
            return Measured(noted.channel_value, noted.channel_value - 2.0, noted.channel_value + 5.0, "noted by hand")
    signal = data.get("pack_temp_degC")
    doubted = any(n.channel == "pack_temp_degC" and n.code in DOUBTED for n in data.quality)
    if signal is None or doubted or not len(signal.good()):
        return None
    good = signal.good()
    ends_s = max(float(s.t_s[-1]) for s in data.signals.values() if len(s.t_s))
    if data.window is not None:
        ends_s = min(ends_s, data.window.end_s)
    if good.t_s[-1] < ends_s - LATE_S or any(n.code == "clock_reset" for n in data.quality):
        return None
    value = float(good.x[-1])
    return Measured(value, value - 2.0, value + 5.0, "own sensor at the log's end; the cells inside are hotter")


def air_degC(data: MatchData) -> float:
    """The air about the robot in the pit: as the match states it, else as the check takes it."""
    stated = data.match.air_degC if data.match is not None else None
    return stated if stated is not None else data.air_degC[0]


def preference(p: PackPlan) -> tuple[bool, int, float, float]:
    """Sorts the packs, the one to take first."""
    order = {"reuse": 0, "watch": 1, "not checked": 2, "retire": 3}
    ohm = p.resistance_mohm.value if p.resistance_mohm is not None else math.inf
    return (not p.fits, order[p.verdict.word], p.ready_min if p.ready_min is not None else math.inf, ohm)


def fitting(plans: Sequence[PackPlan]) -> list[PackPlan]:
    """Those that may go in in time, in the order given."""
    return [p for p in plans if p.fits]
