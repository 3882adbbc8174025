"""The other end of mdf_child: its messages, or a refusal where it crashes, falls silent or says that it cannot read."""

from __future__ import annotations

import pickle
import queue
import struct
import subprocess
import sys
import threading
from collections.abc import Generator
from pathlib import Path
from typing import IO, Any, Final

from ingest.errors import UnreadableLog

SILENCE_S: Final = 30.0  # our choice, beside a second for each 20 MB: longer without a block is no reading any more
_BYTES_A_SECOND: Final = 20e6
_MEND: Final = "Save it again with the recorder's own software."


def messages(path: Path, records: int) -> Generator[tuple[str, Any], None, None]:
    """("about", …) and ("block", …) in the order of mdf_child. Raises UnreadableLog."""
    command = (
        f"import sys; sys.path[:] = {sys.path!r}; from ingest.mdf_child import main; main({str(path)!r}, {records})"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", command], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert child.stdout is not None
    arrived: queue.Queue[tuple[str, Any] | None] = queue.Queue(maxsize=2)
    stopped = threading.Event()
    reader = threading.Thread(target=_receive, args=(child.stdout, arrived, stopped), daemon=True)
    reader.start()
    patience = SILENCE_S + path.stat().st_size / _BYTES_A_SECOND
    try:
        while True:
            try:
                message = arrived.get(timeout=patience)
            except queue.Empty:
                raise _refusal(path, f"its reading came to nothing within {patience:.0f} s") from None
            if message is None:
                raise _refusal(path, "its reading broke off")
            if message[0] == "error":
                raise _refusal(path, str(message[1]))
            if message[0] == "end":
                return
            yield message
    finally:
        stopped.set()
        child.kill()
        child.wait()
        reader.join(timeout=5.0)
        child.stdout.close()


def _receive(pipe: IO[bytes], arrived: queue.Queue[tuple[str, Any] | None], stopped: threading.Event) -> None:
    def put(message: tuple[str, Any] | None) -> None:
        while not stopped.is_set():
            try:
                return arrived.put(message, timeout=0.2)
            except queue.Full:
                continue

    try:
        while not stopped.is_set():
            head = pipe.read(8)
            if len(head) < 8:
                break
            (length,) = struct.unpack("<Q", head)
            data = pipe.read(length)
            if len(data) < length:
                break
            put(pickle.loads(data))  # from our own child
    except (OSError, ValueError, MemoryError, pickle.UnpicklingError):
        pass
    put(None)


def _refusal(path: Path, what: str) -> UnreadableLog:
    return UnreadableLog(f"is a damaged MDF file: {what}", file=path, mend=_MEND)
