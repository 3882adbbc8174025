"""Every match of a season reviewed, in parallel, once.

A match is keyed by its content, the version and the form of the rows; only what changed is done again. Each worker
keeps its own results as it goes, so a run that is stopped, or a worker that dies, loses nothing.
"""

from __future__ import annotations

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
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from typing import Any

from analysis.season_keys import Failure, Key, keys_of
from analysis.season_rows import MatchRow
from analysis.season_tables import forget, not_kept, rows_of, write_tables
from analysis.season_worker import review_and_keep
from ingest.errors import AfterboutError, StoreError
from ingest.lock import LOCK_TIMEOUT_S, locked
from ingest.places import is_remote, place
from ingest.season import Season
from ingest.season_sweep import sweep_results

# Our choice: below this many matches a new process costs more (a second of imports) than it saves.
PROCESSES_FROM = 4
# Our choice: enough that no worker waits for the next match, few enough that memory stays flat.
IN_FLIGHT_PER_CORE = 3
IN_FLIGHT_ELSEWHERE = 64

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class SeasonRun:
    """matches: those with a row, in the season's order; made: reviewed just now; reused: kept from before.

    gone: removed while the run went on. saved: whether the results could be kept (a season on a read-only disk is
    reviewed all the same). `rows()` reads them one by one.
    """

    season: Season
    matches: tuple[str, ...]
    made: int
    reused: int
    failed: tuple[Failure, ...]
    gone: tuple[str, ...]
    saved: bool
    keys: dict[str, Key] = field(repr=False)
    unsaved: dict[str, dict[str, Any]] = field(default_factory=dict, repr=False)

    def rows(self) -> Iterator[MatchRow]:
        return rows_of(self.season, self.matches, self.keys, self.unsaved)


def run_season(
    season: Season,
    *,
    executor: Executor | None = None,
    matches: Iterable[str] | None = None,
    rebuild: bool = False,
    progress: Progress | None = None,
    lock_timeout_s: float = LOCK_TIMEOUT_S,
) -> SeasonRun:
    """Review what is new or changed, and write both tables anew where anything did.

    executor   anything with the standard Executor interface; default: processes on two cores or more
    matches    only these (the tables are then left as they are)
    rebuild    forget what was kept

    Raises SeasonError where another run holds the results for longer than lock_timeout_s.
    """
    with _held(season, lock_timeout_s) as writable:
        wanted = season.ids("matches") if matches is None else list(dict.fromkeys(matches))
        if rebuild and writable:
            forget(season)
        ready = get_ready if executor is None and len(wanted) >= PROCESSES_FROM else None
        found = keys_of(season, wanted, reuse=writable and not rebuild, on_change=ready)
        to_do = list(found.key) if rebuild else not_kept(season, found.key)
        work = _Work(season, found.key, progress, len(to_do))
        work.do(to_do, executor)
        lost = {*work.failed, *work.gone}
        run = SeasonRun(
            season,
            tuple(sorted((m for m in found.key if m not in lost), key=lambda m: (found.start[m], m))),
            len(to_do) - len(lost),
            len(found.key) - len(to_do),
            (*found.failed, *(Failure(m, reason) for m, reason in sorted(work.failed.items()))),
            tuple(sorted(work.gone)),
            writable and not work.unsaved,
            found.key,
            work.unsaved,
        )
        if matches is None and run.saved:
            try:
                write_tables(season, run.matches, run.keys)
            except StoreError:
                if not is_remote(season.root):  # a disk that is full or failing is said
                    raise
                run = replace(run, saved=False)
        return run


@contextmanager
def _held(season: Season, timeout_s: float) -> Iterator[bool]:
    """Hold the results; False: they cannot be written, so nothing is, and no lock is needed.

    The results have a lock of their own: a long run must not keep anyone from adding the next match.
    """
    if is_remote(season.root):  # no locks there: two runs at once make the same objects, each of them whole
        yield True
        return
    try:
        season.store.make_folder(season.results_path)
        lock = locked(season.results_path, season.store, "a season run", timeout_s)
        lock.__enter__()
    except StoreError:
        yield False
        return
    try:
        with suppress(StoreError):  # what cannot be removed is hidden and does no harm
            sweep_results(season.results_path, season.store)
        yield True
    finally:
        lock.__exit__(None, None, None)


class _Work:
    """The matches to do and what came of them."""

    def __init__(self, season: Season, keys: dict[str, Key], progress: Progress | None, total: int) -> None:
        self.season, self.keys, self.progress, self.total = season, keys, progress, total
        self.failed: dict[str, str] = {}
        self.gone: set[str] = set()
        self.unsaved: dict[str, dict[str, Any]] = {}
        self.left: list[str] = []
        self.count = 0

    def do(self, to_do: list[str], executor: Executor | None) -> None:
        """Everything once; what a dying worker left once more, one match at a time, to find the one at fault."""
        if not to_do:
            return
        if executor is not None:
            self._feed(executor, to_do, IN_FLIGHT_ELSEWHERE)
        else:
            with default_executor(len(to_do)) as pool:
                self._feed(pool, to_do, cores() * IN_FLIGHT_PER_CORE)
        again, self.left = self.left, []
        for match_id in again:
            with ProcessPoolExecutor(1, mp_context=_context()) as pool:
                self._feed(pool, [match_id], 1)
            if self.left:
                self.left.clear()
                self._finish(match_id, "its worker process died: too little memory, or a defect")

    def _feed(self, pool: Executor, to_do: list[str], in_flight: int) -> None:
        """Keep some matches waiting at the workers and no more: memory stays flat in the number of matches."""
        waiting: dict[Future[Any], str] = {}
        rest = iter(to_do)
        while True:
            while len(waiting) < in_flight and (match_id := next(rest, None)) is not None:
                try:
                    future = pool.submit(review_and_keep, self.season.address, match_id, self.keys[match_id])
                except BrokenExecutor:
                    self.left += [match_id, *rest]
                    break
                waiting[future] = match_id
            if not waiting:
                return
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                self._seen(waiting.pop(future), future)

    def _seen(self, match_id: str, future: Future[Any]) -> None:
        error = future.exception()
        if isinstance(error, BrokenExecutor):
            self.left.append(match_id)
        elif error is None:
            outcome = future.result()
            if outcome is not None:
                self.unsaved[match_id] = outcome
            self._finish(match_id, None)
        elif isinstance(error, AfterboutError):
            self._finish(match_id, str(error))
        else:  # a defect of ours, or out of memory: one bad match does not stop the rest
            self._finish(match_id, f"the review of {match_id} stopped with {type(error).__name__}: {error}")

    def _finish(self, match_id: str, reason: str | None) -> None:
        if reason is not None:
            if self._is_gone(match_id):
                self.gone.add(match_id)
            else:
                self.failed[match_id] = reason
        self.count += 1
        if self.progress is not None:
            self.progress(self.count, self.total, match_id)

    def _is_gone(self, match_id: str) -> bool:
        root = place(self.season.address)  # opened anew: nothing of what was listed before
        return not (root / "matches" / f"{match_id}.toml").is_file()


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


def default_executor(jobs: int) -> Executor:
    """Processes where there are cores and matches for them, else one thread."""
    if cores() > 1 and jobs >= PROCESSES_FROM:
        return ProcessPoolExecutor(min(cores(), jobs), mp_context=_context())
    return ThreadPoolExecutor(1)


def get_ready() -> None:
    """Start importing for the workers now, while this process still looks for what has changed."""
    if cores() > 1 and _context().get_start_method() == "forkserver":
        from multiprocessing.forkserver import ensure_running

        ensure_running()


def _context() -> multiprocessing.context.BaseContext:
    """A fresh process imports once and is copied for every worker; where there is no such thing, each imports.

    Never a copy of this process: with running threads (pyarrow has some) it may hang.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["analysis.season_preload"])
    return context
