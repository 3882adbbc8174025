"""Exports of instruments beside the very tables they were made from: read right, asked, refused; none wrong.

All files are invented, as `instruments/tables.py` says.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ingest.formats import read_log
from tests.ingest.delimited.instruments import (
    tables_benches,
    tables_cells,
    tables_loggers,
    tables_mixed,
    tables_mixed_more,
)
from tests.ingest.delimited.instruments.tables import TOLD, Told, judge

MODULES = (tables_benches, tables_cells, tables_loggers, tables_mixed, tables_mixed_more)

# What the file itself leaves open, or what is no log of samples.
NOT_READ = {
    "cyc_summary": "refused",
    "eis_only": "refused",
    "eis_with_time": "refused",
    "kv_records": "refused",
    "newest_first": "refused",
    "one_name_too_many": "asked",
    "tidy_long": "refused",
    "transposed": "refused",
    "spoiled_epoch": "no clock",
}


@pytest.mark.parametrize("make", TOLD, ids=[make.__name__ for make in TOLD])
def test_table(make: Callable[[], Told], tmp_path: Path) -> None:
    verdict, notes = judge(make(), tmp_path)
    assert verdict == NOT_READ.get(make.__name__, "read"), notes


def test_each_channel_keeps_its_own_stamps(tmp_path: Path) -> None:
    """Two channels read in turn, 37 ms apart: neither gets the other's stamps."""
    made = next(make() for make in TOLD if make.__name__ == "time_per_channel")
    path = tmp_path / made.file
    path.write_text(str(made.data), encoding="utf-8")
    log = read_log(path)
    shift = [s.table["time_s"][0].as_py() for s in log.streams if "pack_current_A" in s.channels]
    assert shift == [pytest.approx(0.037, abs=1e-9)]


def test_there_are_enough() -> None:
    names = [make.__name__ for make in TOLD]
    assert len(names) >= 110 and len(set(names)) == len(names)
    assert set(NOT_READ) <= set(names)
