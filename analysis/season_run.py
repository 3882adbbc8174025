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
from time import monotonic
from typing import Any

from analysis.cluster import ClusterExecutor
from analysis.season_keys import Failure, Key, keys_of
from analysis.season_rows import MatchRow
from analysis.season_tables import forget, not_kept, rows_of, write_tables
from analysis.season_worker import Outcome, end_with_parent, refuse_while_starting, review_and_keep
from ingest.errors import AfterboutError, SeasonError, StoreError
from ingest.lock import LOCK_TIMEOUT_S, locked
from ingest.places import is_remote, place
from ingest.season import Season
from ingest.season_sweep import sweep_results

# Our choice: below this many matches a new process costs more (a second of imports) than it saves.
PROCESSES_FROM = 4
# Our choice: enough that no worker waits for the next match, few enough that memory stays flat.
IN_FLIGHT_PER_CORE = 3
IN_FLIGHT_ELSEWHERE = 64
# Our choice: handing over a match costs some milliseconds with a scheduler, so that several go at once where there are
# many; a parcel is small enough to be done in a moment, and towards the end of a run here they become smaller, down to
# one match, so that all workers end together.
PARCEL = 8
PARCELS_PER_CORE, PARCELS_ELSEWHERE = 8, 128
# Our choice: a worker that restarts is back by then; a person in front of a run that stands still has not yet left.
NOBODY_S, LOOK_S = 60.0, 2.0

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

    Raises SeasonError where another run holds the results for longer than lock_timeout_s or no worker is left on the
    machines of a cluster, UsageError in a process that is only being started as a worker (a script that runs a season
    wherever it is imported).
    """
    refuse_while_starting()
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
            self._feed(executor, _parcels(to_do, PARCELS_ELSEWHERE), IN_FLIGHT_ELSEWHERE, elsewhere=True)
        else:
            with default_executor(len(to_do)) as pool:
                parcels = _parcels(to_do, PARCELS_PER_CORE * cores(), dwindling=True)
                self._feed(pool, parcels, cores() * IN_FLIGHT_PER_CORE)
        left, self.left = self.left, []
        if len(left) == len(to_do) and not _can_start():
            with ThreadPoolExecutor(1) as pool:
                self._feed(pool, _parcels(left, 1), 1)
            return
        done = set(left) - set(not_kept(self.season, {m: self.keys[m] for m in left})) if left else set()
        for match_id in left:
            if match_id in done:  # kept before its worker died
                self._finish(Outcome(match_id))
                continue
            with _processes(1) as pool:
                self._feed(pool, [[match_id]], 1)
            if self.left:
                self.left.clear()
                self._finish(Outcome(match_id, reason="its worker process died: too little memory, or a defect"))

    def _feed(self, pool: Executor, parcels: list[list[str]], in_flight: int, *, elsewhere: bool = False) -> None:
        """Keep some matches waiting at the workers and no more: memory stays flat in the number of matches."""
        waiting: dict[Future[Any], list[str]] = {}
        rest = iter(parcels)
        while True:
            while len(waiting) < in_flight and (parcel := next(rest, None)) is not None:
                jobs = [(match_id, self.keys[match_id]) for match_id in parcel]
                try:
                    future = pool.submit(review_and_keep, self.season.address, jobs, elsewhere)
                except BrokenExecutor:
                    self.left += [*parcel, *(match_id for more in rest for match_id in more)]
                    break
                waiting[future] = parcel
            if not waiting:
                return
            if isinstance(pool, ProcessPoolExecutor) and self.count == 0:
                import pandas  # noqa: F401  pyarrow does at the end, for the tables: now, while the workers start
            for future in self._ended(waiting, pool):
                self._seen(waiting.pop(future), future)

    def _ended(self, waiting: dict[Future[Any], list[str]], pool: Executor) -> set[Future[Any]]:
        """Those that have ended, at least one. Raises SeasonError where the pool has had no worker for a while."""
        if not isinstance(pool, ClusterExecutor):  # only workers elsewhere may all go and nobody hears of it
            return wait(waiting, return_when=FIRST_COMPLETED).done
        seen = monotonic()
        while not (done := wait(waiting, LOOK_S, return_when=FIRST_COMPLETED).done):
            if pool.workers():
                seen = monotonic()
            elif monotonic() - seen > NOBODY_S:
                raise SeasonError(
                    "no worker is left at the scheduler", found=f"{self.count} of {self.total} matches reviewed",
                    mend="Start workers and run it again: what is reviewed is kept.",
                )  # fmt: skip
        return done

    def _seen(self, parcel: list[str], future: Future[Any]) -> None:
        error = future.exception()
        if isinstance(error, BrokenExecutor):
            self.left += parcel
        elif error is None:
            for outcome in future.result():
                self._finish(outcome)
        else:
            known = isinstance(error, AfterboutError)
            reason = str(error) if known else f"the worker stopped with {type(error).__name__}: {error}"
            for match_id in parcel:
                self._finish(Outcome(match_id, reason=reason))

    def _finish(self, outcome: Outcome) -> None:
        if outcome.unsaved is not None:
            self.unsaved[outcome.match] = outcome.unsaved
        if outcome.reason is not None:
            if self._is_gone(outcome.match):
                self.gone.add(outcome.match)
            else:
                self.failed[outcome.match] = outcome.reason
        self.count += 1
        if self.progress is not None:
            self.progress(self.count, self.total, outcome.match)

    def _is_gone(self, match_id: str) -> bool:
        root = place(self.season.address)  # opened anew: nothing of what was listed before
        return not (root / "matches" / f"{match_id}.toml").is_file()


def _parcels(matches: list[str], least: int, *, dwindling: bool = False) -> list[list[str]]:
    """The matches in order, several together where that still makes as many parcels as `least`.

    dwindling: as many of what is left each time, so that the last parcels hold one match each.
    """
    parcels: list[list[str]] = []
    start = 0
    while start < len(matches):
        size = min(max((len(matches) - (start if dwindling else 0)) // least, 1), PARCEL)
        parcels.append(matches[start : start + size])
        start += size
    return parcels


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


def default_executor(jobs: int) -> Executor:
    """Processes where there are cores and matches for them, else one thread."""
    if cores() > 1 and jobs >= PROCESSES_FROM:
        return _processes(min(cores(), jobs))
    return ThreadPoolExecutor(1)


def _can_start() -> bool:
    """Whether a worker process lives at all: in one, the script that called us is imported first, and may fail."""
    try:
        with _processes(1) as pool:
            pool.submit(cores).result()
    except BrokenExecutor:
        return False
    return True


def _processes(count: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(count, mp_context=_context(), initializer=end_with_parent)


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
