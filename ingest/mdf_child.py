"""The reading of an MDF file by asammdf in a process of its own.

On some damaged files the library's compiled parts crash, loop or ask for all memory there is: what happens here ends
this process only. It writes messages to its standard output, each an eight-byte length and a pickle of (kind, content).
"""

from __future__ import annotations

import contextlib
import pickle
import struct
import sys
import zlib
from typing import Any, BinaryIO, Final

RECORDS: Final = 200_000  # read at once
_TIME_SYNC: Final = 1  # cn_sync_type of a master channel in seconds (ASAM MDF 4.1)
_MASTERS: Final = (2, 3)  # cn_type: master, virtual master
# What asammdf raises on damaged files, beside its own MdfException, which the parent reads as "broke off".
_BROKEN: Final = (
    struct.error, zlib.error, ValueError, KeyError, IndexError, OverflowError, AttributeError, TypeError, MemoryError,
    AssertionError, OSError, RuntimeError, SystemError,
)  # fmt: skip
_UNQUESTIONED: Final = 64 << 20  # our choice
_MOST_PACKED: Final = 1100  # zlib, the packing of MDF 4, reaches 1032 to one (zlib.net/zlib_tech.html, from memory)
_MOST_MEMORY: Final = 4 << 30  # our choice, beside four times the file


def main(path: str, records: int) -> None:
    """Send "about", then the first block of each group, then the other blocks group by group, then "end"."""
    out = sys.stdout.buffer
    sys.stdout = sys.stderr  # nothing else may come between the messages
    _limit_memory(path)
    try:
        _send_all(out, path, records)
    except _BROKEN as error:
        lines = str(error).splitlines() or [""]
        send(out, "error", lines[0][:120] or type(error).__name__)


def send(out: BinaryIO, kind: str, content: Any) -> None:
    data = pickle.dumps((kind, content), protocol=5)
    out.write(struct.pack("<Q", len(data)))
    out.write(data)
    out.flush()


def _limit_memory(path: str) -> None:
    from pathlib import Path

    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        most = _MOST_MEMORY + 4 * Path(path).stat().st_size
        resource.setrlimit(resource.RLIMIT_AS, (most, most))


def _send_all(out: BinaryIO, path: str, records: int) -> None:
    from asammdf import MDF

    # An open file, not its name: the library would unpack some endings, and writes into unfinished files.
    with open(path, "rb") as stream:  # noqa: PTH123
        file = MDF(stream)
        began = file.start_time
        groups = [_described(file, number) for number in range(len(file.groups))]
        groups = [group for group in groups if group["records"] and group["channels"]]
        stream.seek(0, 2)
        _check_claim(groups, stream.tell())
        about = {
            "version": str(file.version),
            "began": began.isoformat() if began is not None else "",
            "groups": groups,
        }
        send(out, "about", about)
        for group in groups:
            send(out, "block", _block(file, group, 0, records))
        for group in groups:
            for start in range(records, group["records"], records):
                send(out, "block", _block(file, group, start, records))
        send(out, "end", None)


def _check_claim(groups: list[dict[str, Any]], size: int) -> None:
    """Raises ValueError where the groups claim more records than the file can hold: they would be made up for ever."""
    claimed = sum(group["records"] * group["bytes"] for group in groups)
    if claimed > max(_UNQUESTIONED, _MOST_PACKED * size):
        raise ValueError(f"it claims {claimed:,} bytes of records in {size:,}")


def _described(file: Any, number: int) -> dict[str, Any]:
    group = file.groups[number]
    about = group.channel_group
    master = next((c for c in group.channels if c.channel_type in _MASTERS), None)
    return {
        "number": number,
        "name": str(about.acq_name or ""),
        "records": int(about.cycles_nr),
        "bytes": max(1, int(about.samples_byte_nr)),
        "channels": [(k, str(c.name), str(c.unit or "")) for k, c in enumerate(group.channels) if c is not master],
        "master": str(master.name) if master is not None else None,
        "timed": master is not None and int(master.sync_type) == _TIME_SYNC,
    }


def _block(file: Any, group: dict[str, Any], start: int, records: int) -> tuple[int, Any, list[Any]]:
    """(group's number, seconds, channels) of some records; what is marked invalid becomes NaN."""
    import numpy as np

    wanted = [(None, group["number"], index) for index, _, _ in group["channels"]]
    count = min(records, group["records"] - start)
    some = file.select(
        wanted, record_offset=start, record_count=count, ignore_value2text_conversions=True, copy_master=False
    )
    columns = []
    for one in some:
        samples: Any = np.asarray(one.samples)
        bad = one.invalidation_bits
        if samples.ndim != 1 or samples.dtype.names or samples.dtype.kind not in "fiubSU":
            samples = None
        elif bad is not None and samples.dtype.kind in "fiub" and np.any(bad):
            samples = np.where(np.asarray(bad, dtype=bool), np.nan, samples.astype(np.float64))
        columns.append(samples)
    times = np.array(some[0].timestamps, dtype=np.float64)
    if group["timed"] and not np.isfinite(times).all():
        raise ValueError(f"the time of group {group['number'] + 1} is no number")
    if times.size != count or any(c is not None and len(c) != count for c in columns):
        raise ValueError(f"group {group['number'] + 1} ends before its last record")
    return group["number"], times, columns
