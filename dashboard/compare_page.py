"""A comparison as text: the notes that hold for all, then each metric with its figures and its sentence."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis.compare_words import figure, title

WIDTH = 96
SHOWN_VALUES = 6
MARK = {"differs": "<->", "no difference shown": " ? ", "not compared": "[..]"}


def compare_text(document: dict[str, Any]) -> str:
    """The page for one document of `afterbout compare --json`."""
    groups = document["groups"]
    out = [" | ".join(f"{group['id']}: {_about(group, document['by'])}" for group in groups), ""]
    for note in document["notes"]:
        out += _wrapped("", note)
    pair = None
    for row in document["rows"]:
        if (row["first"], row["second"]) != pair:
            pair = (row["first"], row["second"])
            out += ["", f"{pair[0]} against {pair[1]}"]
        out += ["", *_row(row)]
    return "\n".join(out)


def _about(group: dict[str, Any], by: str) -> str:
    if by == "match":
        parts = [f"build {b}" for b in group["builds"]] + [f"pack {p}" for p in group["packs"]]
        return ", ".join([*parts, *group["opponents"]]) or "nothing stated"
    other = "packs" if by == "build" else "builds"
    count = len(group["matches"])
    text = f"{count} match{'es' if count != 1 else ''}"
    return f"{text} with {other} {', '.join(group[other])}" if group[other] else text


def _row(row: dict[str, Any]) -> list[str]:
    name = title(row["metric"], row["part"], row["words"])
    head = f"{MARK[row['verdict']]:<4} {name[:1].upper()}{name[1:]}"
    if row["shift"] is None:
        return [head, *_wrapped("     ", row["sentence"])]
    sides = [
        f"{row[which]} {figure(row[f'{which}_median'], row['unit'])}{_values(row[f'{which}_figures'])}"
        for which in ("first", "second")
    ]
    return [*_wrapped("", f"{head}: {', '.join(sides)}", "     "), *_wrapped("     ", row["sentence"])]


def _values(figures: list[dict[str, Any]]) -> str:
    """The single values where there are few: a reader sees the spread at once."""
    if not 1 < len(figures) <= SHOWN_VALUES:
        return ""
    return " (" + " ".join(f"{f['value']:.4g}".replace("-", "−") for f in figures) + ")"


def _wrapped(head: str, text: str, hang: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=head,
        subsequent_indent=" " * len(head) if hang is None else hang,
        break_on_hyphens=False,
    ) or [head]
