"""Damage inside a recording: it is named, what stands behind it is read, and nothing that was not recorded appears."""

from __future__ import annotations

import json
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.formats import ReadOptions, read_log
from ingest.readings import parse_reading
from ingest.record.blocks import (
    HEAD_BYTES,
    KINDS,
    START,
    Block,
    Damage,
    Packet,
    SourceNote,
    file_mark,
    pack_block,
    read_packets,
    scan,
    whole_blocks,
)
from tests.ingest.record.made_files import HEADER, MS, block_places, go_on, line, rows, write

QUICK = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three seconds in two parts, with bytes in the stream that look like blocks."""
    path = tmp_path_factory.mktemp("sound") / "x.rec"
    inner = path.with_name("inner.rec")
    write(inner, [Packet(0, 0, b"never recorded here\n" * 20)])
    write(path, [Packet(0, 0, HEADER), *rows(0, 100), Packet(0, 995 * MS, inner.read_bytes()), *rows(100, 200)])
    go_on(path, rows(200, 300, offset_ms=-1000), after_s=10.0)
    return path


def packets_of(blocks: list[Block]) -> list[Packet]:
    from ingest.record.blocks import packets_in

    return [packet for block in blocks if block.kind == b"pack" for packet in packets_in(block.payload)]


def check(path: Path, data: bytes, touched: list[tuple[int, int]], sound: Path) -> None:
    """Exactly the blocks that no damage touches are found, and every hole between them is named."""
    path.write_bytes(data)
    true = list(whole_blocks(sound))
    kept = [b for b in true if not any(b.start < end and start < b.end for start, end in touched)]
    found = list(scan(path))
    assert [b for b in found if isinstance(b, Block)] == kept
    holes = [d for d in found if isinstance(d, Damage)]
    last = max((b.number for b in kept), default=-1)
    assert sum(d.blocks for d in holes) == last + 1 - len(kept)
    for hole in holes:
        assert {b.number for b in true if hole.start <= b.start and b.end <= hole.end} == {
            b.number for b in true if b not in kept and hole.start <= b.start < hole.end
        }


@QUICK
@given(data=st.data())
def test_whatever_is_damaged_only_that_is_missing(data: st.DataObject, sound: Path, tmp_path: Path) -> None:
    raw = bytearray(sound.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(START, len(raw) - 1))
        new = data.draw(
            st.one_of(
                st.binary(min_size=1, max_size=64),
                st.sampled_from([bytes(512), b"\xff" * 512, bytes(4096)]),
                st.lists(st.sampled_from([*KINDS, bytes(4), b"\x01\0\0\0"]), min_size=4, max_size=40).map(b"".join),
            )
        )[: len(raw) - start]
        raw[start : start + len(new)] = new
    true = sound.read_bytes()
    touched = [(k, k + 1) for k in range(len(raw)) if raw[k] != true[k]]
    check(tmp_path / "x.rec", bytes(raw), touched, sound)


@QUICK
@given(seed=st.integers(0, 10**9))
def test_blocks_that_were_moved_or_come_from_another_file_are_none(seed: int, sound: Path, tmp_path: Path) -> None:
    """A copy of a sound block at another place, or of another recording's at the same: neither is taken."""
    rng = random.Random(seed)
    raw, places = bytearray(sound.read_bytes()), block_places(sound)
    start, end = rng.choice(places)
    other = tmp_path / "other.rec"
    if not other.exists():
        write(other, [Packet(0, 0, HEADER), *(Packet(0, p.t_ns, b"9" + p.data) for p in rows(0, 300))])
    foreign = other.read_bytes()
    if rng.random() < 0.5:
        piece = bytes(raw[start:end])
        at = rng.randrange(START, len(raw) - len(piece))
    else:
        at = rng.randrange(START, min(len(raw), len(foreign)) - 600)
        piece = foreign[at : at + rng.randint(100, 4000)]
    piece = piece[: len(raw) - at]
    true = sound.read_bytes()
    raw[at : at + len(piece)] = piece
    check(tmp_path / "x.rec", bytes(raw), [(k, k + 1) for k in range(len(raw)) if raw[k] != true[k]], sound)


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(data=st.binary(max_size=3000), seed=st.integers(0, 2**32 - 1))
def test_random_bytes_hold_no_block(data: bytes, seed: int, tmp_path: Path) -> None:
    """Bytes as they come, and thick with the words and small numbers that heads are made of."""
    rng = random.Random(seed)
    thick = b"".join(rng.choice((*KINDS, bytes(4), rng.randbytes(4), b"\x10\0\0\0")) for _ in range(500))
    path = tmp_path / "x.rec"
    for body in (data, thick, rng.randbytes(20_000)):
        path.write_bytes(file_mark(seed) + body)
        assert list(scan(path)) == []


def test_a_recording_within_a_recording_is_only_bytes(sound: Path, tmp_path: Path) -> None:
    """The block that carries it loses its head: its payload then lies bare, with whole blocks of another file."""
    raw = bytearray(sound.read_bytes())
    start = next(b.start for b in whole_blocks(sound) if b"never recorded here" in b.payload)
    raw[start : start + HEAD_BYTES] = bytes(HEAD_BYTES)
    (tmp_path / "x.rec").write_bytes(raw)
    assert not any(b"never recorded" in packet.data for packet in read_packets(tmp_path / "x.rec"))
    assert any(packet.data == line(150) for packet in read_packets(tmp_path / "x.rec"))


def test_a_damaged_tag_at_the_beginning_costs_nothing(sound: Path, tmp_path: Path) -> None:
    raw = bytearray(sound.read_bytes())
    raw[9] ^= 1
    (tmp_path / "x.rec").write_bytes(raw)
    assert list(scan(tmp_path / "x.rec")) == list(scan(sound))


def test_the_damage_is_named_with_its_place_and_loss(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    write(path, [Packet(0, 0, HEADER), *rows(0, 400)])
    _, _, start, end, *_ = [b for b in whole_blocks(path) if b.kind == b"pack"][12]
    raw = bytearray(path.read_bytes())
    raw[start + 40] ^= 4
    path.write_bytes(raw)
    log = read_log(path)
    (fault,) = [f for f in log.provenance.faults if f.code == "damaged_block"]
    assert f"from byte {start} to {end}: {end - start} bytes, 1 block, lost between" in fault.note
    assert log.samples == pytest.approx(400 - 11, abs=1)
    times = log.streams[0].table["time_s"].to_numpy()
    assert times[-1] == pytest.approx(3.99) and np.diff(times).max() == pytest.approx(0.11, abs=0.02)


def test_the_first_head_may_be_lost(tmp_path: Path) -> None:
    """It stands there again after a second."""
    path = tmp_path / "x.rec"
    write(path, [Packet(0, 0, HEADER), *rows(0, 300)])
    raw = bytearray(path.read_bytes())
    raw[START:60] = bytes(60 - START)
    path.write_bytes(raw)
    log = read_log(path)
    assert log.samples == 300
    assert [f.code for f in log.provenance.faults if f.severity == "dropped"] == ["damaged_block"]


def test_a_part_without_any_head_is_read_as_one_of_unknown_place(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    write(path, [Packet(0, 0, HEADER), *rows(0, 150)])
    go_on(path, rows(500, 600, offset_ms=-5000), after_s=9.0)
    raw = bytearray(path.read_bytes())
    for block in whole_blocks(path):
        if block.kind == b"head" and block.part == 0:
            raw[block.start : block.end] = bytes(block.end - block.start)
    path.write_bytes(raw)
    log = read_log(path)
    assert 245 <= log.samples <= 250  # a line beside each hole is left out
    assert "is not known" in " ".join(f.note for f in log.provenance.faults if f.code == "recorded_in_parts")
    assert all(packet.data in {HEADER, *map(line, range(600))} for packet in read_packets(path))


READING = """\
[reading]
name = "r"
kind = "binary"
{clock}
[frame]
length_bytes = 8
sync = "AA55"
[[field]]
name = "pack_voltage_V"
offset_byte = 2
type = "u16"
[[field]]
name = "n"
offset_byte = 4
type = "u32"
"""


def test_a_frame_or_line_is_never_made_of_the_two_sides_of_a_hole(tmp_path: Path) -> None:
    """Blocks are cut in the middle of lines and frames, at every place in them; one block is lost."""
    text = HEADER + b"".join(line(n) for n in range(400))
    frames = b"".join(b"\xaa\x55\x18\x00" + n.to_bytes(4, "little") for n in range(800))
    reading = parse_reading(READING.format(clock=""))
    for cut in range(60, 76):
        for name, stream in (("text", text), ("frames", frames)):
            path = tmp_path / f"{name}{cut}.rec"
            note = SourceNote(name, "serial", {}, None)
            packets = [Packet(0, 100 * MS * k, stream[k * cut : (k + 1) * cut]) for k in range(len(stream) // cut)]
            write(path, packets, notes=[note])
            lost = [b for b in whole_blocks(path) if b.kind == b"pack"][len(packets) // 2]
            raw = bytearray(path.read_bytes())
            raw[lost.end - 1] ^= 1
            path.write_bytes(raw)
            if name == "text":
                frame = read_log(path).to_pandas()
                assert set(zip((frame.index * 100).round().astype(int), frame["pack_voltage_V"], strict=True)) <= {
                    (n, round(25 - n % 40 / 50, 2)) for n in range(400)
                }
                assert len(frame) >= len(packets) * cut // len(line(200)) - 4 * cut // len(line(200)) - 8
            else:
                table = read_log(path, options=ReadOptions(reading=reading)).streams[0].table
                numbers = table["other:n"].to_pylist()
                assert set(numbers) <= set(range(800)) and numbers == sorted(numbers)
                assert set(table["pack_voltage_V"].to_pylist()) == {24.0}


def test_what_no_recorder_wrote_is_refused_however_sound(tmp_path: Path) -> None:
    from ingest.errors import UnreadableLog

    head = {"wall_start": "", "clock_ns": 0, "boot": None, "sources": [{"name": "x", "kind": "udp", "settings": {},
            "reading": None}]}  # fmt: skip
    made = bytearray(file_mark(1))
    for number, (kind, payload) in enumerate([(b"head", json.dumps(head).encode()), (b"pack", b"\x05\0" + bytes(12))]):
        made += pack_block(kind, payload, len(made), number, 0, 1)
    (tmp_path / "x.rec").write_bytes(made)
    with pytest.raises(UnreadableLog, match="no recorder of ours wrote"):
        read_log(tmp_path / "x.rec")
