"""Writes a recording: a new one, or one that goes on behind the last whole block of an older one."""

from __future__ import annotations

import json
import secrets
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Final

from ingest.errors import StoreError
from ingest.record.blocks import PACKET, Packet, SourceNote, file_mark, pack_block
from ingest.record.recovery import Recovered
from ingest.store import GoOn, Store, translated

# Our choice: a killed process or a power cut loses what waits here, half a second at most
# together with a turn of the session; ten blocks a second cost some hundred bytes.
FLUSH_NS: Final = 100_000_000
SYNC_NS: Final = 250_000_000
# Our choice: who the sources are is written again after a second and then every minute, so that damage at the
# beginning of a file costs its beginning and not the whole.
HEAD_AGAIN_NS: Final = (1_000_000_000, 60_000_000_000)


class RecordingWriter:
    """A recording that grows. Packets wait at most 0.1 s for their block, a block at most 0.25 s for the disk.

    clock_ns, boot: what the computer's clock showed when the recording's own was zero, and since which start of the
    computer it counts (None: not known); by them two parts of a file are placed. Every method raises StoreError.
    """

    def __init__(
        self,
        store: Store,
        path: Path,
        sources: Sequence[SourceNote],
        wall_start: datetime,
        *,
        clock_ns: int = 0,
        boot: str | None = None,
        behind: Recovered | None = None,
    ) -> None:
        self._path = path
        self._packets: list[bytes] = []
        self._flushed = self._synced = 0
        about = {
            "wall_start": wall_start.isoformat(),
            "clock_ns": clock_ns,
            "boot": boot,
            "sources": [asdict(s) for s in sources],
        }
        self._head = json.dumps(about).encode()
        self._heads = 0
        self._headed_ns: int | None = None
        if behind is None:
            self._output = store.record(path)
            self._number, self._part, self._tag = 0, 0, secrets.randbits(32)
            self.size = self.begun_at = 0
        else:
            where = GoOn(behind.end, behind.end + behind.torn_bytes, lambda: behind.cut(store))
            self._output = store.go_on(path, where)
            self._number, self._part, self._tag = behind.number + 1, behind.part + 1, behind.tag
            self.size = self.begun_at = behind.end
        try:
            self._begin(new=behind is None)
        except StoreError:
            self._output.abandon()
            raise

    def _begin(self, new: bool) -> None:
        """The first block of a part is on the disk, and the name of a new file, before anything is taken in."""
        if new:
            self._put(file_mark(self._tag))
        self._block(b"head", self._head)
        self._output.sync()
        if new:
            with translated(self._path):
                self._output.sync_folder()

    @property
    def bytes_written(self) -> int:
        """By this writer; size is that of the file."""
        return self.size - self.begun_at

    def _put(self, data: bytes) -> None:
        with translated(self._path):
            self._output.write(data)
        self.size += len(data)

    def _block(self, kind: bytes, payload: bytes) -> None:
        self._put(pack_block(kind, payload, self.size, self._number, self._part, self._tag))
        self._number += 1

    def write(self, packets: Sequence[Packet]) -> None:
        """Keep what came; it is in its block after the next tick() that is due."""
        pack = PACKET.pack
        for source, t_ns, data in packets:
            self._packets.append(pack(source, t_ns, len(data)))
            self._packets.append(data)

    def _gather(self) -> None:
        if self._packets:
            self._block(b"pack", b"".join(self._packets))
            self._packets.clear()

    def event(self, source: int, t_ns: int, kind: str, text: str) -> None:
        """A mark between what was written before and what comes."""
        self._gather()
        self._block(b"evnt", json.dumps([source, t_ns, kind, text]).encode())

    def tick(self, now_ns: int) -> None:
        """Call it often: it hands over and syncs what is due. now_ns: on the recording's clock."""
        if now_ns - self._flushed >= FLUSH_NS:
            self._gather()
            self._again(now_ns)
            self._flushed = now_ns
            with translated(self._path):
                self._output.flush()
        if now_ns - self._synced >= SYNC_NS:
            self._synced = now_ns
            self._output.sync()

    def _again(self, now_ns: int) -> None:
        if self._headed_ns is None:
            self._headed_ns = now_ns
        elif now_ns - self._headed_ns >= HEAD_AGAIN_NS[min(self._heads, 1)]:
            self._block(b"head", self._head)
            self._headed_ns, self._heads = now_ns, self._heads + 1

    def close(self, reason: str) -> None:
        """The last block says why it ended."""
        try:
            self._gather()
            self._block(b"end ", json.dumps(reason).encode())
            self._output.finish()
        except StoreError:
            self._output.abandon()
            raise
