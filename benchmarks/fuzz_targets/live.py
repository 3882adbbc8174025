"""What a recorder looks at while it runs: datagrams from the network, and streams as they come, in pieces."""

from __future__ import annotations

import random
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchmarks.fuzz_targets.mutators import frames, lines
from benchmarks.fuzz_targets.target import One, Target

_NAMES = ("is_extended_id", "is_remote_frame", "is_error_frame", "is_fd", "bitrate_switch", "error_state_indicator")


def _datagram(folder: Path) -> One:
    """As the source does it: what is no frame is counted."""
    import msgpack

    from ingest.record.blocks import unpack_can
    from ingest.record.sources.can import packed_datagram
    from ingest.record.sources.socketcan import packed_frame

    def one(data: bytes) -> object:
        kernel = packed_frame(data)
        if kernel:
            unpack_can(kernel)
        try:
            return unpack_can(packed_datagram(data))
        except (ValueError, KeyError, TypeError, struct.error, msgpack.UnpackException):
            return None

    return one


def _datagrams() -> Sequence[bytes]:
    import msgpack

    made: list[bytes] = []
    for extended, data in ((False, b"\1\2\3"), (True, bytes(64)), (False, None)):
        about = dict.fromkeys(_NAMES, False) | {"is_extended_id": extended, "arbitration_id": 0x123, "dlc": 3}
        made.append(msgpack.packb(about | {"data": data, "timestamp": 1.5, "channel": None}))
    return made


def _other_values(data: bytes, rng: random.Random) -> bytes:
    """The same names with other values."""
    import msgpack

    try:
        about = msgpack.unpackb(data, raw=False)
        odd: tuple[Any, ...] = (
            2**31, 2**63, -1, 1e308, None, True, "x", b"\0" * 65, [1] * 9, {"a": 1}, [[[]]], b"", 2**29, float("nan"),
        )  # fmt: skip
        for _ in range(rng.randint(1, 3)):
            about[rng.choice(list(about))] = rng.choice(odd)
        return bytes(msgpack.packb(about))
    except (ValueError, TypeError, IndexError, KeyError, msgpack.UnpackException):
        return data[: rng.randrange(len(data) + 1)]


def _stream(folder: Path) -> One:
    """Text and declared frames through the live view's decoders, in pieces that the input's length decides."""
    from ingest.formats import ReadOptions
    from ingest.readings import EXAMPLE_BINARY_READING, parse_reading
    from ingest.record.figures import Decoder, FrameDecoder, TextDecoder

    reading = parse_reading(EXAMPLE_BINARY_READING)

    def one(data: bytes) -> object:
        rng, seen = random.Random(len(data)), 0
        decoders: list[Decoder] = [
            TextDecoder("x", ReadOptions()), FrameDecoder("x", ReadOptions(reading=reading), reading),
        ]  # fmt: skip
        for decoder in decoders:
            start = 0
            while start < len(data):
                end = start + rng.choice((1, 7, 60, 400, 4096))
                seen += sum(values.size for _, _, values in decoder.feed([(start, data[start:end])]))
                if rng.random() < 0.05:
                    decoder.skip()
                start = end
            decoder.torn(data)
        return seen

    return one


def _streams() -> Sequence[bytes]:
    from tests.ingest.test_probes import SAMPLES
    from tests.ingest.test_probes import frames as some_frames

    noise = random.Random(3).randbytes(300)
    table = b"time_ms,pack_voltage_V,pack_current_A\n" + b"".join(b"%d,24.%d,10.5\n" % (n * 10, n) for n in range(60))
    return [table, noise + table, some_frames(), *(SAMPLES[name][1][:4000] for name in ("clean.csv", "semicolons.csv"))]


def _either(data: bytes, rng: random.Random) -> bytes:
    return (frames if data[:2] == b"\xaa\x55" else lines)(data, rng)


TARGETS = (
    Target("datagram", "CAN frames from the network and from the kernel", _datagrams, _datagram, mutate=_other_values),
    Target("live", "the live view's decoders, in pieces", _streams, _stream, mutate=_either),
)
