"""Looking over a whole season: what is damaged, missing, or left over."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.parquet as pq

from ingest.errors import AfterboutError, SeasonError
from ingest.matches import LogEntry, Match
from ingest.places import parquet_source
from ingest.sealed import unsealed
from ingest.season_ledger import damaged, remember
from ingest.store import PART_SUFFIX, hash_file
from ingest.telemetry import read_files, stem_of, telemetry_files

if TYPE_CHECKING:
    from ingest.season import Season


BY_HAND = "Put that line right, or take the file from a backup."


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a season. harmless: nothing refers to it, it only takes room."""

    file: str
    what: str
    mend: str
    harmless: bool = False


def verify_season(season: Season) -> list[Problem]:
    """See Season.verify."""
    survey = season.survey()
    problems = [Problem(error.file or str(season.root), str(error), error.mend or BY_HAND) for error in survey.problems]
    try:
        season.readings()
    except AfterboutError as error:
        problems.append(Problem(error.file or "", str(error), error.mend or BY_HAND))
    problems += _silently_changed(season)
    used: set[Path] = set()
    for match in survey.matches:
        for entry in match.logs:
            problems += _entry_problems(season, match, entry, used)
    problems += _original_problems(season, used)
    problems += _result_problems(season)
    # What the logs of an unreadable match refer to is not known: then nothing is called left over.
    if not survey.problems:
        problems += _left_over(season, used)
    remember(season)
    return list(dict.fromkeys(problems))


def _silently_changed(season: Season) -> list[Problem]:
    """What the ledger knows to be other than it was, though nobody wrote it."""
    problems = []
    for path in damaged(season):
        if path.is_relative_to(season.results_path):
            problems.append(_derived(season, path))
            continue
        what = "has changed, but nobody wrote to it: a disk or a copy damaged it"
        mend = "Take it from a backup; or look through it, put it right and save it, which accepts it as it is."
        problems.append(Problem(str(path), what, mend))
    return problems


def _derived(season: Season, path: Path) -> Problem:
    mend = f"Remove it; it is made again by: afterbout season --season {season.root}"
    return Problem(str(path), "is a damaged result", mend)


def _result_problems(season: Season) -> list[Problem]:
    """Kept results carry the hash of their bytes; what is damaged is not used, and made again."""
    problems = []
    folder = season.results_path
    for path in sorted([*folder.glob("*.json"), *folder.glob("*/*.json")]) if folder.is_dir() else ():
        if path.name.startswith("."):
            continue
        try:
            unsealed(path.read_bytes())
        except (OSError, ValueError, RecursionError):
            problems.append(_derived(season, path))
    for path in sorted(folder.glob("*.parquet")) if folder.is_dir() else ():
        try:
            pq.read_table(parquet_source(path), page_checksum_verification=True)
        except (OSError, ValueError, pa.ArrowException):
            problems.append(_derived(season, path))
    return problems


def _entry_problems(season: Season, match: Match, entry: LogEntry, used: set[Path]) -> list[Problem]:
    original = season.original_of(entry)
    again = f"afterbout add {original or entry.name} --season {season.root} --match {match.id}"
    problems = []
    if original is None:
        what = f"the original of {entry.name} ({entry.sha256[:8]}…) is missing"
        where = str(season.root / "originals")
        problems.append(Problem(where, what, f"Put the file back by adding it again: {again}"))
    else:
        used.add(original)
    folder = season.telemetry_path(match.id)
    files = telemetry_files(folder, stem_of(entry))
    used.update(files)
    if not files:
        problems.append(Problem(str(folder), f"the samples of {entry.name} are missing", f"Read it again: {again}"))
        return problems
    stated = entry.samples_sha256
    if stated and len(stated) != len(files):
        what = f"{len(files)} files of samples of {entry.name} are there, {len(stated)} were written"
        return [*problems, Problem(str(folder), what, f"Read it again: {again}")]
    for path, sha256 in zip(files, stated, strict=False):
        try:
            changed = hash_file(path) != sha256
        except AfterboutError as error:
            return [*problems, Problem(str(path), error.what, error.mend)]
        if changed:
            what = f"has changed: its bytes no longer give the hash that matches/{match.id}.toml states"
            problems.append(Problem(str(path), what, f"Read the log again: {again}"))
    if problems:
        return problems
    try:
        log = read_files(files, entry)
    except SeasonError as error:
        problems.append(Problem(error.file or "", error.what, f"Remove it and read the log again: {again}"))
        return problems
    if log.provenance.sha256 != entry.sha256:
        problems.append(Problem(str(files[0]), "holds the samples of another file", f"Read it again: {again}"))
    return problems


def _original_problems(season: Season, used: set[Path]) -> list[Problem]:
    """The name of every original is the hash of its bytes."""
    problems = []
    for path in _files(season.root / "originals"):
        try:
            sha256 = hash_file(path)
        except AfterboutError as error:
            problems.append(Problem(str(path), error.what, error.mend))
            continue
        if not path.name.startswith(f"{sha256}."):
            what = "has changed: its bytes no longer give the hash in its name"
            mend = "Take it from a backup, or remove it and add the logger's own file again."
            problems.append(Problem(str(path), what, mend, harmless=path not in used))
    return problems


def _left_over(season: Season, used: set[Path]) -> list[Problem]:
    folders = [season.root / "originals"]
    telemetry = season.root / "telemetry"
    folders += sorted(p for p in telemetry.glob("match=*") if p.is_dir())
    problems = []
    for folder in folders:
        for path in _files(folder, hidden=True):
            if path in used:
                continue
            unfinished = path.name.endswith(PART_SUFFIX)
            what = "is unfinished: an add was stopped" if unfinished else "belongs to no match"
            mend = "The next add removes it." if unfinished else "Remove it, or add it to its match."
            problems.append(Problem(str(path), what, mend, harmless=True))
    return problems


def _files(folder: Path, hidden: bool = False) -> list[Path]:
    if not folder.is_dir():
        return []
    return sorted(p for p in folder.iterdir() if p.is_file() and (hidden or not p.name.startswith(".")))
