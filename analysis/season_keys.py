"""What a kept result of a match depends on, told without reading what has not changed."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from ingest.errors import AfterboutError, StoreError
from ingest.season import Season

FORM = 1  # of the rows; raised when a metric's meaning changes, so that older results are done again
KEYS_FILE = "season_keys.json"
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


def app_version() -> str:
    try:
        return version("afterbout")
    except PackageNotFoundError:
        return "not installed"


def keys_of(season: Season, wanted: list[str], *, reuse: bool) -> Keys:
    """Content (Season.fingerprint), version and form of each match.

    reuse: a match whose files have the size and time that they had last time keeps its fingerprint unread; a thousand
    matches then take milliseconds. Our choice: a file changed within the clock's step and to the same size is missed;
    `--rebuild` is there for that.
    """
    before = _read(season) if reuse else {}
    stamps: dict[Path, list[int]] = {}

    def stamp(path: Path) -> list[int]:
        if path not in stamps:
            try:
                found = path.stat()
                stamps[path] = [found.st_size, found.st_mtime_ns]
            except OSError:
                stamps[path] = []
        return stamps[path]

    def stamps_of(match_id: str, build: str, packs: list[str]) -> list[list[int]]:
        files = [season.root / "season.toml", season.root / "matches" / f"{match_id}.toml"]
        files += [season.root / "builds" / f"{build}.toml"] if build else []
        return [stamp(path) for path in (*files, *(season.root / "packs" / f"{pack}.toml" for pack in packs))]

    entries: dict[str, Any] = {}
    failed: list[Failure] = []
    for match_id in wanted:
        entry = before.get(match_id)
        if entry is None or entry["stamps"] != stamps_of(match_id, entry["build"], entry["packs"]):
            try:
                match = season.match(match_id)
                packs = list(match.fitted_packs)
                entry = {
                    "build": match.build or "",
                    "packs": packs,
                    "start": match.start.isoformat() if match.start is not None else "",
                    "stamps": stamps_of(match_id, match.build or "", packs),
                    "fingerprint": season.fingerprint(match_id),
                }
            except (AfterboutError, OSError) as error:
                failed.append(Failure(match_id, str(error)))
                continue
        entries[match_id] = entry
    if reuse and any(before.get(match_id) != entry for match_id, entry in entries.items()):
        _write(season, {**{m: e for m, e in before.items() if m in season.ids("matches")}, **entries})
    return Keys(
        {m: [e["fingerprint"], app_version(), FORM] for m, e in entries.items()},
        {m: e["start"] for m, e in entries.items()},
        tuple(failed),
    )


def _read(season: Season) -> dict[str, Any]:
    try:
        document = json.loads((season.results_path / KEYS_FILE).read_bytes())
        found: dict[str, Any] = document["matches"]
        if document["version"] == [app_version(), FORM] and all(set(e) >= _FIELDS for e in found.values()):
            return found
    except (OSError, ValueError, KeyError, TypeError, AttributeError):  # absent, cut short, or of another version
        return {}
    return {}


def _write(season: Season, entries: dict[str, Any]) -> None:
    text = json.dumps({"version": [app_version(), FORM], "matches": entries})
    try:
        season.store.write_text(season.results_path / KEYS_FILE, text)
    except StoreError:  # it only saves reading: the next run does without
        return
