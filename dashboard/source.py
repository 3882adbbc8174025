"""What the pages show: the matches of a season, or bare files; each reviewed once for its content."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.season_run import SeasonRun, run_season
from analysis.wording import NO_ACTION
from dashboard.pyramid import keep as keep_pyramids
from dashboard.reviewing import Bench, review_files, review_match
from dashboard.rows import Row, margin_rows
from dashboard.traces import signals_of
from ingest.builds import Build, Match, Pack
from ingest.errors import AfterboutError, SeasonError
from ingest.season import Season

if TYPE_CHECKING:
    from dashboard.live_follow import Follower

BENCHES_KEPT = 8  # whole reviews with their samples held in memory (our choice: a match is some 10 MB)
RUN_THREADS = 2  # reviews at once for a page that needs many (our choice: the pit laptop stays usable)


@dataclass(frozen=True)
class Entry:
    """One match in the list. token stands for it in addresses: no path and no name is ever in one."""

    token: str
    title: str
    match: Match | None


@dataclass(frozen=True)
class Summary:
    """One line of the season: the verdict, why, and the figures to compare; figures are None where not known."""

    verdict: str
    because: str
    hottest: Row | None
    estimates: dict[str, tuple[float, float, float, str]]  # name -> value, low, high, unit
    problem: str = ""


@dataclass(frozen=True)
class _Snapshot:
    stamp: tuple[tuple[str, int, int], ...]
    entries: tuple[Entry, ...]
    problems: tuple[AfterboutError, ...] = ()
    fingerprints: dict[str, str] = field(default_factory=dict)
    packs: tuple[Pack, ...] = ()


class Source:
    """The matches behind the pages. Safe to use from several threads."""

    def __init__(self, season_path: str | Path | None, files: Sequence[str] | None = None) -> None:
        self.season = Season(season_path) if season_path is not None else None
        self.files = tuple(files or ())
        self.live: Follower | None = None  # the recording that the live page follows
        self._benches: OrderedDict[tuple[str, str], Bench] = OrderedDict()
        self._summaries: dict[tuple[str, str], Summary] = {}
        self._lock = threading.RLock()
        self._reviewing: dict[tuple[str, str], threading.Lock] = {}
        self._worker: threading.Thread | None = None
        self._reading = threading.Lock()
        self._seen: _Snapshot | None = None

    @property
    def title(self) -> str:
        return self.season.name if self.season is not None else "Files"

    def entries(self) -> list[Entry]:
        """Every match that can be read, in order."""
        return list(self._snapshot().entries)

    def problems(self) -> tuple[AfterboutError, ...]:
        """Description files that could not be read."""
        return self._snapshot().problems

    def packs(self) -> tuple[Pack, ...]:
        """Every pack of the season that can be read."""
        return self._snapshot().packs

    def season_run(self, matches: Sequence[str] | None = None) -> SeasonRun:
        """Every match (or those named) as rows that can be compared; kept in the season's results. Raises SeasonError.

        In threads: a server starts no processes of its own.
        """
        if self.season is None:
            raise SeasonError("there is no season folder", mend="Start with: afterbout serve --season FOLDER")
        with ThreadPoolExecutor(RUN_THREADS) as executor:
            return run_season(self.season, matches=matches, executor=executor)

    def _snapshot(self) -> _Snapshot:
        """The descriptions as they stand; read again only when one of their files has changed."""
        if self.season is None:
            return _Snapshot((), (Entry(_token("files"), "Files", None),) if self.files else ())
        stamp = _stamp(self.season.root)
        with self._reading:
            if self._seen is None or self._seen.stamp != stamp:
                survey = self.season.survey()
                entries = tuple(Entry(_token(match.id), match.id, match) for match in survey.matches)
                self._seen = _Snapshot(stamp, entries, survey.problems, packs=survey.packs)
            return self._seen

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

    def _held(self, key: tuple[str, str]) -> Bench | None:
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
        try:
            return self._summaries.get(self._key(entry))
        except (AfterboutError, OSError) as error:
            return Summary("unknown", "", None, {}, str(error))

    def review_all(self) -> None:
        """Start reviewing whatever is not reviewed yet, in the background; returns at once."""
        with self._lock:
            if self._worker is not None and self._worker.is_alive():
                return
            self._worker = threading.Thread(target=self._review_missing, name="reviews", daemon=True)
            self._worker.start()

    def _review_missing(self) -> None:
        for entry in self.entries():
            if self.summary(entry) is not None:
                continue
            try:
                self.bench(entry)
            except (AfterboutError, OSError) as error:
                with self._lock:
                    self._summaries[self._key(entry)] = Summary("unknown", "", None, {}, str(error))

    def _key(self, entry: Entry) -> tuple[str, str]:
        if self.season is None or entry.match is None:
            return entry.token, "\0".join(self.files)
        known = self._snapshot().fingerprints
        if entry.match.id not in known:
            known[entry.match.id] = self.season.fingerprint(entry.match.id)
        return entry.match.id, known[entry.match.id]


def _stamp(root: Path) -> tuple[tuple[str, int, int], ...]:
    """Name, time and size of every description file of a season."""
    files = [
        root / "season.toml",
        *(p for kind in ("builds", "packs", "matches") for p in (root / kind).glob("*.toml")),
    ]
    out = []
    for file in files:
        try:
            stat = file.stat()
        except FileNotFoundError:  # taken away between the listing and now
            continue
        out.append((str(file), stat.st_mtime_ns, stat.st_size))
    return tuple(sorted(out))


def build_token(name: str) -> str:
    """What stands for a build in addresses."""
    return hashlib.sha256(f"build\0{name}".encode()).hexdigest()[:12]


def _token(name: str) -> str:
    return hashlib.sha256(f"match\0{name}".encode()).hexdigest()[:12]


def summarise(bench: Bench) -> Summary:
    """One line from a review."""
    review = bench.review
    rows = margin_rows(review)
    wires = [row for row in rows if row.check == "wire_temperature"]
    worst = next((f for f in review.findings if f.verdict == review.match.verdict and not f.consequence_of), None)
    worst = worst or next((f for f in review.findings if f.verdict == review.match.verdict), None)
    because = ""
    if worst is not None:
        cause = worst.cause if worst.cause != "unknown" else worst.kind
        because = f"{cause}, {worst.part}".replace("_", " ")
    elif review.lines[2] != NO_ACTION:
        because = "not all of it could be checked" if review.quality else "see its note"
    figures = {e.name: (e.value, e.low, e.high, e.unit) for e in reversed(review.estimates)}
    return Summary(review.match.verdict, because, min(wires, key=lambda r: r.margin_pct, default=None), figures)
