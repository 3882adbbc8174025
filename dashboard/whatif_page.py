"""A replay as text: the verdict before and after, then every figure that moved."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis import wording

WIDTH = 96
MOST_ROWS = 14
# A figure that moved by less than this share of its room to the limit is not worth a line (our choice).
WORTH_PCT = 0.5


def whatif_text(document: dict[str, Any]) -> str:
    """The page of `afterbout whatif`."""
    before, after = document["before"], document["after"]
    match = before["match"]
    out = [f"{match['id'] or 'log files'}, replayed with", ""]
    out += [f"  {key} = {value}" for key, value in document["changes"].items()]
    if document["refused"] is not None:
        out += ["", *_wrapped("Not replayed: ", document["refused"])]
        return "\n".join(out)
    words = wording.VERDICT_WORDS
    out += ["", f"{words[match['verdict']].upper()} before, {words[after['match']['verdict']].upper()} after", ""]
    out += _wrapped("Mass   ", _mass(document))
    for note in document["notes"]:
        out += _wrapped("Note   ", _capital(note) + ".")
    out += _changed_findings(before, after)
    rows = margins(before, after)
    if rows:
        out += [
            "",
            f"  {'Margins that moved':<42} {'before':>12} {'after':>12}  {'band of the replay':>18} {'margin':>8}",
        ]
        for row in rows[:MOST_ROWS]:
            out.append(_row(row))
        if len(rows) > MOST_ROWS:
            out.append(f"  and {len(rows) - MOST_ROWS} more (--json has them)")
    else:
        out += ["", "No margin moved by more than half a per cent."]
    out += ["", *_wrapped("", wording.REPLAY_CAUTION)]
    return "\n".join(out)


def margins(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, Any]]:
    """Every check that has a figure on both sides and moved, the smallest margin after first."""
    old = _judged(before)
    rows = []
    for key, now in _judged(after).items():
        was = old.get(key)
        if was is None or abs(now["margin_pct"] - was["margin_pct"]) < WORTH_PCT:
            continue
        rows.append({"check": key[0], "part": key[1], "was": was, "now": now})
    return sorted(rows, key=lambda row: row["now"]["margin_pct"])


def _judged(document: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    rows = [*document["findings"], *document["passed"]]
    return {(r["check"], r["part"]): r for r in rows if r["margin_pct"] is not None and r["measured"] is not None}


def _row(row: dict[str, Any]) -> str:
    was, now = row["was"], row["now"]
    unit = now["unit"]
    name = f"{wording.name_of(row['part'])}, {wording.CHECK_WORDS.get(row['check'], row['check'])}"
    low, high = (wording.number(now[end], "") if now[end] is not None else "open" for end in ("low", "high"))
    band = f"{low} to {high}"
    margin = f"{now['margin_pct']:.0f} %".replace("-", "−")
    return (
        f"  {name:<42.42} {wording.number(was['measured'], unit):>12} {wording.number(now['measured'], unit):>12}"
        f"  {band:>18} {margin:>8}"
    )


def _mass(document: dict[str, Any]) -> str:
    grams = document["adds_g"]
    if grams is None:
        return f"not known: {', '.join(document['unweighed'])} states no mass"
    said = f"{grams:+.0f} g".replace("-", "−") if abs(grams) >= 0.5 else "nothing added"
    room = document["room_g"]
    if room is None or room < 0:  # a note tells the latter
        return said
    left = room - grams
    return f"{said}, {left:.0f} g left under the limit" if left >= 0 else f"{said}: {-left:.0f} g over the mass limit"


def _changed_findings(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    serious = ("over", "fault", "close")
    old = {(f["check"], f["part"]): f for f in before["findings"] if f["verdict"] in serious}
    new = {(f["check"], f["part"]): f for f in after["findings"] if f["verdict"] in serious}
    out: list[str] = []
    for key, finding in old.items():
        if key not in new:
            out += _wrapped("  Gone   ", finding["sentence"])
    for key, finding in new.items():
        word = "Stays  " if key in old else "New    "
        out += _wrapped(f"  {word}", finding["sentence"] or _bare(finding))
    return ["", *out] if out else []


def _bare(finding: dict[str, Any]) -> str:
    name = f"{wording.name_of(finding['part'])}, {wording.CHECK_WORDS.get(finding['check'], finding['check'])}"
    figures = (
        f"{wording.number(finding['measured'], finding['unit'])} of {wording.number(finding['limit'], finding['unit'])}"
    )
    return f"{_capital(name)}: {figures}; an end of the replay's band reaches it."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _wrapped(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head)) or [head]
