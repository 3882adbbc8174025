"""ASAM MDF 4: files made with asammdf, every value checked; damage and strangers refused in bounded time."""

from __future__ import annotations

import hashlib
import json
import struct
import sys
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest import mdf_parent
from ingest.errors import MissingExtra, UnreadableLog
from ingest.formats import read_log
from ingest.inspect import inspect_files
from ingest.log import Log

asammdf = pytest.importorskip("asammdf", reason="MDF files are made with asammdf")

SCHEMA = json.loads((Path(__file__).parents[2] / "dashboard/schemas/inspect.schema.json").read_text("utf-8"))
FAST = np.arange(0.5, 4.5, 0.01)
SLOW = np.arange(0.4, 4.4, 0.1)
AMPS = 40.0 + 30.0 * np.sin(FAST * 9)


def made(folder: Path, name: str = "bout.mf4", **more: Any) -> Path:
    signal = asammdf.Signal
    with asammdf.MDF(version="4.10") as file:
        fast = [
            signal(24.6 - 0.02 * AMPS, FAST, name="PackVoltage", unit="V"),
            signal((AMPS * 1000).astype(np.int32), FAST, name="PackCurrent", unit="mA"),
        ]
        file.append(fast, acq_source=None, comment="fast", common_timebase=True)
        slow = [
            signal(30.0 + SLOW, SLOW, name="WeaponTemperature", unit="degC"),
            signal(np.array([b"armed"] * 20 + [b"safe"] * 20), SLOW, name="State", encoding="utf-8"),
            signal(np.rec.fromarrays([np.zeros((40, 3))], dtype=[("Grid", "(3,)<f8")]), SLOW, name="Grid"),
        ]
        file.append(slow, comment="slow", common_timebase=True)
        path = folder / name
        file.save(path, overwrite=True, **more)
    return path


def columns(log: Log) -> dict[str, list[Any]]:
    found = {}
    for stream in log.streams:
        for field in stream.table.schema:
            if field.metadata and b"source" in field.metadata:
                found[field.metadata[b"source"].decode()] = stream.table[field.name].to_pylist()
    return found


@pytest.mark.parametrize("compression", [0, 2])
def test_every_value_of_every_group(tmp_path: Path, compression: int) -> None:
    path = made(tmp_path, compression=compression)
    log = read_log(path)
    got = columns(log)
    assert got["PackVoltage"] == [pytest.approx(v) for v in 24.6 - 0.02 * AMPS]
    assert got["PackCurrent"] == [pytest.approx(int(a * 1000) / 1000) for a in AMPS]
    assert got["WeaponTemperature"] == [pytest.approx(v) for v in 30.0 + SLOW]
    assert got["State"] == ["armed"] * 20 + ["safe"] * 20
    named = {c.source: c.channel for c in log.provenance.columns}
    assert named["PackVoltage"] == "pack_voltage_V" and named["PackCurrent"] == "pack_current_A"
    assert named["WeaponTemperature"] == "weapon_temp_degC"
    assert log.provenance.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert [f.code for f in log.provenance.faults] == ["array_channel"]


def test_each_group_has_its_own_time_from_the_first_sample_of_the_log(tmp_path: Path) -> None:
    log = read_log(made(tmp_path))
    fast, slow = (stream.table["time_s"].to_pylist() for stream in log.streams)
    assert fast == [pytest.approx(t - 0.4) for t in FAST]
    assert slow == [pytest.approx(t - 0.4) for t in SLOW]
    clock = log.provenance.clock
    assert clock is not None and clock.start_s == pytest.approx(0.4)
    assert clock.duration_s == pytest.approx(4.49 - 0.4) and clock.rate_Hz == pytest.approx(100.0)


def test_the_document(tmp_path: Path) -> None:
    document = inspect_files([made(tmp_path)])
    jsonschema.validate(document, SCHEMA)
    entry = document["files"][0]
    assert (entry["format"], entry["rows"], entry["refused"]) == ("ASAM MDF 4", 400, None)
    assert {c["source"]: c["samples"] for c in entry["columns"]} == {
        "PackVoltage": 400, "PackCurrent": 400, "WeaponTemperature": 40, "State": 40,
        "Grid[0]": 40, "Grid[1]": 40, "Grid[2]": 40,
    }  # fmt: skip


def test_blocks_of_records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = columns(read_log(made(tmp_path)))
    monkeypatch.setattr("ingest.mdf._RECORDS", 33)
    assert columns(read_log(tmp_path / "bout.mf4")) == whole


def test_invalid_samples_are_missing(tmp_path: Path) -> None:
    bad = np.arange(FAST.size) % 5 == 0
    with asammdf.MDF(version="4.10") as file:
        file.append([asammdf.Signal(AMPS, FAST, name="PackCurrent", unit="A", invalidation_bits=bad)])
        file.save(tmp_path / "x.mf4")
    log = read_log(tmp_path / "x.mf4")
    assert [v is None for v in columns(log)["PackCurrent"]] == bad.tolist()
    assert log.provenance.columns[0].missing == 80


def test_strangers_and_older_versions_are_refused(tmp_path: Path) -> None:
    with asammdf.MDF(version="3.30") as file:
        file.append([asammdf.Signal(AMPS, FAST, name="PackCurrent", unit="A")])
        file.save(tmp_path / "old.mdf")
    with pytest.raises(UnreadableLog, match=r"version 3\.30 of MDF") as caught:
        read_log(tmp_path / "old.mdf")
    assert "Convert" in caught.value.mend
    for data in (
        b"MDF     4.10    " + b"\0" * 300,
        b"MDF     4.10    " + np.random.default_rng(1).bytes(5000),
        b"UnFinMF 4.10    " * 20,
    ):
        path = tmp_path / "no.mf4"
        path.write_bytes(data)
        with pytest.raises(UnreadableLog, match="damaged MDF") as caught:
            read_log(path)
        assert caught.value.mend
    with asammdf.MDF(version="4.10") as file:
        file.save(tmp_path / "empty.mf4")
    with pytest.raises(UnreadableLog, match="no samples"):
        read_log(tmp_path / "empty.mf4")


def test_blocks_in_a_circle_are_refused(tmp_path: Path) -> None:
    path = made(tmp_path)
    data = bytearray(path.read_bytes())
    groups = struct.unpack_from("<Q", data, 64 + 24)[0]
    struct.pack_into("<Q", data, groups + 24, groups)  # the first data group says that it is the next one
    path.write_bytes(bytes(data))
    with pytest.raises(UnreadableLog, match="circle") as caught:
        read_log(path)
    assert caught.value.byte == groups


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_truncated_file_is_refused_or_right(tmp_path: Path, share: float) -> None:
    path = made(tmp_path)
    truth = columns(read_log(path))
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    try:
        got = columns(read_log(path))
    except UnreadableLog as error:
        assert error.mend
    else:
        assert all(values == truth[name][: len(values)] for name, values in got.items())


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=8, deadline=None)
def test_damage_never_breaks_or_hangs(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    folder = tmp_path_factory.mktemp("mdf")
    path = made(folder)
    random = np.random.default_rng(seed)
    data = bytearray(path.read_bytes())
    for place in random.integers(64, len(data), int(random.integers(1, 8))):
        data[int(place)] = int(random.choice([0, 255, int(random.integers(0, 256))]))
    path.write_bytes(bytes(data))
    before, mdf_parent.SILENCE_S = mdf_parent.SILENCE_S, 6.0  # type: ignore[misc]
    try:
        entry = inspect_files([path])["files"][0]
    finally:
        mdf_parent.SILENCE_S = before  # type: ignore[misc]
    assert entry["refused"] or entry["rows"] > 0


@pytest.mark.parametrize(
    ("ending", "silence_s", "what"),
    [("os.abort()", 120.0, "broke off"), ("time.sleep(600)", 1.0, "came to nothing within 1 s")],
)
def test_a_library_that_crashes_or_hangs_is_a_refusal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str, silence_s: float, what: str
) -> None:
    path = made(tmp_path)
    (tmp_path / "asammdf.py").write_text(f"import os, time\n{ending}\n", encoding="utf-8")
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    monkeypatch.setattr(mdf_parent, "SILENCE_S", silence_s)
    with pytest.raises(UnreadableLog, match=what):
        read_log(path)


def test_without_the_extra_it_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = made(tmp_path)
    monkeypatch.setitem(sys.modules, "asammdf", None)
    with pytest.raises(MissingExtra, match=r"afterbout\[mdf\]"):
        read_log(path)
