"""What a kept result of a match depends on, told without reading what has not changed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import ingest
from ingest.errors import AfterboutError, StoreError
from ingest.places import is_remote
from ingest.sealed import sealed, unsealed
from ingest.season import Season

FORM = 2  # of the rows; raised when a metric's meaning changes, so that older results are done again
KEYS_FILE = "season_keys.json"
AT_ONCE = 16  # our choice: questions to an object store under way at once; each takes some tens of milliseconds
_FIELDS = {"build", "packs", "start", "stamps", "fingerprint"}

Key = list[Any]


@dataclass(frozen=True)
class Failure:
    """A match that could not be reviewed: where, what and the mend stand in `reason`."""

    match: str
    reason: str


@dataclass(frozen=True)
class Keys:
    """key and start (ISO 8601 or "") of every match that can be read, and the others."""

    key: dict[str, Key]
    start: dict[str, str]
    failed: tuple[Failure, ...]


@lru_cache(maxsize=1)
def app_version() -> str:
    """The version and, as code also changes without one, a hash of what reads logs and reviews them."""
    try:
        name = version("afterbout")
    except PackageNotFoundError:
        name = "not installed"
    digest = hashlib.sha256()
    for folder in (Path(ingest.__file__).parent, Path(__file__).parent):
        for path in sorted(p for p in folder.rglob("*") if p.suffix in (".py", ".csv", ".toml") and p.is_file()):
            digest.update(f"{path.relative_to(folder.parent).as_posix()}\0".encode() + path.read_bytes() + b"\0")
    return f"{name} {digest.hexdigest()[:16]}"


def keys_of(season: Season, wanted: list[str], *, reuse: bool, on_change: Callable[[], None] | None = None) -> Keys:
    """Content (Season.fingerprint), version and form of each match.

    reuse: a match whose files have the size and time that they had last time keeps its fingerprint unread; a thousand
    matches then take milliseconds. Our choice: a file changed within the clock's step and to the same size is missed;
    `--rebuild` is there for that. on_change: called at the first match that has changed.
    """
    before = _read(season) if reuse else {}
    stamp = _Stamps(season)
    entries: dict[str, Any] = {}
    failed: dict[str, str] = {}
    changed: list[str] = []
    for match_id in wanted:
        entry = before.get(match_id)
        if entry is not None and entry["stamps"] == stamp.of(match_id, entry["build"], entry["packs"]):
            entries[match_id] = entry
        else:
            if not changed and on_change is not None:
                on_change()
            changed.append(match_id)

    def look(match_id: str) -> dict[str, Any] | str:
        try:
            match = season.match(match_id)
            packs = list(match.fitted_packs)
            return {
                "build": match.build or "",
                "packs": packs,
                "start": match.start.isoformat() if match.start is not None else "",
                "stamps": stamp.of(match_id, match.build or "", packs),
                "fingerprint": season.fingerprint(match),
            }
        except (AfterboutError, OSError) as error:
            return str(error)

    for match_id, found in zip(changed, several(season, look, changed), strict=True):
        if isinstance(found, str):
            failed[match_id] = found
        else:
            entries[match_id] = found
    if reuse and any(before.get(match_id) != entry for match_id, entry in entries.items()):
        there = set(season.ids("matches"))
        _write(season, {**{m: e for m, e in before.items() if m in there}, **entries})
    return Keys(
        {m: [entries[m]["fingerprint"], app_version(), FORM] for m in wanted if m in entries},
        {m: e["start"] for m, e in entries.items()},
        tuple(Failure(m, failed[m]) for m in wanted if m in failed),
    )


def unchanged(season: Season) -> dict[str, tuple[str, Key]]:
    """match -> (its build, key) of those whose files are as they were when they were last keyed, the latest first.

    Reads sizes and times alone, and writes nothing; empty where no run was made, and on an object store, which has no
    such times.
    """
    if is_remote(season.root) or not (season.results_path / KEYS_FILE).is_file():
        return {}
    stamp = _Stamps(season)
    there = [(m, e) for m, e in _read(season).items() if e["stamps"] == stamp.of(m, e["build"], e["packs"])]
    there.sort(key=lambda pair: (pair[1]["start"], pair[0]), reverse=True)
    return {m: (e["build"], [e["fingerprint"], app_version(), FORM]) for m, e in there}


class _Stamps:
    """Size and time of writing of the files that a match rests on; each file is asked for once."""

    def __init__(self, season: Season) -> None:
        self._root = season.root
        self._known: dict[tuple[str, str], list[int]] = {}

    def of(self, match_id: str, build: str, packs: list[str]) -> list[list[int]]:
        named = [("", "season"), ("matches", match_id), *([("builds", build)] if build else [])]
        return [self._one(kind, name) for kind, name in (*named, *(("packs", pack) for pack in packs))]

    def _one(self, kind: str, name: str) -> list[int]:
        if (kind, name) not in self._known:
            path = (self._root / kind if kind else self._root) / f"{name}.toml"
            try:
                found = path.stat()
                self._known[kind, name] = [found.st_size, found.st_mtime_ns]
            except (OSError, AfterboutError):
                self._known[kind, name] = []
        return self._known[kind, name]


def several(season: Season, ask: Callable[[str], Any], names: Iterable[str]) -> Iterator[Any]:
    """ask(name) for each, in order; several at once where each is a question to an object store."""
    if not is_remote(season.root):
        yield from map(ask, names)
        return
    rest = list(names)
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for start in range(0, len(rest), 4 * AT_ONCE):  # what waits stays small, however many matches there are
            yield from pool.map(ask, rest[start : start + 4 * AT_ONCE])


def _read(season: Season) -> dict[str, Any]:
    try:
        document = unsealed((season.results_path / KEYS_FILE).read_bytes())
        found: dict[str, Any] = document["matches"]
        if document["version"] == [app_version(), FORM] and all(set(e) >= _FIELDS for e in found.values()):
            return found
    except (OSError, ValueError, KeyError, TypeError, AttributeError):  # absent, cut short, or of another version
        return {}
    return {}


def _write(season: Season, entries: dict[str, Any]) -> None:
    text = sealed({"version": [app_version(), FORM], "matches": entries})
    try:
        season.store.write_text(season.results_path / KEYS_FILE, text)
    except StoreError:  # it only saves reading: the next run does without
        return
