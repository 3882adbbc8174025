"""What came of a made export: right, asked, kept without a channel, refused, or wrong without a word."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path

from ingest.errors import AfterboutError
from ingest.formats import ReadOptions, read_log
from ingest.inspect import inspect_one
from ingest.log import Column, Log
from tests.ingest.delimited.instruments.made import Fact, Made

Values = Sequence[float | None]
UNSURE = ("guess", "unknown")


def difference(have: Values, want: Values, tolerance: float = 6e-4) -> str:
    """Where two columns part; "" where they do not."""
    if len(have) != len(want):
        return f"{len(have)} values, not {len(want)}"
    for k, (a, b) in enumerate(zip(have, want, strict=True)):
        if (a is None) != (b is None):
            return f"row {k}: {a}, not {b}"
        if a is not None and b is not None and not math.isclose(a, b, rel_tol=1e-9, abs_tol=tolerance):
            return f"row {k}: {a}, not {b}"
    return ""


def judge(made: Made, path: Path) -> tuple[str, list[str]]:
    """("right" | "asked" | "kept" | "refused" | "wrong", notes). The page of inspect has to agree with the reader."""
    path.write_bytes(made.data)
    entry, _ = inspect_one(path, ReadOptions())
    json.dumps(entry)
    try:
        log = read_log(path, options=ReadOptions(name=path.name))
    except AfterboutError as error:
        assert entry["refused"] == str(error)
        return ("refused" if made.refuse or made.either else "wrong"), [str(error)]
    assert entry["refused"] is None
    assert entry["rows"] == log.provenance.rows
    if made.refuse:
        verdict, note = _time(made, log)
        return verdict, [note]
    found = [_time(made, log), *(_column(log, source, fact) for source, fact in made.facts.items()), *_extra(made, log)]
    codes = {fault.code for fault in log.provenance.faults}
    if made.must_say and not codes & set(made.must_say):
        found.append(("wrong", f"says none of {made.must_say}: {sorted(codes)}"))
    verdicts = [verdict for verdict, _ in found]
    worst = next((v for v in ("wrong", "kept", "asked") if v in verdicts), "right")
    return worst, [note for verdict, note in found if verdict == worst and note]


def _time(made: Made, log: Log) -> tuple[str, str]:
    clock = log.provenance.clock
    unsure = clock is None or clock.sure in UNSURE
    if made.refuse:
        return ("asked", "no clock") if unsure else ("wrong", "it is no table of samples and was read as one")
    if made.time_s is None:
        return "right", ""
    if unsure:
        return "asked", "no sure clock"
    if made.splits or len(log.streams) > 1:
        return "right", ""
    have = log.streams[0].table["time_s"].to_pylist()
    note = difference(have, [t - made.time_s[0] for t in made.time_s], made.tol)
    return ("wrong", f"time: {note}") if note else ("right", "")


def _column(log: Log, source: str, fact: Fact) -> tuple[str, str]:
    column = next((c for c in log.provenance.columns if c.source == source), None)
    have = _stored(log, source)
    if column is None or have is None:
        return "wrong", f"{source!r} is not there"
    if column.channel is None:
        note = difference(have, fact.values)
        if note and (fact.raw is None or difference(have, fact.raw, 1e-9)):
            return "wrong", f"{source!r} ({column.unit}): {note}"
        if column.quantity not in (fact.quantity, "other") and fact.quantity != "any":
            return "wrong", f"{source!r} is called {column.quantity}"
        if not fact.channels:
            return "right", ""
        return ("asked" if column.question else "kept"), f"{source!r}: {column.why}"
    if _asked(column):
        return "asked", f"{source!r}: {column.question}"
    meant = column.channel in fact.channels if fact.channels else column.quantity == fact.quantity
    if not meant:
        return "wrong", f"{source!r} is taken for {column.channel}: {column.why}"
    note = difference(have, fact.values)
    return ("wrong", f"{source!r} as {column.channel}: {note}") if note else ("right", "")


def _asked(column: Column) -> bool:
    return column.sure == "guess" and bool(column.question)


def _stored(log: Log, source: str) -> Values | None:
    for stream in log.streams:
        for field in stream.table.schema:
            told = (field.metadata or {}).get(b"source", b"").decode()
            if source in (told, field.name.removeprefix("other:")):
                return list(stream.table[field.name].to_pylist())
    return None


def _extra(made: Made, log: Log) -> list[tuple[str, str]]:
    """What is not in the truth may be no channel, unless it is asked."""
    columns = [c for c in log.provenance.columns if c.channel and c.source not in made.facts and not _asked(c)]
    return [("wrong", f"{c.source!r} is taken for {c.channel}") for c in columns]
