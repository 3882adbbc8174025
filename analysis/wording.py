"""Every sentence a person reads about a finding, an estimate or a change: made here and nowhere else.

Short, plain, the number first, the rating beside it. "About" for estimates, "at least" where the log only bounds.
"""

from __future__ import annotations

import math

from analysis.findings import Advice, Event, Finding, MatchFacts, NotChecked, Passed, QualityNote
from analysis.power_words import template
from ingest.builds import Build

UNIT_WORDS = {"degC": "°C", "mohm": "mΩ", "pct": "%", "Ah": "Ah", "1": ""}

CHECK_WORDS = {
    "continuous_current": "current over 60 s",
    "burst_current": "current in bursts",
    "contact_current": "current over 60 s",
    "contact_temperature": "temperature, estimated",
    "wire_temperature": "temperature, estimated",
    "fuse_curve": "use of its time to open",
    "pack_current": "current",
    "pack_sag": "lowest voltage over 1 s",
    "cell_minimum": "lowest cell over 1 s",
    "pack_temperature": "temperature",
    "controller_cutoff": "lowest input against its cutoff",
    "controller_voltage": "lowest input against its restart",
    "controller_overvoltage": "highest input",
    "controller_temperature": "temperature",
    "motor_temperature": "temperature",
    "rail_voltage": "lowest rail voltage",
    "rail_current": "rail current",
    "link": "radio link",
    "charge_used": "charge used",
    "pack_resistance": "resistance at 1 s",
    "cell_resistance": "cell resistance",
    "charge_at_start": "charge at the start",
    "fits_build": "does it fit the log",
    "fuse_protects_wire": "fuse against wire",
    "regulator_input": "input against the pack",
    "mass": "mass",
    "build": "ratings",
    "clock": "clock",
}

CAUSE_WORDS = {
    "stall": "a stalled motor",
    "push": "pushing",
    "spin_up": "spin-up",
    "hit": "a hit",
    "short": "a short",
    "pack_resistance": "the pack's own resistance",
    "weak_cell": "one weak cell",
    "pack_empty": "an empty pack",
    "cold_pack": "a cold pack",
    "not_full": "a pack that was not full",
    "ageing": "an ageing pack",
    "joint_step": "a joint that came loose",
    "joint_intermittent": "a joint that comes and goes",
    "contact_heating": "heating in a contact",
    "disconnect_opened": "the main disconnect opening",
    "disconnect_bounce": "the main disconnect bouncing",
    "fuse_opened": "a fuse that opened",
    "thin_wire": "a wire too thin for it",
    "terminal_loose": "a loose terminal",
    "current_limit": "the controller's current limit",
    "thermal_limit": "the controller's thermal limit",
    "low_voltage_cutoff": "the low-voltage cutoff",
    "regeneration_trip": "braking energy pushing the voltage up",
    "undervoltage_restart": "a restart from low voltage",
    "sync_loss": "lost synchronism",
    "start_failure": "a failed start",
    "winding_short": "a shorted winding",
    "drag": "drag",
    "brush_noise": "brush noise",
    "brown_out": "a brown-out",
    "regulator_overload": "an overloaded regulator",
    "radio_loss": "the radio",
    "unknown": "no cause seen",
}

DO_WORDS = {
    "stall": "Free the {part} and turn it by hand; look for a bent shaft or a jammed wheel.",
    "thermal_limit": "Let the {part} cool; find what held its motor before the next match.",
    "short": "Look for chafed or pinched wires on {could_be} before you power up.",
    "weak_cell": "Take this pack out of use; measure each cell now.",
    "pack_empty": "Fit a full pack; this one is used up.",
    "cold_pack": "Warm the pack to room temperature before the next match.",
    "ageing": "Keep this pack for tests; fit a fresher one.",
    "not_full": "Charge the pack full before the next match.",
    "pack_resistance": "Fit a pack with less resistance or lower the current limit.",
    "joint_step": "Remake {could_be}.",
    "joint_intermittent": "Remake {could_be}; wiggle each under test.",
    "contact_heating": "Remake {part}; look for browned plastic.",
    "terminal_loose": "Tighten {part}.",
    "disconnect_opened": "Check {could_be}: seat, tightness, cracked solder.",
    "disconnect_bounce": "Check {could_be}: seat and tightness.",
    "fuse_opened": "Find what drew the current before you replace the fuse.",
    "thin_wire": "Fit a thicker wire in {part}.",
    "sync_loss": "Check the three motor leads of {part} and its plugs; then lower its start power.",
    "start_failure": "Check the three motor leads of {part}; turn the weapon by hand with the pack out.",
    "winding_short": "Measure the windings of {part}; do not run it until they are equal.",
    "brown_out": "Feed the receiver from a supply of its own, or cure the sag above it.",
    "regulator_overload": "Take load off the regulator {part}: a supply of its own for the servo, or free the servo.",
    "radio_loss": "Look at the radio: antenna, its place and its plug. The supply was steady.",
    "undervoltage_restart": "Cure the sag at {part} first; its supply fell under what it needs.",
    "low_voltage_cutoff": "Fit a full pack, or cure the sag at {part}.",
    "spin_up": "Lower the spin-up current of {part} or lengthen its ramp.",
    "hit": "Lower the current limit of {part}, or fit parts rated for its hits.",
    "current_limit": "Nothing: the limiter did its job.",
    "regeneration_trip": "Brake {part} more softly.",
    "drag": "Turn {part} by hand; look for rubbing.",
    "brush_noise": "Look at the brushes and the commutator of {part}; fit suppression capacitors at the motor.",
    "push": "Nothing: it pushed within its rating.",
}  # fmt: skip


# What a motor or its controller did, where no rating is involved. {value} is the finding's figure.
MOTOR_SENTENCES = {
    "push": "the {part} pushed at {value} for {lasted}, {at}{times}.",
    "spin_up": "spinning up took the {part} to {value}, near the limit set in it, {at}{times}.",
    "hit": "hits took the {part} to {value}, near the limit set in it, {at}{times}.",
    "short": "a short on the {part}: {value} {at}{times}, more than its controller lets through.",
    "current_limit": "the current limit of the {part} held it at {value} for {lasted}, {at}{times}.",
    "low_voltage_cutoff": "the {part} cut its own output {at} with its input down to {value}{times}.",
    "regeneration_trip": "braking drove the input of the {part} to {value} {at} and it tripped{times}.",
    "start_failure": "the {part} motor was asked to start {at} and did not for {lasted}{times}.",
    "winding_short": "the {part} motor drew {value} at a steady speed from {since} on and ran faster for its voltage: "
    "a shorted winding.",
    "drag": "the {part} drew {value} at a steady speed from {since} on, far more than before: something drags.",
    "brush_noise": "the current of the {part} motor became ragged, {value} from sample to sample: look at its brushes.",
}

NO_ACTION = "No action."

# Notes that ask for something although nothing is past a rating.
WORTH_DOING = ("cold_pack", "ageing", "not_full", "drag", "pack_empty")


def unit(name: str) -> str:
    return UNIT_WORDS.get(name, name)


def number(value: float | None, unit_name: str = "") -> str:
    """A figure as a person writes it: as many digits as the unit deserves, a true minus, a comma for thousands."""
    if value is None or not math.isfinite(value):
        return "not known"
    decimals = {
        "V": 2 if abs(value) < 6 else 1,
        "degC": 0,
        "A": 0 if abs(value) >= 20 else 1,
        "s": 1,
        "mohm": 1,
        "rpm": 0,
    }
    places = decimals.get(unit_name, 1 if abs(value) < 100 else 0)
    text = f"{value:,.{places}f}".replace("-", "−")
    return f"{text} {unit(unit_name)}".strip()


def name_of(part: str) -> str:
    """A part's id as words: battery_lead -> battery lead."""
    if part.startswith("cell") and part[4:].isdigit():
        return f"cell {part[4:]}"
    return part.replace("_", " ") if part else "the robot"


def listed(parts: tuple[str, ...], word: str = "and") -> str:
    names = [name_of(part) for part in parts]
    if len(names) <= 1:
        return names[0] if names else ""
    return ", ".join(names[:-1]) + f" {word} " + names[-1]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def sentence(finding: Finding, build: Build | None = None) -> str:
    """What happened, in one sentence with the figure and the rating."""
    part = name_of(finding.part)
    value = number(finding.measured, finding.unit)
    limit = number(finding.limit, finding.unit)
    at = f"at {finding.start_s:.1f} s"
    times = f", {_often(finding.count)}" if finding.count > 1 else ""
    estimated = "about " if finding.check in ("wire_temperature", "contact_temperature") else ""
    if finding.high is not None and math.isinf(finding.high):
        estimated = "at least "
    cause = finding.cause
    if finding.check == "link":
        return _loss_sentence(finding)
    if cause == "disconnect_opened":
        sure = "" if finding.confidence != "possible" else " That is a guess until a log ahead of it goes on."
        return f"Everything went off {at} with {value} flowing: {listed(finding.could_be, 'or') or part} opened.{sure}"
    if template(finding):
        first = min((o.start_s for o in finding.occurrences), default=finding.start_s)
        words = template(finding).format(
            part=part,
            value=value,
            at=f"at {first:.1f} s",
            since=f"{first:.1f} s",
            times=times,
            places=listed(finding.could_be, "or") or part,
            limit=limit,
            long=_lasted(finding.end_s - finding.start_s),
        )
        return _capital(words)
    if cause == "undervoltage_restart" and finding.check == "power":
        return f"The {part} restarted {at}{times}."
    if finding.check == "contact_temperature" and finding.could_be:
        least = number(finding.low, finding.unit)
        return f"A joint of the {part} may have reached {value}, at least {least}; its limit is {limit}."
    if cause in ("joint_step", "joint_intermittent") and finding.check == "joint":
        return f"The resistance of {part} rose by {value} {at} and stayed: {listed(finding.could_be, 'or')}."
    if cause == "sync_loss":
        first = min((o.start_s for o in finding.occurrences), default=finding.start_s)
        return f"The {part} motor lost synchronism{times}, first at {first:.1f} s."
    if cause == "stall" and finding.check == "motor":
        lasted = finding.end_s - finding.start_s
        return f"The {part} motor stood still under {value} for {lasted:.1f} s, from {finding.start_s:.1f} s{times}."
    if finding.check == "motor" and cause in MOTOR_SENTENCES:
        return _capital(
            MOTOR_SENTENCES[cause].format(
                part=part,
                value=value,
                at=at,
                since=f"{finding.start_s:.1f} s",
                times=times,
                lasted=number(finding.end_s - finding.start_s, "s"),
            )
        )
    if cause == "thermal_limit":
        return f"The {part} cut its own output {at} at {value}{times}."
    if finding.check == "cell_resistance":
        return f"{_capital(part)} has {value}, the others about {limit}: it sags first."
    if finding.check == "pack_resistance":
        ratio = finding.facts.get("per_cell_mohm")
        each = f" ({number(float(ratio), 'mohm')} a cell)" if isinstance(ratio, int | float) else ""
        both = {"cold_pack", "ageing"} <= set(finding.could_be)
        reason = ": cold or ageing, this log cannot tell which" if both else f": {CAUSE_WORDS[finding.cause]}"
        return f"The pack had {value} at 1 s{each}; new it had {limit}{reason}."
    if finding.check == "charge_at_start":
        return f"The pack rested at {value} before the match; full is {limit}."
    if finding.limit is not None:
        verb = "fell to" if _is_minimum(finding) else "reached"
        rated = "its limit is" if _is_minimum(finding) or finding.unit == "degC" else "it is rated"
        where = f" {at}" if finding.check not in ("wire_temperature", "contact_temperature") else ""
        span = finding.facts.get("window_s")
        over = f" over {float(span):.3g} s" if isinstance(span, int | float) else ""
        return f"The {part} {verb} {estimated}{value}{over}{where}{times}; {rated} {limit}."
    return f"{_capital(part)}: {CAUSE_WORDS.get(cause, cause)} {at}{times}."


def _lasted(seconds: float) -> str:
    """A time short enough to need milliseconds, in them."""
    return number(seconds, "s") if seconds >= 1.0 else f"{max(1e3 * seconds, 1.0):.0f} ms"


def check_sentence(finding: Finding) -> str:
    """A finding of a build check: no match behind it, so nothing "reached" anything."""
    part = name_of(finding.part)
    if finding.check == "fuse_protects_wire":
        return f"{_capital(part)}: " + "; ".join(finding.evidence) + "."
    if finding.check == "mass":
        return f"It weighs {number(finding.measured, 'kg')}; the limit is {number(finding.limit, 'kg')}."
    proof = f" ({finding.evidence[0]})" if finding.evidence else ""
    value, limit = number(finding.measured, finding.unit), number(finding.limit, finding.unit)
    return f"{_capital(part)}, {CHECK_WORDS.get(finding.check, finding.check)}: {value} of {limit}{proof}."


def _is_minimum(finding: Finding) -> bool:
    return finding.check in ("pack_sag", "cell_minimum", "controller_cutoff", "controller_voltage", "rail_voltage")


def _often(count: int) -> str:
    words = {1: "once", 2: "twice", 3: "three times", 4: "four times", 5: "five times"}
    return words.get(count, f"{count} times")


def _loss_sentence(finding: Finding) -> str:
    lengths = [o.measured for o in finding.occurrences if o.measured is not None]
    often = _often(finding.count)
    longest = f"for {number(max(lengths), 's')}" if lengths else ""
    if len(lengths) > 1 and max(lengths) - min(lengths) > 0.15:
        longest = f"for up to {number(max(lengths), 's')}"
    head = f"The radio dropped {often} {longest}, first at {min(o.start_s for o in finding.occurrences):.1f} s"
    if finding.cause == "radio_loss":
        tail = "the rail held" if finding.confidence != "possible" else "the rail was not logged"
        return f"{head}; {tail}."
    return f"{head}: the receiver lost its supply."


# Evidence that says how a figure was had, and not why it happened.
METHOD_STARTS = ("worst r.m.s.", "at ", "lowest ", "highest ", "hottest ", "18-block", "convection", "stated")


def why(finding: Finding) -> str:
    """The second line: the cause and the evidence."""
    sure = {"certain": "", "likely": "Likely ", "possible": "Possibly "}[finding.confidence]
    cause = CAUSE_WORDS.get(finding.cause, finding.cause)
    text = _capital(f"{sure}{cause}") if sure else _capital(cause)
    if finding.cause == "unknown":
        text = "The log shows no cause"
    if {"cold_pack", "ageing"} <= set(finding.could_be):
        text = "A cold pack or an ageing one: this log cannot tell them apart"
    told = [e for e in finding.evidence if not e.startswith(METHOD_STARTS)]
    proof = "; ".join((told or list(finding.evidence))[:2])
    return f"{text}: {proof}." if proof else f"{text}."


def do(finding: Finding) -> str:
    """The third line without a replayed change: what a builder does about this cause."""
    if {"cold_pack", "ageing"} <= set(finding.could_be):
        return "Warm the pack to room temperature and log one more match: then it shows whether it is old."
    text = DO_WORDS.get(finding.cause, "")
    if not text:
        return (
            "Look at it before the next match; the log names no cure."
            if finding.verdict != "note"
            else "Nothing to do."
        )
    parts = listed(finding.could_be) if finding.could_be else name_of(finding.part)
    return text.format(part=name_of(finding.part), could_be=parts)


def three_lines(
    facts: MatchFacts,
    findings: tuple[Finding, ...],
    passed: tuple[Passed, ...],
    not_checked: tuple[NotChecked, ...],
    quality: tuple[QualityNote, ...],
    advice: tuple[Advice, ...],
) -> tuple[str, str, str]:
    """What happened, why, what to do."""
    serious = [f for f in findings if f.verdict in ("over", "fault", "close") and not f.consequence_of]
    serious = serious or [f for f in findings if f.verdict in ("over", "fault", "close")]
    if serious:
        first = serious[0]
        act = next((a.sentence for a in advice if a.proved and first.id in a.clears), "") or do(first)
        return first.sentence, why(first), act
    blind = _blind(quality, not_checked)
    if facts.verdict == "unknown":
        return (
            "Nothing could be held against a rating.",
            not_checked[0].reason + "." if not_checked else "No build or pack is known.",
            _capital(not_checked[0].mend) + "." if not_checked else "Name the build and the pack.",
        )
    smallest = min(passed, key=lambda p: p.margin_pct, default=None)
    margin = f"The smallest margin is {smallest.margin_pct:.0f} %, at the {name_of(smallest.part)}." if smallest else ""
    noted = [f for f in findings if f.verdict == "note"]
    second = noted[0].sentence if noted else "Nothing in the log against it."
    if blind:
        return f"Nothing past its rating in what was logged. {margin}".strip(), blind, _mend(quality, not_checked)
    act = do(noted[0]) if noted and noted[0].cause in WORTH_DOING else NO_ACTION
    return f"Nothing past its rating. {margin}".strip(), second, act


def channel_words(channel: str | None) -> str:
    """A channel as words: weapon_input_current_A -> weapon input current."""
    return "the log" if channel is None else channel.rsplit("_", 1)[0].replace("_", " ")


def _blind(quality: tuple[QualityNote, ...], not_checked: tuple[NotChecked, ...]) -> str:
    for code in ("sensor_clipped", "undersampled", "clock_reset", "truncated", "logger_gap"):
        for note in quality:
            if note.code == code and code == "sensor_clipped":
                return f"The sensor of {channel_words(note.channel)} stops at its top: {note.note}."
            if note.code == code:
                return _capital(note.note) + "."
    return ""


def _mend(quality: tuple[QualityNote, ...], not_checked: tuple[NotChecked, ...]) -> str:
    clipped = next((note.channel for note in quality if note.code == "sensor_clipped"), None)
    if clipped is not None:
        return f"Take every peak of {channel_words(clipped)} as at least that; fit a sensor with a larger range."
    channels = {note.channel for note in quality if note.channel}
    for row in not_checked:
        if any(channel in row.reason or channel in row.mend for channel in channels):
            return _capital(row.mend) + "."
    return "Read what was not checked before you trust it."


def event(finding: Finding) -> Event:
    """One link of the chain."""
    words = {
        "joint_step": f"{_capital(name_of(finding.part))} {number(finding.measured, 'mohm')} more",
        "stall": f"{_capital(name_of(finding.part))} stalled",
        "thermal_limit": f"{_capital(name_of(finding.part))} thermal limit",
        "sync_loss": f"{_capital(name_of(finding.part))} lost synchronism",
        "disconnect_opened": "Power gone",
    }
    if finding.check == "link":
        what = f"Radio lost for {number(finding.measured, 's')}"
    elif finding.check in ("motor", "joint", "power") and finding.cause in words:
        what = words[finding.cause]
    elif finding.limit is not None and finding.check:
        verb = "down to" if _is_minimum(finding) else "at"
        what = f"{_capital(name_of(finding.part))} {verb} {number(finding.measured, finding.unit)}"
    else:
        what = f"{_capital(name_of(finding.part))}: {CAUSE_WORDS.get(finding.cause, finding.cause)}"
    detail = (
        f"limit {number(finding.limit, finding.unit)}" if finding.limit is not None else (finding.evidence or ("",))[0]
    )
    return Event(finding.start_s, what, detail, finding.verdict, finding.id)


VERDICT_WORDS = {
    "over": "Over",
    "fault": "Fault",
    "close": "Close",
    "within": "Within",
    "note": "Note",
    "unknown": "Not checked",
}

CAUTIONS = (
    "Estimates are not certification: event rules, makers' data and local codes come first.",
    "Main disconnect mechanical and within reach, power light working, weapon restrained before power.",
    "Charge lithium packs watched, in the event's charging place; a hot, puffed or punctured pack goes outdoors.",
    "No log sees a crushed cell: look at the pack before it goes in again.",
)  # fmt: skip
# What a builder does, by the kind of change; {parts} and {figure} are filled in.
ADVICE_WORDS = {
    "remake": "Remake {parts}",
    "gauge": "Fit {figure} in the {parts}",
    "parallel": "Lay {figure} leads side by side in the {parts}",
    "length_mm": "Shorten the {parts} to {figure}",
    "contact": "Fit a {figure} size for the {parts}",
    "fuse": "Fit a {figure} fuse as {parts}; its wire allows it",
    "limit": "Set the current limit of the {parts} to {figure}",
    "free_and_limit": "Free the {parts} and look for what jammed it; then set its current limit to {figure}",
    "ramp": "Set the ramp of the {parts} to {figure}",
    "gears": "Gear the {parts} to {figure}",
    "sound_pack": "Fit a sound pack, {figure} mΩ or less; keep {parts} out of the robot",
    "larger_pack": "Fit a pack of {figure}",
    "parallel_packs": "Fit a second pack like {parts} beside it, at equal volts",
    "full": "Charge the pack full first",
    "warm": "Warm the pack to room temperature first",
    "own_supply": "Feed the servo from a supply of its own, not from the {parts}",
    "servo": "Free the servo that loads the {parts}",
    "antenna": "Move the antenna clear of metal and carbon; check its plug",
    "capacitors": "Fit capacitors at the motor of the {parts}",
    "motor_plugs": "Remake the three motor plugs of the {parts}",
}


def advice_sentence(
    action: str,
    parts: tuple[str, ...],
    figure: str,
    takes_min: float,
    left_min: float | None,
    adds_g: float | None,
    *,
    clears: bool,
) -> str:
    """One change as an imperative with what it costs: "Remake pack plug: 9 of your 40 minutes, 0 g."."""
    text = ADVICE_WORDS[action].format(parts=listed(parts), figure=figure)
    time = f"{takes_min:.0f} of your {left_min:g} minutes" if left_min is not None else f"{takes_min:.0f} minutes"
    mass = "" if adds_g is None else f", {adds_g:+.0f} g".replace("-", "−") if abs(adds_g) >= 0.5 else ", 0 g"
    head = "" if clears else "None of the changes clears it; the nearest: "
    body = text if clears else text[:1].lower() + text[1:]
    return f"{head}{body}: {time}{mass}."


def capital(text: str) -> str:
    return _capital(text)


REPLAY_CAUTION = (
    "A replay says what this match would have measured, with its band; it is no proof of the next one. Log again "
    "after the change. Event rules, makers' data and local codes come first."
)
SPINNING_CAUTION = "A spinning weapon can keep the robot alive after the disconnect opens."
