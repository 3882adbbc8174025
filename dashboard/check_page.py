"""A build check as text."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis import wording

WIDTH = 96


def check_text(document: dict[str, Any]) -> str:
    """The page of `afterbout check`: what is wrong, what is close, what could not be said, the list before power."""
    out = [f"Build {document['build']}" + (f" with pack {document['pack']}" if document["pack"] else ", no pack named")]
    left = len(document["not_checked"])
    bound = f", in what could be checked: {left} could not" if left and document["verdict"] == "within" else ""
    out += ["", wording.VERDICT_WORDS[document["verdict"]].upper() + bound]
    for finding in document["findings"]:
        word = wording.VERDICT_WORDS[finding["verdict"]]
        out += _wrapped(f"  {word:<6} ", finding["sentence"])
    out += ["", "Margins, smallest first"]
    rows = [r for r in document["passed"] if r["margin_pct"] is not None]
    for row in sorted(rows, key=lambda r: r["margin_pct"]):
        name = (
            f"{wording.name_of(row['part'])}, {wording.CHECK_WORDS.get(row['check'], row['check'].replace('_', ' '))}"
        )
        figures = f"{wording.number(row['measured'], row['unit'])} of {wording.number(row['limit'], row['unit'])}"
        out.append(f"  {name:<46.46} {figures:>26} {row['margin_pct']:>5.0f} %")
    if document["estimates"]:
        out += ["", "To expect"]
        for row in document["estimates"]:
            what = row["name"].rsplit("_", 1)[0].replace("_", " ")
            part = f"{wording.name_of(row['part'])}, " if row["part"] else ""
            out += _wrapped("  ", f"{part}{what}: about {wording.number(row['value'], row['unit'])}. {row['note']}")
    if document["not_checked"]:
        out += ["", f"Not checked: {len(document['not_checked'])}"]
        for row in document["not_checked"]:
            what = wording.CHECK_WORDS.get(row["check"], row["check"].replace("_", " "))
            out += _wrapped(
                "  ", f"{wording.name_of(row['part'])}, {what}: {row['reason']}. To have it: {row['mend']}."
            )
    out += ["", "Before power, tick each (this command cannot see them)"]
    for line in document["before_power"]:
        out += _wrapped("  [ ] ", line)
    out += ["", *_wrapped("", wording.CAUTIONS[0])]
    return "\n".join(out)


def _wrapped(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head)) or [head]
