"""What the season's files were when they were last seen: results/checksums.json.

A description belongs to its user: changed bytes are an edit, and welcome. Only where the bytes differ while the size
and the time of writing do not was nobody at work: then the disk, or a copy, has damaged it. (Known limits: damage that
came with a new time of writing, as by copying with other tools, cannot be told from an edit, and a file is known only
from the first command after it was written.) The tables of results are held to the same.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ingest.errors import AfterboutError, StoreError
from ingest.sealed import sealed, unsealed
from ingest.store import hash_file

if TYPE_CHECKING:
    from ingest.season import Season

LEDGER = "checksums.json"
_COARSE_NS = 3_000_000_000  # the file system of memory cards (FAT) keeps two seconds
_DESCRIPTIONS = ("builds", "packs", "matches", "readings", "examples")
Seen = list[Any]  # sha256, bytes, time of writing in ns


def descriptions(season: Season) -> list[Path]:
    """season.toml and every description, those that cannot be read too."""
    found = [season.root / "season.toml", season.root / ".gitignore"]
    for kind in _DESCRIPTIONS:
        found += sorted(p for p in (season.root / kind).glob("*.toml") if not p.name.startswith("."))
    return [path for path in found if path.is_file()]


def read_ledger(season: Season) -> dict[str, Seen]:
    """By the path inside the season; empty where there is none, or it is damaged itself."""
    try:
        files: dict[str, Seen] = unsealed((season.results_path / LEDGER).read_bytes())["files"]
        return {name: seen for name, seen in files.items() if len(seen) == 3}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def remember(season: Season, tables: Iterable[Path] = ()) -> None:
    """Enter what is new or edited among the descriptions and these tables.

    A season that cannot be written goes without.
    """
    before = read_ledger(season)
    files = {name: seen for name, seen in before.items() if name.startswith("results/")}
    for path in (*descriptions(season), *tables):
        name = _name(season, path)
        known = before.get(name)
        stamp = _stamp(path)
        # one with the same time is not hashed again: what damage there is stays to be found
        seen = known if known is not None and stamp is not None and known[2] == stamp[1] else _seen(path)
        if seen is not None and not _too_new(seen[2]):
            files[name] = seen
    files = {name: seen for name, seen in files.items() if (season.root / name).is_file()}
    if files != before:
        try:
            season.store.write_text(season.results_path / LEDGER, sealed({"files": files}))
        except StoreError:
            return


def damaged(season: Season) -> list[Path]:
    """Descriptions and tables whose bytes changed though nobody wrote to them."""
    found = []
    for name, (sha256, size, written) in read_ledger(season).items():
        path = season.root / name
        stamp = _stamp(path)
        if stamp is None or stamp[1] != written:
            continue
        now = _seen(path)
        if now is None or now[:2] != [sha256, size]:
            found.append(path)
    return found


def as_written(season: Season, tables: Iterable[Path]) -> bool | None:
    """Whether these files of results have the bytes that they were written with; None: one was never entered."""
    known = read_ledger(season)
    answers = []
    for path in tables:
        entered, now = known.get(_name(season, path)), _seen(path)
        if entered is None:
            return None
        answers.append(now is not None and now[0] == entered[0])
    return all(answers)


def _too_new(written: int) -> bool:
    """Whether a file could still be edited within the same time of writing: some disks keep whole seconds only."""
    return written % 1_000_000_000 == 0 and time.time_ns() - written < _COARSE_NS


def _name(season: Season, path: Path) -> str:
    return path.relative_to(season.root).as_posix()


def _stamp(path: Path) -> Seen | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return [found.st_size, found.st_mtime_ns]


def _seen(path: Path) -> Seen | None:
    stamp = _stamp(path)
    try:
        return None if stamp is None else [hash_file(path), *stamp]
    except AfterboutError:
        return None
