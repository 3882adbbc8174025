"""Whose column it is: from the words of its name, the build's ids, and the file's name; then its channel."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import PurePath

from ingest.channels import RESERVED_PARTS, cell_number, channel_name, parse_channel
from ingest.delimited.meaning_draft import FITS, FOLLOWS, SAID, UNKNOWN, Draft, FileContext
from ingest.delimited.words import (
    AXES,
    FREE,
    GENERIC,
    MAXIMUM,
    MINIMUM,
    NOISE,
    NOT_MEASURED,
    PART,
    QUANTITY,
    RAW,
    ROLE,
    STATE,
    SYMBOLS,
    cut,
)  # fmt: skip
from ingest.delimited.words_units import Unit, parse_unit

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
_OF_THE_LINK = ("frames_lost", "failsafe", "strength", "quality")
_MOVING = ("speed", "command", "duty", "fault", "uptime")
_RUNS = ("wire", "contact", "fuse")
_PREAMBLE_PART = frozenset(
    ("part", "device", "controller", "source", "channel name", "name", "logger", "position", "location")
)
_INPUT = frozenset(("input", "in", "eingang"))


def file_context(
    file_name: str, preamble: Mapping[str, str], parts: Mapping[str, str], part: str | None, names: Sequence[str]
) -> FileContext:
    """Whose log the file is: the reading's part, else an id or a part word in the file's name, else the preamble."""
    pairs = _pole_pairs(preamble)
    siblings = frozenset(cut(name) for name in names)
    if part is not None:
        kind = parts.get(part) or (part if part in RESERVED_PARTS else "free")
        return FileContext(parts, part, kind, SAID, "the reading names the part", pairs, siblings=siblings)
    texts = [(PurePath(file_name.replace("\\", "/")).stem, "the file's name")]
    texts += [
        (value, "the file's preamble") for key, value in preamble.items() if key.strip().lower() in _PREAMBLE_PART
    ]
    for text, place in texts:
        words = cut(text)
        found, level = match_build(words, parts)
        if found is not None:
            why = f"{place} names {found}"
            return FileContext(parts, found, parts[found], level, why, pairs, siblings=siblings)
        free = free_id(words)
        reserved = [PART[w] for w in words if PART.get(w) in ("pack", "receiver", "link", "chassis")]
        if free and not parts and "pack" not in reserved:
            return FileContext(parts, free, "free", FOLLOWS, f"{place} says {free}", pairs, siblings=siblings)
        if reserved and not free:
            kind = reserved[0]
            return FileContext(parts, kind, kind, FOLLOWS, f"{place} says {kind}", pairs, siblings=siblings)
    controllers = [p for p, kind in parts.items() if kind == "controller"]
    moving = any(
        set(words) & {"rpm", "erpm", "duty", "throttle", "motor", "esc", "fet", "mosfet"} for words in siblings
    )
    one = "controller" in {PART.get(w) for w in cut(texts[0][0])}
    if len(controllers) == 1 and (moving or one):
        why = f"{controllers[0]} is the build's only controller"
        return FileContext(parts, controllers[0], "controller", FOLLOWS, why, pairs, siblings=siblings)
    return FileContext(parts, pole_pairs=pairs, one_controller=one, siblings=siblings)


def _pole_pairs(preamble: Mapping[str, str]) -> int | None:
    for key, value in preamble.items():
        number = re.match(r"\s*(\d{1,3})\b", value)
        words = key.lower().replace("_", " ")
        if number and "pole" in words:
            count = int(number[1])
            if "pair" in words:
                return count or None
            return count // 2 or None if count % 2 == 0 else None
    return None


def free_id(words: Sequence[str]) -> str:
    """The id that a name's own words make: ("left", "drive", "temp") → "left_drive"."""
    return "_".join(dict.fromkeys(FREE[w] for w in words if w in FREE))


def _canonical(words: Sequence[str]) -> set[str]:
    return {FREE.get(w, PART.get(w, w)) for w in words} | set(words)


def match_build(words: Sequence[str], parts: Mapping[str, str], *kinds: str) -> tuple[str | None, int]:
    """(the build's part that the words name, how sure). The longest id whose words all stand there wins."""
    have = _canonical(words)
    full: dict[str, int] = {}
    for part, kind in parts.items():
        tokens = cut(part)
        if (
            tokens
            and (not kinds or kind in kinds)
            and all(FREE.get(t, PART.get(t, t)) in have or t in have for t in tokens)
        ):
            full[part] = len(tokens)
    if full:
        longest = [p for p, n in full.items() if n == max(full.values())]
        return (longest[0], SAID) if len(longest) == 1 else (None, UNKNOWN)
    free = {FREE[w] for w in words if w in FREE}
    if not free:
        return None, UNKNOWN
    for group in (kinds,) if kinds else (("controller",), ("motor",)):
        near = [p for p, kind in parts.items() if kind in group and free <= _canonical(cut(p))]
        if len(near) == 1:
            return near[0], FOLLOWS
    return None, UNKNOWN


def leftover(words: Sequence[str]) -> list[str]:
    """Words that no vocabulary knows: what they change about the column cannot be told."""
    known = (QUANTITY, ROLE, PART, FREE, GENERIC, NOISE, NOT_MEASURED, MINIMUM, MAXIMUM, RAW, STATE, SYMBOLS, AXES)
    return [w for w in words if not w.isdigit() and not any(w in group for group in known)]


def give_part(draft: Draft, context: FileContext) -> None:
    """Fill part, suffix, role and channel; leaves channel None with alternatives where it could be several."""
    words = draft.words
    if draft.no_channel or draft.kind not in (*SUFFIX, "current"):
        return
    if draft.evidence.kind == "text" or draft.evidence.kind == "time":
        draft.no_channel = True
        return
    if _own_name(draft, context):
        return
    named = {PART[w] for w in words if w in PART}
    roles = {ROLE[w] for w in words if w in ROLE}
    if draft.kind == "voltage" and "cell" in named:
        _cell(draft)
        return
    if NOT_MEASURED & set(words) or (MAXIMUM | MINIMUM) & set(words):
        draft.no_channel = True
        draft.why.append("a limit, an average or an extreme, not what was there at each instant")
        return
    numbers = [w for w in words if w.isdigit()]
    part, level, kind, why = _find(draft, context, named, roles)
    if GENERIC & set(words) and level < SAID:
        part, level, why = None, UNKNOWN, "an instrument's input says nothing of the part it was clipped to"
    if draft.letter and draft.letter not in ("l", "r") and part is not None and draft.letter not in cut(part):
        axis = draft.kind in ("acceleration", "spin") and draft.letter in AXES
        if not axis:
            part, level, why = None, UNKNOWN, f"{draft.letter.upper()} of several: it is not said which one that is"
    consumed = part is not None and any(number in cut(part) for number in numbers)
    if numbers and part is not None and not consumed:
        if kind == "free" and not context.parts and len(numbers) == 1 and level == SAID:
            part, level, why = f"{part}{numbers[0]}", FITS, "the number is taken as part of the id"
        else:
            draft.alternatives.append(_channel(draft, part, kind, roles)[0] or part)
            part, level, why = None, UNKNOWN, f"number {numbers[0]} of several: it is not said which one that is"
    draft.why.append(why)
    draft.part, draft.part_level = part, level
    if part is None:
        _no_part(draft, context, roles)
        return
    channel, role_level, note = _channel(draft, part, kind, roles)
    draft.role_level = role_level
    if note:
        draft.why.append(note)
    if channel is None:
        draft.no_channel = role_level == SAID
        return
    draft.channel = channel
    if strange := [w for w in leftover(words) if w not in cut(part)]:
        draft.limit(FITS, f'"{strange[0]}" is not a word known here')
        if level < SAID:
            draft.drop("so it may be of another part")


def _own_name(draft: Draft, context: FileContext) -> bool:
    """A name that is itself a channel of the vocabulary, of a part that is known, says everything."""
    channel = parse_channel(draft.source.strip())
    if channel is None:
        return False
    part = channel.part
    known = part in RESERVED_PARTS or cell_number(part) is not None or part in context.parts
    if not known and (context.parts or not all(w in FREE or w == "motor" for w in part.split("_")) or part == "motor"):
        return False
    draft.channel, draft.part, draft.why = channel.name, part, ["the name is a channel of the vocabulary"]
    draft.part_level = draft.kind_level = draft.unit_level = draft.role_level = SAID
    draft.unit = parse_unit(channel.unit) or Unit(channel.unit, channel.quantity.kind, channel.unit)
    draft.unit_text = channel.unit if channel.unit != "1" else None
    return True


def _find(draft: Draft, context: FileContext, named: set[str], roles: set[str]) -> tuple[str | None, int, str, str]:
    """(part, level, its kind, why)."""
    words, kind = draft.words, draft.kind
    free = free_id(words)
    if context.parts:
        wanted = ("motor",) if kind == "temperature" and "motor" in named else ()
        if not wanted and kind in ("current", "speed", "command", "duty") and (free or "controller" in named):
            part, level = match_build(words, context.parts, "controller")
            if part is not None:
                return part, level, "controller", f"the name says {part}"
        part, level = match_build(words, context.parts, *wanted)
        if part is not None:
            return part, level, context.parts[part], f"the name says {part}"
        if free and not (context.hint and set(cut(free)) <= _canonical(cut(context.hint))):
            return None, UNKNOWN, "", f"{free} is no part of the build"
    if kind in _OF_THE_LINK and not (free or "pack" in named):
        return "link", SAID, "link", "of the radio"
    if kind in ("acceleration", "spin") and not free and not named - {"chassis"}:
        return "chassis", SAID, "chassis", "of the chassis"
    if "pack" in named:
        if free:
            return None, UNKNOWN, "", "both the pack and another part are named"
        if context.hint_kind in ("receiver", "link") and kind in ("voltage", "current"):
            return "pack", FITS, "pack", "a receiver may mean its own battery"
        return "pack", SAID, "pack", "the name says the pack"
    supplied = bool(named & {"regulator"} or "rail" in roles) and kind in ("voltage", "current")
    if ("receiver" in named or supplied) and kind in ("voltage", "current") and _INPUT & set(words):
        regulators = context.of_kind("regulator")
        if len(regulators) == 1:
            return regulators[0], FOLLOWS, "regulator", f"{regulators[0]} is the build's only regulator"
        own = None if context.parts else "receiver_supply"
        return own, FITS if own else UNKNOWN, "regulator", "the input of the receiver's supply"
    if "receiver" in named or supplied:
        regulators = context.of_kind("regulator")
        level = SAID if "receiver" in named or len(regulators) <= 1 else FITS
        return "receiver", level, "receiver", "the receiver's supply"
    if "chassis" in named or ("ambient" in named and kind == "temperature"):
        level = SAID if "chassis" in named else FITS
        return "chassis", level, "chassis", "inside the chassis"
    return _robot_part(draft, context, named, free)


def _robot_part(draft: Draft, context: FileContext, named: set[str], free: str) -> tuple[str | None, int, str, str]:
    kind, hint = draft.kind, context.hint
    base, level, base_kind, why = None, UNKNOWN, "", "no part is named"
    if free and not context.parts:
        inside = hint is not None and set(free.split("_")) <= set(hint.split("_"))
        base, level, base_kind, why = (hint if inside else free), SAID, "free", "the name says so"
    elif hint is not None:
        base, level, base_kind, why = hint, context.hint_level, context.hint_kind, context.hint_why
    elif len(context.of_kind("controller")) == 1 and named & {"controller", "motor"}:
        base, base_kind, level = context.of_kind("controller")[0], "controller", FOLLOWS
        why = f"{base} is the build's only controller"
    if base_kind in ("pack", "receiver", "link", "chassis") and named & {"controller", "motor"}:
        return None, UNKNOWN, "", "it is not said which controller or motor"
    if base_kind == "receiver" and kind in ("command", "duty", "speed"):
        return None, UNKNOWN, "", "it is not said whose command it is"
    if base_kind == "link" and kind in ("voltage", "current"):
        base, base_kind, level = "receiver", "receiver", min(level, FOLLOWS)
    if base is None and kind in ("voltage", "current", "power", "charge", "energy") and not named:
        if context.one_controller and kind != "voltage":
            return None, UNKNOWN, "", "one controller's log, and it is not said which"
        moving = {"controller", "motor"} & {PART[w] for s in context.siblings for w in s if w in PART}
        level = FITS if moving and "input" in {ROLE[w] for w in draft.words if w in ROLE} else FOLLOWS
        level = FITS if context.one_controller else level
        return "pack", level, "pack", "no part is named: taken as the pack's"
    if base is None:
        return None, UNKNOWN, "", why
    if kind == "temperature" and "motor" in named and base_kind in ("free", "controller"):
        motors = [m for m in context.of_kind("motor") if set(cut(base)) <= set(cut(m))]
        if len(motors) == 1:
            return motors[0], level, "motor", why
        if not context.parts:
            name = base if base.endswith("motor") else f"{base}_motor"
            return name, level, "motor", why
        return None, UNKNOWN, "", "it is not said which motor"
    return base, level, base_kind, why


def _channel(draft: Draft, part: str, part_kind: str, roles: set[str]) -> tuple[str | None, int, str]:
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
    if kind == "power" and ("motor" in roles or "output" in roles):
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
    return bool(roles & {"rail", "output"}) and not _INPUT & set(draft.words)


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


def _no_part(draft: Draft, context: FileContext, roles: set[str]) -> None:
    numbers = [w for w in draft.words if w.isdigit()]
    numbered = [w + numbers[0] for w in draft.words if PART.get(w) in ("controller", "motor") and numbers]
    parts = context.of_kind("controller")[:3] or numbered[:1] or ([context.hint] if context.hint else ["weapon"])
    offers = [_channel(draft, part, "controller", roles)[0] for part in parts if part]
    if draft.kind in ("voltage", "current", "temperature"):
        offers.append(channel_name("pack", "current_A" if draft.kind == "current" else SUFFIX[draft.kind]))
    draft.alternatives += [offer for offer in offers if offer is not None and offer not in draft.alternatives]


def _cell(draft: Draft) -> None:
    words = set(draft.words)
    numbers = [int(w) for w in draft.words if w.isdigit()]
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
