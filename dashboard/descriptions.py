"""The description files of a season as a server holds them: read again only where a file has changed."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from ingest.builds import Build, Match, Pack
from ingest.errors import AfterboutError, SeasonError
from ingest.season import Season

Stamp = tuple[int, int]  # time in ns, size
Stamps = dict[Path, Stamp]

Kind = TypeVar("Kind", Build, Pack, Match)


@dataclass(frozen=True)
class Described:
    """All that could be read, in the season's order, and the errors of what could not."""

    matches: tuple[Match, ...]
    packs: tuple[Pack, ...]
    problems: tuple[AfterboutError, ...]
    fingerprints: dict[str, str]  # match id -> SHA-256 over what its review rests on


class Descriptions:
    """Not for several threads at once: the owner holds a lock."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self._stamps: Stamps = {}
        self._held: Described | None = None
        self._shared: Stamps = {}
        self._matches: dict[Path, tuple[Stamp, Match | AfterboutError, bytes]] = {}

    def now(self) -> Described:
        """As the files stand now."""
        stamps = stamps_of(self.season.root)
        if self._held is None or stamps != self._stamps:
            self._held = self._read(stamps)
            self._stamps = stamps
        return self._held

    def _read(self, stamps: Stamps) -> Described:
        root = self.season.root
        shared = {path: stamp for path, stamp in stamps.items() if path.parent.name != "matches"}
        if shared != self._shared:  # a match may name what has come or gone
            self._matches.clear()
            self._shared = shared
        problems: list[AfterboutError] = []
        self._all("builds", self.season.build, problems)
        packs = self._all("packs", self.season.pack, problems)
        digests = {path: _digest(path) for path in shared}
        common = digests.get(root / "season.toml", b"")
        held: dict[Path, tuple[Stamp, Match | AfterboutError, bytes]] = {}
        for path, stamp in stamps.items():
            if path.parent.name == "matches":
                known = self._matches.get(path)
                held[path] = known if known is not None and known[0] == stamp else (stamp, *self._match(path))
        self._matches = held
        matches, fingerprints = [], {}
        for _, found, digest in held.values():
            if isinstance(found, AfterboutError):
                problems.append(found)
                continue
            matches.append(found)
            used = [root / "builds" / f"{found.build}.toml"] if found.build else []
            used += [root / "packs" / f"{pack}.toml" for pack in found.fitted_packs]
            parts = (common, digest, *(digests.get(path, b"") for path in used))
            fingerprints[found.id] = hashlib.sha256(b"".join(parts)).hexdigest()
        return Described(tuple(sorted(matches, key=_order)), tuple(packs), tuple(problems), fingerprints)

    def _match(self, path: Path) -> tuple[Match | AfterboutError, bytes]:
        try:
            return self.season.match(path.stem), _digest(path)
        except AfterboutError as error:
            return error, b""
        except OSError as error:  # taken away between the listing and now
            return SeasonError(f"cannot be read: {error.strerror}", file=path, mend="Look at it again."), b""

    def _all(self, kind: str, load: Callable[[str], Kind], problems: list[AfterboutError]) -> list[Kind]:
        out = []
        for name in self.season.ids(kind):
            try:
                out.append(load(name))
            except AfterboutError as error:
                problems.append(error)
        return out


def stamps_of(root: Path) -> Stamps:
    """Time and size of every description file of a season."""
    found: Stamps = {}
    files = [
        root / "season.toml",
        *(p for kind in ("builds", "packs", "matches") for p in sorted((root / kind).glob("*.toml"))),
    ]
    for file in files:
        if file.name.startswith("."):
            continue
        try:
            stat = file.stat()
        except OSError:  # taken away between the listing and now
            continue
        found[file] = (stat.st_mtime_ns, stat.st_size)
    return found


def _digest(path: Path) -> bytes:
    try:
        return hashlib.sha256(path.read_bytes()).digest()
    except OSError:
        return b""


def _order(match: Match) -> tuple[dt.datetime, str]:
    """By time, as Season.matches; those without a start come first."""
    start = match.start or dt.datetime.min.replace(tzinfo=dt.UTC)
    return (start if start.tzinfo else start.replace(tzinfo=dt.UTC)), match.id
