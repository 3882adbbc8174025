"""The text of a match file: a new one with every key that a user may fill in, and the entry of a log."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ingest.matches import LogEntry
from ingest.toml_text import table_text, toml_value

# The keys of [match] in the order of the file: (key, an example, what it is for).
_KEYS = (
    ("event", '""', ""),
    ("opponent", '""', ""),
    ("start", "2026-05-09T14:20:00", "when it began"),
    ("length_s", "180", "how long it was to last"),
    ("result", '"won"', "in your own words"),
    ("build", '"b"', "builds/<id>.toml"),
    ("pack", '"p1"', "packs/<id>.toml: the pack that was really fitted"),
    ("minutes_to_next", "40", "time in the pit, for `afterbout pit`"),
    ("air_degC", "20", "of the arena"),
    ("notes", '""', ""),
    ("ended_s", "95", "match clock, where it ended early"),
    ("ended_by", '"knockout"', ""),
)


def new_match_text(match_id: str, head: Mapping[str, Any]) -> str:
    """A complete match file. What is not known stands in it as a remark. head may hold `packs`."""
    lines = ["[match]", f"id = {toml_value(match_id)}"]
    for key, example, meaning in _KEYS:
        if key in head:
            lines.append(f"{key} = {toml_value(head[key])}")
        elif example == '""':
            lines.append(f"{key} = {example}")
        elif not (key == "pack" and "packs" in head):
            lines.append(f"# {key} = {example}" + (f"  # {meaning}" if meaning else ""))
    named = {key for key, _, _ in _KEYS} | {"packs"}
    lines += [f"{key} = {toml_value(value)}" for key, value in head.items() if key not in named]
    text = "\n".join(lines) + "\n"
    if "packs" in head:
        text += "\n" + table_text("[packs]", head["packs"])
    return text


def entry_table(entry: LogEntry) -> dict[str, Any]:
    """The keys of one [[log]], those without a value left out."""
    table = {
        "sha256": entry.sha256,
        "name": entry.name,
        "reading": entry.reading,
        "file": entry.file or None,
        "samples_sha256": list(entry.samples_sha256) or None,
        "clock_offset_s": entry.clock_offset_s,
        "clock_drift_ppm": entry.clock_drift_ppm if entry.clock_offset_s is not None else None,
        "clock_by": entry.clock_by or None,
        "clock_correlation": entry.clock_correlation,
        "clock_error_s": entry.clock_error_s,
    }
    return {key: value for key, value in table.items() if value is not None}
