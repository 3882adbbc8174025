"""What is fuzzed: every reader, the TOML files, the store's files, the pages; for benchmarks/fuzz.py and the tests.

A target takes bytes and may end in two ways: it returns, or it raises an error of the project's own (AfterboutError).
"""

from __future__ import annotations

from benchmarks.fuzz_targets.target import Target

__all__ = ["Target", "targets"]


def targets() -> dict[str, Target]:
    """Every target by its name. Seeds are made when they are asked for."""
    from benchmarks.fuzz_targets import logs, pages, recordings, stores, texts

    every = (*texts.TARGETS, *logs.TARGETS, *stores.TARGETS, *recordings.TARGETS, *pages.TARGETS)
    return {target.name: target for target in every}
