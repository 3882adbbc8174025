"""The pit plan as text: how it ends first, then the pack, what is hot, the change, the list."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis import wording

WIDTH = 96


def pit_text(document: dict[str, Any]) -> str:
    """The page of `afterbout pit`."""
    change, ending, use = document["change"], document["ending"], document["use_pack"]
    why = next((p["why"] for p in document["packs"] if p["pack"] == use), "")
    out = [f"After {document['match']}: {document['minutes']:g} minutes to the next match", "", ending.upper()]
    for head, reason in zip(("  Why    ", *["         "] * 9), document["reasons"], strict=False):
        out += _wrapped(head, reason)
    out += _wrapped("  Do     ", wording.pit_do(ending, None if change is None else change["sentence"]))
    if change is not None and ending == "change first" and change["cost_note"]:
        out += _wrapped("         ", change["cost_note"])
    out += _wrapped("  Pack   ", wording.pit_take(ending, use, why))
    out += ["", "Packs (reuse means only: nothing in the log against it)"]
    for pack in document["packs"]:
        out += _wrapped(f"  {pack['pack']:<8} ", _pack(pack))
    out += _hot(document)
    if change is not None and ending != "change first":
        out += ["", "A change that fits the time", *_wrapped("  ", change["sentence"])]
        out += _wrapped("  ", change["cost_note"]) if change["cost_note"] else []
    rows = [
        (wording.CHECK_WORDS.get(row["check"], row["check"].replace("_", " ")), wording.name_of(row["part"]))
        for row in document["not_checked"]
    ]
    if rows:
        out += ["", f"Not checked after {document['match']}", *_wrapped("  ", wording.not_checked_words(rows))]
    out += ["", "Before power, tick each (no log can see them)"]
    for line in document["before_power"]:
        out += _wrapped("  [ ] ", line)
    out += ["", *(text for caution in document["cautions"] for text in _wrapped("", caution))]
    return "\n".join(out)


def _hot(document: dict[str, Any]) -> list[str]:
    """What a hand should not touch, and what nobody knows the warmth of."""
    out: list[str] = []
    for part in document["hot"]:
        then, peak = (wording.number(part[key], "degC") for key in ("then_degC", "peak_degC"))
        name = wording.name_of(part["part"])
        out += _wrapped("  ", f"{name}: up to {peak}, about {then} in {document['minutes']:g} minutes")
    if document["hot_unknown"]:
        names = wording.listed(tuple(document["hot_unknown"]))
        out += _wrapped("  ", f"Not logged, take them as hot: {names}.")
    return ["", "Hot when it came out (estimated; do not touch to find out)", *out] if out else []


def _pack(pack: dict[str, Any]) -> str:
    verdict = pack["verdict"]
    parts = [f"{verdict['word']}: {'; '.join(verdict['reasons'][:2])}"]
    if pack["charge_pct"] is not None:
        parts.append(f"about {pack['charge_pct']['value']:.0f} % left after {pack['match']}")
    if pack["temp_degC"] is not None:
        parts.append(wording.number(pack["temp_degC"]["value"], "degC"))
    if pack["charge_min"] is not None:
        minutes = pack["charge_min"]
        wait = f"{pack['wait_min']:.0f} min to cool, " if pack["wait_min"] else ""
        parts.append(f"{wait}{minutes['low']:.0f} to {minutes['high']:.0f} min to charge")
    parts.append(pack["why"])
    return "; ".join(parts) + "."


def _wrapped(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head)) or [head]
