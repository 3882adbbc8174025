"""BLF traces: every frame against python-can's own reader, whatever stands in the containers and wherever they end.

Reference library: python-can. Objects that its writer does not make (headers of version 2, coarse stamps, unknown
objects) are packed here by hand, as its reader takes them.
"""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.can_traces import FrameBlock, Trace

can = pytest.importorskip("can", reason="python-can is the reference reader")


def library(path: Path) -> list[Any]:
    return list(can.BLFReader(str(path)))


def ours(path: Path) -> tuple[Trace, list[FrameBlock]]:
    trace = Trace(path, "blf")
    return trace, list(trace.blocks())


def same(blocks: list[FrameBlock], messages: list[Any]) -> None:
    """Frames equal, stamps within the microsecond that a float of seconds since 1970 can hold."""
    assert sum(b.size for b in blocks) == len(messages)
    rows = [(b, k) for b in blocks for k in range(b.size)]
    buses: dict[int, Any] = {}
    for (block, k), message in zip(rows, messages, strict=True):
        assert block.ticks is not None
        assert abs(int(block.ticks[k]) - message.timestamp * 1e6) <= 1.0
        assert int(block.ids[k]) == message.arbitration_id
        flags = (block.error[k], block.remote[k], block.fd[k])
        assert flags == (message.is_error_frame, message.is_remote_frame and not message.is_error_frame, message.is_fd)
        assert bool(block.extended[k]) == (message.is_extended_id and not message.is_error_frame)
        data = bytes(message.data)
        assert int(block.lengths[k]) == len(data)
        assert bytes(block.data[k][: len(data)]) == data
        assert not block.data[k][len(data) :].any()
        assert buses.setdefault(int(block.bus[k]), message.channel) == message.channel


def message(k: int, kind: str, channel: int, length: int) -> Any:
    fd = kind == "fd"
    size = length if not fd else (length if length <= 8 else [12, 16, 20, 24, 32, 48, 64][length % 7])
    return can.Message(
        timestamp=1_700_000_000.0 + k * 0.000_137,
        arbitration_id=0x123 + k % 50,
        is_extended_id=bool(k % 3 == 0),
        is_remote_frame=kind == "remote",
        is_error_frame=kind == "error",
        is_fd=fd,
        dlc=size,
        data=b"" if kind == "remote" else bytes((k + j) % 256 for j in range(size)),
        channel=channel,
    )


KINDS = st.lists(
    st.tuples(
        st.sampled_from(["plain", "plain", "plain", "remote", "error", "fd"]),
        st.integers(0, 2),
        st.integers(0, 8),
        st.integers(1, 60),
    ),
    min_size=1,
    max_size=8,
)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(KINDS, st.sampled_from([500, 2000, 128 * 1024]), st.integers(0, 1))
def test_any_mixture_is_what_the_library_reads(
    tmp_path: Path, kinds: list[tuple[str, int, int, int]], container: int, packed: int
) -> None:
    path = tmp_path / "trace.blf"
    with can.BLFWriter(str(path), compression_level=-1 if packed else 0) as writer:
        writer.max_container_size = container
        k = 0
        for kind, channel, length, times in kinds:
            for _ in range(times):
                writer.on_message_received(message(k, kind, channel, length))
                k += 1
    trace, blocks = ours(path)
    assert not trace.cut and trace.damaged == 0
    same(blocks, library(path))


def by_hand(objects: list[bytes], start: tuple[int, ...] = (2026, 5, 6, 9, 14, 20, 0, 250)) -> bytes:
    body = b"".join(objects)
    packed = zlib.compress(body)
    inner = struct.pack("<H6xL4x", 2, len(body)) + packed
    container = struct.pack("<4sHHLL", b"LOBJ", 16, 1, 16 + len(inner), 10) + inner
    container += b"\0" * ((16 + len(inner)) % 4)
    head = struct.pack("<4sL8BQQLL8H8H", b"LOGG", 144, *[0] * 8, 144 + len(container), 0, 0, 0, *start, *start)
    return head.ljust(144, b"\0") + container


def frame(stamp: int, *, version: int = 1, flags: int = 2, kind: int = 86, dlc: int = 8, more: bytes = b"") -> bytes:
    body = struct.pack("<HBBL8s", 2, 0, dlc, 0x80000000 | 0x18DAF110, bytes(range(8))) + more
    if version == 1:
        header = struct.pack("<LHHQ", flags, 0, 0, stamp)
    elif version == 2:
        header = struct.pack("<LBxHQ8x", flags, 0, 0, stamp)
    else:
        header = bytes(16)
    size = 16 + len(header) + len(body)
    return struct.pack("<4sHHLL", b"LOBJ", 16 + len(header), version, size, kind) + header + body


def fd_frame(stamp: int, valid: int, there: int, *, dlc: int = 15, marks: int = 0x1000, more: bytes = b"") -> bytes:
    """CAN FD in its second form: `there` bytes of data stand in it, `valid` are stated; `more` stands behind them."""
    behind = 32 + 40 + there if more else 0
    body = struct.pack("<BBBBLLLLLLLHBBL", 1, dlc, valid, 0, 0x123, 0, marks, 0, 0, 0, 0, 0, 0, behind, 0)
    body += bytes(range(1, there + 1)) + more
    header = struct.pack("<LHHQ", 2, 0, 0, stamp)
    return struct.pack("<4sHHLL", b"LOBJ", 32, 1, 32 + len(body), 101) + header + body


@pytest.mark.parametrize(
    "objects",
    [
        [fd_frame(k * 1_000_000, 64, 64) for k in range(60)],
        [fd_frame(k * 1_000_000, 64, 48, more=b"\xff" * 8 if k % 2 else b"") for k in range(60)],
        [fd_frame(k * 1_000_000, 8, 8, dlc=8, marks=0 if k % 2 else 0x1000) for k in range(60)],
        [fd_frame(k * 1_000_000, 0, 0, dlc=0, marks=0x10) for k in range(60)],
        [fd_frame(k * 1_000_000, 12, 12, dlc=9) if k % 3 else frame(k * 1_000_000) for k in range(60)],
        [frame(k * 1_000_000) for k in range(100)],
        [frame(k * 1_000_000, version=2) for k in range(100)],
        [frame(k * 100, flags=1) for k in range(100)],
        [frame(k * 1_000_000, version=1 + k // 20 % 2, kind=1 if k % 7 else 86) for k in range(200)],
        [frame(k * 1_000_000, version=3 if k % 9 == 4 else 1) for k in range(100)],
        [frame(k * 1_000_000, kind=65 if k % 5 == 0 else 86, more=b"note" if k % 5 == 0 else b"") for k in range(100)],
        [frame(k * 1_000_000, more=b"\0" * 8) for k in range(100)],
        [frame(k * 1_000_000) + b"\0" * (k % 4) for k in range(100)],
    ],
    ids=[
        "fd",
        "fd with less than stated",
        "fd form, not fd",
        "fd remote",
        "fd and plain",
        "version 1",
        "version 2",
        "10 us",
        "changing",
        "unknown version",
        "unknown objects",
        "longer",
        "padded",
    ],
)
def test_objects_that_its_writer_does_not_make(tmp_path: Path, objects: list[bytes]) -> None:
    path = tmp_path / "trace.blf"
    path.write_bytes(by_hand(objects))
    trace, blocks = ours(path)
    assert not trace.cut
    same(blocks, library(path))


def test_without_a_stated_start_it_counts_from_zero(tmp_path: Path) -> None:
    path = tmp_path / "trace.blf"
    path.write_bytes(by_hand([frame(k * 1_000_000) for k in range(40)], (0,) * 8))
    _, blocks = ours(path)
    assert blocks[0].ticks is not None and blocks[0].ticks.tolist() == [1000 * k for k in range(40)]


@pytest.mark.parametrize("kind", ["blow-up", "no length", "no object", "too short", "endless object", "impossible dlc"])
def test_damage_ends_in_an_answer(tmp_path: Path, kind: str) -> None:
    objects = [frame(k * 1_000_000) for k in range(40)]
    if kind == "blow-up":
        objects = [b"LOBJ" + bytes(80 << 20)]
    elif kind == "no length":
        objects.append(struct.pack("<4sHHLL", b"LOBJ", 16, 1, 0, 86) + bytes(40))
    elif kind == "no object":
        objects.append(b"nothing that is an object" * 4)
    elif kind == "too short":
        objects.append(struct.pack("<4sHHLL", b"LOBJ", 16, 1, 36, 86) + bytes(40))
    elif kind == "endless object":
        objects.append(struct.pack("<4sHHLL", b"LOBJ", 16, 1, 0xFFFFFFF0, 86) + bytes(40))
    else:
        objects.append(frame(41_000_000, dlc=15))
    path = tmp_path / "trace.blf"
    path.write_bytes(by_hand(objects))
    trace, blocks = ours(path)
    assert sum(b.size for b in blocks) == (0 if kind == "blow-up" else 40)
    assert trace.cut or kind in ("endless object", "impossible dlc")
    assert trace.damaged == (1 if kind == "impossible dlc" else 0)
    assert trace.sha256


def test_stamps_beyond_any_clock_are_no_stamps(tmp_path: Path) -> None:
    path = tmp_path / "trace.blf"
    path.write_bytes(by_hand([frame(k * 1_000_000) for k in range(20)] + [frame((1 << 64) - 1)]))
    _, blocks = ours(path)
    ticks = np.concatenate([b.ticks for b in blocks if b.ticks is not None])
    assert ticks[-1] == -1 and (ticks[:-1] > 0).all()


def test_a_container_of_mixed_frames_keeps_their_order(tmp_path: Path) -> None:
    path = tmp_path / "trace.blf"
    made = [message(k, "fd" if k % 5 == 2 else "plain", 0, 8) for k in range(500)]
    out = io.BytesIO()
    writer = can.BLFWriter(out)
    for one in made:
        writer.on_message_received(one)
    writer.file.flush()
    writer._flush()
    path.write_bytes(out.getvalue())
    _, blocks = ours(path)
    ticks = np.concatenate([b.ticks for b in blocks if b.ticks is not None])
    assert ticks.size == 500 and (np.diff(ticks) > 0).all()
