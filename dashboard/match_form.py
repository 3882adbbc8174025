"""What the page's form says of the match: its id and the keys of its file."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from typing import Any

from ingest.builds import Build, Match
from ingest.errors import UsageError
from ingest.season import Season


def match_head(
    season: Season, form: Mapping[str, str], match: Match | None, build: Build | None
) -> tuple[str, dict[str, Any]]:
    """The match's id and what is known of it. Raises UsageError."""
    if match is None and form.get("match"):
        raise UsageError(f"match {form['match']} is gone", mend="Choose another, or a new one.")
    match_id = match.id if match is not None else form.get("new_id", "").strip()
    if match is None and match_id in season.ids("matches"):
        raise UsageError(f"match {match_id} is there already", mend="Choose it in the list, or give another id.")
    head: dict[str, Any] = {k: form[k].strip() for k in ("event", "opponent", "result") if form.get(k, "").strip()}
    if match is not None:
        head = {}
    elif form.get("start", "").strip():
        try:
            head["start"] = dt.datetime.fromisoformat(form["start"])
        except ValueError:
            raise UsageError("the start is no time", found=form["start"], mend="Give date and time.") from None
    if match is None and (text := form.get("minutes_to_next", "").strip()):
        if not re.fullmatch(r"\d{1,4}", text):
            raise UsageError("minutes to the next match: no number", found=text, mend="Give whole minutes.")
        head["minutes_to_next"] = int(text)
    if build is not None and not (match is not None and match.build):
        head["build"] = build.id
    if match is None or not match.fitted_packs:
        head |= _packs(form, build)
    return match_id, head


def _packs(form: Mapping[str, str], build: Build | None) -> dict[str, Any]:
    slots = [slot.id for slot in build.packs] if build is not None and len(build.packs) > 1 else []
    if slots:
        fitted = {slot: form[f"pack.{slot}"] for slot in slots if form.get(f"pack.{slot}")}
        return {"packs": fitted} if fitted else {}
    return {"pack": form["pack"]} if form.get("pack") else {}


def next_id(known: list[str]) -> str:
    """The id after the last one that ends in a number: m13 after m12; "m01" in an empty season."""
    ends = [(found[1], found[2]) for name in known if (found := re.fullmatch(r"(.*?)(\d+)", name))]
    if not ends:
        return "m01" if "m01" not in known else "m02"
    stem, digits = max(ends, key=lambda end: int(end[1]))
    number = int(digits) + 1
    while (made := f"{stem}{number:0{len(digits)}d}") in known:
        number += 1
    return made


def now_text() -> str:
    return dt.datetime.now().astimezone().strftime("%Y-%m-%dT%H:%M")
