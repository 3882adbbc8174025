"""A worse log gives wider intervals, never another truth: each holds the figure of the whole log, no over passes.

The whole log of the demo is the reference; the degradations know nothing of the analysis (tests/synthetic/degrade.py).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from benchmarks.degraded import held
from ingest.season import Season

CASES = 25  # every match in every way; `python -m benchmarks.degraded` runs 200
WANTED = 0.95


def test_intervals_hold_and_no_over_passes(demo: tuple[Path, dict[str, Any]]) -> None:
    found = held(Season(demo[0]), CASES, seed=3)
    assert found.lost == []
    # A joint that came loose needs two taps that agree in time; a 10 Hz log may not show it (docs/accuracy.md).
    assert len(found.unseen) <= 1
    assert sum(found.asked.values()) > 300
    assert found.share >= WANTED, "\n".join(found.missed)
