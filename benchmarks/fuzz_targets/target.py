"""One thing to fuzz."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks.fuzz_targets.mutators import Mutator

One = Callable[[bytes], object]


@dataclass(frozen=True)
class Target:
    """name    of the target and of the files kept in tests/robust/found/<name>/
    what       what is fuzzed, in words
    seeds      sound inputs to start from; the first is enough for a short run
    prepare    (scratch folder) -> the function that takes one input
    watch      packages whose branches guide the fuzzer
    largest    bytes of an input
    seconds    what one input may take; more is a finding
    mutate     changes that keep the form of an input; None: bytes only
    """

    name: str
    what: str
    seeds: Callable[[], Sequence[bytes]]
    prepare: Callable[[Path], One]
    watch: tuple[str, ...] = ("ingest",)
    largest: int = 4096
    seconds: float = 10.0
    mutate: Mutator | None = None
