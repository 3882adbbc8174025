"""What `afterbout record --json` prints (afterbout.record/1)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from dashboard.commands.add import add_document

if TYPE_CHECKING:
    from ingest.record.ending import Outcome
    from ingest.record.live import Extreme, SourceView
    from ingest.record.session import Session
    from ingest.season_add import AddResult

SCHEMA = "afterbout.record/1"


def record_document(session: Session, outcome: Outcome, added: AddResult | None) -> dict[str, Any]:
    """Times in seconds of the recording's clock, which is 0 at `wall_start`."""
    live = session.live
    return {
        "schema": SCHEMA,
        "files": [str(path) for path in outcome.files],
        "wall_start": session.clock.wall_start.isoformat(timespec="milliseconds"),
        "start_s": None if session.started_ns is None else round(session.started_ns / 1e9, 6),
        "duration_s": round(outcome.duration_s, 6),
        "stopped_by": outcome.stopped_by,
        "bytes_written": outcome.bytes_written,
        "went_on": _went_on(session),
        "dropped_packets": session.dropped_packets,
        "sources": [_source(view) for view in live.views],
        "lowest_voltage": _extreme(live.lowest_voltage()),
        "highest_current": _extreme(live.highest_current()),
        "alarms": [
            {
                "channel": alarm.limit.channel,
                "side": alarm.limit.side,
                "limit": alarm.limit.value,
                "worst": alarm.worst,
                "unit": alarm.limit.unit,
                "window_s": alarm.limit.window_s,
                "first_s": alarm.first_s,
                "rating_source": alarm.limit.source,
                "sentence": alarm.sentence,
            }
            for alarm in live.alarms
        ],
        "not_watched": sorted({limit.channel for limit in live.watch.limits} - live.watch.seen),
        "events": [
            {"source": session.sources[h.source].name, "at_s": h.t_ns / 1e9, "kind": h.kind, "text": h.text}
            for h in session.happenings
        ],
        "added": None if added is None else add_document(added),
        "error": None if outcome.error is None else str(outcome.error),
    }


def _went_on(session: Session) -> dict[str, Any] | None:
    """What stood in the file before, None for a new one. bytes_written counts what came now."""
    found = session.behind
    if found is None:
        return None
    return {
        "part": found.part + 2,
        "earlier_bytes": found.end,
        "cut_bytes": found.torn_bytes,
        "kept_in": None if found.kept_in is None else str(found.kept_in),
        "damages": [{"start_byte": d.start, "end_byte": d.end, "blocks": d.blocks} for d in found.damages],
    }


def _source(view: SourceView) -> dict[str, Any]:
    return {
        "name": view.name,
        "address": view.source.address,
        "kind": view.source.kind,
        "settings": view.source.settings,
        "packets": view.packets,
        "bytes": view.bytes,
        "rows_or_frames": {"word": view.decoder.word or None, "good": view.decoder.good, "bad": view.decoder.bad},
        "not_looked_at": view.unseen,
        "lost": view.source.lost(),
        "gaps": [{"start_s": begun, "end_s": ended, "note": text} for begun, ended, text in view.gaps],
        "remarks": view.source.remarks(),
        "values": [
            {"name": v.name, "unit": v.unit, "last": v.last, "low": v.low, "high": v.high}
            for v in view.values.values()
            if math.isfinite(v.last)
        ],
    }


def _extreme(found: Extreme | None) -> dict[str, Any] | None:
    return None if found is None else {"name": found.name, "value": found.value, "unit": found.unit, "at_s": found.at_s}
