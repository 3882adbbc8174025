"""A minimal log format for the tests of the season: `# plain`, then rows `seconds,volts`, so that storing is tried
apart from reading. A row `stop` refuses the file; a row `wait` pauses, so that a test can interrupt there."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pyarrow as pa

from ingest.errors import UnreadableLog
from ingest.formats import Format, ReadOptions
from ingest.log import Provenance, channel_field

CHANNEL = channel_field("pack_voltage_V", part="pack", quantity="voltage", unit="V", source="volts", source_unit="V")
SCHEMA = pa.schema([pa.field("time_s", pa.float64()), pa.field("recording", pa.int16()), CHANNEL])


class PlainReader:
    def __init__(self, path: Path, options: ReadOptions) -> None:
        self.path = path
        self.reading = options.reading.name if options.reading else None
        name = options.name or path.name
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        self.provenance = Provenance(name, sha256, "plain", self.reading, counts={"parts": sorted(options.parts)})

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        stream = "samples"
        rows: list[list[float]] = []
        for number, line in enumerate(self.path.read_text("utf-8").splitlines(), start=1):
            if line == "stop":
                raise UnreadableLog("cannot be trusted", file=self.path, line=number)
            if line == "wait":
                print("reading", flush=True)
                time.sleep(600)
            elif line.startswith("stream "):
                if rows:
                    yield stream, self._batch(rows)
                stream, rows = line.removeprefix("stream "), []
            elif not line.startswith("#"):
                rows.append([float(cell) for cell in line.split(",")])
        if rows:
            yield stream, self._batch(rows)
        self.provenance = replace(self.provenance, rows=len(rows))

    def _batch(self, rows: list[list[float]]) -> pa.RecordBatch:
        times, volts = zip(*rows, strict=True)
        columns = [
            pa.array(times, pa.float64()),
            pa.array([0] * len(rows), pa.int16()),
            pa.array(volts, pa.float64()),
        ]
        return pa.RecordBatch.from_arrays(columns, schema=SCHEMA)


PLAIN = Format("plain", "for tests", "none", lambda head, path: head.startswith(b"# plain"), PlainReader)


def plain_text(rows: int, volts: float = 25.0, extra: str = "") -> str:
    return "# plain\n" + "".join(f"{i / 100},{volts - i / 1000}\n" for i in range(rows)) + extra


BUILD = """[build]
id = "b"
robot = "Gristmote"

[pack]
cells = 6

[[wire]]
id = "battery_lead"
from = "pack"
to = "weapon"
gauge = "12 AWG"
length_mm = 200

[[controller]]
id = "weapon"
continuous_A = 80
"""

PACK = """[pack]
id = "{id}"
cells = 6
capacity_Ah = 3.3
"""

FILES = {"builds/b.toml": BUILD, "packs/p1.toml": PACK.format(id="p1"), "packs/p2.toml": PACK.format(id="p2")}


def log_file(folder: Path, name: str = "weapon.csv", text: str | None = None) -> Path:
    path = folder / name
    path.write_text(text or plain_text(250), "utf-8")
    return path


def snapshot(root: Path) -> dict[str, bytes]:
    """Every file that counts: the lock and its note are passing."""
    found = {}
    for path in sorted(root.rglob("*")):
        if path.is_file() and not path.name.startswith(".lock"):
            found[path.relative_to(root).as_posix()] = path.read_bytes()
    return found
