"""Every match of a season reviewed, in parallel, once: results/season_match/ one file a match, and two tables.

A match is keyed by its content (Season.fingerprint), the version and the form of the rows; only what changed is done
again. Each worker keeps its own results as it goes, so a run that is stopped, or a worker that dies, loses nothing.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
    wait,
)
from contextlib import ExitStack, nullcontext
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq

from analysis.season_review import review_match
from analysis.season_rows import FINDINGS_SCHEMA, METRICS_SCHEMA, MatchRow, batches, row_of
from ingest.errors import AfterboutError, SeasonError, StoreError
from ingest.lock import LOCK_TIMEOUT_S, locked
from ingest.season import Season

RESULT = "season_match"
FORM = 1  # of the rows; raised when a metric's meaning changes, so that older results are done again
METRICS_FILE, FINDINGS_FILE = "metrics.parquet", "findings.parquet"
KEYS_FILE = "season_keys.json"
DIGEST = "afterbout_season"
# Our choice: below this many matches a new process costs more (a second of imports) than it saves.
PROCESSES_FROM = 4
IN_FLIGHT_PER_CORE = 3

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Failure:
    """A match that could not be reviewed: where, what and the mend stand in `reason`."""

    match: str
    reason: str


@dataclass(frozen=True)
class SeasonRun:
    """matches: those with a row, in the season's order; made: reviewed just now; reused: kept from before.

    gone: removed while the run went on. saved: whether the tables could be written (a season on a read-only disk is
    reviewed all the same). `rows()` reads them one by one.
    """

    season: Season
    matches: tuple[str, ...]
    made: int
    reused: int
    failed: tuple[Failure, ...]
    gone: tuple[str, ...]
    saved: bool
    keys: dict[str, list[Any]] = field(repr=False)
    unsaved: dict[str, dict[str, Any]] = field(default_factory=dict, repr=False)

    def rows(self) -> Iterator[MatchRow]:
        return _rows(self.season, self.matches, self.keys, self.unsaved)


class _NotKept(Exception):
    """No result for this key yet."""


def app_version() -> str:
    try:
        return version("afterbout")
    except PackageNotFoundError:
        return "not installed"


def run_season(
    season: Season,
    *,
    executor: Executor | None = None,
    in_flight: int | None = None,
    matches: Iterable[str] | None = None,
    rebuild: bool = False,
    progress: Progress | None = None,
    lock_timeout_s: float = LOCK_TIMEOUT_S,
) -> SeasonRun:
    """Review what is new or changed, and write both tables anew where anything did.

    executor   anything with the standard Executor interface; default: processes on two cores or more
    matches    only these (then the tables are left as they are)
    rebuild    forget what was kept

    Raises SeasonError where another run holds the results for longer than lock_timeout_s.
    """
    with _lock(season, lock_timeout_s) as writable:
        known = season.ids("matches")
        wanted = known if matches is None else list(dict.fromkeys(matches))
        if rebuild and writable:
            for path in sorted((season.results_path / RESULT).glob("*.json")):
                season.store.remove(path)
        keys, orders, failed = _keys(season, wanted, writable and not rebuild)
        to_do = [m for m in keys if rebuild or not _is_kept(season, keys[m])]
        unsaved: dict[str, dict[str, Any]] = {}
        gone: list[str] = []

        def finished(match_id: str, outcome: dict[str, Any] | None, reason: str | None) -> None:
            if reason is not None:
                if match_id in season.ids("matches"):
                    failed.append(Failure(match_id, reason))
                else:
                    gone.append(match_id)
            elif outcome is not None:
                unsaved[match_id] = outcome

        _do(season, to_do, keys, executor, in_flight, progress, finished)
        lost = {f.match for f in failed} | set(gone)
        done = sorted((m for m in keys if m not in lost), key=lambda m: (orders[m], m))
        run = SeasonRun(
            season,
            tuple(done),
            len([m for m in to_do if m not in lost]),
            len(keys) - len(to_do),
            tuple(sorted(failed, key=lambda f: f.match)),
            tuple(gone),
            writable and not unsaved,
            keys,
            unsaved,
        )
        if matches is None and run.saved:
            _write(run, known)
        return run


class _Unwritable(nullcontext[bool]):
    """A season that takes no lock is on a read-only disk: nothing is written, so nothing needs one."""


def _lock(season: Season, timeout_s: float) -> Any:
    stack = ExitStack()
    try:
        season.store.make_folder(season.results_path)
        stack.enter_context(locked(season.results_path, season.store, "a season run", timeout_s))
    except StoreError:
        stack.close()
        return _Unwritable(False)
    stack.callback(lambda: None)

    class Held:
        def __enter__(self) -> bool:
            return True

        def __exit__(self, *error: object) -> None:
            stack.close()

    return Held()


def _key(fingerprint: str) -> list[Any]:
    return [fingerprint, app_version(), FORM]


def _keys(season: Season, wanted: list[str], kept: bool) -> tuple[dict[str, list[Any]], dict[str, str], list[Failure]]:
    """(key, start) of every match that can be read. Files that are as they were (size and time) are not read again."""
    before = _read_keys(season) if kept else {}
    stamps: dict[Path, list[int]] = {}

    def stamp(path: Path) -> list[int]:
        if path not in stamps:
            try:
                found = path.stat()
                stamps[path] = [found.st_size, found.st_mtime_ns]
            except OSError:
                stamps[path] = []
        return stamps[path]

    def files(match_id: str, build: str, packs: list[str]) -> list[Path]:
        own = [season.root / "season.toml", season.root / "matches" / f"{match_id}.toml"]
        own += [season.root / "builds" / f"{build}.toml"] if build else []
        return own + [season.root / "packs" / f"{pack}.toml" for pack in packs]

    keys: dict[str, list[Any]] = {}
    orders: dict[str, str] = {}
    failed: list[Failure] = []
    entries: dict[str, Any] = {}
    for match_id in wanted:
        entry = before.get(match_id)
        if entry and entry["stamps"] == [stamp(p) for p in files(match_id, entry["build"], entry["packs"])]:
            entries[match_id] = entry
        else:
            try:
                match = season.match(match_id)
                packs = list(match.fitted_packs)
                entries[match_id] = {
                    "build": match.build or "",
                    "packs": packs,
                    "start": match.start.isoformat() if match.start is not None else "",
                    "stamps": [stamp(p) for p in files(match_id, match.build or "", packs)],
                    "fingerprint": season.fingerprint(match_id),
                }
            except (AfterboutError, OSError) as error:
                failed.append(Failure(match_id, str(error)))
                continue
        keys[match_id] = _key(entries[match_id]["fingerprint"])
        orders[match_id] = entries[match_id]["start"]
    if entries != before and len(wanted) > 1:
        _write_keys(season, {**before, **entries})
    return keys, orders, failed


def _read_keys(season: Season) -> dict[str, Any]:
    try:
        document = json.loads((season.results_path / KEYS_FILE).read_bytes())
        if document["version"] == [app_version(), FORM]:
            found: dict[str, Any] = document["matches"]
            if all({"build", "packs", "start", "stamps", "fingerprint"} <= set(e) for e in found.values()):
                return found
    except (OSError, ValueError, KeyError, TypeError, AttributeError):  # absent, cut short or of another version
        pass
    return {}


def _write_keys(season: Season, entries: dict[str, Any]) -> None:
    text = json.dumps({"version": [app_version(), FORM], "matches": entries})
    try:
        season.store.write_text(season.results_path / KEYS_FILE, text)
    except StoreError:  # it only saves reading: the next run does without
        return


def _kept(season: Season, key: list[Any]) -> dict[str, Any]:
    """The kept row. Raises _NotKept."""

    def make() -> Any:
        raise _NotKept

    found: dict[str, Any] = season.result(RESULT, key, make)
    return found


def _is_kept(season: Season, key: list[Any]) -> bool:
    try:
        MatchRow.from_dict(_kept(season, key))
    except (_NotKept, KeyError, TypeError):
        return False
    return True


def review_and_keep(root: str, match_id: str, key: list[Any]) -> dict[str, Any] | None:
    """What a worker does: review one match and keep its row; the row itself comes back only where it was not kept.

    Raises AfterboutError where the match cannot be reviewed.
    """
    season = Season(root)
    document = row_of(review_match(season, match_id, with_advice=False)).to_dict()
    season.result(RESULT, key, lambda: document)
    return None if _is_kept(season, key) else document


def _do(
    season: Season,
    to_do: list[str],
    keys: dict[str, list[Any]],
    executor: Executor | None,
    in_flight: int | None,
    progress: Progress | None,
    finished: Callable[[str, dict[str, Any] | None, str | None], None],
) -> None:
    """Everything once; where the workers died, what they left once more, one at a time, to find the one at fault."""
    total, count = len(to_do), 0
    left: list[str] = []

    def seen(match_id: str, future: Future[Any]) -> None:
        nonlocal count
        error = future.exception()
        if isinstance(error, BrokenExecutor):
            left.append(match_id)
            return
        count += 1
        if error is None:
            finished(match_id, future.result(), None)
        elif isinstance(error, AfterboutError):
            finished(match_id, None, str(error))
        else:  # a defect, or a worker out of memory: one bad match does not stop the rest
            finished(match_id, None, f"the review stopped with {type(error).__name__}: {error}")
        if progress is not None:
            progress(count, total, match_id)

    if not to_do:
        return
    cores = _cores()
    if executor is not None:
        _feed(executor, season, to_do, keys, in_flight or 8 * IN_FLIGHT_PER_CORE, seen)
    else:
        with default_executor(len(to_do)) as pool:
            _feed(pool, season, to_do, keys, in_flight or cores * IN_FLIGHT_PER_CORE, seen)
    again, left = left, []
    for match_id in again:
        with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
            _feed(pool, season, [match_id], keys, 1, seen)
        if left:
            left.clear()
            count += 1
            finished(match_id, None, "its worker process died: too little memory, or a defect")


def _feed(
    pool: Executor,
    season: Season,
    to_do: list[str],
    keys: dict[str, list[Any]],
    in_flight: int,
    seen: Callable[[str, Future[Any]], None],
) -> None:
    """Keep some matches waiting at the workers and no more: memory stays flat in the number of matches."""
    waiting: dict[Future[Any], str] = {}
    rest = iter(to_do)
    broken = False
    while True:
        while not broken and len(waiting) < in_flight and (match_id := next(rest, None)) is not None:
            try:
                waiting[pool.submit(review_and_keep, str(season.root), match_id, keys[match_id])] = match_id
            except BrokenExecutor as error:
                broken = True
                dead: Future[Any] = Future()
                dead.set_exception(error)
                for each in (match_id, *rest):
                    seen(each, dead)
        if not waiting:
            return
        for future in wait(waiting, return_when=FIRST_COMPLETED).done:
            seen(waiting.pop(future), future)


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


def default_executor(jobs: int) -> Executor:
    """Processes where there are cores and matches for them, else one thread."""
    cores = _cores()
    if cores > 1 and jobs >= PROCESSES_FROM:
        # spawn: a forked copy of a process with running threads (pyarrow has some) may hang.
        return ProcessPoolExecutor(min(cores, jobs), mp_context=multiprocessing.get_context("spawn"))
    return ThreadPoolExecutor(1)


def _rows(
    season: Season, matches: Iterable[str], keys: dict[str, list[Any]], unsaved: dict[str, dict[str, Any]]
) -> Iterator[MatchRow]:
    for match_id in matches:
        try:
            document = unsaved[match_id] if match_id in unsaved else _kept(season, keys[match_id])
        except _NotKept:
            mend = "Run the season again."
            raise SeasonError(
                f"the kept result of {match_id} was removed", file=season.results_path, mend=mend
            ) from None
        yield MatchRow.from_dict(document)


def _digest(run: SeasonRun) -> str:
    return hashlib.sha256(json.dumps([[m, run.keys[m]] for m in run.matches]).encode()).hexdigest()


def _write(run: SeasonRun, known: list[str]) -> None:
    """Both tables, where they are not those of exactly these results; and what no match needs any more is removed."""
    season, digest = run.season, _digest(run)
    paths = (season.results_path / METRICS_FILE, season.results_path / FINDINGS_FILE)
    if all(_digest_of(path) == digest for path in paths):
        return
    outputs = [
        season.store.stage_parquet(path, schema)
        for path, schema in zip(paths, (METRICS_SCHEMA, FINDINGS_SCHEMA), strict=True)
    ]
    try:
        for pair in batches(run.rows()):
            for output, batch in zip(outputs, pair, strict=True):
                output.write(batch)
        for output in outputs:
            output.finish({DIGEST: digest})
        for output in outputs:
            output.commit()
    finally:
        for output in outputs:
            output.discard()
    _prune(run, known)


def _digest_of(path: Path) -> str | None:
    try:
        metadata = pq.read_metadata(path).metadata or {}
    except (OSError, ValueError):  # absent, cut short or not ours (pyarrow's errors are ValueErrors)
        return None
    found = metadata.get(DIGEST.encode())
    return None if found is None else found.decode("ascii", errors="replace")


def _prune(run: SeasonRun, known: list[str]) -> None:
    """Remove kept rows of matches, contents and versions that are no more (only after a run over the whole season)."""
    needed = {json.dumps(run.keys[m]) for m in known if m in run.keys}
    for path in sorted((run.season.results_path / RESULT).glob("*.json")):
        try:
            key = json.dumps(json.loads(path.read_bytes())["key"])
        except (OSError, ValueError, KeyError, TypeError):
            key = ""
        if key not in needed:
            run.season.store.remove(path)
