"""Kill -9 at any moment of a recorder that goes on in one file again and again: the long form of the tests' kills.

    python -m benchmarks.crash_recorder [--kills 500] [--seed 1]

Each time the file is read whole: everything older is there unchanged, and of what the killed recorder had taken in at
most the last half second is missing. Every third time the end of the file is damaged too, so that it must be cut.
Linux and macOS.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path

from ingest.record.blocks import packets_in, whole_blocks
from tests.ingest.record.made_recorder import folder_in_memory, recorder

MOST_LOST_MS = 500
MOST_PARTS = 100  # of one file; then a new one is begun


def rows_of(path: Path) -> list[tuple[int, bytes]]:
    """(part, row) of every row in the file."""
    return [(b.part, p.data) for b in whole_blocks(path) if b.kind == b"pack" for p in packets_in(b.payload)]


def crash(kills: int, seed: int, folder: Path) -> tuple[list[str], int]:
    """(what was wrong, the most that was lost in ms)."""
    chance, faults, most = random.Random(seed), [], 0
    kept: list[tuple[int, bytes]] = []
    path, part = folder / "0.rec", 0
    for kill in range(kills):
        if part == MOST_PARTS:
            path, part, kept = folder / f"{kill}.rec", 0, []
        child = recorder(path)
        child.wait_until(chance.randint(1, 500))
        taken = child.kill()
        found = rows_of(path)
        own = [row for number, row in found if number == part]
        if found[: len(kept)] != kept:
            faults.append(f"kill {kill}: an older row was lost or changed")
        if own != [b"%d\n" % n for n in range(len(own))]:
            faults.append(f"kill {kill}: rows that were not recorded so")
        if len(own) < taken - MOST_LOST_MS:
            faults.append(f"kill {kill}: {taken - len(own)} ms lost")
        most = max(most, taken - len(own))
        if kill % 3 == 0:
            raw = path.read_bytes()
            path.write_bytes(raw + chance.randbytes(chance.randint(1, 300)))
        kept, part = found, part + 1
    return faults, most


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    began = time.monotonic()
    with folder_in_memory(Path(tempfile.gettempdir())) as folder:
        faults, most = crash(chosen.kills, chosen.seed, folder)
    print(f"{chosen.kills} kills in {time.monotonic() - began:.0f} s, {len(faults)} faults; at most {most} ms lost")
    for fault in faults[:40]:
        print(fault)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
