"""What a season run keeps: one row a match in results/season_match/, and the tables of metrics and findings."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from analysis.season_keys import Key
from analysis.season_rows import FINDINGS_SCHEMA, METRICS_SCHEMA, MatchRow, batches
from ingest.errors import SeasonError, StoreError
from ingest.season import Season

RESULT = "season_match"
METRICS_FILE, FINDINGS_FILE = "metrics.parquet", "findings.parquet"
DIGEST = "afterbout_season"


class NotKept(Exception):
    """No result for this key yet."""


def kept(season: Season, key: Key) -> dict[str, Any]:
    """The kept row. Raises NotKept."""

    def make() -> Any:
        raise NotKept

    found: dict[str, Any] = season.result(RESULT, key, make)
    return found


def is_kept(season: Season, key: Key) -> bool:
    """Whether a whole row of this content and version is there; a damaged one is none."""
    try:
        MatchRow.from_dict(kept(season, key))
    except (NotKept, KeyError, TypeError):
        return False
    return True


def keep(season: Season, key: Key, row: MatchRow) -> dict[str, Any] | None:
    """Keep a row; gives it back where the season could not be written."""
    document = row.to_dict()
    season.result(RESULT, key, lambda: document)
    if is_kept(season, key):
        return None
    try:
        path = _path(season, key)
        if path is not None:  # under the right key, but not one of ours
            season.store.remove(path)
            season.result(RESULT, key, lambda: document)
    except StoreError:
        return document
    return None if is_kept(season, key) else document


def _path(season: Season, key: Key) -> Path | None:
    wanted = json.dumps(key)
    return next((path for path, found in _all_kept(season) if found == wanted), None)


def _all_kept(season: Season) -> Iterator[tuple[Path, str]]:
    """(file, its key as JSON or "")."""
    for path in sorted((season.results_path / RESULT).glob("*.json")):
        try:
            yield path, json.dumps(json.loads(path.read_bytes())["key"])
        except (OSError, ValueError, KeyError, TypeError):
            yield path, ""


def forget(season: Season) -> None:
    """Remove every kept row."""
    for path in sorted((season.results_path / RESULT).glob("*.json")):
        season.store.remove(path)


def rows_of(
    season: Season, matches: Iterable[str], keys: Mapping[str, Key], unsaved: Mapping[str, dict[str, Any]]
) -> Iterator[MatchRow]:
    """The rows one by one, in that order. Raises SeasonError where one was removed meanwhile."""
    for match_id in matches:
        try:
            document = unsaved[match_id] if match_id in unsaved else kept(season, keys[match_id])
        except NotKept:
            what = f"the kept result of {match_id} was removed"
            raise SeasonError(what, file=season.results_path, mend="Run the season again.") from None
        yield MatchRow.from_dict(document)


def write_tables(season: Season, matches: tuple[str, ...], keys: Mapping[str, Key]) -> bool:
    """Both tables from the kept rows, where those there are not of exactly these; False: they were.

    Memory stays that of some hundred matches. What no match needs any more is removed.
    """
    digest = hashlib.sha256(json.dumps([[m, keys[m]] for m in matches]).encode()).hexdigest()
    paths = (season.results_path / METRICS_FILE, season.results_path / FINDINGS_FILE)
    if all(_digest_of(path) == digest for path in paths):
        return False
    outputs = [
        season.store.stage_parquet(path, schema)
        for path, schema in zip(paths, (METRICS_SCHEMA, FINDINGS_SCHEMA), strict=True)
    ]
    try:
        for pair in batches(rows_of(season, matches, keys, {})):
            for output, batch in zip(outputs, pair, strict=True):
                output.write(batch)
        for output in outputs:
            output.finish({DIGEST: digest})
        for output in outputs:
            output.commit()
    finally:
        for output in outputs:
            output.discard()
    needed = {json.dumps(key) for key in keys.values()}
    for path, key in list(_all_kept(season)):
        if key not in needed:
            season.store.remove(path)
    return True


def _digest_of(path: Path) -> str | None:
    try:
        metadata = pq.read_metadata(path).metadata or {}
    except (OSError, ValueError):  # absent, cut short or not ours (pyarrow's errors are ValueErrors)
        return None
    found = metadata.get(DIGEST.encode())
    return None if found is None else found.decode("ascii", errors="replace")


def read_metrics(season: Season, metrics: Iterable[str] = (), columns: list[str] | None = None) -> pa.Table:
    """The metrics table, or those metrics of it. Raises SeasonError where no run has made it."""
    return _read(season, METRICS_FILE, [("metric", "in", list(metrics))] if metrics else None, columns)


def read_findings(season: Season, columns: list[str] | None = None) -> pa.Table:
    """The findings table. Raises SeasonError where no run has made it."""
    return _read(season, FINDINGS_FILE, None, columns)


def _read(season: Season, name: str, filters: Any, columns: list[str] | None) -> pa.Table:
    path = season.results_path / name
    try:
        return pq.read_table(path, columns=columns, filters=filters)
    except (OSError, pa.ArrowInvalid):
        mend = f"Make it with: afterbout season --season {season.root}"
        raise SeasonError("is not there or cannot be read", file=path, mend=mend) from None
