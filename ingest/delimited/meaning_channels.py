"""The channel of a column whose part is known, and what is offered where it is not."""

from __future__ import annotations

from ingest.channels import channel_name
from ingest.delimited.meaning_draft import FITS, FOLLOWS, SAID, UNKNOWN, Draft, FileContext
from ingest.delimited.words import (
    AXES,
    MAXIMUM,
    MINIMUM,
    NOT_MEASURED,
    PART,
)

SUFFIX = {
    "voltage": "voltage_V",
    "temperature": "temp_degC",
    "speed": "speed_rpm",
    "command": "command_pct",
    "duty": "duty_pct",
    "charge": "charge_used_mAh",
    "energy": "energy_used_Wh",
    "power": "power_W",
    "uptime": "uptime_s",
    "fault": "fault_code",
    "frames_lost": "frames_lost",
    "failsafe": "failsafe_active",
    "strength": "strength_dBm",
    "quality": "quality_pct",
    "acceleration": "shock_g",
    "spin": "spin_dps",
}
_MOVING = ("speed", "command", "duty", "fault", "uptime")
_OF_THE_SHAFT = frozenset(("mech", "mechanical", "shaft", "mechanisch", "mecanique", "mecanica", "welle"))
_RUNS = ("wire", "contact", "fuse")
INPUT = frozenset(("input", "in", "eingang"))


def channel_of(draft: Draft, part: str, part_kind: str, roles: set[str]) -> tuple[str | None, int, str]:
    """(channel or None, how sure the role is, note). None with SAID: the vocabulary has no such channel."""
    kind = draft.kind
    named = {PART[w] for w in draft.words if w in PART}
    if kind in ("acceleration", "spin"):
        axis = AXES & set(draft.words)
        if axis and not (kind == "spin" and axis == {"z"}):
            return None, SAID, "one axis of several is no channel"
        return channel_name("chassis", SUFFIX[kind]), FOLLOWS if axis else SAID, ""
    if kind in ("charge", "energy") and "charging" in roles | set(draft.words):
        return None, SAID, "charged, not used"
    if kind in ("charge", "energy") and (
        "charge" in draft.words and "discharge" not in roles and "capacity" in draft.words
    ):
        return None, SAID, "charged, not used"
    if kind == "current":
        return _current(draft, part, part_kind, roles)
    if kind == "voltage":
        if "motor" in roles or part_kind == "motor":
            return None, SAID, "a motor's own voltage is no channel"
        if "output" in roles and part_kind != "receiver":
            return None, UNKNOWN, "an output's voltage may be the motor's or a rail's"
        if part_kind == "receiver" or (part_kind == "regulator" and _at_output(draft, roles)):
            return channel_name(part, "rail_voltage_V"), SAID, ""
        if part_kind == "regulator" and "input" not in roles:
            return (
                channel_name(part, "rail_voltage_V"),
                FITS,
                "a regulator's output is meant more often than its input",
            )
        return channel_name(part, "voltage_V"), SAID, ""
    if kind == "power" and ("motor" in roles or "output" in roles or _OF_THE_SHAFT & set(draft.words)):
        return None, SAID, "not the power drawn from the supply"
    if kind == "temperature" and part_kind in ("receiver", "link"):
        return channel_name(part, "temp_degC"), SAID, ""
    if kind in _MOVING and part_kind in ("pack", "chassis", *_RUNS):
        return None, UNKNOWN, "it is not said whose that is"
    if kind == "temperature" and "ambient" in named and part_kind != "chassis":
        return channel_name(part, "temp_degC"), FITS, "a board or the air near it"
    return channel_name(part, SUFFIX[kind]), SAID, ""


def _at_output(draft: Draft, roles: set[str]) -> bool:
    """Whether a regulator's output is meant: a rail is, but not "BEC input"."""
    return bool(roles & {"rail", "output"}) and not INPUT & set(draft.words)


def _current(draft: Draft, part: str, part_kind: str, roles: set[str]) -> tuple[str | None, int, str]:
    words = set(draft.words)
    lettered = "phase" in words and words & set("abcuvw")
    if lettered or (words & {"ia", "ib", "ic", "id"} and not words & {"iq"}):
        return None, SAID, "one phase's alternating current is no channel"
    if part_kind == "pack":
        if "charging" in roles or ("charge" in words and "discharge" not in roles):
            return None, UNKNOWN, "a charging current: its sign is not said"
        if "motor" in roles or "output" in roles:
            return None, UNKNOWN, "a motor's current is not the pack's"
        return channel_name(part, "current_A"), SAID, ""
    if part_kind == "receiver" or (part_kind == "regulator" and _at_output(draft, roles)):
        return channel_name(part, "rail_current_A"), SAID, ""
    if part_kind == "regulator":
        level = SAID if "input" in roles else FITS
        return channel_name(part, "input_current_A" if level == SAID else "rail_current_A"), level, ""
    if part_kind in _RUNS:
        return channel_name(part, "current_A"), SAID, ""
    if part_kind in ("link", "chassis"):
        return None, UNKNOWN, "it is not said what draws it"
    if "motor" in roles and "input" in roles:
        return None, UNKNOWN, "both the supply's and the motor's side are named"
    if "motor" in roles or part_kind == "motor":
        return channel_name(part, "motor_current_A"), FOLLOWS if "iq" in words else SAID, ""
    if "output" in roles:
        return channel_name(part, "motor_current_A"), FITS, "a controller's output is taken as the motor's side"
    if "input" in roles:
        return channel_name(part, "input_current_A"), SAID, ""
    return channel_name(part, "input_current_A"), FOLLOWS, "a controller's current is taken as what it draws"


def offer_parts(draft: Draft, context: FileContext, roles: set[str]) -> None:
    numbers = [w for w in draft.words if w.isdecimal()]
    numbered = [w + numbers[0] for w in draft.words if PART.get(w) in ("controller", "motor") and numbers]
    parts = context.of_kind("controller")[:3] or numbered[:1] or ([context.hint] if context.hint else ["weapon"])
    offers = [channel_of(draft, part, "controller", roles)[0] for part in parts if part]
    if draft.kind in ("voltage", "current", "temperature"):
        offers.append(channel_name("pack", "current_A" if draft.kind == "current" else SUFFIX[draft.kind]))
    draft.alternatives += [offer for offer in offers if offer is not None and offer not in draft.alternatives]


def give_cell(draft: Draft) -> None:
    words = set(draft.words)
    numbers = [int(w) for w in draft.words if w.isdecimal() and len(w) < 10]
    if MINIMUM & words and not numbers:
        draft.part, draft.part_level, draft.channel = "pack", SAID, "cell_min_V"
    elif (MAXIMUM | NOT_MEASURED) & words:
        draft.no_channel = True
        draft.why.append("a statistic over the cells, no single cell")
    elif len(numbers) == 1 and numbers[0] <= 99:
        draft.part, draft.part_level = f"cell{numbers[0]}", SAID
        draft.channel = channel_name(draft.part, "voltage_V")
    else:
        draft.why.append("it is not said which cell")
        draft.alternatives += ["cell_min_V", "cell1_voltage_V"]
