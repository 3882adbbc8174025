"""Block by block: the same result whatever the block, good rows kept around bad ones, and what is stored."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from ingest.formats import open_log, read_log
from ingest.log import Log, Provenance


def rows(first: int, count: int) -> bytes:
    return b"".join(
        b"%.3f,%.2f,%.1f\n" % (k / 1000, 24 - k % 97 / 100, k % 300 / 10) for k in range(first, first + count)
    )


HEADER = b"time_s,pack_voltage_V,pack_current_A\n"


def write(path: Path, *pieces: bytes) -> Path:
    path.write_bytes(b"".join(pieces))
    return path


def same_tables(a: Log, b: Log) -> bool:
    return a.streams[0].table.combine_chunks().equals(b.streams[0].table.combine_chunks())


def small(monkeypatch: pytest.MonkeyPatch, whole: int = 1000, block: int = 4096) -> None:
    """Make a file of some hundred kilobytes behave like one of many megabytes."""
    monkeypatch.setattr("ingest.delimited.sample.WHOLE_BYTES", whole)
    monkeypatch.setattr("ingest.delimited.sample.PIECE_BYTES", 2048)
    monkeypatch.setattr("ingest.delimited.reader.BLOCK_BYTES", block)
    monkeypatch.setattr("ingest.delimited.reader.SMALL_BLOCK_BYTES", block)


def test_blocks_do_not_matter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "log.csv", HEADER, rows(0, 20_000))
    whole = read_log(path)
    small(monkeypatch)
    pieces = read_log(path)
    assert same_tables(whole, pieces)
    assert whole.provenance.clock == pieces.provenance.clock
    assert whole.provenance.columns == pieces.provenance.columns
    assert whole.provenance.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_bad_lines_in_the_middle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "log.csv", HEADER, rows(0, 12_000), b"1.0,2.0\nnoise\n", rows(12_000, 8_000))
    clean = read_log(write(tmp_path / "clean.csv", HEADER, rows(0, 20_000)))
    small(monkeypatch)
    log = read_log(path)
    assert same_tables(clean, log)
    assert [(f.code, f.line) for f in log.provenance.faults] == [("short_row", 12_002), ("note_line", 12_003)]


def test_restart_at_any_block_edge(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "log.csv", HEADER, rows(0, 500), rows(0, 300))
    for block in range(200, 420, 7):
        small(monkeypatch, 10**9, block)
        log = read_log(path)
        recording = log.streams[0].table["recording"].to_numpy()
        assert np.array_equal(recording, np.repeat([0, 1], [500, 300]))
        assert log.provenance.clock is not None
        assert log.provenance.clock.duration_s == pytest.approx(0.499 + 0.299)


def test_glitch_at_any_block_edge(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = rows(1000, 300).splitlines(keepends=True)
    lines[150] = b"0.000,24.00,1.0\n"
    lines[220] = b"99.000,24.00,1.0\n"
    path = write(tmp_path / "log.csv", HEADER, *lines)
    for block in range(200, 420, 7):
        small(monkeypatch, 10**9, block)
        log = read_log(path)
        assert log.provenance.rows == 298
        assert not log.streams[0].table["recording"].to_numpy().any()
        assert [f.line for f in log.provenance.faults if f.code == "clock_backward"] == [152]


def test_other_table_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    small(monkeypatch)
    path = write(tmp_path / "log.csv", HEADER, rows(0, 9_000), b"\nindex,ohms,kelvin\n", rows(0, 2_000))
    log = read_log(path)
    assert log.provenance.rows == 9_000
    assert [f.code for f in log.provenance.faults] == ["several_tables"]
    assert log.provenance.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_main_table_is_not_the_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    small(monkeypatch)
    cells = b"cell,mohm\n" + b"".join(b"%d,%d\n" % (k, k % 7) for k in range(3_000))
    path = write(tmp_path / "log.csv", cells, b"\n", HEADER, rows(0, 20_000))
    log = read_log(path)
    assert log.provenance.rows == 20_000
    assert log.provenance.dialect["header_line"] == 3_003
    assert log.streams[0].table["time_s"][-1].as_py() == pytest.approx(19.999)


def test_preamble_longer_than_the_head(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    small(monkeypatch)
    monkeypatch.setattr("ingest.delimited.sample.HEAD_BYTES", 2048)
    path = write(tmp_path / "log.csv", b"setting: 12\n" * 9_000, HEADER, rows(0, 9_000))
    log = read_log(path)
    assert (log.provenance.rows, log.provenance.dialect["first_data_line"]) == (9_000, 9_002)


def test_schema_and_metadata(tmp_path: Path) -> None:
    data = b"t_ms;Pack current [mA];Mode;Spare\n" + b"".join(b"%d;%d;run;7\n" % (k * 10, k) for k in range(50))
    path = write(tmp_path / "log.csv", data)
    reader = open_log(path)
    batches = list(reader.batches())
    assert all(name == "samples" for name, _ in batches)
    schema = batches[0][1].schema
    assert schema.field("time_s").type == pa.float64()
    assert schema.field("recording").type == pa.int16()
    field = schema.field("pack_current_A")
    assert field.metadata[b"part"] == b"pack" and field.metadata[b"source_unit"] == b"mA"
    assert float(field.metadata[b"scale"]) == 0.001
    assert pa.types.is_dictionary(schema.field("other:Mode").type)
    assert "other:Spare" in schema.names
    assert Provenance.from_json(reader.provenance.to_json()) == reader.provenance


def test_columns_of_one_name_are_kept_apart(tmp_path: Path) -> None:
    data = b"time_s,a,a,a\n" + b"".join(b"%d,1,2,3\n" % k for k in range(30))
    table = read_log(write(tmp_path / "log.csv", data)).streams[0].table
    assert [table[n][0].as_py() for n in table.column_names[2:]] == [1.0, 2.0, 3.0]
    assert len(set(table.column_names)) == len(table.column_names)


def test_no_clock_gives_no_times(tmp_path: Path) -> None:
    """Without a clock nothing is invented: the times are null."""
    path = write(tmp_path / "log.csv", b"pack_voltage_V\n" + b"24.1\n23.9\n" * 40)
    log = read_log(path)
    assert log.provenance.clock is None
    assert log.streams[0].table["time_s"].null_count == 80


def test_clocks_side_by_side(tmp_path: Path) -> None:
    """Two loggers in one table, the second slower and shorter: two streams, each on its own clock."""
    lines = ["Time1 [s];U [V];Time2 [s];I [A]"]
    for k in range(60):
        slow = f"{0.5 + 0.25 * k:.2f};{k}.0" if k < 40 else ";"
        lines.append(f"{0.1 * k:.1f};{24 - 0.01 * k:.2f};{slow}")
    log = read_log(write(tmp_path / "log.csv", ("\n".join(lines) + "\n").encode()))
    first, second = log.streams
    assert (first.table.num_rows, second.table.num_rows) == (60, 40)
    assert first.table["time_s"].to_pylist() == pytest.approx([0.1 * k for k in range(60)])
    assert second.table["time_s"].to_pylist() == pytest.approx([0.5 + 0.25 * k for k in range(40)])
    assert second.table[second.table.column_names[2]].to_pylist() == [float(k) for k in range(40)]
    assert [f.code for f in log.provenance.faults if f.code.startswith("several")] == ["several_clocks"]
    assert log.provenance.rows == 60
