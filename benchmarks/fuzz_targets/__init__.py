"""What is fuzzed: every reader, the TOML files, the store's files, recordings, the pages, whole commands.

For benchmarks/fuzz.py and the tests. A target takes bytes and may end in two ways: it returns, or it raises an error of
the project's own (AfterboutError).
"""

from __future__ import annotations

from benchmarks.fuzz_targets.target import Target

__all__ = ["Target", "targets"]


def targets() -> dict[str, Target]:
    """Every target by its name. Seeds are made when they are asked for."""
    from benchmarks.fuzz_targets import live, logs, pages, recordings, stores, texts, whole

    every = (*texts.TARGETS, *logs.TARGETS, *stores.TARGETS, *recordings.TARGETS, *live.TARGETS)
    every += (*pages.TARGETS, *whole.TARGETS)
    return {target.name: target for target in every}
