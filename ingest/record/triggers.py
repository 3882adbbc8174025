"""When a recording starts and ends by itself: a figure passes a limit, a time, a size. Words of the command line."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ingest.errors import UsageError
from ingest.record.figures import Figure

_COMPARE: Final[dict[str, Callable[[Any, float], Any]]] = {
    ">": operator.gt, ">=": operator.ge, "<": operator.lt, "<=": operator.le,
}  # fmt: skip
_CONDITION: Final = re.compile(r"^\s*(\S.*?)\s*(>=|<=|>|<)\s*([-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?)\s*$")
_SIZE: Final = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(kB|MB|GB)\s*$", re.IGNORECASE)
_TIME: Final = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(s|min|h)?\s*$", re.IGNORECASE)
_FACTOR: Final = {"kb": 1e3, "mb": 1e6, "gb": 1e9, "s": 1.0, "min": 60.0, "h": 3600.0, "": 1.0}
LEAST_ROTATE_BYTES: Final = 10_000  # our choice: smaller files would be made faster than they can be named
LEAST_ROTATE_S: Final = 1.0


@dataclass(frozen=True)
class Condition:
    """`pack_voltage_V > 18`: met by any sample of that name, in the unit that the live view shows."""

    name: str
    sign: str
    limit: float

    @property
    def text(self) -> str:
        return f"{self.name} {self.sign} {self.limit:g}"

    def met_by(self, figures: Sequence[Figure]) -> bool:
        compare = _COMPARE[self.sign]
        return any(name == self.name and bool(np.any(compare(values, self.limit))) for name, _, values in figures)


def parse_condition(text: str, option: str) -> Condition:
    """Raises UsageError."""
    found = _CONDITION.match(text)
    if found is None:
        raise UsageError(
            f"{option} is no condition", found=text, expected="NAME > NUMBER, or with >=, <, <=",
            mend=f'For example: {option} "pack_voltage_V > 18"',
        )  # fmt: skip
    return Condition(found[1], found[2], float(found[3]))


def parse_rotation(text: str) -> tuple[float | None, int | None]:
    """(seconds, None) or (None, bytes): 600, 10min, 100MB. Raises UsageError."""
    size, time = _SIZE.match(text), _TIME.match(text)
    if size is not None:
        count = int(float(size[1]) * _FACTOR[size[2].lower()])
        if count >= LEAST_ROTATE_BYTES:
            return None, count
    elif time is not None:
        seconds = float(time[1]) * _FACTOR[(time[2] or "").lower()]
        if seconds >= LEAST_ROTATE_S:
            return seconds, None
    raise UsageError(
        "--rotate-every is no length", found=text, expected="seconds (1 or more) or a size (10kB or more)",
        mend="For example: --rotate-every 10min, or --rotate-every 100MB",
    )  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """When to start, to stop and to begin a new file; None where nothing is said. Times in seconds, sizes in bytes."""

    start_when: Condition | None = None
    stop_when: Condition | None = None
    for_s: float | None = None
    max_bytes: int | None = None
    rotate_s: float | None = None
    rotate_bytes: int | None = None

    @property
    def rotates(self) -> bool:
        return self.rotate_s is not None or self.rotate_bytes is not None
