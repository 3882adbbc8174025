"""Three digits behind every mark: a decimal mark or one that groups thousands? Told where the figures speak up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ingest.delimited.meaning_draft import FITS, Draft
from ingest.delimited.meaning_sentinels import finite
from ingest.delimited.meaning_values import top_of, usual_range

_GROUP: Final = 1000.0


def doubt_thousands(drafts: Sequence[Draft]) -> None:
    """Where one such column is a thousand times too small to be what it says, every such column is only a guess."""
    marked = [d for d in drafts if d.evidence.three_behind and d.evidence.kind == "number" and not d.from_reading]
    shown = any(d.evidence.decimals and not d.evidence.three_behind for d in drafts)  # what the decimal mark is
    if shown or not any(_too_small(d) for d in marked):
        return
    for draft in marked:
        why = "three digits stand behind every mark, which may group thousands"
        draft.fault("decimal_unclear", "doubtful", f"{why}. Say decimal in a reading")
        if draft.channel is None:
            continue
        draft.limit(FITS, why)
        draft.question = ""
        draft.ask(
            f'Do the marks in "{draft.key}" group thousands? If so, say decimal above the columns, or here:',
            channel=draft.channel,
            unit=draft.unit_text,
            scale=_GROUP,
        )


def _too_small(draft: Draft) -> bool:
    usual = usual_range(draft)
    values = finite(draft.raw())
    if usual is None or not values.size:
        return False
    scale = draft.unit.scale if draft.unit is not None else 1.0
    top = top_of(values) * scale
    return top < usual.low / 5.0 and usual.low <= _GROUP * top <= usual.high
