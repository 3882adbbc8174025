"""The pit plan as text: how it ends first, then the pack, what is hot, the change, the list."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis import wording

WIDTH = 96


def pit_text(document: dict[str, Any]) -> str:
    """The page of `afterbout pit`."""
    out = [f"After {document['match']}: {document['minutes']:g} minutes to the next match", ""]
    out += [document["ending"].upper()]
    for reason in document["reasons"]:
        out += _wrapped("  ", reason)
    out += ["", "Pack"]
    use = document["use_pack"]
    out += _wrapped("  ", f"Take {use}." if use else "None is known to be ready in time.")
    for pack in document["packs"]:
        out += _wrapped(f"  {pack['pack']:<8} ", _pack(pack))
    if document["hot"]:
        out += ["", "Hot when it came out (estimated)"]
        for part in document["hot"]:
            then = wording.number(part["then_degC"], "degC")
            peak = wording.number(part["peak_degC"], "degC")
            out += _wrapped(
                "  ", f"{wording.name_of(part['part'])}: {peak}, about {then} in {document['minutes']:g} minutes"
            )
    if document["change"] is not None:
        change = document["change"]
        out += ["", "The one change that fits", *_wrapped("  ", change["sentence"])]
        out += _wrapped("  ", change["cost_note"]) if change["cost_note"] else []
    out += ["", "Before power, tick each (no log can see them)"]
    for line in document["before_power"]:
        out += _wrapped("  [ ] ", line)
    out += ["", *(text for caution in document["cautions"] for text in _wrapped("", caution))]
    return "\n".join(out)


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
