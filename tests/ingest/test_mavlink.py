"""MAVLink telemetry logs: every field against pymavlink's own decoding, channels by the common message set, damage.

The logs are made here with pymavlink's packer. Reference library: pymavlink.
"""

from __future__ import annotations

import builtins
import json
import math
import struct
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from ingest.errors import MissingExtra, UnreadableLog
from ingest.formats import ReadOptions, read_log
from ingest.inspect import inspect_files
from ingest.log import Log
from ingest.mavlink_messages import ESC_MESSAGES, define
from ingest.readings import parse_reading

dialect: Any = pytest.importorskip("pymavlink.dialects.v20.ardupilotmega", reason="pymavlink is the reference")

START_US = 1_700_000_000_000_000
SCHEMA = json.loads((Path(__file__).parents[2] / "dashboard/schemas/inspect.schema.json").read_text("utf-8"))


def battery(k: int, number: int = 0, cells: int = 6) -> Any:
    amps = 40 + 30 * math.sin(k / 9)
    volts = [4100 - int(amps) - c for c in range(cells)] + [65535] * (10 - cells)
    return dialect.MAVLink_battery_status_message(
        number, 0, 1, 2500 + k, volts, int(amps * 100), k * 3, k * 2, 90, 0, 0, [0] * 4, 0, 0
    )


_Base: Any = dialect.MAVLink_message


class EscStatus(_Base):
    """ESC_STATUS (291) of the common message set, which the dialect leaves out; its extra byte is 10 (from memory)."""

    id = 291
    msgname = "ESC_STATUS"
    fieldnames = ("index", "time_usec", "rpm", "voltage", "current")
    ordered_fieldnames = ("time_usec", "rpm", "voltage", "current", "index")
    orders = (4, 0, 1, 2, 3)
    lengths = (1, 4, 4, 4, 1)
    array_lengths = (0, 4, 4, 4, 0)
    native_format = bytearray(b"<QiffB")
    crc_extra = 10
    unpacker = struct.Struct("<Q4i4f4fB")
    instance_field = "index"

    def __init__(self, index: int, time_usec: int, rpm: Any, voltage: Any, current: Any) -> None:
        super().__init__(self.id, self.msgname)
        self._fieldnames = self.fieldnames
        self.index, self.time_usec, self.rpm, self.voltage, self.current = index, time_usec, rpm, voltage, current

    def pack(self, mav: Any, force_mavlink1: bool = False) -> Any:
        payload = self.unpacker.pack(self.time_usec, *self.rpm, *self.voltage, *self.current, self.index)
        return self._pack(mav, self.crc_extra, payload, force_mavlink1=force_mavlink1)


def esc(k: int, live: int = 1) -> Any:
    rpm = [8000 + 10 * k if n < live else 0 for n in range(4)]
    volts = [24.5 if n < live else 0.0 for n in range(4)]
    return EscStatus(0, START_US, rpm, volts, [20.0 + k if n < live else 0.0 for n in range(4)])


def bout(count: int = 60, **more: Any) -> list[tuple[int, Any]]:
    made = []
    for k in range(count):
        at = START_US + k * 100_000
        made.append((at, battery(k)))
        made.append((at + 1000, esc(k, **more)))
        made.append((at + 2000, dialect.MAVLink_rc_channels_message(k * 100, 8, *range(1000, 1018), 200)))
        made.append((at + 3000, dialect.MAVLink_sys_status_message(0, 0, 0, 0, 24600 - k, 4000, 90, 0, 0, 0, 0, 0, 0)))
        if k % 10 == 0:
            made.append((at + 4000, dialect.MAVLink_statustext_message(6, f"round {k}".encode())))
            made.append((at + 5000, dialect.MAVLink_radio_status_message(100, 90, 50, 10, 11, k, 0)))
    return made


def packed(rows: list[tuple[int, Any]], version1: bool = False, system: int = 1) -> list[bytes]:
    mav = dialect.MAVLink(None, srcSystem=system, srcComponent=1)
    made = []
    for at, message in rows:
        made.append(struct.pack(">Q", at) + bytes(message.pack(mav, force_mavlink1=version1)))
        mav.seq = (mav.seq + 1) % 256
    return made


def written(folder: Path, records: list[bytes], name: str = "bout.tlog") -> Path:
    path = folder / name
    path.write_bytes(b"".join(records))
    return path


def columns(log: Log) -> dict[str, list[Any]]:
    found = {}
    for stream in log.streams:
        for field in stream.table.schema:
            if field.metadata and b"source" in field.metadata:
                found[field.metadata[b"source"].decode()] = stream.table[field.name].to_pylist()
    return found


def faults(log: Log) -> dict[str, int]:
    return {fault.code: fault.count for fault in log.provenance.faults}


@pytest.mark.parametrize("version1", [False, True])
def test_every_field_is_what_the_library_decodes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, version1: bool
) -> None:
    # numbers above 255 need version 2
    records = packed([row for row in bout() if not version1 or row[1].id < 256], version1)
    log = read_log(written(tmp_path, records))
    wanted: dict[str, list[Any]] = {}
    monkeypatch.setitem(dialect.mavlink_map, 291, EscStatus)
    mav = dialect.MAVLink(None)
    for record in records:
        message = mav.decode(bytearray(record[8:]))
        for name in message.fieldnames:
            value = getattr(message, name)
            if isinstance(value, (list, tuple)):
                for k, one in enumerate(value):
                    wanted.setdefault(f"{message.get_type()}.{name}[{k}]", []).append(one)
            else:
                wanted.setdefault(f"{message.get_type()}.{name}", []).append(value)
    got = columns(log)
    assert set(got) == set(wanted)
    for column in log.provenance.columns:
        if column.kind == "text":
            assert got[column.source] == wanted[column.source]
            continue
        undone = [None if v is None else (v - column.offset) / column.scale for v in got[column.source]]
        extensions = version1 and all(v is None for v in undone)  # version 1 carries no extension fields
        sentinel = {65535, -1, 32767}
        for ours, theirs in zip(undone, wanted[column.source], strict=True):
            assert extensions or (ours is None and theirs in sentinel) or ours == pytest.approx(theirs), column.source


def test_the_extra_byte_is_made_as_the_library_makes_it() -> None:
    for number in (0, 1, 35, 65, 109, 11030):
        known = dialect.mavlink_map[number]
        kinds = dict(zip(known.fieldnames, known.fieldtypes, strict=True))
        counts = dict(zip(known.ordered_fieldnames, known.array_lengths, strict=True))
        fields = [(kinds[name], name, counts[name], "") for name in known.fieldnames]
        if number not in (1, 65):  # these have extension fields, which do not count
            assert define(number, known.msgname, None, *fields)[1].crc_extra == known.crc_extra
    assert ESC_MESSAGES[291].crc_extra == EscStatus.crc_extra


def test_channels_of_the_battery_and_of_one_controller(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, packed(bout())), options=ReadOptions(parts={"weapon": "controller"}))
    named = {c.source: c.channel for c in log.provenance.columns if c.channel}
    assert named == {
        "BATTERY_STATUS.temperature": "pack_temp_degC",
        **{f"BATTERY_STATUS.voltages[{k}]": f"cell{k + 1}_voltage_V" for k in range(6)},
        "BATTERY_STATUS.current_battery": "pack_current_A",
        "BATTERY_STATUS.current_consumed": "pack_charge_used_mAh",
        "BATTERY_STATUS.energy_consumed": "pack_energy_used_Wh",
        "ESC_STATUS.rpm[0]": "weapon_speed_rpm",
        "ESC_STATUS.voltage[0]": "weapon_voltage_V",
        "ESC_STATUS.current[0]": "weapon_input_current_A",
    }
    got = columns(log)
    amps = [int((40 + 30 * math.sin(k / 9)) * 100) / 100 for k in range(60)]
    assert got["BATTERY_STATUS.current_battery"] == [pytest.approx(a) for a in amps]
    assert got["BATTERY_STATUS.temperature"][10] == pytest.approx(25.10)
    assert got["BATTERY_STATUS.energy_consumed"][10] == pytest.approx(20 * 100 / 3600)  # hectojoules: 100 J
    assert got["BATTERY_STATUS.voltages[2]"][0] == pytest.approx(4.058)
    sure = {c.source: c.sure for c in log.provenance.columns}
    assert sure["BATTERY_STATUS.current_battery"] == "certain" and sure["ESC_STATUS.rpm[0]"] == "likely"
    stream = next(s for s in log.streams if s.name == "ESC_STATUS")
    assert stream.table["time_s"].to_pylist() == [pytest.approx(k / 10 + 0.001) for k in range(60)]


def test_the_document(tmp_path: Path) -> None:
    document = inspect_files([written(tmp_path, packed(bout()))])
    jsonschema.validate(document, SCHEMA)
    entry = document["files"][0]
    assert entry["messages"] == {
        "BATTERY_STATUS": 60, "ESC_STATUS": 60, "RC_CHANNELS": 60, "SYS_STATUS": 60, "STATUSTEXT": 6, "RADIO_STATUS": 6,
    }  # fmt: skip
    assert (entry["rows"], entry["format"], entry["faults"]) == (252, "MAVLink telemetry", [])
    assert entry["clock"]["wall_start"] == "2023-11-14T22:13:20Z"
    assert entry["clock"]["rate_Hz"] == pytest.approx(10.0)


def test_a_whole_battery_in_the_first_cell_and_system_status_alone(tmp_path: Path) -> None:
    rows = [(START_US + k * 1000, battery(k, cells=1)) for k in range(30)]
    named = {c.source: c.channel for c in read_log(written(tmp_path, packed(rows))).provenance.columns}
    assert named["BATTERY_STATUS.voltages[0]"] == "pack_voltage_V"
    status = [row for row in bout() if row[1].get_type() == "SYS_STATUS"]
    log = read_log(written(tmp_path, packed(status)))
    named = {c.source: c.channel for c in log.provenance.columns}
    assert named["SYS_STATUS.voltage_battery"] == "pack_voltage_V"
    assert columns(log)["SYS_STATUS.voltage_battery"][1] == pytest.approx(24.599)


def test_what_is_not_known_is_missing(tmp_path: Path) -> None:
    rows = [
        (START_US + k, dialect.MAVLink_sys_status_message(0, 0, 0, 0, 65535 if k % 2 else 24000, -1, -1, *[0] * 6))
        for k in range(20)
    ]
    log = read_log(written(tmp_path, packed(rows)))
    assert columns(log)["SYS_STATUS.voltage_battery"] == [24.0, None] * 10
    assert columns(log)["SYS_STATUS.current_battery"] == [None] * 20


def test_several_batteries_and_controllers_are_asked_for(tmp_path: Path) -> None:
    rows = sorted(
        [*bout(live=2), *((START_US + 500 + k * 100_000, battery(k, 1)) for k in range(60))], key=lambda r: r[0]
    )
    path = written(tmp_path, packed(rows))
    parts = {"weapon": "controller", "left_drive": "controller"}
    log = read_log(path, options=ReadOptions(parts=parts))
    assert [c.source for c in log.provenance.columns if c.channel] == []
    questions = {c.source: c.question for c in log.provenance.columns if c.question}
    assert "Which pack" in questions["BATTERY_STATUS[1.1.1].current_battery"]
    answer = '[reading]\nname = "x"\n' + questions["ESC_STATUS.rpm[1]"].split("\n", 1)[1]
    reading = parse_reading(answer)
    answered = read_log(path, options=ReadOptions(parts=parts, reading=reading))
    assert {c.source: c.channel for c in answered.provenance.columns}["ESC_STATUS.rpm[1]"] == "weapon_speed_rpm"
    bare = read_log(path)
    assert {c.source: c.channel for c in bare.provenance.columns}["ESC_STATUS.rpm[1]"] == "esc2_speed_rpm"


def test_per_controller_telemetry_messages(tmp_path: Path) -> None:
    rows = []
    for k in range(30):
        four = ([40 + k, 0, 0, 0], [2450, 0, 0, 0], [1500 + k, 0, 0, 0], [k, 0, 0, 0], [900, 0, 0, 0], [k, 0, 0, 0])
        rows.append((START_US + k * 20_000, dialect.MAVLink_esc_telemetry_5_to_8_message(*four)))
    log = read_log(written(tmp_path, packed(rows)))
    named = {c.source: c.channel for c in log.provenance.columns if c.channel}
    assert named["ESC_TELEMETRY_5_TO_8.current[0]"] == "esc5_input_current_A"
    assert columns(log)["ESC_TELEMETRY_5_TO_8.current[0]"][3] == pytest.approx(15.03)
    assert columns(log)["ESC_TELEMETRY_5_TO_8.voltage[0]"][3] == pytest.approx(24.5)


def test_damage_is_counted_and_the_rest_is_kept(tmp_path: Path) -> None:
    records = packed(bout())
    records[10] = records[10][:20] + bytes([records[10][20] ^ 0x55]) + records[10][21:]
    records[30] = records[30][:9]
    records[50] = b"\xfd\xfe\x00rubbish" * 3 + records[50]
    log = read_log(written(tmp_path, [*records, records[0][:15]]))
    assert log.provenance.rows == 250
    assert faults(log)["checksum"] >= 3 and faults(log)["truncated"] == 1
    unknown = struct.pack(">Q", START_US + 7) + bytes([0xFD, 1, 0, 0, 0, 1, 1, 0xFF, 0xFF, 0x7F, 0, 1, 2])
    log = read_log(written(tmp_path, [*records[:5], unknown, *records[5:10]]))
    assert log.provenance.rows == 10 and faults(log)["unknown_id"] == 1


@given(seed=st.integers(0, 2**32 - 1))
@example(seed=483554)  # the second record is the damaged one
@example(seed=137818)  # a stamp that is decades away
@settings(max_examples=50, deadline=None)
def test_no_message_is_lost_but_the_damaged_ones(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    random = np.random.default_rng(seed)
    records = packed(bout(40))
    hurt = set(random.choice(np.arange(1, len(records)), int(random.integers(0, 12)), replace=False).tolist())
    pieces = []
    for k, record in enumerate(records):
        place = int(random.integers(0, len(record)))
        if k in hurt and random.random() < 0.5:
            record = record[:place] + bytes([record[place] ^ int(random.integers(1, 256))]) + record[place + 1 :]
        elif k in hurt:
            record = record[:place] + record[place + int(random.integers(1, 9)) :]
        pieces.append(record)
    log = read_log(written(tmp_path_factory.mktemp("tlog"), pieces))
    # a damaged stamp leaves the message itself whole; a lost end can take the next stamp with it
    assert len(records) - 2 * len(hurt) <= log.provenance.rows <= len(records)


def test_strangers_are_refused(tmp_path: Path) -> None:
    start = struct.pack(">Q", START_US)
    noise = np.random.default_rng(2).bytes(3000)
    for data in (start + b"\xfd\x09" + noise, start + b"\xfe\x00\x00\x01\x01\x00\x00\x00" * 1):
        path = written(tmp_path, [data])
        with pytest.raises(UnreadableLog):
            read_log(path)


def test_nothing_is_written_beside_the_log(tmp_path: Path) -> None:
    path = written(tmp_path, packed(bout(5)))
    read_log(path)
    assert list(tmp_path.iterdir()) == [path]


def test_without_the_extra_it_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, packed(bout(5)))
    real = builtins.__import__

    def blocked(name: str, *rest: Any, **more: Any) -> Any:
        if name.split(".")[0] == "pymavlink":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", blocked)
    with pytest.raises(MissingExtra, match=r"afterbout\[mavlink\]"):
        read_log(path)
