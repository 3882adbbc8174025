"""Whose column it is: from the words of its name, the build's ids, and the file's name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from ingest.channels import RESERVED_PARTS, cell_number, parse_channel
from ingest.delimited.meaning_channels import INPUT, SUFFIX, channel_of, give_cell, offer_parts
from ingest.delimited.meaning_draft import FITS, FOLLOWS, SAID, UNKNOWN, Draft, FileContext
from ingest.delimited.meaning_file import canonical, free_id, match_build
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

# "CH1: Pack voltage", "101 <Pack voltage>": the number is the instrument's input, the name behind it is the part's.
_INPUT_NUMBER: Final = re.compile(
    r"\s*(?:(?:ch|chan|channel|kanal|voie|canal|ai|ain|adc)[ ._#-]*\d{1,4}(?:\s*[<:|([–-]|[ _.]+)"
    r"|\d{1,4}\s*[<:|]|\d{3,4}[ _.-])"
    r"\s*[<:|([–-]*\s*(?=[A-Za-z])",
    re.IGNORECASE,
)
_OF_THE_LINK = ("frames_lost", "failsafe", "strength", "quality")


def leftover(words: Sequence[str]) -> list[str]:
    """Words that no vocabulary knows: what they change about the column cannot be told."""
    known = (QUANTITY, ROLE, PART, FREE, GENERIC, NOISE, NOT_MEASURED, MINIMUM, MAXIMUM, RAW, STATE, SYMBOLS, AXES)
    return [w for w in words if not w.isdecimal() and not any(w in group for group in known)]


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
        give_cell(draft)
        return
    if NOT_MEASURED & set(words) or (MAXIMUM | MINIMUM) & set(words):
        draft.no_channel = True
        draft.why.append("a limit, an average or an extreme, not what was there at each instant")
        return
    numbers = [w for w in words if w.isdecimal()]
    part, level, kind, why = _find(draft, context, named, roles)
    if level == SAID and _INPUT_NUMBER.match(draft.source):
        numbers = numbers[1:]
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
            offer = channel_of(draft, part, kind, roles)[0]
            draft.alternatives += [offer] if offer is not None else []
            part, level, why = None, UNKNOWN, f"number {numbers[0]} of several: it is not said which one that is"
    draft.why.append(why)
    draft.part, draft.part_level = part, level
    if part is None:
        offer_parts(draft, context, roles)
        return
    channel, role_level, note = channel_of(draft, part, kind, roles)
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
        if free and not (context.hint and set(cut(free)) <= canonical(cut(context.hint))):
            return None, UNKNOWN, "", f"{free} is no part of the build"
    if kind in _OF_THE_LINK and not (free or "pack" in named):
        return "link", SAID, "link", "of the radio"
    if kind in ("acceleration", "spin") and not free and not named - {"chassis"}:
        return "chassis", SAID, "chassis", "of the chassis"
    if "pack" in named:
        if free:
            return None, UNKNOWN, "", "both the pack and another part are named"
        if {"tx", "transmitter"} & set(words):
            return None, UNKNOWN, "", "the transmitter has a battery of its own"
        if context.hint_kind in ("receiver", "link") and kind in ("voltage", "current"):
            return "pack", FITS, "pack", "a receiver may mean its own battery"
        return "pack", SAID, "pack", "the name says the pack"
    supplied = bool(named & {"regulator"} or "rail" in roles) and kind in ("voltage", "current")
    if ("receiver" in named or supplied) and kind in ("voltage", "current") and INPUT & set(words):
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
