"""Invented exports of batteries, motors and instruments: read as they were meant, or refused; none silently wrong."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from ingest.errors import UnreadableLog
from ingest.formats import read_log
from ingest.log import Log
from tests.ingest.delimited import exports_more, exports_odd
from tests.ingest.delimited.exports import EXPORTS, Export, Meant

MODULES = (exports_odd, exports_more)
MADE = [make() for make in EXPORTS]


def stored(log: Log, channel: str) -> list[float | None] | None:
    for stream in log.streams:
        if channel in stream.table.column_names:
            return list(stream.table[channel].to_pylist())
    return None


def wrong_figures(log: Log, meant: Meant) -> str:
    """What is wrong with a column that was taken for a channel."""
    column = next(c for c in log.provenance.columns if c.source == meant.source)
    if column.channel is None:
        return ""
    if column.sure == "guess" and column.question:
        return ""  # asked, and named beside every verdict
    if column.channel != meant.channel:
        return f"{meant.source} is taken for {column.channel} ({column.sure}), not {meant.channel}"
    if meant.values is None:
        return ""
    have = stored(log, column.channel)
    assert have is not None
    if len(have) != len(meant.values):
        return f"{meant.source}: {len(have)} values, not {len(meant.values)}"
    for k, (a, b) in enumerate(zip(have, meant.values, strict=True)):
        if (a is None) != (b is None) or (a is not None and b is not None and not math.isclose(a, b, abs_tol=6e-4)):
            return f"{meant.source}: row {k} holds {a}, not {b}"
    return ""


@pytest.mark.parametrize("block_bytes", [1 << 20, 301], ids=["one_block", "many_blocks"])
@pytest.mark.parametrize("export", MADE, ids=[e.name for e in MADE])
def test_export(export: Export, block_bytes: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ingest.delimited.reader.SMALL_BLOCK_BYTES", block_bytes)
    path = tmp_path / export.file
    path.write_bytes(export.data)
    if export.refuse:
        with pytest.raises(UnreadableLog) as refused:
            read_log(path)
        assert export.refuse in str(refused.value)
        assert refused.value.mend
        return
    log = read_log(path)
    about = log.provenance
    codes = {f.code for f in about.faults}
    found = {c.channel for c in about.columns if c.channel}
    assert set(export.wants) <= found, [(c.source, c.channel, c.why) for c in about.columns]
    assert not export.must_say or set(export.must_say) & codes, about.faults
    sources = [c.source for c in about.columns]
    assert {m.source for m in export.columns} <= set(sources), sources
    wrong = [text for meant in export.columns if (text := wrong_figures(log, meant))]
    assert not wrong
    for column in about.columns:  # what is not in the truth may be no channel, unless it is asked
        known = column.source in {m.source for m in export.columns}
        assert column.channel is None or known or column.sure == "guess", column
    if export.time_s is None:
        assert about.clock is None or about.clock.sure in ("guess", "unknown")
        return
    assert about.clock is not None, about.faults
    times = log.streams[0].table["time_s"].to_pylist()
    assert len(times) == len(export.time_s)
    first = export.time_s[0]
    step = max(b - a for a, b in zip(export.time_s, export.time_s[1:], strict=False))
    assert all(abs(a - (b - first)) <= 1e-3 * step for a, b in zip(times, export.time_s, strict=True)), times[:5]


def test_there_are_enough() -> None:
    assert len(MADE) >= 32 and len({e.name for e in MADE}) == len(MADE)
