"""What a reading or an option says stands above what the file shows."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.formats import ReadOptions, read_log
from ingest.readings import Reading, ReadingColumn


def write(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_bytes(text.encode(encoding))
    return path


def test_time_column_and_unit(tmp_path: Path) -> None:
    lines = "".join(f"{k * 5},{k * 7},{20 + k / 10:.1f}\n" for k in range(50))
    path = write(tmp_path / "log.csv", "first,second,temp\n" + lines)
    log = read_log(path, Reading("r", time_column="second", time_unit="us"))
    clock = log.provenance.clock
    assert clock is not None and (clock.column, clock.unit, clock.sure) == ("second", "us", "certain")
    assert clock.duration_s == pytest.approx(49 * 7e-6)
    assert log.provenance.reading == "r"


def test_lines_and_delimiter(tmp_path: Path) -> None:
    head = "1;2;3\nalpha;beta;gamma\nfirst;second;third\n9;9;9\n"
    path = write(tmp_path / "log.csv", head + "".join(f"{k};{k}.5;{k}\n" for k in range(50)))
    log = read_log(path, Reading("r", delimiter=";", header_line=2, first_data_line=5))
    assert [c.source for c in log.provenance.columns] == ["alpha", "beta", "gamma"]
    assert log.provenance.rows == 50
    assert log.provenance.dialect["header_line"] == 2


def test_decimal_mark(tmp_path: Path) -> None:
    """1,234 everywhere may be either; the reading decides."""
    path = write(tmp_path / "log.csv", "U [V];I [A]\n" + "".join(f"1,{k:03d};2,{k:03d}\n" for k in range(200, 260)))
    doubtful = read_log(path)
    assert "decimal_unclear" in [f.code for f in doubtful.provenance.faults]
    log = read_log(path, Reading("r", decimal=","))
    assert log.provenance.columns[0].source_min == pytest.approx(1.2)
    assert "decimal_unclear" not in [f.code for f in log.provenance.faults]


def test_encoding(tmp_path: Path) -> None:
    path = write(tmp_path / "log.csv", "time_s;Tempé\n" + "".join(f"{k};1\n" for k in range(30)), "cp1252")
    log = read_log(path, Reading("r", encoding="cp1252"))
    assert log.provenance.columns[1].source == "Tempé"


def test_rate_from_the_reading_and_the_option(tmp_path: Path) -> None:
    path = write(tmp_path / "log.csv", "pack_voltage_V\n" + "24.5\n24.0\n" * 25)
    for options, rate in (
        (ReadOptions(reading=Reading("r", rate_Hz=20.0)), 20.0),
        (ReadOptions(rate_Hz=50.0), 50.0),
        (ReadOptions(reading=Reading("r", rate_Hz=20.0), rate_Hz=50.0), 50.0),
    ):
        log = read_log(path, options=options)
        assert log.provenance.clock is not None and log.provenance.clock.rate_Hz == rate
        assert log.streams[0].table["time_s"][49].as_py() == pytest.approx(49 / rate)


def test_ignored_columns_are_not_stored(tmp_path: Path) -> None:
    path = write(tmp_path / "log.csv", "time_s,keep,spare\n" + "".join(f"{k},1,2\n" for k in range(30)))
    log = read_log(path, Reading("r", columns={"spare": ReadingColumn("spare", ignore=True)}))
    assert log.streams[0].table.column_names == ["time_s", "recording", "other:keep"]
