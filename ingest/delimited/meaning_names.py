"""What a column's name and stated unit say by themselves: its kind, its unit, and the words left over."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ingest.delimited.column import ColumnEvidence
from ingest.delimited.meaning_draft import FITS, FOLLOWS, SAID, UNKNOWN, Draft
from ingest.delimited.words import LONGEST_NAME, PART, QUANTITY, RAW, STATE, SYMBOLS, cut, fold, one_of
from ingest.delimited.words_units import Unit, clean_unit, parse_unit, temperature_unit_without_scale

_NO_UNIT = frozenset(
    ("", "-", "1", "none", "[]", "()", "n/a", "unitless", "bool", "0/1", "on/off", "text", "enum", "?")
)
_BRACKETS = re.compile(r"[\[({<]\s*([^\[\](){}<>]{1,24}?)\s*[\])}>]")
_TAIL = re.compile(r"^(?P<name>.*[^\s,/])\s*(?:,|/| in )\s*(?P<unit>[^,/\s()\[\]][^,()\[\]]*)$")
# Words that are quantity and unit at once.
_UNIT_WORDS = one_of(
    "volt volts millivolt millivolts amp amps ampere amperes milliamps rpm erpm krpm rps mah ah wh mwh "
    "watt watts ohm ohms mohm joules coulomb coulombs umin"
)
_SIDES = {"l": "left", "r": "right"}
_SINGLE = frozenset("VAWCFKgsh%")
_PERCENT_KINDS = frozenset(("command", "duty", "quality", "strength", "power", "speed", "fault", "other", "humidity"))
_NEVER = ("time", "pressure", "resistance", "frequency")  # quantities without a channel
_WEAK = frozenset(("other", "count"))
_SAME_FAMILY = frozenset((("charge", "energy"), ("acceleration", "spin"), ("spin", "acceleration"), ("uptime", "time")))


def stated_unit(evidence: ColumnEvidence, lettered: frozenset[str]) -> tuple[str, str | None, bool]:
    """(name without its unit, unit as written or None, whether the name marks it as a unit).

    lettered: the names whose last letter is a designator, not a unit ("Current A", "Current B").
    """
    name, text = evidence.source.strip()[:LONGEST_NAME], evidence.unit_text
    if text is not None and clean_unit(text).lower() in _NO_UNIT:
        text = None
    found = list(_BRACKETS.finditer(name))
    if found and _is_unit(found[-1][1]):
        bare = (name[: found[-1].start()] + " " + name[found[-1].end() :]).strip()
        return bare, text if text is not None and evidence.unit_note != "name" else found[-1][1], True
    if tail := _TAIL.match(name):
        whole = parse_unit(name)
        if whole is None and _is_unit(tail["unit"]):
            return tail["name"], text if evidence.unit_note == "units row" and text else tail["unit"], True
    bare, last = _last_piece(name)
    marked = evidence.unit_note not in ("name", None)
    if name in lettered and not marked:
        return name, None, False
    if text is not None:
        if last is not None and (clean_unit(last).lower() == clean_unit(text).lower() or _same_unit(last, text)):
            return (bare if fold(last) not in _UNIT_WORDS else name), text, marked
        return name, text, marked or found != []
    if last is not None and _is_unit(last):
        return (bare if fold(last) not in _UNIT_WORDS else name), last, False
    hours = [word for word in cut(name) if word in ("ah", "mah", "wh", "mwh")]
    if hours:
        return name, hours[0], False  # "amp_hours" are no amperes
    for piece in re.split(r"[^0-9A-Za-z%]+", name):
        if fold(piece) in _UNIT_WORDS:
            return name, piece, False
    for word in cut(name):
        if word in _UNIT_WORDS:
            return name, word, False
    return name, None, False


def _same_unit(a: str, b: str) -> bool:
    first, second = parse_unit(a), parse_unit(b)
    return first is not None and second is not None and (first.kind, first.scale) == (second.kind, second.scale)


def _is_unit(text: str) -> bool:
    return parse_unit(text) is not None or temperature_unit_without_scale(text)


def _last_piece(name: str) -> tuple[str, str | None]:
    """(what stands before, the last piece): after a separator, a capital ("battMv"), or two pieces ("deg C")."""
    two = re.match(r"^(.*?)[\s_.-]+((?:deg|rev|per|U|deg\.)[\s_./-]?(?:C|F|c|f|min|s))$", name)
    if two:
        return two[1], re.sub(r"[\s_.-]+", " ", two[2])
    one = re.match(r"^(.*?)[\s_.:-]+([^\s_.:-]{1,14})$", name)
    if one:
        return one[1], one[2]
    camel = re.match(
        r"^(.*[a-z0-9])((?:m|c|d|u)?(?:V|A|Ah|W|Wh)|[MCDU][vVaAwW]h?|Deg[CF]|[CFK]|Rpm|RPM|Pct|Us|Ms)$", name
    )
    if camel and len(camel[1]) > 1:
        return camel[1], camel[2]
    return name, None


def read_name(draft: Draft, names: Sequence[str], lettered: frozenset[str]) -> None:
    """Fill words, kind and unit of a draft from its name and stated unit alone."""
    bare, text, marked = stated_unit(replace(draft.evidence, source=draft.source), lettered)
    words = cut(bare)
    whole = parse_unit(draft.source)
    if not words and whole is not None:
        text = draft.source
    kinds = _kinds(words, names, draft.evidence.is_clock)
    unit = _choose_unit(text, kinds)
    if unit is not None and not marked and not _acceptable(unit, kinds, words, text or ""):
        words, unit, text = cut(draft.source), None, None
        kinds = _kinds(words, names, draft.evidence.is_clock)
    if not kinds and "cell" in {PART.get(w) for w in words} and any(w.isdigit() for w in words):
        kinds = ["voltage"]  # what is logged of one cell is its voltage: common practice, no source
    if draft.source.strip() in lettered and words:
        draft.letter, words = words[-1], (*words[:-1], _SIDES.get(words[-1], words[-1]))
    draft.words, draft.unit_text = words, text
    if unit is None and text is not None and not temperature_unit_without_scale(text):
        draft.why.append(f'the unit "{text}" is not known')
    if unit is not None:
        draft.unit, draft.unit_level = unit, SAID
    _settle(draft, kinds, unit, text)


def _kinds(words: tuple[str, ...], names: Sequence[str], is_clock: bool) -> list[str]:
    kinds = []
    for word in words:
        if word == "id":
            if any(cut(name) in (("iq",), ("i", "q")) for name in names):
                kinds.append("current")
            continue
        if word in SYMBOLS and (word == "p" or word == "t") and len(words) == 1:
            continue
        if word == "t" and is_clock:
            kinds.append("time")
        elif word == "pwm" and "duty" in words:
            continue
        elif word in QUANTITY:
            kinds.append(QUANTITY[word])
        elif word in ("5v", "6v", "12v"):
            kinds.append("voltage")
    return kinds


def _choose_unit(text: str | None, kinds: list[str]) -> Unit | None:
    """The unit as the kind nearest the end of the name reads it."""
    for kind in reversed(kinds):
        unit = parse_unit(text, "command" if kind == "duty" else kind)
        if unit is not None and (unit.kind == kind or (unit.kind, kind) in _SAME_FAMILY or unit.kind == "pulse"):
            return unit
    return parse_unit(text)


def _acceptable(unit: Unit, kinds: list[str], words: tuple[str, ...], text: str) -> bool:
    """Whether an unmarked last piece is a unit rather than a letter of the name."""
    agrees = unit.kind in kinds or (unit.kind == "percent" and bool(_PERCENT_KINDS & set(kinds)))
    agrees = agrees or any((unit.kind, k) in _SAME_FAMILY for k in kinds) or unit.kind == "pulse"
    if agrees or (unit.kind == "linear speed" and "speed" in kinds):
        return True
    if unit.kind == "time":  # "min" is a minimum, "s" a plural, unless the name is about time
        return False
    strong = [k for k in kinds if k not in _WEAK]
    if unit.kind == "percent":
        return not strong and bool(words)
    return not strong and (len(clean_unit(text)) > 1 or text in "VA") and bool(words)


def _settle(draft: Draft, kinds: list[str], unit: Unit | None, text: str | None) -> None:
    """Choose the kind from the words' kinds and the unit, and say how sure that is."""
    strong = [k for k in kinds if k not in _WEAK]
    if draft.evidence.is_clock:
        draft.kind, draft.kind_level, draft.no_channel = "time", SAID, True
        return
    if STATE & set(draft.words) and unit is None and not {"failsafe", "fault"} & set(strong):
        draft.kind, draft.kind_level, draft.no_channel = "other", SAID, True
        return
    if "soc" in draft.words or "snr" in draft.words:
        draft.kind, draft.kind_level, draft.no_channel = "other", SAID, True
        return
    if unit is None:
        draft.kind = strong[-1] if strong else (kinds[-1] if kinds else "other")
        draft.kind_level = SAID if kinds else UNKNOWN
        if draft.kind == "command" and "pwm" in draft.words:
            draft.kind_level = FITS  # a pulse width or a duty: the word alone does not say
        if draft.kind != "temperature" and temperature_unit_without_scale(text) and not strong:
            draft.kind, draft.kind_level = "other", UNKNOWN
        draft.no_channel = draft.kind in (*_WEAK, *_NEVER) and draft.kind_level == SAID
        return
    if unit.kind == "time" and not strong and _like_pulses(draft, unit):
        draft.unit = parse_unit(text, "command")
        draft.kind, draft.kind_level = "command", FITS
        draft.why.append("figures between 750 and 2250 us look like a command's pulses")
        return
    if unit.kind in strong:
        draft.kind, draft.kind_level = unit.kind, SAID
    elif unit.kind == "percent":
        _percent(draft, strong)
    elif unit.kind == "pulse":
        draft.kind, draft.kind_level = "command", SAID
    elif any((unit.kind, k) in _SAME_FAMILY or (k, unit.kind) in _SAME_FAMILY for k in strong):
        draft.kind = "uptime" if "uptime" in strong else unit.kind
        draft.kind_level = SAID
    elif unit.kind == "linear speed":
        draft.kind, draft.kind_level, draft.no_channel = "linear speed", SAID, True
    elif unit.kind == "strength":
        draft.kind, draft.kind_level = "strength", SAID
    elif strong:
        draft.kind, draft.kind_level = unit.kind, UNKNOWN
        draft.no_channel = True
        draft.why.append(f'the words say {strong[-1]}, the unit "{text}" says {unit.kind}')
        draft.cap = UNKNOWN
    else:
        draft.kind = unit.kind
        draft.kind_level = FOLLOWS if (text or "").strip() in _SINGLE - set("VA") else SAID
    if draft.kind in (*_NEVER, "other"):
        draft.no_channel = True


def _like_pulses(draft: Draft, unit: Unit) -> bool:
    values = draft.evidence.values
    pulses = values[np.isfinite(values)] * unit.scale * 1e6
    return bool(pulses.size) and float(np.mean((pulses >= 750.0) & (pulses <= 2250.0))) >= 0.9


def _percent(draft: Draft, strong: list[str]) -> None:
    for kind in ("duty", "command", "quality", "strength"):
        if kind in strong:
            draft.kind, draft.kind_level = ("quality" if kind == "strength" else kind), SAID
            if kind == "command" and "pwm" in draft.words:
                draft.kind = "duty"
            if kind == "strength":
                draft.limit(FITS, "a signal strength in % is read as the link's quality")
            return
    if "power" in strong or "speed" in strong:
        draft.kind, draft.kind_level = "duty", FITS
        return
    draft.kind, draft.kind_level, draft.no_channel = "other", FOLLOWS, True


def is_raw(draft: Draft) -> bool:
    """The name says that these are a converter's counts."""
    return bool(RAW & set(draft.words)) and draft.unit is None


def designators(names: Sequence[str]) -> frozenset[str]:
    """The names that end in a letter which only tells them apart: phases A, B, C or U, V, W, sides L and R."""
    stems: dict[str, dict[str, str]] = {}
    for name in names:
        found = re.match(r"^(.*?)[\s_.-]*(?<![A-Za-z])([A-Za-z])$", name.strip()[:LONGEST_NAME])
        if found and found[1]:
            stems.setdefault(fold(found[1]), {})[found[2].upper()] = name.strip()
    return frozenset(
        name
        for letters in stems.values()
        if any(set(group) <= set(letters) for group in ("AB", "UVW", "LR", "XY"))
        for letter, name in letters.items()
        if letter in "ABCUVWLRXYZ"
    )
