"""The log readers, each on whole small files, and every probe on a file's first bytes."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from benchmarks.fuzz_targets.forked import in_forks
from benchmarks.fuzz_targets.mutators import frames, lines, measurement, packets
from benchmarks.fuzz_targets.target import One, Target


def _all_of(path: Path, make: Callable[[Path], Any]) -> object:
    """Every batch, and then the account of the whole file as `inspect` prints it."""
    from ingest.inspect import entry_of

    reader = make(path)
    rows = sum(batch.num_rows for _, batch in reader.batches())
    entry_of(reader.provenance, path)
    return rows


def _reader(name: str, suffix: str) -> Callable[[Path], One]:
    """The reader of one format, asked directly: what the probe would have turned away comes in too."""

    def prepare(folder: Path) -> One:
        from ingest.formats import ReadOptions, formats
        from ingest.readings import EXAMPLE_BINARY_READING, parse_reading

        chosen = next(form for form in formats() if form.name == name)
        binary = name == "binary telemetry"
        reading = parse_reading(EXAMPLE_BINARY_READING) if binary else None
        parts = {"weapon": "controller", "weapon_motor": "motor", "lead": "wire"}
        dbc = folder / "robot.dbc"
        dbc.write_text(DBC, "utf-8")
        options = ReadOptions(reading=reading, dbc=dbc if name == "CAN trace" else None, parts=parts)
        path = folder / f"weapon{suffix}"

        def one(data: bytes) -> object:
            path.write_bytes(data)
            return _all_of(path, lambda p: chosen.open(p, options))

        return one

    return prepare


def _any_file(folder: Path) -> One:
    """As a user gives it: detected, read, entered into `inspect`'s document."""
    from ingest.formats import ReadOptions, open_log
    from ingest.readings import EXAMPLE_BINARY_READING, EXAMPLE_TEXT_READING, parse_reading

    readings = (parse_reading(EXAMPLE_TEXT_READING), parse_reading(EXAMPLE_BINARY_READING))
    options = ReadOptions(readings=readings, counts_only=True)
    path = folder / "log.bin"

    def one(data: bytes) -> object:
        if data[:8] in (b"MDF     ", b"UnFinMF "):
            return None  # has a target of its own
        path.write_bytes(data)
        return _all_of(path, lambda p: open_log(p, options))

    return one


def _probes(folder: Path) -> One:
    from ingest.formats import formats
    from ingest.frames import reading_for
    from ingest.readings import EXAMPLE_BINARY_READING, parse_reading

    every, readings = formats(), (parse_reading(EXAMPLE_BINARY_READING),)
    path = folder / "log.bin"

    def one(data: bytes) -> object:
        reading_for(data, readings, "log.bin")
        return [form.looks_like(data, path) for form in every]

    return one


def _links(folder: Path) -> One:
    """The walk over an MDF file's blocks, which comes before its library sees it."""
    from ingest.mdf_blocks import check_links

    path = folder / "x.mf4"

    def one(data: bytes) -> object:
        path.write_bytes(data)
        return check_links(path)

    return one


def _mdf(folder: Path) -> One:
    """The whole reader; the child process that reads the file is a fork here, which is quicker to start."""
    from ingest.formats import ReadOptions
    from ingest.mdf import MDF4

    path = folder / "x.mf4"

    def one(data: bytes) -> object:
        path.write_bytes(data)
        with in_forks():
            return _all_of(path, lambda p: MDF4.open(p, ReadOptions()))

    return one


# Seeds


def samples() -> dict[str, tuple[str, bytes]]:
    from tests.ingest.test_probes import SAMPLES

    return SAMPLES


def _of(*names: str) -> Callable[[], Sequence[bytes]]:
    return lambda: [samples()[name][1][:4000] for name in names]


def _texts() -> Sequence[bytes]:
    from tests.ingest.delimited import corpus_clocks, corpus_dialects, corpus_mixtures, corpus_tables  # noqa: F401
    from tests.ingest.delimited.corpus import CASES

    made = [case().data for case in CASES]
    return [*_of("clean.csv", "semicolons.csv", "spaces.txt")(), *(data for data in made if len(data) <= 4096)]


def _tlogs() -> Sequence[bytes]:
    """Packets with sound checksums, by pymavlink's packer."""
    from pymavlink.dialects.v20 import ardupilotmega as dialect

    sink = io.BytesIO()
    link = dialect.MAVLink(sink, srcSystem=1, srcComponent=1)
    made = bytearray()
    for k in range(8):
        sink.seek(0)
        sink.truncate()
        link.send(dialect.MAVLink_battery_status_message(0, 0, 1, 2500 + k, [4100] * 10, 4000, k, k, 90))
        made += struct.pack(">Q", 1_700_000_000_000_000 + k * 100_000) + sink.getvalue()
    return [bytes(made), *_of("bout.tlog")()]


def _measured() -> Sequence[bytes]:
    """A small measurement file by asammdf: two groups, one compressed."""
    import asammdf
    import numpy as np

    made = []
    for compression in (0, 1):
        with asammdf.MDF(version="4.10") as file:
            for count, name in ((20, "PackVoltage"), (5, "WeaponTemperature")):
                at = np.arange(count) / 10
                file.append([asammdf.Signal(20.0 + at, at, name=name, unit="V")], common_timebase=True)
            sink = io.BytesIO()
            file.save(sink, compression=compression)
            made.append(sink.getvalue())
    return made


DBC = """VERSION ""
NS_ :
BS_:
BU_: BMS ESC
BO_ 416 BatteryState: 8 BMS
 SG_ PackVoltage : 0|16@1+ (0.001,0) [0|65] "V" ESC
 SG_ PackCurrent : 16|16@1- (0.1,0) [-3000|3000] "A" ESC
 SG_ Alive : 56|4@1+ (1,0) [0|15] "" ESC

BO_ 432 Mixed: 8 ESC
 SG_ Page M : 0|8@1+ (1,0) [0|1] "" BMS
 SG_ CellVoltage1 m0 : 8|16@1+ (1,0) [0|5000] "mV" BMS
 SG_ Humidity m1 : 8|8@1+ (1,0) [0|100] "%" BMS

"""


def _database(folder: Path) -> One:
    from ingest.can_signals import load_dbc

    path = folder / "x.dbc"

    def one(data: bytes) -> object:
        path.write_bytes(data)
        return load_dbc(path)

    return one


def _every_sample() -> Sequence[bytes]:
    return [data[:4000] for _, data in samples().values()]


TARGETS = (
    Target("probes", "every format's probe, on a file's first bytes", _every_sample, _probes),
    Target("any_file", "detection and reading as `inspect` does it", _every_sample, _any_file),
    Target("delimited", "text logs", _texts, _reader("delimited text", ".csv"), mutate=lines),
    Target(
        "frames",
        "binary telemetry with a reading",
        _of("drive.bin"),
        _reader("binary telemetry", ".bin"),
        mutate=frames,
    ),
    Target(
        "can_text", "CAN traces in text", _of("candump.log", "screen.log"), _reader("CAN trace", ".log"), mutate=lines
    ),
    Target("can_asc", "CAN traces in ASC", _of("trace.asc"), _reader("CAN trace", ".asc"), mutate=lines),
    Target("can_blf", "CAN traces in BLF", _of("trace.blf"), _reader("CAN trace", ".blf")),
    Target("can_database", "the CAN database of --dbc", lambda: [DBC.encode()], _database, mutate=lines),
    Target("mavlink", "MAVLink telemetry logs", _tlogs, _reader("MAVLink telemetry", ".tlog"), mutate=packets),
    Target("dronecan", "DroneCAN in CAN traces", _of("node.log"), _reader("DroneCAN trace", ".log"), mutate=lines),
    Target("mdf_blocks", "the blocks of an MDF 4 file", _measured, _links, largest=16384),
    Target("mdf", "MDF 4 files, library included", _measured, _mdf, largest=16384, seconds=40.0, mutate=measurement),
)
