"""Goes on in a recording that is there: what is whole is kept, a torn end is cut off and kept beside it."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from ingest.errors import StoreError, UnreadableLog
from ingest.record.blocks import MAGIC, Block, Damage, SourceNote, packets_in, scan
from ingest.record.notes import Head, head_of
from ingest.store import Store, hash_file, translated

_COPY_BYTES: Final = 1 << 20
MOST_KEPT: Final = 999


@dataclass
class Recovered:
    """What stands in a recording up to its last whole block, and where the next part begins.

    end: the place behind the last whole block; number, part: of that block; torn_bytes: behind it, cut by cut().
    last_ns: the last stamp on the clock of that part, None where nothing came.
    """

    path: Path
    head: Head
    end: int
    number: int
    part: int
    tag: int
    torn_bytes: int
    last_ns: int | None
    ended: str | None
    damages: list[Damage] = field(default_factory=list)
    kept_in: Path | None = None

    @property
    def sources(self) -> list[SourceNote]:
        return self.head.sources

    def differs(self, notes: Sequence[SourceNote]) -> str:
        """Why other sources cannot go on in it, "" where they can: one stream of a file is one source's."""
        here, there = ([(n.name, n.kind) for n in some] for some in (self.sources, notes))
        if here != there:
            names = [", ".join(f"{name} ({kind})" for name, kind in some) for some in (here, there)]
            return f"it holds {names[0]}, and this would be {names[1]}"
        for old, new in zip(self.sources, notes, strict=True):
            if old.reading is not None and new.reading is not None and old.reading != new.reading:
                return f"it carries another reading of {old.name}"
        return ""

    def cut(self, store: Store) -> None:
        """Keep the torn end in a file beside the recording, before it is cut off there.

        Raises StoreError, and then nothing was changed.
        """
        if not self.torn_bytes:
            return
        for number in range(1, MOST_KEPT + 1):
            beside = self.path.with_name(f"{self.path.name}.torn-{number:03d}")
            if not beside.exists():
                with store.atomic(beside) as output:
                    for piece in _pieces(self.path, self.end):
                        output.write(piece)
                self.kept_in = beside
                return
            if beside.stat().st_size == self.torn_bytes and _same(beside, self.path, self.end):
                self.kept_in = beside  # an earlier try was stopped just behind the copy
                return
        raise StoreError(
            f"was torn {MOST_KEPT} times already", file=self.path, mend="Move its .torn files away, and try again."
        )


def recover(path: Path) -> Recovered:
    """Read the whole file, checksum by checksum. Raises UnreadableLog where it is no recording of ours."""
    try:
        with path.open("rb") as stream:
            begins = stream.read(len(MAGIC))
        size = path.stat().st_size
    except OSError as error:
        raise UnreadableLog(f"cannot be read: {error.strerror}", file=path, mend="Name another file.") from None
    if begins != MAGIC:
        raise UnreadableLog("is no recording", file=path, mend="Name another file: this one is left as it is.")
    head: Head | None = None
    last: Block | None = None
    damages: list[Damage] = []
    last_ns: int | None = None
    ended: str | None = None
    for found in scan(path):
        if isinstance(found, Damage):
            damages.append(found)
            continue
        if last is None or found.part != last.part:
            last_ns = None
        last, ended = found, None
        try:
            if found.kind == b"head":
                head = head_of(found.payload)
            elif found.kind == b"pack":
                last_ns = max([last_ns or 0, *(packet.t_ns for packet in packets_in(found.payload))])
            elif found.kind == b"end ":
                ended = str(json.loads(found.payload))
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError, struct.error):
            raise UnreadableLog(
                "holds a block that no recorder of ours wrote", file=path, byte=found.start, mend="Name another file."
            ) from None
    if last is None or head is None:
        raise UnreadableLog("holds no whole block of a recording", file=path, mend="Name another file.")
    return Recovered(
        path, head, last.end, last.number, last.part, last.tag, size - last.end, last_ns, ended, damages
    )  # fmt: skip


def _pieces(path: Path, start: int) -> Iterator[bytes]:
    with translated(path), path.open("rb") as stream:
        stream.seek(start)
        while piece := stream.read(_COPY_BYTES):
            yield piece


def _same(beside: Path, path: Path, start: int) -> bool:
    import hashlib

    digest = hashlib.sha256()
    for piece in _pieces(path, start):
        digest.update(piece)
    return digest.hexdigest() == hash_file(beside)
