"""Tidying up behind commands that were killed. Only under the lock that guards what is tidied."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from ingest.matches import Match
from ingest.season_ledger import LEDGER
from ingest.store import PART_SUFFIX, Store
from ingest.telemetry import stem_of

if TYPE_CHECKING:
    from ingest.season import Season

_SAMPLES = re.compile(r"(?P<stem>[a-z0-9][a-z0-9_]*_(?P<digits>[0-9a-f]{8}))(\.[a-z0-9_]+)?\.parquet")


def sweep_season(season: Season) -> None:
    """What a killed writer left unfinished in the season's own folders. Under the season's lock."""
    folders = [season.root, *(season.root / n for n in ("originals", "matches", "builds", "packs", "readings"))]
    telemetry = season.root / "telemetry"
    folders += [path for path in telemetry.glob("match=*") if path.is_dir()]
    for folder in folders:
        season.store.sweep(folder)
    for path in season.results_path.glob(f".{LEDGER}.*{PART_SUFFIX}"):  # the only result that add and note write
        season.store.remove(path)


def sweep_results(folder: Path, store: Store) -> None:
    """The same for results/ and the folders in it. Under the lock of the results."""
    for path in (folder, *sorted(p for p in folder.iterdir() if p.is_dir())):
        store.sweep(path)


def replaced_samples(folder: Path, match: Match) -> list[Path]:
    """Older samples of the match's own logs, which a killed add could not take away any more.

    A name that no add gives, or of a log that is not one of this match, is somebody else's and stays.
    """
    stems = {entry.sha256[:8]: stem_of(entry) for entry in match.logs}
    found = []
    for path in sorted(folder.glob("*.parquet")) if folder.is_dir() else ():
        named = _SAMPLES.fullmatch(path.name)
        current = stems.get(named["digits"]) if named else None
        if named is not None and current is not None and named["stem"] != current:
            found.append(path)
    return found
