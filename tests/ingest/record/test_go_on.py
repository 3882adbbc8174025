"""A recording is gone on with behind its last whole block: torn, recovered, recorded into, and torn again."""

from __future__ import annotations

import os
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.errors import StoreError, UnreadableLog
from ingest.formats import ReadOptions, read_log
from ingest.readings import parse_reading
from ingest.record.blocks import MAGIC, Packet, SourceNote, packets_in, read_packets, whole_blocks
from ingest.record.recovery import recover
from tests.ingest.record.made_files import HEADER, MS, go_on, line, rows, write
from tests.ingest.record.made_recorder import folder_in_memory, recorder
from tests.ingest.record.test_resync import READING

ROUNDS = 20
MOST_LOST_MS = 500
posix = pytest.mark.skipif(os.name == "nt", reason="fork and SIGKILL are POSIX")


def beside(path: Path) -> list[bytes]:
    """The torn ends that were kept, in their order."""
    return [p.read_bytes() for p in sorted(path.parent.glob(f"{path.name}.torn-*"))]


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(cuts=st.lists(st.tuples(st.integers(1, 700), st.booleans()), min_size=3, max_size=3), seed=st.integers(0, 999))
def test_torn_recovered_recorded_and_torn_again(
    cuts: list[tuple[int, bool]], seed: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Three times over: nothing whole is lost, nothing torn comes back, the torn bytes are kept beside the file."""
    path, rng = tmp_path_factory.mktemp("go") / "x.rec", random.Random(seed)
    write(path, [Packet(0, 0, HEADER), *rows(0, 80)], close=rng.random() < 0.5)
    torn: list[bytes] = []
    for part, (cut, junk) in enumerate(cuts, 1):
        raw = path.read_bytes()[:-cut]
        path.write_bytes(raw + rng.randbytes(rng.randint(1, 90)) if junk else raw)
        whole = list(whole_blocks(path))
        end = whole[-1].end
        left = path.read_bytes()[end:]
        before = path.read_bytes()[:end]
        found = go_on(path, rows(100 * part, 100 * part + 80), after_s=20.0 * part, close=rng.random() < 0.5)
        torn += [left] if left else []
        assert (found.end, found.torn_bytes, found.part) == (end, len(left), part - 1)
        assert path.read_bytes().startswith(before)
        assert beside(path) == list(dict.fromkeys(torn))  # the same bytes twice are kept once
        assert list(whole_blocks(path))[: len(whole)] == whole
        assert [p.data for p in read_packets(path)][-80:] == [line(n) for n in range(100 * part, 100 * part + 80)]
        assert recover(path).torn_bytes == 0 and recover(path).part == part
    numbers = [block.number for block in whole_blocks(path)]
    assert numbers == list(range(len(numbers)))


@posix
def test_killed_gone_on_with_and_killed_again(tmp_path: Path) -> None:
    """Twenty real kills of one recording that is gone on with each time; of each part half a second at most is lost."""
    chance = random.Random(9)
    kept: list[tuple[int, bytes]] = []
    with folder_in_memory(tmp_path) as folder:
        path = folder / "x.rec"
        for part in range(ROUNDS):
            child = recorder(path, b"%d: %%d\n" % part)
            child.wait_until(chance.randint(50, 600))
            taken = child.kill()
            now = [(b.part, p.data) for b in whole_blocks(path) if b.kind == b"pack" for p in packets_in(b.payload)]
            assert now[: len(kept)] == kept  # nothing older is lost or changed
            kept = now
            own = [text for number, text in now if number == part]
            assert own == [b"%d: %d\n" % (part, n) for n in range(len(own))]
            assert len(own) >= taken - MOST_LOST_MS
        assert {p.part for p in whole_blocks(path)} == set(range(ROUNDS))
        whole = b"".join(p.data for p in read_packets(path))
        assert not any(text and text in whole for text in beside(path) if len(text) > 100)


@posix
def test_a_recording_that_another_program_writes_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    child = recorder(path)
    try:
        child.wait_until(300)
        found = recover(path)
        with pytest.raises(StoreError, match="is being written by another program"):
            write(path, rows(0, 5), behind=found)
    finally:
        child.kill()
    assert beside(path) == []
    write(path, rows(0, 5), behind=recover(path))


def test_a_file_that_grew_since_it_was_looked_at_is_not_cut(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    write(path, rows(0, 50))
    found = recover(path)
    go_on(path, rows(50, 90), after_s=5.0)
    before = path.read_bytes()
    with pytest.raises(StoreError, match="was written to meanwhile"):
        write(path, rows(0, 5), behind=found)
    assert path.read_bytes() == before


@pytest.mark.parametrize("data", [b"", b"time,V\n0,1\n", MAGIC, MAGIC + bytes(500)])
def test_what_is_no_recording_is_never_gone_on_with(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "x.rec").write_bytes(data)
    with pytest.raises(UnreadableLog):
        recover(tmp_path / "x.rec")
    assert (tmp_path / "x.rec").read_bytes() == data


def test_other_sources_or_another_reading_are_told(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    write(path, rows(0, 5), notes=[SourceNote("bench", "serial", {}, "one")])
    found = recover(path)
    assert found.differs([SourceNote("bench", "serial", {"port": "another"}, None)]) == ""
    assert "another reading" in found.differs([SourceNote("bench", "serial", {}, "two")])
    assert "bench (serial)" in found.differs([SourceNote("can0", "can", {}, None)])


# As a log


def parts_fault(log: object) -> list[str]:
    return [f.note for f in log.provenance.faults if f.code == "recorded_in_parts"]  # type: ignore[attr-defined]


def test_a_logger_whose_clock_ran_on_has_the_gap_by_its_own_clock(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    write(path, [Packet(0, 0, HEADER), *rows(0, 300)])
    go_on(path, rows(3300, 3600, offset_ms=-31_000), after_s=31.0)  # 30 s later, without its header
    log = read_log(path)
    table = log.streams[0].table
    assert table.num_rows == 599 and set(table["recording"].to_pylist()) == {0}  # the first line behind may be torn
    clock = log.provenance.clock
    assert clock is not None and clock.gaps == ((pytest.approx(2.99), pytest.approx(33.01)),)
    assert "at 31.0 s, behind a gap" in parts_fault(log)[0] and "own clock" in parts_fault(log)[0]


def test_a_logger_that_restarted_is_a_recording_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    write(path, [Packet(0, 0, HEADER), *rows(0, 300)])
    go_on(path, [Packet(0, 0, HEADER), *rows(0, 200)], after_s=31.0)
    table = read_log(path).streams[0].table
    assert [table["recording"].to_pylist().count(k) for k in (0, 1)] == [300, 200]


@pytest.mark.parametrize(
    ("boot", "wall_s", "placed"),
    [
        ("same", -500.0, "own clock"),
        ("other", 31.0, "wall clock"),
        ("other", -500.0, "not known"),
        (None, 31.0, "wall"),
    ],
)
def test_lines_without_a_clock_stand_where_they_came(
    boot: str | None, wall_s: float, placed: str, tmp_path: Path
) -> None:
    path = tmp_path / "x.rec"
    write(path, [Packet(0, 10 * MS * k, b"%.2f,%d\n" % (24 - k % 9 / 50, k * k % 97)) for k in range(300)], boot="same")
    behind = [Packet(0, 10 * MS * k, b"%.2f,%d\n" % (23 - k % 9 / 50, k * k % 97)) for k in range(200)]
    go_on(path, behind, after_s=31.0 if boot == "same" else 1.0, wall_s=wall_s, boot=boot)
    log = read_log(path)
    assert placed in parts_fault(log)[0]
    table = log.streams[0].table
    times, numbers = table["time_s"].to_numpy(), table["recording"].to_numpy()
    if placed == "not known":
        assert set(numbers) == {0, 1} and times[numbers == 1][0] < 0.1
    else:
        assert set(numbers) == {0} and np.diff(times).max() == pytest.approx(31.0 - 2.99 + 0.01, abs=0.001)


@pytest.mark.parametrize("clock", ["", 'time_column = "n"\ntime_unit = "ms"'])
def test_frames_stand_where_they_came_and_none_is_glued(clock: str, tmp_path: Path) -> None:
    """Frames at 100 Hz, the first part ends and the second begins in the middle of one; with and without a counter."""
    reading = parse_reading(READING.format(clock=clock))
    stream = b"".join(b"\xaa\x55\x18\x00" + (10 * n).to_bytes(4, "little") for n in range(4000))
    path = tmp_path / "x.rec"
    write(path, [Packet(0, 50 * MS * k, stream[40 * k : 40 * k + 40]) for k in range(60)] + [
        Packet(0, 3000 * MS, stream[2400:2405])])  # fmt: skip
    go_on(
        path,
        [Packet(0, 0, stream[24805:24840])]
        + [Packet(0, 50 * MS * k, stream[24800 + 40 * k : 24840 + 40 * k]) for k in range(1, 40)],
        after_s=31.0,
    )
    log = read_log(path, options=ReadOptions(reading=reading))
    table = log.streams[0].table
    times = table["time_s"].to_numpy()
    assert table.num_rows == 300 + 199 and (np.diff(times) > 0).all()
    assert times[300] == pytest.approx(31.0, abs=0.1)
    assert log.provenance.clock is not None and log.provenance.clock.gaps
    if not clock:
        numbers = table["other:n"].to_pylist()
        assert numbers == [10 * n for n in [*range(300), *range(3101, 3300)]]


def test_the_end_of_an_earlier_part_is_not_the_end(tmp_path: Path) -> None:
    path = tmp_path / "x.rec"
    write(path, rows(0, 100))
    go_on(path, rows(100, 200), after_s=5.0, close=False)
    assert any(f.code == "truncated" for f in read_log(path).provenance.faults)
    go_on(path, rows(200, 300), after_s=9.0)
    assert not any(f.code == "truncated" for f in read_log(path).provenance.faults)
    assert len(parts_fault(read_log(path))) == 2
