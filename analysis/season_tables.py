"""What a season run keeps: one row a match in results/season_match/, and the tables of metrics and findings."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from analysis.season_keys import Key, several
from analysis.season_rows import FINDINGS_SCHEMA, METRICS_SCHEMA, MatchRow, batches
from ingest.errors import SeasonError, StoreError
from ingest.places import is_remote, parquet_source
from ingest.sealed import sealed, unsealed
from ingest.season import Season
from ingest.season_ledger import as_written, remember

RESULT = "season_match"
METRICS_FILE, FINDINGS_FILE = "metrics.parquet", "findings.parquet"
DIGEST = "afterbout_season"
_FIELDS = set(MatchRow.__dataclass_fields__)


class NotKept(Exception):
    """No result for this key yet."""


def path_of(season: Season, key: Key) -> Path:
    """Where the row of this content and version is kept."""
    return season.result_path(RESULT, key)


def kept(season: Season, key: Key) -> dict[str, Any]:
    """The kept row. Raises NotKept."""
    try:
        found = unsealed(path_of(season, key).read_bytes())
        if found["key"] == key and set(found["value"]) == _FIELDS:
            row: dict[str, Any] = found["value"]
            return row
    except (OSError, ValueError, KeyError, TypeError):  # absent, damaged or not ours
        pass
    raise NotKept


def not_kept(season: Season, keys: Mapping[str, Key]) -> list[str]:
    """The matches without a whole row of their content and version; a damaged one is none.

    On an object store, where an object is whole or not there, its name is enough.
    """
    if is_remote(season.root):
        there = {path.name for path in (season.results_path / RESULT).glob("*.json")}
        return [match for match, key in keys.items() if path_of(season, key).name not in there]

    def missing(match: str) -> bool:
        try:
            kept(season, keys[match])
        except NotKept:
            return True
        return False

    return [match for match in keys if missing(match)]


def keep(season: Season, key: Key, row: MatchRow) -> dict[str, Any] | None:
    """Keep a row; gives it back where the season could not be written.

    Not synced to the disk one by one: after a power loss a damaged row is known as such, and made again.
    """
    document = row.to_dict()
    try:
        season.store.write_text(path_of(season, key), sealed({"key": key, "value": document}), durable=False)
    except StoreError:
        return document
    return None


def forget(season: Season) -> None:
    """Remove every kept row."""
    for path in sorted((season.results_path / RESULT).glob("*.json")):
        season.store.remove(path)


def rows_of(
    season: Season, matches: Iterable[str], keys: Mapping[str, Key], unsaved: Mapping[str, dict[str, Any]]
) -> Iterator[MatchRow]:
    """The rows one by one, in that order. Raises SeasonError where one was removed meanwhile."""

    def read(match_id: str) -> dict[str, Any]:
        try:
            return unsaved[match_id] if match_id in unsaved else kept(season, keys[match_id])
        except NotKept:
            what = f"the kept result of {match_id} was removed or damaged"
            mend = "Run the season again, with --rebuild where that does not help."
            raise SeasonError(what, file=season.results_path, mend=mend) from None

    yield from map(MatchRow.from_dict, several(season, read, matches))


def write_tables(season: Season, matches: tuple[str, ...], keys: Mapping[str, Key]) -> bool:
    """Both tables from the kept rows, where those there are not of exactly these; False: they were.

    Memory stays that of some hundred matches. What no match needs any more is removed.
    """
    digest = hashlib.sha256(json.dumps([[m, keys[m]] for m in matches]).encode()).hexdigest()
    paths = (season.results_path / METRICS_FILE, season.results_path / FINDINGS_FILE)
    if all(_digest_of(path) == digest for path in paths) and _sound(season, paths):
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
    if not is_remote(season.root):
        remember(season, paths)
    needed = {path_of(season, key).name for key in keys.values()}
    for path in list((season.results_path / RESULT).glob("*.json")):
        if path.name not in needed:
            season.store.remove(path)
    return True


def _sound(season: Season, paths: tuple[Path, ...]) -> bool:
    """Whether the tables can be read: their last part, which _digest_of looks at, says nothing of the rest."""
    if is_remote(season.root):  # an object there is whole or not there
        return True
    found = as_written(season, paths)
    if found is not None:
        return found
    try:
        for path in paths:
            with pq.ParquetFile(parquet_source(path), page_checksum_verification=True) as file:
                for _ in file.iter_batches():
                    pass
    except (OSError, ValueError):
        return False
    return True


def _digest_of(path: Path) -> str | None:
    try:
        metadata = pq.read_metadata(parquet_source(path)).metadata or {}
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
        return pq.read_table(parquet_source(path), columns=columns, filters=filters, page_checksum_verification=True)
    except (OSError, pa.ArrowInvalid):
        mend = f"Make it with: afterbout season --season {season.address}"
        raise SeasonError("is not there or cannot be read", file=path, mend=mend) from None
