"""Every format's probe against every other format's samples, an empty file and random bytes; and what is imported.

The samples are made here, without the formats' own libraries where a few bytes say enough.
"""

from __future__ import annotations

import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.errors import UnreadableLog
from ingest.formats import HEAD_BYTES, ReadOptions, detect, formats
from ingest.inspect import inspect_files
from ingest.readings import EXAMPLE_BINARY_READING, parse_reading

READING = parse_reading(EXAMPLE_BINARY_READING)
ROOT = Path(__file__).parents[2]


def frames() -> bytes:
    def crc(data: bytes) -> int:  # CRC-16/IBM-3740, bit by bit
        register = 0xFFFF
        for byte in data:
            register ^= byte << 8
            for _ in range(8):
                register = (register << 1 ^ (0x1021 if register & 0x8000 else 0)) & 0xFFFF
        return register

    rows = (struct.pack("<IHhBx", k * 10, 24000 - k, 100 * k, 0) for k in range(60))
    return b"".join(b"\xaa\x55" + row + struct.pack("<H", crc(row)) for row in rows)


def tlog() -> bytes:
    """HEARTBEAT packets of version 1; a probe looks at the records, not at the checksum."""
    start = 1_700_000_000_000_000
    packet = bytes([0xFE, 9, 0, 1, 1, 0]) + bytes(9) + b"\x12\x34"
    return b"".join(struct.pack(">Q", start + k * 100_000) + packet for k in range(40))


def transfers() -> str:
    """NodeStatus (data type 341) of node 20, one frame each, the transfer number counting on."""
    number = 16 << 24 | 341 << 8 | 20
    return "".join(f"({k}.000000) can0 {number:08X}#{k:02X}000000000000{0xC0 | k % 32:02X}\n" for k in range(40))


def blf() -> bytes:
    """A file header and one compressed container with CAN messages."""
    objects = b""
    for k in range(20):
        body = struct.pack("<LHHQ", 2, 0, 0, k * 1_000_000) + struct.pack("<HBBL8s", 1, 0, 8, 0x1A0, bytes(8))
        objects += struct.pack("<4sHHLL", b"LOBJ", 32, 1, 16 + len(body), 1) + body
    packed = struct.pack("<H6xL4x", 2, len(objects)) + zlib.compress(objects)
    container = struct.pack("<4sHHLL", b"LOBJ", 16, 1, 16 + len(packed), 10) + packed
    container += bytes((16 + len(packed)) % 4)
    size = 144 + len(container)
    header = struct.pack("<4sLBBBBBBBBQQLL16x16x", b"LOGG", 144, 5, 0, 0, 0, 2, 6, 8, 1, size, size, 20, 0)
    return header.ljust(144, b"\0") + container


def recording() -> bytes:
    """As docs/recording.md lays the file out."""
    head = (
        b'{"wall_start": "2026-05-09T14:20:00+00:00", "clock_ns": 0, "boot": null, "sources": [{"name": "x", "kind": '
    )
    lines = CLEAN.splitlines(keepends=True)
    packets = b"".join(struct.pack("<HqI", 0, k * 10_000_000, len(line)) + line for k, line in enumerate(lines))
    made = b"\x89ABREC2\n\7\0\0\0"
    for number, (kind, payload) in enumerate(
        [(b"head", head + b'"udp", "settings": {}, "reading": null}]}'), (b"pack", packets)]
    ):
        block = struct.pack("<4sIIHHII", kind, 7, number, 0, 0, len(payload), zlib.crc32(payload))
        made += block + struct.pack("<I", zlib.crc32(struct.pack("<Q", len(made)) + block)) + payload
    return made


ASC = "date Tue Nov 14 10:13:20.000 pm 2023\nbase hex  timestamps absolute\nno internal events logged\n" + "".join(
    f"   {k / 100:.6f} 1  1A0             Rx   d 8 00 60 0A 00 41 00 00 0{k % 10}\n" for k in range(40)
)
SCREEN = "".join(f" (1700000000.{k:02d}0000)  can0  1A0   [8]  00 60 0A 00 41 00 00 00\n" for k in range(40))

CLEAN = b"t_ms,Ubat [V]\n" + b"".join(b"%d,24.%d\n" % (k * 10, k % 10) for k in range(60))
WIDE = "Zeit;Spannung\ns;V\n" + "".join(f"{k};24,{k}\n" for k in range(60))
SPACES = b"# can bench log\n" + b"".join(b"%.3f  %d  24.%d  Rx\n" % (k / 10, k, k) for k in range(60))
MDF = b"MDF     4.10    afterbou\0\0\0\0" + struct.pack("<H", 410) + bytes(34) + b"##HD" + bytes(200)
SAMPLES: dict[str, tuple[str, bytes]] = {
    "clean.csv": ("delimited text", CLEAN),
    "semicolons.csv": ("delimited text", WIDE.encode("utf-16")),
    "spaces.txt": ("delimited text", SPACES),
    "hex.txt": ("delimited text", b"time,id,data\n" + b"".join(b"%d.5,0x1A0,%d\n" % (k, k) for k in range(60))),
    "candump.log": ("CAN trace", "".join(f"({k}.000000) can0 1A0#00600A004100{k:04X}\n" for k in range(60)).encode()),
    "screen.log": ("CAN trace", SCREEN.encode()),
    "trace.asc": ("CAN trace", ASC.encode()),
    "trace.blf": ("CAN trace", blf()),
    "node.log": ("DroneCAN trace", transfers().encode()),
    "bout.tlog": ("MAVLink telemetry", tlog()),
    "bench.mf4": ("ASAM MDF 4", MDF),
    "drive.bin": ("binary telemetry", frames()),
    "bench.rec": ("recording", recording()),
}


def options_for(name: str) -> ReadOptions:
    return ReadOptions(readings=(READING,)) if name == "drive.bin" else ReadOptions()


@pytest.mark.parametrize("name", SAMPLES)
def test_each_sample_is_taken_by_its_own_format_only(tmp_path: Path, name: str) -> None:
    wanted, data = SAMPLES[name]
    path = tmp_path / name
    path.write_bytes(data)
    assert detect(path, options_for(name)).name == wanted
    accepted = [form.name for form in formats() if form.looks_like(data[:HEAD_BYTES], path)]
    # a trace in text is text too, and a DroneCAN trace a CAN trace: the more specific ones come first
    also = {"CAN trace": {"delimited text"}, "DroneCAN trace": {"CAN trace", "delimited text"}}.get(wanted, set())
    assert set(accepted) - also == ({wanted} if wanted != "binary telemetry" else set())
    assert not accepted or accepted[0] == wanted


@pytest.mark.parametrize("name", SAMPLES)
def test_a_saved_binary_reading_takes_no_other_file(tmp_path: Path, name: str) -> None:
    wanted, data = SAMPLES[name]
    path = tmp_path / name
    path.write_bytes(data)
    assert detect(path, ReadOptions(readings=(READING,))).name == wanted


def test_every_format_has_a_sample_and_is_named_once() -> None:
    names = [form.name for form in formats()]
    assert {wanted for wanted, _ in SAMPLES.values()} == set(names)
    assert len(names) == len(set(names)) and names[-1] == "delimited text"
    assert all(form.description and form.specification for form in formats())


def test_an_empty_file_and_a_head_of_nothing(tmp_path: Path) -> None:
    path = tmp_path / "empty"
    path.write_bytes(b"")
    with pytest.raises(UnreadableLog, match="empty"):
        detect(path, ReadOptions())
    for head in (b"", b"\0", b"\0" * 5000, b"\xff" * 5000):
        assert [form.name for form in formats() if form.looks_like(head, path)] == [], head[:4]


@given(seed=st.integers(0, 2**32 - 1), size=st.integers(200, 5000))
@settings(max_examples=200, deadline=None)
def test_random_bytes_are_nobodys(seed: int, size: int) -> None:
    """From 200 bytes on: a handful may by chance be letters of an old encoding."""
    head = np.random.default_rng(seed).bytes(size)
    assert [form.name for form in formats() if form.looks_like(head, Path("x"))] == []


@given(seed=st.integers(0, 2**32 - 1), name=st.sampled_from(sorted(SAMPLES)))
@settings(max_examples=150, deadline=None)
def test_probes_never_raise_on_damaged_heads(seed: int, name: str) -> None:
    random = np.random.default_rng(seed)
    head = bytearray(SAMPLES[name][1][: int(random.integers(1, 3000))])
    for place in random.integers(0, len(head), 5):
        head[int(place)] = int(random.integers(0, 256))
    for form in formats():
        assert form.looks_like(bytes(head), Path(name)) in (True, False)


@pytest.mark.parametrize("name", [name for name, (wanted, _) in SAMPLES.items() if wanted != "delimited text"])
def test_damaged_samples_end_in_an_answer(tmp_path: Path, name: str) -> None:
    """Cut short or full of noise: read, or one located refusal, and soon."""
    data = SAMPLES[name][1]
    random = np.random.default_rng(11)
    noisy = bytearray(data)
    for place in random.integers(0, len(data), max(3, len(data) // 50)):
        noisy[int(place)] = int(random.integers(0, 256))
    versions = [data[: len(data) // 3], data[: len(data) - 3], data[:20], bytes(noisy), data[:24] + random.bytes(4000)]
    paths = []
    for k, version in enumerate(versions):
        path = tmp_path / f"{k}_{name}"
        path.write_bytes(version)
        paths.append(path)
    document = inspect_files(paths, ReadOptions(reading=READING if name == "drive.bin" else None))
    for entry in document["files"]:
        assert entry["refused"] is None or (str(tmp_path) in entry["refused"] and entry["refused"].endswith("."))


def test_plain_text_imports_no_extra(tmp_path: Path) -> None:
    path = tmp_path / "clean.csv"
    path.write_bytes(SAMPLES["clean.csv"][1])
    code = (
        "import sys; from ingest.formats import read_log; read_log(sys.argv[1]); "
        "print(sorted({'can', 'cantools', 'pymavlink', 'dronecan', 'asammdf', 'crccheck'} & set(sys.modules)))"
    )
    made = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, cwd=ROOT, check=True)
    assert made.stdout.strip() == "[]"


def test_the_help_imports_no_format() -> None:
    code = (
        "import sys; sys.argv = ['afterbout', '--help']\n"
        "from dashboard.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "ours = [name for name in sys.modules if name.startswith(('ingest.can', 'ingest.m', 'numpy'))]\n"
        "print('IMPORTED', sorted(ours))"
    )
    made = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert made.stdout.rsplit("IMPORTED", 1)[1].strip() == "[]"
