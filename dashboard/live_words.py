"""Words and figures of the live view, the same in the terminal and on the page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from ingest.record.live import SourceView

CURRENT_S: Final = 2.0  # a figure that is older is marked: nothing newer came


def lost_text(view: SourceView) -> str:
    """Bad rows or frames, and what the system says it lost."""
    words = [f"{view.decoder.bad:,} bad" if view.decoder.word else ""]
    words += [f"{count:,} {word}" for word, count in view.source.lost().items()]
    if view.unseen:
        words.append("recorded faster than it can be shown")
    if view.gaps:
        words.append(f"{len(view.gaps)} {'gap' if len(view.gaps) == 1 else 'gaps'}")
    return ", ".join(word for word in words if word)


def number(value: float) -> str:
    if not math.isfinite(value):
        return "none"
    if abs(value) >= 1000.0:
        return f"{value:,.0f}"
    return f"{value:.2f}" if abs(value) < 100.0 else f"{value:.1f}"


def size_text(size: float) -> str:
    for unit, factor in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if size >= factor:
            return f"{size / factor:.1f} {unit}"
    return f"{size:.0f} B"


def clock_text(seconds: float) -> str:
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
