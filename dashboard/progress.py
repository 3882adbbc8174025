"""Progress of long work on stderr: only on a terminal, only after a second, gone when done."""

from __future__ import annotations

import sys
import time
from types import TracebackType

SHOW_AFTER_S = 1.0


class Progress:
    """with Progress("adding") as show: show(0.4, "weapon.csv")"""

    def __init__(self, what: str) -> None:
        self.what = what
        self._began = time.monotonic()
        self._last = 0.0
        self._shown = False

    def __enter__(self) -> Progress:
        return self

    def __call__(self, share: float, detail: str = "") -> None:
        now = time.monotonic()
        if not sys.stderr.isatty() or now - self._began < SHOW_AFTER_S or now - self._last < 0.1:
            return
        self._last = now
        self._shown = True
        print(f"\r{self.what} {100 * share:3.0f} % {detail[:50]:<50}", end="", file=sys.stderr, flush=True)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._shown:
            print("\r" + " " * (len(self.what) + 58) + "\r", end="", file=sys.stderr, flush=True)
