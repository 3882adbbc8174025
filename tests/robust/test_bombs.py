"""Small files that ask for all memory, or for ever: refused in bounded time and memory, each in a process of its own
account (the peak of the process that reads them all is looked at)."""

from __future__ import annotations

import gzip
import io
import json
import struct
import subprocess
import sys
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from ingest.builds import load_build
from ingest.errors import AfterboutError
from ingest.matches import LogEntry, load_match
from ingest.packs import load_pack
from ingest.readings import load_reading
from ingest.season_file import load_season_settings
from ingest.telemetry import read_files

ROOT = Path(__file__).resolve().parents[2]
READ = """
import json, resource, sys, time  # the time of its processors, whatever else the machine does meanwhile
from pathlib import Path
from ingest.inspect import inspect_files
from ingest.formats import ReadOptions
out = []
for name in sys.argv[1:]:
    start = time.process_time()
    entry = inspect_files([Path(name)], ReadOptions(counts_only=True))["files"][0]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
    out.append([Path(name).name, entry["refused"], round(time.process_time() - start, 2), peak])
print(json.dumps(out))
"""


def blf(payload: bytes) -> bytes:
    """A BLF file of one compressed container (file and object headers as in tests/ingest/test_probes.py)."""
    packed = struct.pack("<H6xL4x", 2, len(payload) & 0xFFFFFFFF) + zlib.compress(payload, 9)
    container = struct.pack("<4sHHLL", b"LOBJ", 16, 1, 16 + len(packed), 10) + packed
    container += bytes((16 + len(packed)) % 4)
    size = 144 + len(container)
    header = struct.pack("<4sLBBBBBBBBQQLL16x16x", b"LOGG", 144, 5, 0, 0, 0, 2, 6, 8, 1, size, size, 20, 0)
    return header.ljust(144, b"\0") + container


def archives() -> dict[str, bytes]:
    zeros = bytes(300_000_000)
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("weapon.csv", zeros)
    return {"bomb.zip": sink.getvalue(), "bomb.csv": sink.getvalue(), "bomb.csv.gz": gzip.compress(zeros, 1)}


def measured() -> bytes:
    """A sound MDF 4 file whose channel group claims 2**40 records."""
    asammdf = pytest.importorskip("asammdf", reason="MDF files are made with asammdf")
    with asammdf.MDF(version="4.10") as file:
        at = np.arange(20) / 10
        file.append([asammdf.Signal(20.0 + at, at, name="PackVoltage", unit="V")], common_timebase=True)
        sink = io.BytesIO()
        file.save(sink)
    data = bytearray(sink.getvalue())
    group = data.index(b"##CG")
    links = struct.unpack_from("<Q", data, group + 16)[0]
    struct.pack_into("<Q", data, group + 24 + 8 * links + 8, 1 << 40)  # cg_cycle_count (ASAM MDF 4.1)
    return bytes(data)


def test_archives_traces_and_lines_without_end(tmp_path: Path) -> None:
    files = archives()
    files |= {"bomb.blf": blf(bytes(300_000_000)), "bomb.mf4": measured()}
    files["line.csv"] = b"t_s,U\n" + b"1" * 60_000_000
    files["wide.csv"] = b",".join(b"c%d" % k for k in range(120_000)) + b"\n" + b"1," * 120_000 + b"1\n"
    files["quotes.csv"] = b'a,b\n"' + b'""' * 5_000_000
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    names = [str(tmp_path / name) for name in files]
    done = subprocess.run(
        [sys.executable, "-c", READ, *names], cwd=ROOT, capture_output=True, text=True, timeout=900, check=False
    )
    assert done.returncode == 0, done.stderr
    for name, refused, seconds, peak_MB in json.loads(done.stdout):
        assert refused, name
        assert seconds < 20, (name, seconds)
        assert peak_MB < 1500, (name, peak_MB)


LOADERS: dict[str, Callable[[Path], object]] = {
    "build": load_build, "pack": load_pack, "match": load_match, "reading": load_reading,
    "season": load_season_settings,
}  # fmt: skip
SIZE = 900_000
TEXTS = {
    "huge": b"",  # 100 MB, made below
    "nested lists": b"a = " + b"[" * (SIZE // 2) + b"]" * (SIZE // 2),
    "nested tables": b"a = " + b"{a = " * (SIZE // 6) + b"1" + b"}" * (SIZE // 6),
    "a long key": b".".join([b"a"] * (SIZE // 2)) + b" = 1\n",
    "a long quoted key": b" . ".join([b'"a"'] * (SIZE // 6)) + b" = 1\n",
    "a long header": b"[" + b".".join([b"a"] * (SIZE // 2)) + b"]\n",
    "a list below many": b"a = " + b"[" * 300 + b"1," * (SIZE // 2) + b"]" * 300,
    "many digits": b"a = " + b"9" * SIZE,
    "many runs": b'[build]\nid = "b"\n[pack]\ncells = 6\n'
    + b"".join(b'[[wire]]\nid = "w%d"\nfrom = "n%d"\nto = "n%d"\n' % (k, k, k + 1) for k in range(15_000)),
}


@pytest.mark.parametrize("kind", LOADERS)
def test_toml_takes_neither_all_memory_nor_for_ever(tmp_path: Path, kind: str) -> None:
    """In a process with 1.5 GB of address space beside its libraries, and twenty seconds of a processor for each."""
    paths = []
    for number, (name, data) in enumerate(TEXTS.items()):
        path = tmp_path / f"{number}.toml"
        if name == "huge":
            with path.open("wb") as file:
                file.truncate(100_000_000)
        else:
            path.write_bytes(data)
        paths.append(str(path))
    loader = LOADERS[kind]
    code = f"""
import resource, signal, sys
from pathlib import Path
from {loader.__module__} import {loader.__name__} as load
from ingest.errors import AfterboutError
used = int(Path("/proc/self/statm").read_text().split()[0]) * 4096 if Path("/proc/self/statm").exists() else 4 << 30
resource.setrlimit(resource.RLIMIT_AS, (used + (3 << 29), used + (3 << 29)))
for name in sys.argv[1:]:
    signal.setitimer(signal.ITIMER_PROF, 20)
    try:
        load(Path(name))
    except AfterboutError as error:
        print(error.what)
"""
    done = subprocess.run(
        [sys.executable, "-c", code, *paths], cwd=ROOT, capture_output=True, text=True, timeout=900, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert len(done.stdout.splitlines()) == len(TEXTS), done.stdout
    assert "is too large" in done.stdout


def test_samples_that_claim_more_than_they_can_hold(tmp_path: Path) -> None:
    """Six hundred million nulls in a few kB: Parquet's run-length coding allows it, no logger writes it."""
    path = tmp_path / "x_00000000.parquet"
    nulls = pa.table({"time_s": pa.nulls(20_000_000, pa.float64())})
    sink = pa.BufferOutputStream()
    with pq.ParquetWriter(sink, nulls.schema, compression="zstd") as writer:
        for _ in range(30):
            writer.write_table(nulls)
    path.write_bytes(sink.getvalue())
    assert path.stat().st_size < 3_000_000
    with pytest.raises(AfterboutError, match="samples cannot be read: it claims"):
        read_files([path], LogEntry(sha256="0" * 64, name="x.csv"))
