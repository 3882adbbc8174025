"""The demo season: twelve invented matches at three invented events."""

from __future__ import annotations

from . import event1, event2, event3
from .plan import SEED, Plan


def plans(seed: int = SEED) -> tuple[Plan, ...]:
    """The twelve matches, in order."""
    return (*event1.matches(seed), *event2.matches(seed), *event3.matches(seed))
