"""Whose log a file is: the reading's part, an id of the build, a part word in the file's name, the preamble."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import PurePath

from ingest.channels import RESERVED_PARTS
from ingest.delimited.meaning_draft import FOLLOWS, SAID, UNKNOWN, FileContext
from ingest.delimited.words import (
    FREE,
    PART,
    cut,
)

_PREAMBLE_PART = frozenset(
    ("part", "device", "controller", "source", "channel name", "name", "logger", "position", "location")
)


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


def canonical(words: Sequence[str]) -> set[str]:
    return {FREE.get(w, PART.get(w, w)) for w in words} | set(words)


def match_build(words: Sequence[str], parts: Mapping[str, str], *kinds: str) -> tuple[str | None, int]:
    """(the build's part that the words name, how sure). The longest id whose words all stand there wins."""
    have = canonical(words)
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
        near = [p for p, kind in parts.items() if kind in group and free <= canonical(cut(p))]
        if len(near) == 1:
            return near[0], FOLLOWS
    return None, UNKNOWN
