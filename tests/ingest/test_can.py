"""CAN traces: frames against python-can's own readers, signals against cantools' own decoding, and what is refused.

The traces and the databases are made here. Reference libraries: python-can, cantools.
"""

from __future__ import annotations

import builtins
import hashlib
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.errors import MissingExtra, ReadingError, UnreadableLog
from ingest.formats import ReadOptions, read_log
from ingest.inspect import inspect_files
from ingest.log import Log

can = pytest.importorskip("can", reason="python-can is the reference reader")
cantools = pytest.importorskip("cantools", reason="cantools is the reference decoder")

DBC = """VERSION ""
NS_ :
BS_:
BU_: BMS ESC
BO_ 416 BatteryState: 8 BMS
 SG_ PackVoltage : 0|16@1+ (0.001,0) [0|65] "V" ESC
 SG_ PackCurrent : 16|16@1- (0.1,0) [-3000|3000] "A" ESC
 SG_ PackTemperature : 39|8@0+ (1,-40) [-40|215] "degC" ESC
 SG_ Alive : 56|4@1+ (1,0) [0|15] "" ESC

BO_ 2566849024 WeaponEsc: 8 ESC
 SG_ InputCurrent : 7|16@0- (0.01,0) [-300|300] "A" BMS
 SG_ MotorRpm : 16|32@1- (1,0) [0|0] "rpm" BMS

BO_ 432 Mixed: 8 ESC
 SG_ Page M : 0|8@1+ (1,0) [0|1] "" BMS
 SG_ CellVoltage1 m0 : 8|16@1+ (1,0) [0|5000] "mV" BMS
 SG_ Humidity m1 : 8|8@1+ (1,0) [0|100] "%" BMS

BO_ 448 Wide: 16 ESC
 SG_ Far : 64|32@1- (1,0) [0|0] "" BMS

"""
ESC_ID = 2566849024 & 0x1FFFFFFF


def database(folder: Path, text: str = DBC) -> Path:
    path = folder / "robot.dbc"
    path.write_text(text, encoding="utf-8")
    return path


def truth(count: int) -> list[Any]:
    """Messages of an invented bout: battery at 100 Hz, weapon controller at 50 Hz, a paged message, one unknown id."""
    base = cantools.database.load_string(DBC, "dbc", strict=False)
    made = []
    for k in range(count):
        t = 1_700_000_000.0 + k * 0.01
        amps = 40.0 + 30.0 * np.sin(k / 9.0)
        values = {
            "PackVoltage": 24.6 - 0.02 * amps,
            "PackCurrent": amps,
            "PackTemperature": 25 + k // 50,
            "Alive": k % 16,
        }
        made.append(message(t, 416, base.encode_message("BatteryState", values)))
        if k % 2:
            values = {"InputCurrent": 0.8 * amps, "MotorRpm": 9000 - 10 * k}
            made.append(message(t + 0.002, ESC_ID, base.encode_message("WeaponEsc", values), extended=True))
        paged = {"Page": 0, "CellVoltage1": 4100 - k} if k % 3 else {"Page": 1, "Humidity": 40}
        made.append(message(t + 0.003, 432, base.encode_message("Mixed", paged)))
        if k % 10 == 0:
            made.append(message(t + 0.004, 0x7A0, bytes(4)))
    return made


def message(t: float, number: int, data: bytes, *, extended: bool = False, **more: Any) -> Any:
    return can.Message(timestamp=t, arbitration_id=number, is_extended_id=extended, data=data, channel=0, **more)


WRITERS = {"candump": ("log", "CanutilsLogWriter"), "asc": ("asc", "ASCWriter"), "blf": ("blf", "BLFWriter")}
READERS = {"candump": "CanutilsLogReader", "asc": "ASCReader", "blf": "BLFReader"}


def trace(folder: Path, messages: list[Any], form: str = "candump") -> Path:
    ending, writer = WRITERS[form]
    path = folder / f"trace.{ending}"
    with getattr(can, writer)(str(path)) as out:
        for one in messages:
            out.on_message_received(one)
    return path


def columns(log: Log) -> dict[str, list[Any]]:
    """Every stored column by the name in the source."""
    found = {}
    for stream in log.streams:
        for field in stream.table.schema:
            if field.metadata and b"source" in field.metadata:
                found[field.metadata[b"source"].decode()] = stream.table[field.name].to_pylist()
    return found


def faults(log: Log) -> dict[str, int]:
    return {fault.code: fault.count for fault in log.provenance.faults}


def read(path: Path, dbc: Path) -> Log:
    return read_log(path, options=ReadOptions(dbc=dbc))


@pytest.mark.parametrize("form", WRITERS)
def test_every_value_is_what_the_library_decodes(tmp_path: Path, form: str) -> None:
    path, dbc = trace(tmp_path, truth(200), form), database(tmp_path)
    log = read(path, dbc)
    base = cantools.database.load_string(DBC, "dbc", strict=False)
    wanted: dict[str, list[Any]] = {}
    rows = 0
    for one in getattr(can, READERS[form])(str(path)):
        try:
            known = base.get_message_by_frame_id(one.arbitration_id)
        except KeyError:
            continue
        rows += 1
        values = known.decode(one.data, decode_choices=False)
        for signal in known.signals:
            wanted.setdefault(f"{known.name}.{signal.name}", []).append(values.get(signal.name))
    got = columns(log)
    about = log.provenance
    assert about.rows == rows and about.format == "CAN trace"
    assert about.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert [c.source for c in about.columns] == [s for s in wanted if not s.startswith("Wide")]
    for column in about.columns:
        undone = [None if v is None else (v - column.offset) / column.scale for v in got[column.source]]
        assert undone == [None if v is None else pytest.approx(v) for v in wanted[column.source]], column.source
        assert column.samples == len(wanted[column.source])
    assert faults(log)["unknown_id"] == 20


def test_each_message_is_a_stream_with_its_own_time(tmp_path: Path) -> None:
    log = read(trace(tmp_path, truth(100)), database(tmp_path))
    streams = {stream.name: stream.table for stream in log.streams}
    assert list(streams) == ["BatteryState", "WeaponEsc", "Mixed"] or set(streams) == {
        "BatteryState",
        "WeaponEsc",
        "Mixed",
    }
    assert streams["BatteryState"]["time_s"].to_pylist() == [pytest.approx(k / 100, abs=1e-6) for k in range(100)]
    assert streams["WeaponEsc"]["time_s"].to_pylist()[0] == pytest.approx(0.012, abs=1e-6)
    clock = log.provenance.clock
    assert clock is not None and clock.wall_start == "2023-11-14T22:13:20Z"
    assert clock.rate_Hz == pytest.approx(100.0)


def test_signals_are_named_by_their_words_and_units(tmp_path: Path) -> None:
    log = read(trace(tmp_path, truth(300)), database(tmp_path))
    named = {c.source: c.channel for c in log.provenance.columns}
    assert named["BatteryState.PackVoltage"] == "pack_voltage_V"
    assert named["BatteryState.PackCurrent"] == "pack_current_A"
    assert named["WeaponEsc.InputCurrent"] == "weapon_input_current_A"
    assert named["WeaponEsc.MotorRpm"] == "weapon_speed_rpm"
    assert named["BatteryState.Alive"] is None
    assert {c.source: c.source_unit for c in log.provenance.columns}["Mixed.CellVoltage1"] == "mV"


def test_frames_are_counted(tmp_path: Path) -> None:
    some = truth(10)
    some += [
        message(1_700_000_001.0, 0, b"", is_error_frame=True),
        message(1_700_000_001.1, 416, b"", is_remote_frame=True, dlc=8),
        message(1_700_000_001.2, 448, bytes(range(16)), is_fd=True, bitrate_switch=True),
    ]
    schema = __import__("json").loads((Path(__file__).parents[2] / "dashboard/schemas/inspect.schema.json").read_text())
    for form in WRITERS:
        document = inspect_files([trace(tmp_path, some, form)], ReadOptions(dbc=database(tmp_path)))
        jsonschema.validate(document, schema)
        entry = document["files"][0]
        assert entry["refused"] is None, entry["refused"]
        assert entry["frames"] == {
            "total": 29, "data": 27, "error": 1, "remote": 1, "fd": 1, "extended": 5, "ids": 5, "decoded": 26,
        }, form  # fmt: skip
        assert entry["rows"] == 26
        far = next(c for c in entry["columns"] if c["source"] == "Wide.Far")
        assert far["max"] == int.from_bytes(bytes(range(8, 12)), "little")


def test_without_a_database_it_is_counted_but_not_used(tmp_path: Path) -> None:
    path = trace(tmp_path, truth(20))
    entry = inspect_files([path])["files"][0]
    assert (entry["refused"], entry["rows"], entry["columns"]) == (None, 0, [])
    assert entry["frames"]["total"] == 52 and entry["frames"]["decoded"] == 0
    assert any("--dbc" in fault["note"] for fault in entry["faults"])
    with pytest.raises(UnreadableLog, match="no CAN database") as caught:
        read_log(path)
    assert "--dbc" in caught.value.mend


# candump's other notations


def lines(folder: Path, *text: str, name: str = "trace.log") -> Path:
    path = folder / name
    path.write_text("\n".join(text) + "\n", encoding="ascii")
    return path


def test_the_screen_form_of_candump(tmp_path: Path) -> None:
    rows = [f" (1700000000.{k:02d}0000)  can0  1A0   [8]  00 60 0A 00 41 00 00 0{k}" for k in range(10)]
    rows.append(" (1700000000.200000)  can0  18FF0200   [8]  00 64 01 00 00 00 00 00   '.d......'")
    rows.append(" (1700000000.210000)  can0  20000080   [8]  00 00 00 00 00 00 00 00   ERRORFRAME")
    rows.append(" (1700000000.220000)  can0  1A0   [8]  remote request")
    rows.append(" (1700000000.230000)  can0  1C0  [16]  00 00 00 00 00 00 00 00 01 00 00 00 00 00 00 00")
    log = read(lines(tmp_path, *rows), database(tmp_path))
    counts = log.provenance.counts["frames"]
    assert (counts["total"], counts["error"], counts["remote"], counts["fd"], counts["extended"]) == (14, 1, 1, 1, 1)
    assert columns(log)["BatteryState.PackVoltage"] == [pytest.approx(24.576)] * 10
    assert columns(log)["Wide.Far"] == [1.0]
    dates = [row.replace("1700000000.", "2023-11-14 22:13:20.") for row in rows[:10]]
    dated = read(lines(tmp_path, *dates), database(tmp_path))
    assert dated.streams[0].table["time_s"].to_pylist() == [pytest.approx(k / 100) for k in range(10)]
    bare = read(lines(tmp_path, *(row.split(")")[1] for row in rows[:10])), database(tmp_path))
    assert bare.provenance.clock is None and faults(bare)["clock_missing"] == 1


def test_notations_of_ids_and_flags(tmp_path: Path) -> None:
    """11-bit ids written with eight digits, lower case, CAN FD flags, raw lengths, and the direction at the end."""
    log = read(
        lines(
            tmp_path,
            "(1700000000.000000) can0 000001a0#00600a0041000001",
            "(1700000000.010000) can0 1A0#00600A0041000002 R",
            "(1700000000.020000) can0 1A0##100600A0041000003",
            "(1700000000.030000) can0 98FF0200#0064010000000000 T",
            "(1700000000.040000) can0 1A0#00600A0041000004_A",
            "(1700000000.050000) can0 1A0#R8",
        ),
        database(tmp_path),
    )
    assert columns(log)["BatteryState.Alive"] == [1.0, 2.0, 3.0, 4.0]
    assert columns(log)["WeaponEsc.InputCurrent"] == [1.0]
    assert faults(log)["id_form"] == 1
    assert log.provenance.counts["frames"]["fd"] == 1


def test_damaged_lines_are_told_by_line(tmp_path: Path) -> None:
    good = [f"(1700000000.{k:02d}0000) can0 1A0#00600A004100000{k % 10}" for k in range(40)]
    rows = [*good[:12], "(1700000000.12", "", "\x00\x01garbage", *good[13:], "(1700000000.410000) can0 1A0#00600A00410"]
    log = read(lines(tmp_path, *rows), database(tmp_path))
    assert log.provenance.rows == 39
    assert faults(log)["bad_frame"] == 3
    assert next(f.line for f in log.provenance.faults if f.code == "bad_frame") == 13


def test_short_frames_and_a_second_interface_are_left_out(tmp_path: Path) -> None:
    rows = [f"(1700000000.{k:02d}0000) can0 1A0#00600A004100000{k}" for k in range(8)]
    rows += ["(1700000000.200000) can0 1A0#0060", "(1700000000.210000) can1 1A0#FFFF0A0041000000"]
    log = read(lines(tmp_path, *rows), database(tmp_path))
    assert log.provenance.rows == 8
    assert faults(log)["short_frame"] == 1 and faults(log)["second_bus"] == 1


def test_a_trace_that_restarts_is_split(tmp_path: Path) -> None:
    rows = [f"({k * 0.01:.6f}) can0 1A0#00600A0041000000" for k in (*range(300), *range(50))]
    log = read(lines(tmp_path, *rows), database(tmp_path))
    assert log.streams[0].table["recording"].to_pylist() == [0] * 300 + [1] * 50
    assert faults(log)["clock_restart"] == 1


# ASC


ASC_HEAD = ["date Tue Nov 14 10:13:20.000 pm 2023", "base hex  timestamps relative", "no internal events logged"]


def test_asc_with_stamps_from_line_to_line(tmp_path: Path) -> None:
    rows = ["   0.010000 1  1A0             Rx   d 8 00 60 0A 00 41 00 00 01"] * 20
    rows.insert(5, "   0.005000 Statistic: D 1 R 0 XD 0 XR 0 E 0 O 0 B 1.00%")
    log = read(lines(tmp_path, *ASC_HEAD, *rows, name="trace.asc"), database(tmp_path))
    times = log.streams[0].table["time_s"].to_pylist()
    assert np.diff(times).tolist() == [pytest.approx(0.015 if k == 4 else 0.01) for k in range(19)]
    assert log.provenance.clock is not None and log.provenance.clock.wall_start == "2023-11-14T22:13:20"


def test_asc_without_the_end_of_its_header_keeps_the_first_frame(tmp_path: Path) -> None:
    head = ["date Tue Nov 14 10:13:20.000 pm 2023", "base hex  timestamps absolute"]
    rows = [f"   {k / 100:.6f} 1  1A0             Rx   d 8 00 60 0A 00 41 00 00 0{k}" for k in range(5)]
    bad = ["   0.060000 1  1A0             Rx   d 8 00 60 ZZ", "   0.070000 1  1A0             Rx   d 8 00 60 0A"]
    more = ["   0.080000 CANFD   1 Rx        1C0  Wide  1 0 a 16 " + "01 " * 16 + " 0 0 0 0 0 0 0 0"]
    log = read(lines(tmp_path, *head, *rows, *bad, *more, name="trace.asc"), database(tmp_path))
    assert columns(log)["BatteryState.Alive"] == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert columns(log)["Wide.Far"] == [0x01010101]
    assert faults(log)["bad_frame"] == 2


# BLF


@pytest.mark.parametrize("share", [0.3, 0.6, 0.99])
def test_a_truncated_blf_is_read_to_the_damage(tmp_path: Path, share: float) -> None:
    rows = [message(1_700_000_000 + k / 1000, 416, np.random.default_rng(k).bytes(8)) for k in range(12_000)]
    whole = trace(tmp_path, rows, "blf").read_bytes()
    path = tmp_path / "cut.blf"
    path.write_bytes(whole[: int(len(whole) * share)])
    log = read(path, database(tmp_path))
    assert 0 < log.provenance.rows < 12_000
    assert faults(log)["truncated"] == 1


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_a_damaged_blf_never_hangs_or_breaks(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    folder = tmp_path_factory.mktemp("blf")
    random = np.random.default_rng(seed)
    path, dbc = folder / "hurt.blf", database(folder)
    with can.BLFWriter(str(path), compression_level=int(random.integers(0, 2))) as out:
        for one in truth(100):
            out.on_message_received(one)
    data = bytearray(path.read_bytes())
    for place in random.integers(0, len(data), int(random.integers(1, 6))):
        data[int(place)] = int(random.choice([0, 255, int(random.integers(0, 256))]))
    path.write_bytes(bytes(data))
    entry = inspect_files([path], ReadOptions(dbc=dbc))["files"][0]
    assert entry["refused"] or entry["rows"] <= 260


# Databases


def test_wrong_databases_are_refused(tmp_path: Path) -> None:
    path = trace(tmp_path, truth(20))
    other = database(
        tmp_path, DBC.replace("BO_ 416 ", "BO_ 417 ").replace("2566849024", "100").replace("BO_ 432 ", "BO_ 9 ")
    )
    with pytest.raises(UnreadableLog, match=r"no frame that robot\.dbc describes.*1A0"):
        read(path, other)
    long = database(tmp_path, DBC.replace("BatteryState: 8", "BatteryState: 32").replace("Mixed: 8", "Mixed: 32"))
    with pytest.raises(UnreadableLog, match="shorter than robot"):
        read(path, long)
    with pytest.raises(ReadingError, match="no such CAN database"):
        read(path, tmp_path / "none.dbc")
    for text in ("", "rubbish", DBC.replace("SG_ Alive :", "SG_ Alive"), 'VERSION ""\n'):
        with pytest.raises(ReadingError, match=r"not a CAN database|describes no messages") as caught:
            read(path, database(tmp_path, text))
        assert "--dbc" in caught.value.mend


@st.composite
def layouts(draw: st.DrawFn) -> tuple[str, bytes]:
    length = draw(st.integers(1, 64))
    big, signed = draw(st.booleans()), draw(st.booleans())
    size = draw(st.sampled_from((8, 64)))
    first = draw(st.integers(0, size * 8 - length)) if length <= size * 8 else 0
    start = 8 * (first // 8) + 7 - first % 8 if big else first
    sign = "-" if signed else "+"
    text = (
        f'VERSION ""\nBU_: A\nBO_ 100 M: {size} A\n SG_ S : {start}|{length}@{0 if big else 1}{sign} (1,0) [0|0] "" A\n'
    )
    return text, draw(st.binary(min_size=size, max_size=size))


@given(layouts())
@settings(max_examples=150, deadline=None)
def test_any_signal_is_what_the_library_decodes(case: tuple[str, bytes]) -> None:
    from ingest.can_signals import raw_values

    text, data = case
    known = cantools.database.load_string(text, "dbc", strict=False).messages[0]
    signal = known.signals[0]
    row = np.frombuffer(data, dtype=np.uint8).reshape(1, -1)
    ours = raw_values(row, signal.start, signal.length, signal.byte_order == "big_endian", signal.is_signed, False)
    assert int(ours[0]) == known.decode(data, decode_choices=False)["S"]


@pytest.mark.parametrize(("kind", "bits"), [(1, 32), (2, 64)])
def test_fractional_signals(tmp_path: Path, kind: int, bits: int) -> None:
    import struct

    text = f'VERSION ""\nBU_: A\nBO_ 100 M: 8 A\n SG_ S : 0|{bits}@1- (2,1) [0|0] "V" A\nSIG_VALTYPE_ 100 S : {kind};\n'
    data = struct.pack("<f" if kind == 1 else "<d", 1.625).ljust(8, b"\0")
    log = read(lines(tmp_path, *(f"({k}.000000) can0 064#{data.hex()}" for k in range(3))), database(tmp_path, text))
    assert next(iter(columns(log).values())) == [4.25] * 3


def test_without_the_extra_it_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, dbc = trace(tmp_path, truth(5)), database(tmp_path)
    real = builtins.__import__

    def blocked(name: str, *rest: Any, **more: Any) -> Any:
        if name.split(".")[0] == "cantools":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", blocked)
    with pytest.raises(MissingExtra, match=r"afterbout\[can\]"):
        read(path, dbc)
