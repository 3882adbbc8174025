"""A recording read as a log: every kind of source on one clock, with what is torn or silent told."""

from __future__ import annotations

import struct
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from ingest.errors import UnreadableLog
from ingest.formats import ReadOptions, read_log
from ingest.record.blocks import Packet, SourceNote, pack_can
from ingest.record.writer import RecordingWriter
from ingest.store import Store
from tests.ingest.record.test_live import DBC, READING, crc16

WALL = datetime(2026, 5, 9, 14, 20, tzinfo=UTC)
MS = 1_000_000


def write(path: Path, notes: list[SourceNote], packets: list[Packet], close: bool = True) -> Path:
    writer = RecordingWriter(Store(), path, notes, WALL)
    for start in range(0, len(packets), 50):
        writer.write(packets[start : start + 50])
        writer.tick(packets[min(start + 49, len(packets) - 1)].t_ns + 10**9 * (start + 1))
    if close:
        writer.close("stopped by Ctrl-C")
    return path


def test_lines_without_a_clock_are_placed_by_when_they_came(tmp_path: Path) -> None:
    note = SourceNote("udp1", "udp", {}, None)
    rows = [b"pack_voltage_V,pack_current_A\n"] + [b"%.2f,%.1f\n" % (24 - 0.01 * n, n) for n in range(300)]
    packets = [Packet(0, 3_000 * MS + 10 * MS * k, row) for k, row in enumerate(rows)]
    table = read_log(write(tmp_path / "x.rec", [note], packets)).streams[0].table
    np.testing.assert_allclose(table["time_s"].to_numpy(), 0.01 * np.arange(300), atol=1e-4)
    np.testing.assert_allclose(table["pack_current_A"].to_numpy(), np.arange(300.0))


def test_every_kind_of_source_stands_on_one_clock(tmp_path: Path) -> None:
    cantools = pytest.importorskip("cantools", reason="the can extra is not installed")
    (tmp_path / "robot.dbc").write_text(DBC)
    database = cantools.database.load_string(DBC)
    notes = [
        SourceNote("bench", "serial", {}, None),
        SourceNote("weapon", "serial", {}, READING),
        SourceNote("can0", "can", {}, None),
        SourceNote("quiet", "udp", {}, None),
    ]
    packets = [Packet(0, 0, b"time_ms,drive_current_A\n")]
    for n in range(200):
        t_ns = 10 * MS * n
        body = struct.pack("<IHhH", 777_000 + 10_000 * n, 24_000, n, 0)
        packets += [
            Packet(0, t_ns, b"%d,%.1f\n" % (50_000 + 10 * n, n)),  # its own clock began long before
            Packet(1, t_ns + 500 * MS, b"\xaa\x55" + body + struct.pack("<H", crc16(body))),
            Packet(
                2, t_ns + 250 * MS, pack_can(256, database.encode_message("Pack", {"Volts": 24.0, "Amps": 0.5 * n}))
            ),
        ]
    packets.sort(key=lambda packet: packet.t_ns)
    path = write(tmp_path / "x.rec", notes, packets)
    log = read_log(path, options=ReadOptions(dbc=tmp_path / "robot.dbc"))
    starts = {stream.name.split(".")[0]: stream.table["time_s"][0].as_py() for stream in log.streams}
    assert starts == pytest.approx({"bench": 0.0, "weapon": 0.5, "can0": 0.25}, abs=1e-3)
    assert {"drive_current_A", "weapon_current_A", "weapon_voltage_V"} <= set(log.channels)
    assert any(f.code == "source_silent" and "quiet" in f.note for f in log.provenance.faults)
    assert log.provenance.clock is not None and log.provenance.clock.wall_start == WALL.isoformat()


@pytest.mark.parametrize("cut", [1, 7, 100])
def test_a_torn_recording_is_read_up_to_its_last_whole_block(tmp_path: Path, cut: int) -> None:
    note = SourceNote("demo", "demo", {}, None)
    rows = [b"time_ms,pack_voltage_V\n"] + [b"%d,%.2f\n" % (10 * n, 24 - 0.01 * n) for n in range(300)]
    packets = [Packet(0, 10 * MS * k, row) for k, row in enumerate(rows)]
    path = write(tmp_path / "x.rec", [note], packets)
    path.write_bytes(path.read_bytes()[:-cut])
    log = read_log(path)
    assert 200 <= log.samples <= 300
    assert any(f.code == "truncated" and "not closed" in f.note for f in log.provenance.faults)


def test_a_recording_of_nothing_or_of_unknown_bytes_is_refused_with_the_mend(tmp_path: Path) -> None:
    note = SourceNote("x", "serial", {}, None)
    with pytest.raises(UnreadableLog, match="nothing came"):
        read_log(write(tmp_path / "a.rec", [note], []))
    noise = np.random.default_rng(1).integers(0, 256, 5000, dtype=np.uint8).tobytes()
    with pytest.raises(UnreadableLog, match="no reading declares its frames"):
        read_log(write(tmp_path / "b.rec", [note], [Packet(0, 0, noise)]))
