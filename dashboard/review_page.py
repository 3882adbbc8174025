"""A review as text for the terminal: the answer first, then the chain, the margins and what was not checked."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis import wording

WIDTH = 96
SHOWN_MARGINS, SHOWN_NOT_CHECKED = 8, 6
MARK = {"over": "->|>", "close": "->|", "within": "-> |", "fault": "-//-", "note": " . ", "unknown": "[..]"}


def review_text(document: dict[str, Any], *, everything: bool = False) -> str:
    """The page for one review document (the contract's JSON)."""
    match = document["match"]
    out = [_title(match), ""]
    word = wording.VERDICT_WORDS[match["verdict"]]
    part = wording.in_part(match["verdict"], len(document["passed"]), len(document["not_checked"]))
    out.append(f"{MARK[match['verdict']]} {word.upper()}{', ' + part if part else ''}")
    for label, line in zip(("What", "Why", "Do"), document["lines"], strict=True):
        out += _wrapped(f"{label:<5}", line)
    if document["chain"]:
        out += ["", "What happened"]
        for event in document["chain"]:
            out += _wrapped(f"  {event['start_s']:7.1f} s  ", f"{event['what']}. {event['detail']}".strip())
    out += _others(document)
    out += _advice(document)
    out += _margins(document, everything)
    out += _not_checked(document, everything)
    if document["quality"]:
        out += ["", "About the log itself"]
        for note in document["quality"]:
            channel = note["channel"] or note["part"]
            out += _wrapped("  ", f"{channel}: {note['note']}" if channel else note["note"])
    out += ["", *(line for caution in document["cautions"][:3] for line in _wrapped("", caution))]
    return "\n".join(out)


def _title(match: dict[str, Any]) -> str:
    parts = [match["id"] or "log files"]
    if match["event"] or match["opponent"]:
        parts.append(", ".join(p for p in (match["event"], match["opponent"]) if p))
    parts.append(f"build {match['build']}" if match["build"] else "no build named")
    named = f"pack {match['pack']}" if match["pack"] != "pack" else "of the pack only its cells are known"  # --cells
    parts.append(named if match["pack"] else "no pack named")
    if match["start_s"] is not None:
        parts.append(f"{match['end_s'] - match['start_s']:.0f} s from {match['start_s']:.1f} s")
    return " | ".join(parts)


def _wrapped(head: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head), break_on_hyphens=False
    ) or [head]


def _others(document: dict[str, Any]) -> list[str]:
    rest = [f for f in document["findings"] if f["sentence"] != document["lines"][0]]
    if not rest:
        return []
    out = ["", "Also"]
    for finding in rest:
        word = wording.VERDICT_WORDS[finding["verdict"]]
        follows = " (follows from the above)" if finding["consequence_of"] else ""
        out += _wrapped(f"  {word:<6} ", finding["sentence"] + follows)
    return out


def _advice(document: dict[str, Any]) -> list[str]:
    if not document["advice"]:
        return []
    out = ["", "Changes, replayed on this match"]
    for row in document["advice"]:
        note = f" {row['cost_note']}" if row["cost_note"] else ""  # what it needs, costs and may leave; why not proved
        out += _wrapped(f"  {row['rank']}. ", row["sentence"] + note)
    return out


def _margins(document: dict[str, Any], everything: bool) -> list[str]:
    rows = [
        (f["margin_pct"], f["part"], f["check"], f["measured"], f["limit"], f["unit"], f["verdict"])
        for f in document["findings"]
        if f["margin_pct"] is not None
    ]
    rows += [
        (p["margin_pct"], p["part"], p["check"], p["measured"], p["limit"], p["unit"], "within")
        for p in document["passed"]
        if p["check"] != "link"
    ]
    rows.sort(key=lambda row: row[0])
    shown = rows if everything else rows[:SHOWN_MARGINS]
    out = ["", "Margins, smallest first"] if rows else []
    for margin, part, check, measured, limit, unit, verdict in shown:
        name = f"{wording.name_of(part)}, {wording.CHECK_WORDS.get(check, check)}"
        figures = f"{wording.number(measured, unit)} of {wording.number(limit, unit)}"
        percent = f"{margin:.0f} %".replace("-", "−")
        out.append(f"  {name:<48.48} {figures:>22} {percent:>7}  {wording.VERDICT_WORDS[verdict]}")
    if len(rows) > len(shown):
        out.append(f"  and {len(rows) - len(shown)} more within (--all shows them)")
    return out


def _not_checked(document: dict[str, Any], everything: bool) -> list[str]:
    rows = document["not_checked"]
    if not rows:
        return []
    shown = rows if everything else rows[:SHOWN_NOT_CHECKED]
    out = ["", f"Not checked: {len(rows)}"]
    for row in shown:
        name = wording.name_of(row["part"]) if row["part"] else "everything else"
        what = wording.CHECK_WORDS.get(row["check"], row["check"].replace("_", " "))
        out += _wrapped("  ", f"{name}, {what}: {row['reason']}. To have it: {row['mend']}.")
    if len(rows) > len(shown):
        out.append(f"  and {len(rows) - len(shown)} more (--all shows them)")
    return out
