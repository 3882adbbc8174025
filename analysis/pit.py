"""Before the next match: which pack and when it is ready, what is still hot, the one change that fits, the list.

Ends in one of ENDINGS. "Nothing found against it" means only that: the log and the notes hold nothing against it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.build_check import BEFORE_POWER
from analysis.charging import (
    BALANCE_MIN,
    CHARGE_RANGE_DEGC,
    CHARGE_SPREAD,
    USUAL_C,
    charge_time,
    cooled_degC,
    cooling_s,
    pack_time_constant_s,
)
from analysis.findings import Advice, Review
from analysis.match_data import MatchData
from analysis.pack_verdict import PackVerdict, pack_verdict
from analysis.replay.levers import start_state
from analysis.signal import Measured
from ingest.builds import Pack
from ingest.season_file import Charger

ENDINGS = ("nothing found against it: finish the list", "change first", "not checked", "do not power up")
DEFAULT_MINUTES = 30.0  # our choice: between the twenty and the sixty minutes that events leave
SWAP_MIN = 5.0  # our choice: pack in, strapped, plugged, and a spin in the test box
FULL_PCT = 97.0  # our choice: a charge that reads this is full
HOT_DEGC = 55.0  # our choice: above it a hand does not stay on metal
# Time constants of what a sensor on it saw, in still air inside an open robot (our choice: from minutes for a
# controller with its heat sink to a quarter of an hour for a motor).
CONTROLLER_S, MOTOR_S, WIRE_S, CONTACT_S = 300.0, 900.0, 120.0, 60.0
BLIND = (
    "sensor_clipped",
    "implausible",
    "undersampled",
    "clock_missing",
    "clock_reset",
    "leftovers",
    "truncated",
    "logger_gap",
)
NOTED_TEMPERATURE = ("temp", "temperature")


@dataclass(frozen=True, eq=False)
class PackHistory:
    """One pack of the season and the last match that it was seen in (None: never)."""

    pack: Pack
    data: MatchData | None
    review: Review | None


@dataclass(frozen=True)
class PackPlan:
    """charge_pct after its last match; temp_degC now and its interval; wait_min to cool, charge_min with its interval.

    ready_min: minutes until it may go in (None: cannot be said, and why); last: it came out of the last match.
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


@dataclass(frozen=True)
class Hot:
    part: str
    peak_degC: float
    then_degC: float


@dataclass(frozen=True)
class PitPlan:
    """The plan. use: the pack to take, None where none can be named; ending is one of ENDINGS with its reasons."""

    match: str
    minutes: float
    packs: tuple[PackPlan, ...]
    use: str | None
    hot: tuple[Hot, ...]
    change: Advice | None
    others: tuple[Advice, ...]
    ending: str
    reasons: tuple[str, ...]
    before_power: tuple[str, ...] = BEFORE_POWER


def pit_plan(
    last: PackHistory, others: Sequence[PackHistory], charger: Charger | None, minutes: float | None = None
) -> PitPlan:
    """The plan after the match of `last`, with the season's other packs.

    minutes: to the next match; default what the match file says, else 30.
    """
    data, review = last.data, last.review
    assert data is not None and review is not None
    given = review.match.minutes_to_next if minutes is None else minutes
    left = DEFAULT_MINUTES if given is None else given
    cells = data.build.cells if data.build is not None else None
    plans = [_pack_plan(h, h is last, charger, left, cells) for h in (last, *others)]
    plans.sort(key=_preference)
    usable = [p for p in plans if p.fits]
    change = next((a for a in review.advice if _fits(a, left)), None)
    ending, reasons = _ending(data, review, plans, usable, change)
    return PitPlan(
        review.match.id,
        left,
        tuple(plans),
        usable[0].pack if usable else None,
        _hot(data, review, left),
        change,
        tuple(a for a in review.advice if a is not change),
        ending,
        reasons,
    )


def _preference(p: PackPlan) -> tuple[bool, int, float, float]:
    order = {"reuse": 0, "not checked": 1, "watch": 2, "retire": 3}
    ohm = p.resistance_mohm.value if p.resistance_mohm is not None else math.inf
    return (not p.fits, order[p.verdict.word], p.ready_min if p.ready_min is not None else math.inf, ohm)


# -- packs ----------------------------------------------------------------------------------------------------


def _pack_plan(h: PackHistory, last: bool, charger: Charger | None, left: float, cells: int | None) -> PackPlan:
    if h.data is None or h.review is None:
        never = PackVerdict(h.pack.id, "not checked", ("no match of this season was logged with it",), "Log a match.")
        why = "its charge is not known: measure each cell, charge it full"
        return PackPlan(h.pack.id, False, None, never, None, None, None, None, None, None, why, False)
    verdict = pack_verdict(h.data, h.review)
    rows = {e.name: Measured(e.value, e.low, e.high, e.method) for e in h.review.estimates if e.part == "pack"}
    state = start_state(h.data)
    charge = state.end_counted_pct if state is not None and isinstance(state.end_counted_pct, Measured) else None
    ohm = rows.get("pack_resistance_1s_mohm")
    match = h.review.match.id
    if not last:  # whether it was charged since, no log tells
        why = f"not logged since {match}: measure each cell; full it is ready in {SWAP_MIN:.0f} minutes"
        fits = verdict.word in ("reuse", "watch") and (cells is None or cells == h.pack.cells) and left >= SWAP_MIN
        if verdict.word == "retire":
            why = "not to be used"
        return PackPlan(
            h.pack.id, False, match, verdict, None, ohm, None, None, None, SWAP_MIN if fits else None, why, fits
        )
    temp, air = _temperature(h.data), _air(h.data)
    wait, takes, why = _charging(h, charge, rows, temp, air, charger, verdict)
    ready = None if wait is None or takes is None else wait + takes.high + BALANCE_MIN + SWAP_MIN
    if charge is not None and charge.value >= FULL_PCT:
        ready, why = SWAP_MIN, "still full"
    fits = ready is not None and ready <= left and verdict.word in ("reuse", "watch")
    if ready is not None and not why:
        why = f"ready in {ready:.0f} minutes" if fits else f"needs {ready:.0f} minutes, {left:g} are left"
    return PackPlan(h.pack.id, True, match, verdict, charge, ohm, temp, wait, takes, ready, why, fits)


def _charging(
    h: PackHistory,
    charge: Measured | None,
    rows: dict[str, Measured],
    temp: Measured | None,
    air: float,
    charger: Charger | None,
    verdict: PackVerdict,
) -> tuple[float | None, Measured | None, str]:
    """(minutes to cool, minutes to charge, why not)."""
    pack = h.pack
    if verdict.no_charge:
        return None, None, f"no charge time: {verdict.no_charge[0]}"
    if verdict.word == "retire":
        return None, None, f"no charge time: {verdict.reasons[0]}"
    if pack.chemistry != "lithium-polymer":
        return None, None, f"no charge time: no curve for {pack.chemistry}"
    if temp is None:
        return None, None, "no charge time: its temperature is not known; measure it and note it"
    if charge is None or pack.capacity_Ah is None:
        return None, None, "no charge time: its charge is not known; measure each cell"
    tau = pack_time_constant_s(pack.mass_g or 500.0)
    low, high = CHARGE_RANGE_DEGC
    if temp.value < low or air < low:
        return None, None, f"no charge time: {min(temp.value, air):.0f} °C is outside {low:.0f} to {high:.0f} °C"
    wait = cooling_s(temp.high, air, high, tau.high) / 60.0
    if not math.isfinite(wait):
        return None, None, f"no charge time: it does not cool under {high:.0f} °C in air of {air:.0f} °C"
    slow = rows.get("pack_resistance_10s_mohm") or rows.get("pack_resistance_1s_mohm")
    limit_A = (pack.charge_C or USUAL_C) * pack.capacity_Ah
    watts = math.inf
    if charger is not None:
        limit_A = min(limit_A, charger.max_A or math.inf)
        watts = charger.max_W or math.inf

    def minutes(pct: float) -> float:
        assert pack.capacity_Ah is not None
        ohm = (slow.value if slow is not None else 0.0) / 1000.0
        start = min(max(pct / 100.0, 0.0), 1.0)
        made = charge_time(
            start, capacity_Ah=pack.capacity_Ah, cells=pack.cells, pack_ohm=ohm, limit_A=limit_A, limit_W=watts
        )
        return made.minutes

    value = minutes(charge.value)
    spread = Measured(
        value,
        minutes(charge.high) * (1.0 - CHARGE_SPREAD),
        max(minutes(charge.low), value) * (1.0 + CHARGE_SPREAD),
        f"{limit_A:.1f} A, then 4.20 V a cell until a twentieth of the capacity",
    )
    return wait, spread, ""


def _temperature(data: MatchData) -> Measured | None:
    """The pack's temperature when the log ends, or what a person noted."""
    signal = data.get("pack_temp_degC")
    if signal is not None and len(signal.good()):
        value = float(signal.good().x[-1])
        return Measured(value, value - 2.0, value + 5.0, "own sensor at the log's end; the cells inside are hotter")
    for noted in data.match.noted if data.match is not None else ():
        if noted.part == "pack" and noted.quantity in NOTED_TEMPERATURE:
            return Measured(noted.channel_value, noted.channel_value - 2.0, noted.channel_value + 5.0, "noted by hand")
    return None


def _air(data: MatchData) -> float:
    stated = data.match.air_degC if data.match is not None else None
    return stated if stated is not None else data.air_degC[0]


# -- the robot ------------------------------------------------------------------------------------------------


def _hot(data: MatchData, review: Review, left: float) -> tuple[Hot, ...]:
    """What a hand should not touch now, and how warm it is when the minutes are up."""
    air = _air(data)
    taus = {"controller_peak_degC": CONTROLLER_S, "motor_peak_degC": MOTOR_S, "wire_peak_degC": WIRE_S}
    contacts = {c.id: c.time_constant_s or CONTACT_S for c in data.build.contacts} if data.build is not None else {}
    found = []
    for row in review.estimates:
        tau = taus.get(row.name) or (contacts.get(row.part, CONTACT_S) if row.name == "contact_peak_degC" else None)
        if tau is None or row.value <= HOT_DEGC:
            continue
        found.append(Hot(row.part, row.value, cooled_degC(row.value, air, 60.0 * left, tau)))
    return tuple(sorted(found, key=lambda hot: -hot.then_degC))


def _fits(advice: Advice, left: float) -> bool:
    late = advice.minutes is not None and advice.minutes > left
    return not late and "over the limit" not in advice.cost_note and not advice.sentence.startswith("None of")


def _ending(
    data: MatchData, review: Review, plans: list[PackPlan], usable: list[PackPlan], change: Advice | None
) -> tuple[str, tuple[str, ...]]:
    stop = _do_not_power(data, review)
    if stop:
        return ENDINGS[3], tuple(stop)
    serious = [f for f in review.findings if f.verdict in ("over", "fault", "close") and not f.consequence_of]
    worn = [p for p in plans if p.last and p.verdict.word == "retire"]
    if serious:
        reasons = [f.sentence for f in serious[:3]]
        if change is None:
            reasons.append("No change that fits in the time is known to clear it.")
        return ENDINGS[1], tuple(reasons)
    if worn:
        return ENDINGS[1], (f"Pack {worn[0].pack}: {worn[0].verdict.reasons[0]}.",)
    blind = list(dict.fromkeys(note.note for note in review.quality if note.code in BLIND))
    if review.match.verdict == "unknown" or blind:
        why = blind[:2] or [row.reason for row in review.not_checked[:2]]
        return ENDINGS[2], tuple(f"{text[:1].upper()}{text[1:]}." for text in why)
    if not usable:
        return ENDINGS[2], ("No pack is known to be ready in time.", *(f"Pack {p.pack}: {p.why}." for p in plans[:3]))
    return ENDINGS[0], ()


def _do_not_power(data: MatchData, review: Review) -> list[str]:
    """A missing or failed main disconnect, or a failed power light."""
    found = []
    build = data.build
    if build is not None and build.wires and not any(c.kind == "disconnect" for c in build.contacts):
        found.append(f"Build {build.id} has no main disconnect.")
    for finding in review.findings:
        if finding.cause in ("disconnect_opened", "disconnect_bounce"):
            found.append(f"The main disconnect may have failed: {finding.sentence}")
    for noted in data.match.noted if data.match is not None else ():
        if noted.quantity in ("light", "power_light", "disconnect") and not noted.value:
            found.append(f"Noted by hand: {noted.quantity.replace('_', ' ')} failed.")
    return found
