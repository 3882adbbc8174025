"""What the season itself wrote: samples, their metadata, results. Damaged, they must be named, never trusted."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from benchmarks.fuzz_targets.target import One, Target


def _samples(folder: Path) -> One:
    from ingest.matches import LogEntry
    from ingest.telemetry import read_files

    entry = LogEntry(sha256="0" * 64, name="x.csv")
    path = folder / "x_00000000.parquet"

    def one(data: bytes) -> object:
        path.write_bytes(data)
        return read_files([path], entry).samples

    return one


def _parquets() -> Sequence[bytes]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    from ingest.log import METADATA_KEY, Provenance

    made = []
    about = Provenance("x.csv", "0" * 64, "delimited text").to_json().encode()
    for compression in ("zstd", "none"):
        table = pa.table({"time_s": [0.0, 0.1, 0.2], "pack_voltage_V": [24.0, 23.9, 23.8]})
        sink = io.BytesIO()
        pq.write_table(
            table.replace_schema_metadata({METADATA_KEY: about}),
            sink,
            compression=compression,
            write_page_checksum=True,
        )
        made.append(sink.getvalue())
    return made


def _account(folder: Path) -> One:
    """The account of a log that lies in the metadata of its samples."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    from ingest.log import METADATA_KEY
    from ingest.matches import LogEntry
    from ingest.telemetry import read_files

    entry = LogEntry(sha256="0" * 64, name="x.csv")
    path = folder / "x_00000000.parquet"
    table = pa.table({"time_s": [0.0, 0.1]})

    def one(data: bytes) -> object:
        pq.write_table(table.replace_schema_metadata({METADATA_KEY: data}), path)
        return read_files([path], entry).provenance

    return one


def _accounts() -> Sequence[bytes]:
    from ingest.log import Clock, Column, Fault, Provenance

    made = Provenance(
        "x.csv", "0" * 64, "delimited text",
        columns=(Column("U", "number", "voltage", "pack_voltage_V", "V", "V", "certain", "its name"),),
        clock=Clock("t", "s", "certain", 0.0, 1.0, 50.0, (0.5,), ((0.1, 0.2),)),
        faults=(Fault("truncated", "repaired", "x"),),
    )  # fmt: skip
    return [made.to_json().encode()]


TARGETS = (
    Target("samples", "telemetry/…/<log>.parquet, checksums on", _parquets, _samples),
    Target("account", "the account of a log in its samples' metadata", _accounts, _account),
)
