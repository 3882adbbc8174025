"""What is no log is refused with one located error and a mend; what changes under the hand is refused too."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from ingest.delimited.encoding import looks_like_text
from ingest.errors import AfterboutError, UnreadableLog
from ingest.formats import ReadOptions, open_log, read_log

_random = random.Random(20260509)
PLAIN = b"time_s,pack_voltage_V\n" + b"".join(b"%d.0,25.%d\n" % (k, k % 10) for k in range(200))

STRANGERS = {
    "random": _random.randbytes(50_000),
    "archive": b"PK\x03\x04" + _random.randbytes(4000),
    "picture": b"\x89PNG\r\n\x1a\n" + _random.randbytes(4000),
    "only_nuls": b"\0" * 10_000,
    "control_characters": bytes(range(1, 9)) * 500,
}
NO_TABLE = {
    "names_only": b"time_s,pack_voltage_V\n",
    "names_and_units_only": b"Time;Voltage\ns;V\n",
    "blank": b"\n" * 5000,
    "delimiters": b",,,\n" * 500,
    "prose": b"This is a letter of 3 pages.\nIt has 12 lines and no table.\nRegards.\n" * 40,
    "markup": b"<html><body><table><tr><td>1</td><td>2</td></tr></table></body></html>\n" * 40,
    "objects": b'{"t": 1, "v": 2.5}\n' * 40,
    "no_values": b"time_s,pack_voltage_V\n" + b"nan,nan\n" * 50,
    "long_line": b"1," * 3_000_000,
    "long_line_in_table": PLAIN + b"9" * 3_000_000,
    "wide": ("\n".join(",".join(str(i + j) for i in range(5000)) for j in range(12)) + "\n").encode(),
    "ragged_noise": b"\n".join(
        b",".join(b"%d" % _random.randrange(99) for _ in range(_random.randrange(1, 9))) for _ in range(900)
    ),
    "comma_is_both": b"0,05,24,10\n" * 30,
    "impossible_dates": b"time,pack_voltage_V\n" + b"0000-99-99 00:00:00,1.0\n" * 30,
}


@pytest.mark.parametrize("name", sorted(STRANGERS))
def test_stranger_is_not_taken(name: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(STRANGERS[name])
    assert not looks_like_text(STRANGERS[name][:65536])
    with pytest.raises(AfterboutError) as refused:
        read_log(path)
    assert refused.value.mend and refused.value.file


@pytest.mark.parametrize("name", sorted(NO_TABLE))
def test_no_table_is_refused(name: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(NO_TABLE[name])
    with pytest.raises(UnreadableLog) as refused:
        read_log(path)
    error = refused.value
    assert error.mend and error.file == str(path)
    assert error.line is not None and error.line >= 1


def test_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"")
    with pytest.raises(UnreadableLog, match="0 bytes"):
        read_log(path)


def test_long_line_names_its_line(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN + b"1" * 3_000_000 + b"\n")
    with pytest.raises(UnreadableLog, match="longer than 1 MB") as refused:
        read_log(path)
    assert refused.value.line == 202


def test_growing_file(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN)
    reader = open_log(path)
    with path.open("ab") as stream:
        stream.write(b"200.0,25.0\n")
    with pytest.raises(UnreadableLog, match="changed while it was read"):
        list(reader.batches())


def test_replaced_file(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN)
    reader = open_log(path)
    other = tmp_path / "other.csv"
    other.write_bytes(PLAIN)
    other.replace(path)
    with pytest.raises(UnreadableLog, match="changed while it was read"):
        list(reader.batches())


def test_touched_file(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN)
    reader = open_log(path)
    os.utime(path, ns=(1, 1))
    with pytest.raises(UnreadableLog, match="changed while it was read"):
        list(reader.batches())


def test_vanished_file(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN)
    reader = open_log(path)
    path.unlink()
    with pytest.raises(UnreadableLog):
        list(reader.batches())


def test_provenance_needs_the_end(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN)
    reader = open_log(path, ReadOptions(name="my own name.csv"))
    with pytest.raises(RuntimeError):
        _ = reader.provenance
    list(reader.batches())
    assert reader.provenance.file == "my own name.csv"
