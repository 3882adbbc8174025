"""A forked child in place of a started one: the same code of the child runs, without a new interpreter."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class Forked:
    """As much of subprocess.Popen as ingest.mdf_parent uses."""

    def __init__(self, command: list[str], **_: Any) -> None:
        import asammdf  # noqa: F401  loaded once, before the forks

        from ingest import mdf_child

        call = re.search(r"main\((.*), (\d+)\)$", command[2])
        assert call is not None, "the child is started in another way now"
        path, records = eval(call[1]), int(call[2])
        read_end, write_end = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            try:
                for number in (signal.SIGALRM, signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS, signal.SIGFPE):
                    signal.signal(number, signal.SIG_DFL)  # the fuzzer's own handlers are not for the child
                signal.alarm(60)
                os.close(read_end)
                os.dup2(write_end, 1)
                null = os.open(os.devnull, os.O_WRONLY)
                os.dup2(null, 2)
                import sys

                sys.stdout = sys.__stdout__ = kept = os.fdopen(1, "w")  # kept: closed only at the end
                mdf_child.main(path, records)
                kept.flush()
            finally:
                os._exit(0)
        os.close(write_end)
        self.stdout = os.fdopen(read_end, "rb")
        self._ended = False

    def kill(self) -> None:
        if not self._ended:
            os.kill(self.pid, signal.SIGKILL)

    def wait(self) -> int:
        if not self._ended:
            self._ended = True
            return os.waitpid(self.pid, 0)[1]
        return 0


@contextmanager
def in_forks() -> Iterator[None]:
    from ingest import mdf_parent

    before = mdf_parent.subprocess.Popen
    mdf_parent.subprocess.Popen = Forked  # type: ignore[misc, assignment]
    try:
        yield
    finally:
        mdf_parent.subprocess.Popen = before  # type: ignore[misc]
