"""Cells, names and bodies of thousands of equal signs, and numbers that no machine word holds: read or refused at once.

The bound is processor time, not time passed. Found by looking for patterns that try a row of signs in many ways.
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from dashboard.reviewing import review_files
from ingest.errors import AfterboutError
from ingest.formats import read_log

MOST_S = 2.0  # our choice; the slowest took 0.7 s on one busy core, and without the mends from 2.4 s to minutes
TABLE = "".join(f"{k / 10},24.{k % 10}\n" for k in range(60))
LONG_INT = "9" * 5000


def seconds_for(path: Path, text: str) -> float:
    path.write_text(text, "utf-8")
    began = time.process_time()
    try:
        read_log(path)
    except AfterboutError as error:
        assert error.what
    return time.process_time() - began


@pytest.mark.parametrize("row", ["9", "0", "1,", "_", "/", ": ", "[", "{", "|", "-", " ", "'"])
@pytest.mark.parametrize("end", ["", "!"])
def test_a_row_of_equal_signs_is_looked_at_once(row: str, end: str, tmp_path: Path) -> None:
    quoted = '"' + (row * 4000)[:4000] + end + '"'
    names = "time_s,U," + ",".join([quoted] * 18) + "\n" + TABLE.replace("\n", ",1" * 18 + "\n")
    cells = "time_s,U\n" + TABLE + "".join(f"{7 + k / 10},{quoted}\n" for k in range(18))
    for text in (names, cells):
        assert seconds_for(tmp_path / "x.csv", text) < MOST_S


@pytest.mark.parametrize(
    "odd", [LONG_INT, "9" * 25, "9223372036854775808", "-9223372036854775809", "--5", "+-5", "1e25", "1e400", "²", "٣"]
)
def test_a_whole_number_that_64_bits_do_not_hold_is_no_stop(odd: str, tmp_path: Path) -> None:
    """Ticks of nanoseconds are kept as whole numbers; an odd one among them is left out, the others stay."""
    path = tmp_path / "x.csv"
    rows = [(1_700_000_000_000_000_000 + k * 10**7, 2**53 + k) for k in range(300)]
    made = "time_ns,count,pack_voltage_V\n" + "".join(f"{t},{n},24.{n % 10}\n" for t, n in rows)
    path.write_text(made + f"1700000003000000000,{odd},24.0\n{odd},5,24.1\n", "utf-8")
    table = read_log(path).streams[0].table
    assert table["pack_voltage_V"].to_pylist()[:300] == [float(f"24.{n % 10}") for _, n in rows]


@pytest.mark.parametrize("head", [LONG_INT, f"count{LONG_INT}", f"U{LONG_INT}[V]"])
def test_names_and_counts_of_thousands_of_digits(head: str, tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    assert seconds_for(path, f"time_s,{head}\n" + TABLE) < MOST_S
    assert seconds_for(path, "".join(f"{LONG_INT},{k},{k / 10}\n" for k in range(12))) < MOST_S
    assert seconds_for(path, "code,time_s\n" + "".join(f"{'0' * 2000}{k},{k / 10}\n" for k in range(30))) < MOST_S


@pytest.mark.parametrize("later_s", [4.3e6, 1.7e9, 1e12])
def test_a_clock_that_gets_its_date_in_the_middle_is_no_silence_of_years(later_s: float, tmp_path: Path) -> None:
    """From 1970 to today: the log is reviewed as two recordings, and that is said."""
    path = tmp_path / "x.csv"
    rows = ((k * 0.05 + (later_s if k > 300 else 0.0), 24 - k % 20 * 0.1, k % 20 * 4) for k in range(600))
    path.write_text("time_s,pack_voltage_V,pack_current_A\n" + "".join(f"{t:.2f},{v:.2f},{a}\n" for t, v, a in rows))
    review = review_files([str(path)], None, None, 6).review
    (note,) = [n for n in review.quality if n.code == "clock_reset"]
    assert f"goes on {later_s / 3600:,.0f} h later" in note.note
    assert review.match.start_s is not None and review.match.end_s is not None
    assert 25.0 < review.match.end_s - review.match.start_s < 31.0
