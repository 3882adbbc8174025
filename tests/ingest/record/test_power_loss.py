"""The power goes: what was not synced is gone, or half there in any order. At most 0.5 s of a recording is missing.

A file layer keeps account of every write and sync. The disk after a loss of power is made from it: what was synced, and
of the sectors written since then any, in any order, as disks with a cache of their own do; the file may also have
grown by sectors of zeros that were never written.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import pytest

from ingest.record.blocks import Damage, Packet, packets_in, scan, whole_blocks
from ingest.record.recovery import recover
from ingest.record.writer import RecordingWriter
from ingest.store import FileLayer, Store
from tests.ingest.record.made_files import HEADER, MS, NOTE, WALL, line

SECTOR = 512
MOST_LOST_NS = 500 * MS
TURN_MS = 25  # as the session turns
LOSSES = 400


@dataclass
class Op:
    """One call: write at a place, sync, truncate, or of the folder. t_ms: what had been taken in by then."""

    kind: str
    t_ms: int
    name: str = ""
    place: int = 0
    data: bytes = b""


@dataclass
class Account(FileLayer):
    """Does what is asked, and keeps account of it."""

    ops: list[Op] = field(default_factory=list)
    t_ms: int = 0

    def note(self, kind: str, name: str = "", place: int = 0, data: bytes = b"") -> None:
        self.ops.append(Op(kind, self.t_ms, name, place, data))

    def create(self, path: Path) -> IO[bytes]:
        self.note("create", path.name)
        return super().create(path)

    def write(self, file: IO[bytes], data: memoryview) -> int:
        place = file.tell()
        count = super().write(file, data)
        self.note("write", Path(file.name).name, place, bytes(data[:count]))
        return count

    def sync(self, file: IO[bytes]) -> None:
        self.note("sync", Path(file.name).name)

    def sync_folder(self, folder: Path) -> None:
        self.note("folder")

    def truncate(self, file: IO[bytes], size: int) -> None:
        super().truncate(file, size)
        self.note("truncate", Path(file.name).name, size)

    def replace(self, source: Path, target: Path) -> None:
        super().replace(source, target)
        self.note("replace", target.name)


def feed(writer: RecordingWriter, layer: Account, first: int, end: int, origin: int) -> None:
    """Rows at 200 Hz, a turn every 25 ms, as the session does it. origin: the row taken in at this part's zero."""
    for begin in range(first, end, 5):
        stop = min(begin + 5, end)
        layer.t_ms = 5 * (stop - origin)
        writer.write([Packet(0, 5 * (n - origin) * MS, HEADER if n == 0 else line(n)) for n in range(begin, stop)])
        writer.tick(layer.t_ms * MS)


def after_the_loss(before: bytes, ops: list[Op], name: str, chance: random.Random) -> bytes:
    """What stands in the file of that name after the last of these calls, and then no power."""
    synced, loose = bytearray(before), []
    for op in ops:
        if op.name != name:
            continue
        if op.kind == "truncate":
            del synced[op.place :]
        elif op.kind == "write":
            for at in range(0, len(op.data), SECTOR):
                loose.append((op.place + at, op.data[at : at + SECTOR]))
        elif op.kind == "sync":
            for place, data in loose:
                synced[place : place + len(data)] = data
            loose = []
    way = chance.randrange(4)  # none, a first part of them, any of them, any and a file that grew by zeros
    kept = [] if way == 0 else loose[: chance.randint(0, len(loose))] if way == 1 else [w for w in loose if
            chance.random() < 0.5]  # fmt: skip
    chance.shuffle(kept)
    for place, data in kept:
        cut = chance.choice((len(data), chance.randint(0, len(data))))
        synced.extend(bytes(max(0, place - len(synced))))
        synced[place : place + cut] = data[:cut]
    if way == 3:
        synced.extend(bytes(max(0, max((place + len(data) for place, data in loose), default=0) - len(synced))))
    return bytes(synced)


def packets_of_part(path: Path, part: int) -> list[Packet]:
    return [p for b in whole_blocks(path) if b.kind == b"pack" and b.part == part for p in packets_in(b.payload)]


def check(path: Path, part: int, first: int, origin: int, t_ms: int) -> int:
    """Everything older than half a second is there, and nothing that was not recorded; gives how many rows are."""
    found = packets_of_part(path, part)
    numbers = [p.t_ns // (5 * MS) + origin for p in found]
    assert [p.data for p in found] == [HEADER if n == 0 else line(n) for n in numbers]
    assert numbers == sorted(set(numbers))
    old = [n for n in range(first, origin + t_ms // 5) if 5 * (n - origin) * MS < t_ms * MS - MOST_LOST_NS]
    assert numbers[: len(old)] == old
    return len(numbers)


def test_after_any_write_a_loss_of_power_costs_half_a_second_at_most(tmp_path: Path) -> None:
    """Once after each call of the first 1.5 s, then at random ones; each file is gone on with and loses power again."""
    layer = Account()
    path = tmp_path / "x.rec"
    writer = RecordingWriter(Store(layer), path, [NOTE], WALL, clock_ns=10**12, boot="a")
    feed(writer, layer, 0, 600, 0)
    ops = layer.ops
    begun = next(k for k, op in enumerate(ops) if op.kind == "folder")
    assert ops[begun].t_ms == 0, "the file's own name is on the disk before anything is taken in"
    assert sum(op.kind == "sync" for op in ops) >= 10
    chance = random.Random(4)
    early = [k for k in range(begun, len(ops)) if ops[k].t_ms <= 1500]
    for number, k in enumerate(early + chance.choices(range(begun, len(ops)), k=LOSSES)):
        again = tmp_path / f"{number}.rec"
        again.write_bytes(after_the_loss(b"", ops[: k + 1], "x.rec", chance))
        # what was taken in up to the next call is lost too
        t_ms = ops[k + 1].t_ms if k + 1 < len(ops) else ops[k].t_ms
        check(again, 0, 0, 0, t_ms)
        if number % 3 == 0:
            lose_again(again, chance)
        again.unlink()


def lose_again(path: Path, chance: random.Random) -> None:
    """Two more parts, each of which loses power too."""
    for part in (1, 2):
        older = [packets_of_part(path, p) for p in range(part)]
        raw, layer = path.read_bytes(), Account()
        found = recover(path)
        writer = RecordingWriter(Store(layer), path, [NOTE], WALL, clock_ns=part * 10**13, boot="a", behind=found)
        feed(writer, layer, 1, 160, 1)
        writer._output.abandon()
        ops = layer.ops
        if found.torn_bytes:
            kinds = [op.kind for op in ops]
            assert kinds.index("replace") < kinds.index("folder") < kinds.index("truncate"), "kept before it is cut"
            assert found.kept_in is not None and found.kept_in.read_bytes() == raw[found.end :]
        cut = next((k for k, op in enumerate(ops) if op.kind == "truncate"), 0)
        k = chance.randrange(cut, len(ops))
        path.write_bytes(after_the_loss(raw, ops[: k + 1], path.name, chance))
        assert [packets_of_part(path, p) for p in range(part)] == older
        if any(b.part == part for b in whole_blocks(path)):
            check(path, part, 1, 1, ops[k].t_ms)
        else:
            assert ops[k].t_ms * MS <= MOST_LOST_NS
            return


def test_the_hole_that_a_loss_of_power_leaves_is_named(tmp_path: Path) -> None:
    """A sector that never came to the disk, with later ones behind it."""
    layer, path = Account(), tmp_path / "x.rec"
    writer = RecordingWriter(Store(layer), path, [NOTE], WALL)
    feed(writer, layer, 0, 400, 0)
    writer.close("asked")
    raw = bytearray(path.read_bytes())
    raw[3 * SECTOR : 4 * SECTOR] = bytes(SECTOR)
    path.write_bytes(raw)
    (hole,) = [found for found in scan(path) if isinstance(found, Damage)]
    assert hole.start < 4 * SECTOR and hole.end > 3 * SECTOR and hole.blocks >= 1
    assert len(packets_of_part(path, 0)) > 300


@pytest.mark.parametrize("fails", ["sync", "write", "create", "sync_folder"])
def test_a_disk_that_fails_while_it_is_begun_is_a_store_error(fails: str, tmp_path: Path) -> None:
    from ingest.errors import StoreError

    class Failing(FileLayer):
        pass

    def fail(*_: object) -> None:
        raise OSError(5, "Input/output error")

    setattr(Failing, fails, fail)
    with pytest.raises(StoreError, match="Input/output error"):
        RecordingWriter(Store(Failing()), tmp_path / "x.rec", [NOTE], WALL)


@pytest.mark.parametrize("number", range(14))
def test_a_disk_that_fails_while_it_is_gone_on_with_changes_nothing_whole(number: int, tmp_path: Path) -> None:
    """Each call that changes files fails once (ENOSPC of errno.h), from the copy of the torn end to the first sync."""
    from ingest.errors import StoreError

    path = tmp_path / "x.rec"
    writer = RecordingWriter(Store(), path, [NOTE], WALL)
    feed(writer, Account(), 0, 200, 0)
    writer.close("asked")
    path.write_bytes(path.read_bytes() + b"torn" * 50)
    whole = list(whole_blocks(path))
    calls = iter(range(100))

    class Failing(FileLayer):
        pass

    def failing(name: str) -> None:
        plain = getattr(FileLayer, name)

        def call(*given: object) -> object:
            if next(calls) == number:
                raise OSError(28, "No space left on device")
            return plain(*given)

        setattr(Failing, name, call)

    for name in ("create", "reopen", "truncate", "write", "sync", "sync_folder", "replace"):
        failing(name)
    failed = False
    try:
        again = RecordingWriter(Store(Failing()), path, [NOTE], WALL, behind=recover(path))
        again._output.abandon()
    except StoreError as error:
        failed = True
        assert "No space left" in str(error) or "may not outlast" in str(error)
    assert failed or number >= 10
    assert list(whole_blocks(path))[: len(whole)] == whole
    torn = path.read_bytes()[whole[-1].end :]
    kept = [p.read_bytes() for p in tmp_path.glob("x.rec.torn-*")]
    assert torn == b"torn" * 50 or kept == [b"torn" * 50]
    found = recover(path)
    RecordingWriter(Store(), path, [NOTE], WALL, behind=found).close("asked")
    assert next(p.read_bytes() for p in tmp_path.glob("x.rec.torn-*")) == b"torn" * 50
