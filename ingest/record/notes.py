"""What the head block of a recording says: who the sources are, and when its part began."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from ingest.record.blocks import SourceNote


@dataclass(frozen=True)
class Head:
    """clock_ns: what the computer's clock showed at the part's zero; boot: since which start of the computer."""

    wall_start: str
    clock_ns: int
    boot: str | None
    sources: list[SourceNote]


def head_of(payload: bytes) -> Head:
    """Raises ValueError, KeyError or TypeError where no recorder of ours wrote it."""
    about = json.loads(payload)
    boot = about["boot"]
    if not isinstance(boot, str | None) or not isinstance(about["clock_ns"], int):
        raise ValueError("a head holds a clock")
    return Head(str(about["wall_start"]), about["clock_ns"], boot, [checked_note(n) for n in about["sources"]])


def checked_note(note: dict[str, Any]) -> SourceNote:
    """Raises TypeError or ValueError where it is none."""
    made = SourceNote(**note)
    texts = [made.name, made.kind, *made.settings.keys(), *made.settings.values(), made.reading or ""]
    if not all(isinstance(text, str) for text in texts):
        raise ValueError("a note of a source holds texts")
    return made
