"""What the pages show: the matches of a season, or bare files; each reviewed once for its content."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.season_run import SeasonRun, run_season
from dashboard.descriptions import Described, Descriptions
from dashboard.pyramid import keep as keep_pyramids
from dashboard.reviewing import Bench, review_files, review_match
from dashboard.season_lines import LineKey, Summary, read_lines, summarise, write_lines
from dashboard.traces import signals_of
from ingest.builds import Build, Match, Pack
from ingest.errors import AfterboutError, SeasonError
from ingest.season import Season

if TYPE_CHECKING:
    from dashboard.live_follow import Follower

BENCHES_KEPT = 8  # whole reviews with their samples held in memory (our choice: a match is some 10 MB)
LINES_KEPT_EVERY = 20  # reviews that a killed server loses at most (our choice: a few seconds)
RUN_THREADS = 2  # reviews at once for a page that needs many (our choice: the pit laptop stays usable)


@dataclass(frozen=True)
class Entry:
    """One match in the list. token stands for it in addresses: no path and no name is ever in one."""

    token: str
    title: str
    match: Match | None


__all__ = ["Entry", "Source", "Summary", "summarise"]


class Source:
    """The matches behind the pages. Safe to use from several threads."""

    def __init__(self, season_path: str | Path | None, files: Sequence[str] | None = None) -> None:
        self.season = Season(season_path) if season_path is not None else None
        self.files = tuple(files or ())
        self.live: Follower | None = None  # the recording that the live page follows
        self._benches: OrderedDict[tuple[str, str], Bench] = OrderedDict()
        self._summaries: dict[LineKey, Summary] = read_lines(self.season) if self.season is not None else {}
        self._lock = threading.RLock()
        self._reviewing: dict[LineKey, threading.Lock] = {}
        self._worker: threading.Thread | None = None
        self._starting = threading.Lock()
        self._reading = threading.Lock()
        self._described = Descriptions(self.season) if self.season is not None else None
        self._entries: tuple[Described | None, list[Entry]] = (None, [])

    @property
    def title(self) -> str:
        return self.season.name if self.season is not None else "Files"

    def entries(self) -> list[Entry]:
        """Every match that can be read, in order."""
        return list(self._listed()[1])

    def state(self) -> object:
        """The same object as long as no description file has changed."""
        return self._listed()[0]

    def problems(self) -> tuple[AfterboutError, ...]:
        """Description files that could not be read."""
        found = self._listed()[0]
        return found.problems if found is not None else ()

    def packs(self) -> tuple[Pack, ...]:
        """Every pack of the season that can be read."""
        found = self._listed()[0]
        return found.packs if found is not None else ()

    def lines(self) -> list[tuple[Entry, Summary | None]]:
        """Every match with its line of the season, None while it is not reviewed yet: one look at the files for all."""
        if self.season is None:
            return [(entry, self.summary(entry)) for entry in self.entries()]
        found, entries = self._listed()
        assert found is not None
        known = self._summaries
        return [(e, known.get((e.title, found.fingerprints.get(e.title, "")))) for e in entries]

    def season_run(self, matches: Sequence[str] | None = None) -> SeasonRun:
        """Every match (or those named) as rows that can be compared; kept in the season's results. Raises SeasonError.

        In threads: a server starts no processes of its own.
        """
        if self.season is None:
            raise SeasonError("there is no season folder", mend="Start with: afterbout serve --season FOLDER")
        with ThreadPoolExecutor(RUN_THREADS) as executor:
            return run_season(self.season, matches=matches, executor=executor)

    def _listed(self) -> tuple[Described | None, list[Entry]]:
        """The descriptions as they stand."""
        if self._described is None:
            return None, [Entry(_token("files"), "Files", None)] if self.files else []
        with self._reading:
            found = self._described.now()
            if self._entries[0] is not found:
                self._entries = (found, [Entry(_token(match.id), match.id, match) for match in found.matches])
            return self._entries

    def entry(self, token: str) -> Entry | None:
        return next((entry for entry in self.entries() if entry.token == token), None)

    def bench(self, entry: Entry) -> Bench:
        """The review, made once for the content it rests on. Raises AfterboutError."""
        key = self._key(entry)
        with self._lock:
            found = self._held(key)
            if found is not None:
                return found
            mine = self._reviewing.setdefault(key, threading.Lock())
        with mine:  # two asking for one match wait for one review; nobody else waits
            with self._lock:
                found = self._held(key)
            if found is None:
                found = self._reviewed(entry)
                with self._lock:
                    self._benches[key] = found
                    self._summaries[key] = summarise(found)
                    self._reviewing.pop(key, None)
                    while len(self._benches) > BENCHES_KEPT:
                        self._benches.popitem(last=False)
            return found

    def _held(self, key: LineKey) -> Bench | None:
        if key in self._benches:
            self._benches.move_to_end(key)
        return self._benches.get(key)

    def _reviewed(self, entry: Entry) -> Bench:
        if self.season is not None and entry.match is not None:
            fingerprint = self._key(entry)[1]
            made = review_match(self.season, entry.match.id)
            keep_pyramids(self.season.results_path, fingerprint, signals_of(made.review))
            return made
        return review_files(self.files)

    def build_of(self, kind: str, token: str) -> Build | None:
        """The build of a match by its token (kind "match"), or one by its opaque name (kind "build"); None where there
        is none. Raises AfterboutError."""
        if self.season is None:
            entry = self.entry(token)
            return self.bench(entry).build if kind == "match" and entry is not None else None
        if kind == "match":
            entry = self.entry(token)
            named = entry.match.build if entry is not None and entry.match is not None else None
            return self.season.build(named) if named else None
        found = next((name for name in self.season.ids("builds") if build_token(name) == token), None)
        return self.season.build(found) if kind == "build" and found is not None else None

    def summary(self, entry: Entry) -> Summary | None:
        """The line of the season, or None while it is not reviewed yet."""
        return self._summaries.get(self._key(entry))

    def review_all(self) -> None:
        """Start reviewing whatever is not reviewed yet, in the background; returns at once."""
        with self._starting:
            if self._worker is not None and self._worker.is_alive():
                return
            if all(line is not None for _, line in self.lines()):
                return
            self._worker = threading.Thread(target=self._review_missing, name="reviews", daemon=True)
            self._worker.start()

    def _review_missing(self) -> None:
        for number, entry in enumerate([entry for entry, line in self.lines() if line is None], start=1):
            key = self._key(entry)
            try:
                self.bench(entry)
            except (AfterboutError, OSError) as error:
                self._summaries[key] = Summary("unknown", "", None, {}, str(error))
            if number % LINES_KEPT_EVERY == 0:
                self._keep_lines()
        self._keep_lines()

    def _keep_lines(self) -> None:
        """The lines of the matches as they stand now; older ones are let go."""
        found, _ = self._listed()
        if self.season is None or found is None:
            return
        kept = {key: line for key, line in self._summaries.copy().items() if found.fingerprints.get(key[0]) == key[1]}
        for key in self._summaries.keys() - kept.keys():
            self._summaries.pop(key, None)
        write_lines(self.season, kept)

    def _key(self, entry: Entry) -> LineKey:
        found, _ = self._listed()
        if found is None or entry.match is None:
            return entry.token, "\0".join(self.files)
        return entry.match.id, found.fingerprints.get(entry.match.id, "")


def build_token(name: str) -> str:
    """What stands for a build in addresses."""
    return hashlib.sha256(f"build\0{name}".encode()).hexdigest()[:12]


def _token(name: str) -> str:
    return hashlib.sha256(f"match\0{name}".encode()).hexdigest()[:12]
