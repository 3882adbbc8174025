"""What happened, in one sentence with the figure and the rating."""

from __future__ import annotations

import math

from analysis.findings import Event, Finding
from analysis.wording.names import CAUSE_WORDS, CHECK_WORDS, capital, listed, name_of, number
from analysis.wording.power_words import template
from ingest.builds import Build

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
        return capital(words)
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
        return capital(
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
        return f"{capital(part)} has {value}, the others about {limit}: it sags first."
    if finding.check == "pack_resistance":
        ratio = finding.facts.get("per_cell_mohm")
        each = f" ({number(float(ratio), 'mohm')} a cell)" if isinstance(ratio, int | float) else ""
        both = {"cold_pack", "ageing"} <= set(finding.could_be)
        reason = ": cold or ageing, this log cannot tell which" if both else f": {CAUSE_WORDS[finding.cause]}"
        return f"The pack had {value} at 1 s{each}; new it had {limit}{reason}."
    if finding.check == "contact_drop":
        return f"The {part} drops {value} {finding.evidence[0].split(':')[0]}; a sound terminal drops {limit} at most."
    if finding.check == "charge_at_start":
        return f"The pack rested at {value} before the match; full is {limit}."
    if finding.limit is not None:
        verb = "fell to" if _is_minimum(finding) else "reached"
        rated = "its limit is" if _is_minimum(finding) or finding.unit == "degC" else "it is rated"
        where = f" {at}" if finding.check not in ("wire_temperature", "contact_temperature") else ""
        span = finding.facts.get("window_s")
        over = f" over {float(span):.3g} s" if isinstance(span, int | float) else ""
        return f"The {part} {verb} {estimated}{value}{over}{where}{times}; {rated} {limit}."
    return f"{capital(part)}: {CAUSE_WORDS.get(cause, cause)} {at}{times}."


def _lasted(seconds: float) -> str:
    """A time short enough to need milliseconds, in them."""
    return number(seconds, "s") if seconds >= 1.0 else f"{max(1e3 * seconds, 1.0):.0f} ms"


def check_sentence(finding: Finding) -> str:
    """A finding of a build check: no match behind it, so nothing "reached" anything."""
    part = name_of(finding.part)
    if finding.check in ("main_disconnect", "fits_build"):  # of the whole build
        return f"{capital(finding.evidence[0])}."
    if finding.check == "fuse_protects_wire" or (finding.measured is None and finding.evidence):
        return f"{capital(part)}: " + "; ".join(finding.evidence) + "."
    if finding.check == "mass":
        return f"It weighs {number(finding.measured, 'kg')}; the limit is {number(finding.limit, 'kg')}."
    proof = f" ({finding.evidence[0]})" if finding.evidence else ""
    value, limit = number(finding.measured, finding.unit), number(finding.limit, finding.unit)
    return f"{capital(part)}, {CHECK_WORDS.get(finding.check, finding.check)}: {value} of {limit}{proof}."


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


def event(finding: Finding) -> Event:
    """One link of the chain."""
    words = {
        "joint_step": f"{capital(name_of(finding.part))} {number(finding.measured, 'mohm')} more",
        "stall": f"{capital(name_of(finding.part))} stalled",
        "thermal_limit": f"{capital(name_of(finding.part))} thermal limit",
        "sync_loss": f"{capital(name_of(finding.part))} lost synchronism",
        "disconnect_opened": "Power gone",
    }
    if finding.check == "link":
        what = f"Radio lost for {number(finding.measured, 's')}"
    elif finding.check in ("motor", "joint", "power") and finding.cause in words:
        what = words[finding.cause]
    elif finding.limit is not None and finding.check:
        verb = "down to" if _is_minimum(finding) else "at"
        what = f"{capital(name_of(finding.part))} {verb} {number(finding.measured, finding.unit)}"
    else:
        what = f"{capital(name_of(finding.part))}: {CAUSE_WORDS.get(finding.cause, finding.cause)}"
    detail = (
        f"limit {number(finding.limit, finding.unit)}" if finding.limit is not None else (finding.evidence or ("",))[0]
    )
    return Event(finding.start_s, what, detail, finding.verdict, finding.id)
