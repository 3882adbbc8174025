"""Before the next match: which pack and when it is ready, what is still hot, the one change that fits, the list.

Ends in one of ENDINGS. "Nothing found against it" means only that: the log and the notes hold nothing against it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.build_check import BEFORE_POWER
from analysis.charging import cooled_degC
from analysis.findings import Advice, NotChecked, Review
from analysis.masses import room_g
from analysis.match_data import MatchData
from analysis.pit_packs import PackHistory, PackPlan, air_degC, fitting, pack_plan, preference
from analysis.wiring import tree
from analysis.wording.names import listed, name_of
from ingest.season_file import Charger

__all__ = ["DEFAULT_MINUTES", "ENDINGS", "LONGEST_MIN", "Hot", "PackHistory", "PackPlan", "PitPlan", "pit_plan"]

ENDINGS = ("nothing found against it: finish the list", "change first", "not checked", "do not power up")
DEFAULT_MINUTES = 30.0  # our choice: between the twenty and the sixty minutes that events leave
LONGEST_MIN = 24 * 60.0  # our choice: a match that is further off than a day needs no plan of minutes
REST_S = 5.0  # our choice: a robot that draws nothing for so long has been switched off or counted out
WHOLE_SHARE = 0.8  # our choice: of the stated length; fighting starts and ends within a tenth of it
MOST_NAMED = 4  # our choice: more names than these are no reason but a list
HOT_DEGC = 55.0  # our choice: above it a hand does not stay on metal
# Time constants of what a sensor on it saw, in still air inside an open robot (our choice: from minutes for a
# controller with its heat sink to a quarter of an hour for a motor).
CONTROLLER_S, MOTOR_S, WIRE_S, CONTACT_S = 300.0, 900.0, 120.0, 60.0
BLIND = (
    "sensor_clipped",
    "implausible",
    "undersampled",
    "frozen_values",
    "clock_missing",
    "clock_reset",
    "leftovers",
    "truncated",
    "logger_gap",
)


@dataclass(frozen=True)
class Hot:
    """A part, the upper end of its hottest estimate, and about how warm it is when the minutes are up."""

    part: str
    peak_degC: float
    then_degC: float


@dataclass(frozen=True)
class PitPlan:
    """The plan. use: the pack to take, None where none can be named; ending is one of ENDINGS with its reasons.

    hot_unknown: controllers and motors whose temperature nothing tells; not_checked: what the review could not say.
    """

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
    hot_unknown: tuple[str, ...] = ()
    not_checked: tuple[NotChecked, ...] = ()


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
    plans = [pack_plan(h, h is last, charger, left, cells) for h in (last, *others)]
    plans.sort(key=preference)
    usable = fitting(plans)
    advice = [_retimed(a, review.match.minutes_to_next, left) for a in review.advice]
    room = room_g(data.build) if data.build is not None else None
    change = next((a for a in advice if _fits(a, left, room)), None)
    ending, reasons = _ending(data, review, plans, usable, change)
    return PitPlan(
        review.match.id,
        left,
        tuple(plans),
        usable[0].pack if usable else None,
        _hot(data, review, left),
        change,
        tuple(a for a in advice if a is not change),
        ending,
        reasons,
        hot_unknown=_hot_unknown(data, review),
        not_checked=review.not_checked,
    )


# -- the robot ------------------------------------------------------------------------------------------------


def _hot(data: MatchData, review: Review, left: float) -> tuple[Hot, ...]:
    """What a hand should not touch now, and how warm it is when the minutes are up."""
    air = air_degC(data)
    taus = {"controller_peak_degC": CONTROLLER_S, "motor_peak_degC": MOTOR_S, "wire_peak_degC": WIRE_S}
    contacts = {c.id: c.time_constant_s or CONTACT_S for c in data.build.contacts} if data.build is not None else {}
    found: dict[str, Hot] = {}
    for row in review.estimates:
        tau = taus.get(row.name) or (contacts.get(row.part, CONTACT_S) if row.name == "contact_peak_degC" else None)
        worst = row.high if math.isfinite(row.high) else row.value
        if tau is None or worst <= HOT_DEGC or (row.part in found and found[row.part].peak_degC >= worst):
            continue
        found[row.part] = Hot(row.part, worst, cooled_degC(worst, air, 60.0 * left, tau))
    return tuple(sorted(found.values(), key=lambda hot: -hot.then_degC))


def _hot_unknown(data: MatchData, review: Review) -> tuple[str, ...]:
    """Controllers and motors without any figure of their temperature: a hand takes them as hot."""
    if data.build is None:
        return ()
    known = {e.part for e in review.estimates if e.name in ("controller_peak_degC", "motor_peak_degC")}
    ids = [*(c.id for c in data.build.controllers), *(m.id for m in data.build.motors)]
    return tuple(part for part in ids if part not in known)


def unseen_parts(data: MatchData, review: Review) -> list[str]:
    """The pack, controllers, and runs of the supply with their contacts, of which no check at all could be made."""
    build = data.build
    if build is None:
        return []
    runs = [run for run in tree(build).runs.values() if not run.is_motor_lead]
    contacts = [c.id for run in runs for c in run.contacts]
    seen = {row.part for row in review.passed} | {f.part for f in review.findings if f.limit is not None}
    if any(part.startswith("cell") for part in seen):
        seen.add("pack")
    parts = ("pack", *(c.id for c in build.controllers), *(run.id for run in runs), *contacts)
    return [part for part in dict.fromkeys(parts) if part not in seen]


def _retimed(advice: Advice, was_min: float | None, left_min: float) -> Advice:
    """The advice with the minutes that are left now in its words, not those of the match file."""
    if was_min is None or was_min == left_min:
        return advice
    said = advice.sentence.replace(f" of your {was_min:g} minutes", f" of your {left_min:g} minutes")
    return replace(advice, sentence=said)


def _fits(advice: Advice, left_min: float, room: float | None) -> bool:
    """Whether it cures something, or may where no replay can tell, within the minutes and the grams that are left."""
    late = advice.minutes is not None and advice.minutes > left_min
    no_cure = advice.purpose != "cure" or (advice.proved and not advice.clears)
    too_heavy = room is not None and (advice.adds_g or 0.0) > max(room, 0.0)
    return not late and not no_cure and not too_heavy


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
    if data.build is None or not data.build.wires:
        return ENDINGS[2], ("The build describes no wiring: no run, no joint and no main disconnect was checked.",)
    strange = [row.reason for row in review.not_checked if row.check == "fits_build"]
    if strange:
        return ENDINGS[2], tuple(f"{text[:1].upper()}{text[1:]}." for text in strange[:2])
    short = _short(data)
    if short:
        return ENDINGS[2], (short,)
    unseen = unseen_parts(data, review)
    if unseen:
        more = f" and {len(unseen) - MOST_NAMED} more" if len(unseen) > MOST_NAMED else ""
        names = (", ".join(name_of(part) for part in unseen[:MOST_NAMED]) if more else listed(tuple(unseen))) + more
        return ENDINGS[2], (f"No check could be made of {names}: the log or the build does not tell.",)
    if not usable:
        return ENDINGS[2], ("No pack is known to be ready in time.",)
    return ENDINGS[0], ()


def _short(data: MatchData) -> str:
    """Where the log stops in the middle of the match: it holds much less than the match's length, no one noted that it
    ended early, and it does not show the robot at rest behind its last load; else empty."""
    match, window = data.match, data.window
    if match is None or match.length_s is None or window is None or match.ended_s is not None or match.ended_by:
        return ""
    logged_s = window.end_s - window.start_s
    current = data.signals.get("pack_current_A")
    rested = current is not None and len(current) > 0 and float(current.t_s[-1]) - window.end_s >= REST_S
    if logged_s >= WHOLE_SHARE * match.length_s or rested:
        return ""
    told = f"The log holds {logged_s:.0f} s of a match of {match.length_s:.0f} s: what came after, it does not show."
    return f"{told} If it ended early, note ended_s in the match file."


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
