"""A file layer that fails where it is told to."""

from __future__ import annotations

import os
from pathlib import Path

from ingest.store import FileLayer


class FailingLayer(FileLayer):
    """Fails at the n-th call of one kind, with one error; may also write short."""

    def __init__(self, kind: str, at: int, error: int, short: bool = False) -> None:
        self.kind, self.left, self.error, self.short = kind, at, error, short

    def _count(self, kind: str) -> None:
        if kind == self.kind:
            self.left -= 1
            if self.left < 0:
                raise OSError(self.error, os.strerror(self.error))

    def create(self, path):  # type: ignore[no-untyped-def]
        self._count("create")
        return super().create(path)

    def write(self, file, data):  # type: ignore[no-untyped-def]
        self._count("write")
        return super().write(file, data[: max(1, len(data) // 2)] if self.short else data)

    def sync(self, file):  # type: ignore[no-untyped-def]
        self._count("sync")
        super().sync(file)

    def replace(self, source: Path, target: Path) -> None:
        self._count("replace")
        super().replace(source, target)

    def make_folder(self, path: Path) -> None:
        self._count("folder")
        super().make_folder(path)
