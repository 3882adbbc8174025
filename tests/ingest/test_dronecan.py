"""DroneCAN in CAN traces: made with the dronecan library's own encoder, told from other networks, damage counted."""

from __future__ import annotations

import builtins
import json
import math
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import numpy as np
import pytest

from ingest.errors import MissingExtra, UnreadableLog
from ingest.formats import ReadOptions, detect, read_log
from ingest.inspect import inspect_files
from ingest.log import Log

can = pytest.importorskip("can", reason="traces are written with python-can")
dronecan = pytest.importorskip("dronecan", reason="messages are encoded by the dronecan library")

ROUNDS = 60
SCHEMA = json.loads((Path(__file__).parents[2] / "dashboard/schemas/inspect.schema.json").read_text("utf-8"))


def amps(k: int) -> float:
    return 40.0 + 30.0 * math.sin(k / 9.0)


def messages(rounds: int = ROUNDS, *, escs: int = 1, sign: float = 1.0) -> list[tuple[float, int, Any]]:
    made: list[tuple[float, int, Any]] = []
    for k in range(rounds):
        at = 1_700_000_000.0 + k * 0.1
        for n in range(escs):
            status = dronecan.uavcan.equipment.esc.Status(
                error_count=k,
                voltage=24.5,
                current=20.0 + k,
                temperature=300.15,
                rpm=9000 - 50 * k,
                power_rating_pct=50,
                esc_index=n,
            )
            made.append((at + 0.001 * n, 20 + n, status))
        info = dronecan.uavcan.equipment.power.BatteryInfo(
            temperature=298.15,
            voltage=24.6 - 0.02 * amps(k),
            current=sign * amps(k),
            state_of_charge_pct=80,
            battery_id=0,
            model_name="x",
        )
        made.append((at + 0.01, 30, info))
        if k % 10 == 0:
            made.append((at + 0.02, 20, dronecan.uavcan.protocol.NodeStatus(uptime_sec=k)))
    return made


def extended(at: float, number: int, data: bytes) -> Any:
    return can.Message(timestamp=at, arbitration_id=number, is_extended_id=True, data=data, channel=0)


def frames(rows: list[tuple[float, int, Any]]) -> list[Any]:
    made = []
    numbers: dict[tuple[int, str], int] = {}
    for at, node, payload in rows:
        kind = dronecan.get_dronecan_data_type(payload).full_name
        count = numbers.get((node, kind), -1) + 1
        numbers[node, kind] = count
        transfer = dronecan.transport.Transfer(
            payload=payload, source_node_id=node, transfer_id=count % 32, transfer_priority=16
        )
        for j, frame in enumerate(transfer.to_frames()):
            made.append(
                can.Message(
                    timestamp=at + j * 1e-4,
                    arbitration_id=frame.message_id,
                    is_extended_id=True,
                    data=frame.bytes,
                    channel=0,
                )
            )
    return made


WRITERS = {"log": "CanutilsLogWriter", "asc": "ASCWriter", "blf": "BLFWriter"}


def trace(folder: Path, some: list[Any], form: str = "log") -> Path:
    path = folder / f"bus.{form}"
    with getattr(can, WRITERS[form])(str(path)) as out:
        for one in some:
            out.on_message_received(one)
    return path


def columns(log: Log) -> dict[str, list[Any]]:
    found = {}
    for stream in log.streams:
        for field in stream.table.schema:
            if field.metadata and b"source" in field.metadata:
                found[field.metadata[b"source"].decode()] = stream.table[field.name].to_pylist()
    return found


@pytest.mark.parametrize("form", WRITERS)
def test_every_value_is_what_was_encoded(tmp_path: Path, form: str) -> None:
    path = trace(tmp_path, frames(messages()), form)
    assert detect(path, ReadOptions()).name == "DroneCAN trace"
    log = read_log(path, options=ReadOptions(parts={"weapon": "controller"}))
    named = {c.source: c.channel for c in log.provenance.columns if c.channel}
    assert named == {
        "uavcan.equipment.esc.Status.voltage": "weapon_voltage_V",
        "uavcan.equipment.esc.Status.current": "weapon_input_current_A",
        "uavcan.equipment.esc.Status.temperature": "weapon_temp_degC",
        "uavcan.equipment.esc.Status.rpm": "weapon_speed_rpm",
        "uavcan.equipment.power.BatteryInfo.voltage": "pack_voltage_V",
        "uavcan.equipment.power.BatteryInfo.current": "pack_current_A",
        "uavcan.equipment.power.BatteryInfo.temperature": "pack_temp_degC",
    }
    got = columns(log)
    assert got["uavcan.equipment.esc.Status.rpm"] == [9000.0 - 50 * k for k in range(ROUNDS)]
    assert got["uavcan.equipment.esc.Status.current"] == [20.0 + k for k in range(ROUNDS)]
    # half precision: 11 bits of significance (IEEE 754 binary16)
    assert got["uavcan.equipment.esc.Status.temperature"] == [pytest.approx(27.0, abs=0.25)] * ROUNDS
    wanted = [pytest.approx(amps(k), rel=2**-11) for k in range(ROUNDS)]
    assert got["uavcan.equipment.power.BatteryInfo.current"] == wanted
    assert got["uavcan.equipment.power.BatteryInfo.state_of_charge_pct"] == [80.0] * ROUNDS
    times = next(s.table for s in log.streams if s.name == "uavcan.equipment.esc.Status")["time_s"].to_pylist()
    assert times == [pytest.approx(k / 10, abs=1e-5) for k in range(ROUNDS)]


def test_the_document(tmp_path: Path) -> None:
    some = frames(messages())
    document = inspect_files([trace(tmp_path, some)])
    jsonschema.validate(document, SCHEMA)
    entry = document["files"][0]
    assert entry["messages"] == {
        "uavcan.equipment.esc.Status": ROUNDS,
        "uavcan.equipment.power.BatteryInfo": ROUNDS,
        "uavcan.protocol.NodeStatus": 6,
    }
    assert entry["frames"]["total"] == entry["frames"]["decoded"] == entry["rows"] == len(some)


def test_a_battery_that_counts_discharge_negative_is_turned_round(tmp_path: Path) -> None:
    log = read_log(trace(tmp_path, frames(messages(sign=-1.0))))
    column = next(c for c in log.provenance.columns if c.channel == "pack_current_A")
    assert column.scale == -1.0 and "turned round" in column.why
    assert columns(log)["uavcan.equipment.power.BatteryInfo.current"][0] == pytest.approx(40.0, rel=1e-3)


def test_several_controllers(tmp_path: Path) -> None:
    path = trace(tmp_path, frames(messages(escs=2)))
    named = {c.source: c.channel for c in read_log(path).provenance.columns if c.channel}
    assert named["uavcan.equipment.esc.Status.rpm"] == "esc1_speed_rpm"
    assert named["uavcan.equipment.esc.Status[21.1].rpm"] == "esc2_speed_rpm"
    log = read_log(path, options=ReadOptions(parts={"weapon": "controller", "drive": "controller"}))
    esc = [c for c in log.provenance.columns if "esc.Status" in c.source]
    assert not any(c.channel for c in esc) and any("Which controller" in c.question for c in esc)


def test_what_is_not_known_is_missing(tmp_path: Path) -> None:
    rows = messages(20)
    for _, _, payload in rows:
        if dronecan.get_dronecan_data_type(payload).full_name.endswith("esc.Status"):
            payload.temperature = math.nan
    assert columns(read_log(trace(tmp_path, frames(rows))))["uavcan.equipment.esc.Status.temperature"] == [None] * 20


def test_damaged_transfers_are_counted(tmp_path: Path) -> None:
    some = frames(messages())
    starts = [k for k, one in enumerate(some) if one.data[-1] & 0x80 and not one.data[-1] & 0x40]
    some[starts[5]].data[3] ^= 0x10  # the checksum of the transfer shows it
    del some[starts[9] + 1]  # a frame inside a transfer is missing
    log = read_log(trace(tmp_path, some))
    assert {f.code: f.count for f in log.provenance.faults}["checksum"] == 2
    assert sum(s.table.num_rows for s in log.streams) == 2 * ROUNDS + 6 - 2


def test_other_networks_are_not_taken_for_it(tmp_path: Path) -> None:
    random = np.random.default_rng(4)
    noise = [
        can.Message(
            timestamp=k / 100,
            arbitration_id=int(random.integers(0, 1 << 29)),
            is_extended_id=True,
            data=random.bytes(8),
            channel=0,
        )
        for k in range(2000)
    ]
    alike = [
        can.Message(
            timestamp=k / 100,
            arbitration_id=16 << 24 | 1034 << 8 | 20,
            is_extended_id=True,
            data=random.bytes(8),
            channel=0,
        )
        for k in range(2000)
    ]
    for some in (noise, alike):
        assert detect(trace(tmp_path, some), ReadOptions()).name == "CAN trace"


def test_no_whole_message_is_refused(tmp_path: Path) -> None:
    some = frames(messages())
    for one in some:
        one.data[0] ^= 0xFF
    some = [one for one in some if (one.arbitration_id >> 8) & 0xFFFF in (1034, 1092)]
    with pytest.raises(UnreadableLog, match="none of its messages is whole") as caught:
        read_log(trace(tmp_path, some))
    assert "--dbc" in caught.value.mend


def test_without_the_extra_it_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = trace(tmp_path, frames(messages(20)))
    real = builtins.__import__

    def blocked(name: str, *rest: Any, **more: Any) -> Any:
        if name.split(".")[0] == "dronecan":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", blocked)
    with pytest.raises(MissingExtra, match=r"afterbout\[dronecan\]"):
        read_log(path)
