"""Every made log is read to the last value, and says what was wrong with it."""

from __future__ import annotations

import math
from pathlib import Path

import pyarrow as pa
import pytest

from ingest.formats import ReadOptions, read_log
from ingest.log import Log
from tests.ingest.delimited import corpus_clocks, corpus_dialects, corpus_leftovers, corpus_mixtures, corpus_tables
from tests.ingest.delimited.corpus import CASES, Case

CASES_MADE = [make() for make in CASES]
MODULES = (corpus_dialects, corpus_tables, corpus_clocks, corpus_mixtures, corpus_leftovers)


def stored_columns(log: Log) -> dict[str, list[tuple[list[float | None], dict[str, str]]]]:
    """Stored values and metadata by source name, in order (a name may stand there twice)."""
    found: dict[str, list[tuple[list[float | None], dict[str, str]]]] = {}
    for stream in log.streams:
        for field in stream.table.schema:
            if field.name in ("time_s", "recording"):
                continue
            if pa.types.is_dictionary(field.type):
                continue
            about = {k.decode(): v.decode() for k, v in (field.metadata or {}).items()}
            found.setdefault(about.get("source", ""), []).append((stream.table[field.name].to_pylist(), about))
    return found


def same(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-9)


@pytest.mark.parametrize("block_bytes", [1 << 20, 301], ids=["one_block", "many_blocks"])
@pytest.mark.parametrize("case", CASES_MADE, ids=[c.name for c in CASES_MADE])
def test_case(case: Case, block_bytes: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ingest.delimited.reader.SMALL_BLOCK_BYTES", block_bytes)
    path = tmp_path / "weapon.csv"
    path.write_bytes(case.data)
    log = read_log(path, options=ReadOptions(rate_Hz=case.rate_Hz))
    about = log.provenance
    reported = [f.code for f in about.faults]
    assert case.codes <= set(reported), f"reported {about.faults}"
    if case.exact_codes:
        naming = {"unit_unknown", "sign_normalised", "implausible", "sentinel"}
        assert set(reported) - naming <= case.codes, about.faults
    assert [c.source for c in about.columns] == [name for name, _ in case.values]
    rows = next((len(v) for _, v in case.values if v is not None), about.rows)
    assert about.rows == rows == sum(s.table.num_rows for s in log.streams)
    if case.time_s is not None:
        times = log.streams[0].table["time_s"].to_pylist()
        assert all(t is not None for t in times)
        assert len(times) == len(case.time_s)
        first = case.time_s[0]
        wrong = [
            (k, a, b) for k, (a, b) in enumerate(zip(times, case.time_s, strict=True)) if abs(a - (b - first)) > 1e-6
        ]
        assert not wrong, wrong[:3]
    if case.recording is not None:
        assert log.streams[0].table["recording"].to_pylist() == list(case.recording)
    stored = stored_columns(log)
    clock = about.clock
    for (name, wanted), column in zip(case.values, about.columns, strict=True):
        if name in case.kinds:
            assert column.kind == case.kinds[name]
        if name in case.units:
            assert column.unit == case.units[name], column
        if column.kind in ("text", "time"):
            continue
        if wanted is None:
            stored.get(name, [None]).pop(0)
            continue
        given = [x for x in wanted if x is not None]
        assert column.missing == len(wanted) - len(given)
        if not given:
            assert column.source_min is None
            continue
        assert same(column.source_min, min(given)) and same(column.source_max, max(given)), column
        if clock is not None and clock.column is not None and name in clock.column and column.quantity == "time":
            continue  # the clock is stored as time_s, compared above
        values, metadata = stored[name].pop(0)
        scale, offset = float(metadata["scale"]), float(metadata["offset"])
        for k, (have, want) in enumerate(zip(values, wanted, strict=True)):
            assert (have is None) == (want is None), (name, k, have, want)
            if have is not None and want is not None:
                assert math.isclose(have, want * scale + offset, rel_tol=1e-9, abs_tol=1e-9), (name, k, have, want)
    for key, value in case.dialect.items():
        assert about.dialect[key] == value, (key, about.dialect)
    if case.clock is None:
        assert clock is None
        assert "clock_missing" in reported
        return
    for key, value in case.clock.items():
        assert clock is not None
        have = getattr(clock, key)
        assert have == pytest.approx(value) if isinstance(value, float) else have == value, (key, clock)


def test_there_are_enough_cases() -> None:
    names = [c.name for c in CASES_MADE]
    assert len(names) == len(set(names))
    assert len(names) >= 80
