"""CAN traces: our reading beside python-can's own reading of the same file.

    python -m benchmarks.can_traces [--messages 1000000] [--forms blf asc candump] [--repeat 3]

Prints one JSON document. The promise: no slower than 1.3 × the library's own reading. Ours hashes the file and gives
arrays; the library gives message objects, which are counted and dropped. Both run in this process, one after the other.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import can
import numpy as np

from ingest.can_traces import Trace

SUFFIX = {"blf": ".blf", "asc": ".asc", "candump": ".log"}


def make(path: Path, count: int, fd: bool) -> None:
    """Eight ids of 11 and 29 bits at 0.1 ms, with data that changes as that of a robot does."""
    random = np.random.default_rng(5)
    payload = random.integers(0, 256, (4096, 8), dtype=np.uint8)
    writer: Any = can.Logger(str(path))
    with writer:
        for k in range(count):
            writer.on_message_received(
                can.Message(
                    timestamp=1_700_000_000.0 + k * 1e-4,
                    arbitration_id=0x100 + k % 8 if k % 4 else 0x18FF0000 + k % 8,
                    is_extended_id=not k % 4,
                    data=payload[k % 4096],
                    channel=0,
                    is_fd=fd,
                )
            )


def ours(path: Path, kind: str) -> tuple[float, int]:
    start = time.perf_counter()
    trace = Trace(path, kind)
    frames = sum(block.size for block in trace.blocks())
    assert trace.sha256
    return time.perf_counter() - start, frames


def theirs(path: Path) -> tuple[float, int]:
    start = time.perf_counter()
    frames = sum(1 for _ in can.LogReader(str(path)))
    return time.perf_counter() - start, frames


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=1_000_000)
    parser.add_argument("--forms", nargs="+", choices=sorted(SUFFIX), default=sorted(SUFFIX))
    parser.add_argument("--fd", action="store_true", help="CAN FD frames")
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    result: dict[str, Any] = {"messages": options.messages}
    with tempfile.TemporaryDirectory() as folder:
        for form in options.forms:
            path = Path(folder) / f"trace{SUFFIX[form]}"
            make(path, options.messages, options.fd)
            best = min(ours(path, form) for _ in range(options.repeat))
            library = min(theirs(path) for _ in range(options.repeat))
            assert best[1] == library[1] == options.messages
            result[form] = {"s": round(best[0], 2), "library_s": round(library[0], 2)}
            result[form]["times_the_library"] = round(best[0] / library[0], 2)
    json.dump(result, sys.stdout)
    print()


if __name__ == "__main__":
    main()
