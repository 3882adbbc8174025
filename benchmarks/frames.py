"""Decoding declared binary frames, in megabytes a second, beside plain hashing of the same file.

    python benchmarks/frames.py [--frames 4000000] [--repeat 3]

Prints one JSON document. The promise: at least 100 MB/s, hashing, checksum, naming and conversion included.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from ingest.binary.checksum import KINDS, over_frames
from ingest.formats import ReadOptions, open_log
from ingest.readings import EXAMPLE_BINARY_READING, parse_reading


def make(path: Path, count: int, damaged: float) -> None:
    """Frames of the example reading; a share of them with one wrong byte."""
    random = np.random.default_rng(3)
    with path.open("wb") as stream:
        for start in range(0, count, 500_000):
            k = np.arange(start, min(start + 500_000, count))
            frames = np.zeros((k.size, 14), dtype=np.uint8)
            frames[:, 0], frames[:, 1] = 0xAA, 0x55
            frames[:, 2:6] = (k * 10).astype("<u4").view(np.uint8).reshape(-1, 4)
            frames[:, 6:8] = (24000 - 500 * np.abs(np.sin(k / 1000))).astype("<u2").view(np.uint8).reshape(-1, 2)
            frames[:, 8:10] = (4000 + 3000 * np.sin(k / 100)).astype("<i2").view(np.uint8).reshape(-1, 2)
            check = over_frames(KINDS["crc16-ccitt"], frames, 2, 12)
            frames[:, 12:14] = check.astype("<u2").view(np.uint8).reshape(-1, 2)
            hurt = random.random(k.size) < damaged
            frames[hurt, 7] ^= 0x11
            stream.write(frames.tobytes())


def seconds(path: Path) -> float:
    start = time.perf_counter()
    reader = open_log(path, ReadOptions(reading=parse_reading(EXAMPLE_BINARY_READING)))
    for _ in reader.batches():
        pass
    assert reader.provenance.sha256
    return time.perf_counter() - start


def hashing(path: Path) -> float:
    start = time.perf_counter()
    with path.open("rb") as stream:
        hashlib.file_digest(stream, "sha256")
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=4_000_000)
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    result: dict[str, float] = {"frames": options.frames}
    with tempfile.TemporaryDirectory() as folder:
        for name, damaged in (("clean", 0.0), ("one_in_1000_damaged", 0.001), ("one_in_20_damaged", 0.05)):
            path = Path(folder) / f"{name}.bin"
            make(path, options.frames, damaged)
            megabytes = path.stat().st_size / 1e6
            best = min(seconds(path) for _ in range(options.repeat))
            result[f"{name}_MB_per_s"] = round(megabytes / best, 1)
            result["hashing_MB_per_s"] = round(megabytes / min(hashing(path) for _ in range(options.repeat)), 1)
    result["peak_MB"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    json.dump(result, sys.stdout)
    print()


if __name__ == "__main__":
    main()
