"""The season folder: plain files that a builder can read, edit, back up and put under version control.

Reading takes no lock. What writes (create, add, note) holds the season's lock and leaves everything or nothing.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from ingest.builds import Build, load_build
from ingest.description import Complaint, read_document
from ingest.errors import SeasonError, nearest
from ingest.fields import ID_PATTERN, MATCH_ID_PATTERN
from ingest.lock import LOCK_TIMEOUT_S, locked
from ingest.log import Log
from ingest.matches import LogEntry, Match, Noted, load_match
from ingest.packs import Pack, load_pack
from ingest.places import address_of, is_remote, place
from ingest.readings import Reading, load_reading
from ingest.remote_layer import RemoteLayer
from ingest.season_file import Charger, Setting, Threshold, load_season_settings
from ingest.season_results import kept_or_made, result_name
from ingest.season_survey import Survey, match_order, reference_complaints, survey
from ingest.store import Store
from ingest.telemetry import read_entry

if TYPE_CHECKING:
    from ingest.formats import ReadOptions
    from ingest.season_add import AddResult, Aligner, Progress
    from ingest.season_verify import Problem

FOLDERS = ("builds", "packs", "matches", "readings", "telemetry", "originals")
_KIND_WORDS = {"builds": "build", "packs": "pack", "matches": "match"}

Described = TypeVar("Described", Build, Pack, Match)


class Season:
    """An existing season folder. Raises SeasonError where it is none, DescriptionError where season.toml is wrong."""

    def __init__(self, path: str | Path, store: Store | None = None) -> None:
        root = place(path)
        if root.name == "season.toml" and root.is_file():
            root = root.parent
        mend = "Check the address." if is_remote(root) else f"Make one with: afterbout new {root}"
        if not root.exists():
            raise SeasonError("there is no such folder", file=path, mend=mend)
        if not root.is_dir():
            raise SeasonError("is a file, not a season folder", file=path, mend="Name the folder of the season.")
        if not (root / "season.toml").is_file():
            raise SeasonError("is not a season: it holds no season.toml", file=path, mend=mend)
        self.root = root
        self.store = store or Store(RemoteLayer() if is_remote(root) else None)
        self._settings = load_season_settings(root / "season.toml")

    # What season.toml says

    @property
    def name(self) -> str:
        return self._settings.name or self.root.resolve().name

    @property
    def robot(self) -> str:
        return self._settings.robot

    @property
    def charger(self) -> Charger | None:
        return self._settings.charger

    @property
    def settings(self) -> dict[str, Threshold]:
        """The thresholds that the user overrides."""
        return dict(self._settings.thresholds)

    def check_settings(self, known: Sequence[Setting]) -> None:
        """Raise DescriptionError with the line of a threshold that is not known or of the wrong kind."""
        self._settings.check(known)

    @property
    def address(self) -> str:
        """What opens this season again, in another process or on another machine."""
        return address_of(self.root)

    @property
    def results_path(self) -> Path:
        """Derived files; may be deleted at any time."""
        return self.root / "results"

    # Descriptions

    def ids(self, kind: str) -> list[str]:
        """The ids of "builds", "packs" or "matches", by their file names."""
        folder = self.root / kind
        return sorted(p.stem for p in folder.glob("*.toml") if not p.name.startswith(".")) if folder.is_dir() else []

    def build(self, build_id: str) -> Build:
        return self._load("builds", build_id, load_build)

    def pack(self, pack_id: str) -> Pack:
        return self._load("packs", pack_id, load_pack)

    def match(self, match_id: str) -> Match:
        """A match whose build and packs exist. Raises SeasonError, DescriptionError."""
        match = self._load("matches", match_id, load_match)
        complaints = reference_complaints(self, match)
        if complaints:
            raise read_document(self.root / "matches" / f"{match_id}.toml").error(complaints)
        return match

    def builds(self) -> list[Build]:
        return [self.build(build_id) for build_id in self.ids("builds")]

    def packs(self) -> list[Pack]:
        return [self.pack(pack_id) for pack_id in self.ids("packs")]

    def matches(self) -> list[Match]:
        """Every match, those with a start by time, the others by id among the first."""
        return sorted((self.match(match_id) for match_id in self.ids("matches")), key=match_order)

    def survey(self) -> Survey:
        """Everything readable, with the errors of the rest."""
        return survey(self)

    def readings(self) -> list[Reading]:
        """How the columns or bytes of each kind of file are read. Raises ReadingError."""
        return [load_reading(self.inside(self.root / "readings" / f"{name}.toml")) for name in self.ids("readings")]

    # Samples

    def log(self, match: Match | str, columns: Sequence[str] | None = None) -> list[Log]:
        """The logs of a match in the order of its file. `columns` restricts the channels read (time_s always comes).

        Raises SeasonError where the samples are missing or damaged.
        """
        chosen = self.match(match) if isinstance(match, str) else match
        return [self.log_of(chosen, entry, columns) for entry in chosen.logs]

    def log_of(self, match: Match, entry: LogEntry, columns: Sequence[str] | None = None) -> Log:
        return read_entry(self.telemetry_path(match.id), entry, columns, self._add_again(match, entry))

    def telemetry_path(self, match_id: str) -> Path:
        self._check_id("matches", match_id)
        return self.inside(self.root / "telemetry" / f"match={match_id}")

    def original_of(self, entry: LogEntry) -> Path | None:
        """The kept bytes of an ingested file."""
        return next(iter(sorted((self.root / "originals").glob(f"{entry.sha256}.*"))), None)

    # Writing

    @classmethod
    def create(
        cls,
        path: str | Path,
        name: str = "",
        robot: str = "",
        thresholds: Sequence[Setting] = (),
        files: Mapping[str, str] | None = None,
        store: Store | None = None,
    ) -> Season:
        """A new season. files: "builds/b.toml" -> its text, checked before anything is written.

        Raises SeasonError where the folder holds anything that would be overwritten.
        """
        from ingest.season_create import create_season

        if is_remote(place(path)):
            raise SeasonError("a new season is made on a disk", file=path, mend="Make it there, then copy it.")
        create_season(Path(path), name, robot, thresholds, files or {}, store or Store())
        return cls(path, store)

    def add(
        self,
        files: Sequence[str | Path],
        match_id: str,
        *,
        build: str | None = None,
        pack: str | None = None,
        options: ReadOptions | None = None,
        progress: Progress | None = None,
        align: Aligner | None = None,
        lock_timeout_s: float = LOCK_TIMEOUT_S,
        **about: Any,
    ) -> AddResult:
        """Ingest files as one match: all of them, or nothing. The same bytes twice change nothing.

        about     event, opponent, start, packs and the other keys of [match]; what the match file states already
                  is not overwritten, a build or pack that differs from it is refused
        progress  called with (file name, "keeping" or "reading", bytes or rows so far)
        align     places several logs on the clock of the first: ingest.align.align, or anything that takes the logs
                  and gives (offset_s or None, drift_ppm, how) for each

        Raises UnreadableLog, ReadingError, DescriptionError, SeasonError, StoreError.
        """
        from ingest.season_add import add_files

        given = {"build": build, "pack": pack, **about}
        head = {key: value for key, value in given.items() if value is not None}
        return add_files(self, files, match_id, head, options, progress, align, lock_timeout_s)

    def note(self, match_id: str, noted: Noted) -> Match:
        """Add a figure that a person read off. Raises DescriptionError where part or unit make no sense."""
        from ingest.season_note import note_figure

        return note_figure(self, match_id, noted)

    @contextmanager
    def locked(self, doing: str, timeout_s: float = LOCK_TIMEOUT_S) -> Iterator[None]:
        """The season to oneself; what a killed command left unfinished is swept away first."""
        from ingest.season_ledger import remember
        from ingest.season_sweep import sweep_season

        with locked(self.root, self.store, doing, timeout_s):
            sweep_season(self)
            yield
            remember(self)

    def verify(self) -> list[Problem]:
        """Everything that is damaged, missing or left over, by the hashes of every file (docs/robustness.md)."""
        from ingest.season_verify import verify_season

        return verify_season(self)

    # Derived

    def fingerprint(self, match: Match | str) -> str:
        """SHA-256 over everything a review of this match depends on in the season; for `result`'s key."""
        match = self.match(match) if isinstance(match, str) else match
        files = [self.root / "season.toml", self.root / "matches" / f"{match.id}.toml"]
        files += [self.root / "builds" / f"{match.build}.toml"] if match.build else []
        files += [self.root / "packs" / f"{pack_id}.toml" for pack_id in match.fitted_packs]
        digest = hashlib.sha256()
        for file in files:
            digest.update(f"{file.parent.name}/{file.name}\0".encode() + file.read_bytes() + b"\0")
        return digest.hexdigest()

    def result(self, name: str, key: Any, make: Callable[[], Any]) -> Any:
        """A derived JSON value, made once for a key: results/<name>/<hash of the key>.json.

        A season that cannot be written still gets its value, made anew each time.
        """
        return kept_or_made(self, name, key, make)

    def result_path(self, name: str, key: Any) -> Path:
        return self.results_path / result_name(name, key)

    # Inner

    def inside(self, path: Path) -> Path:
        """The path, which must not lead out of the season by a link."""
        if not path.resolve().is_relative_to(self.root.resolve()):
            raise SeasonError("leads out of the season", file=path, mend="Copy the file into the season folder.")
        return path

    def _load(self, kind: str, name: str, load: Callable[[Path], Described]) -> Described:
        self._check_id(kind, name)
        path = self.inside(self.root / kind / f"{name}.toml")
        if not path.is_file():
            word = _KIND_WORDS[kind]
            raise SeasonError(f"there is no {word} {name!r}", file=self.root, mend=self.missing(kind, name))
        found = load(path)
        if found.id != name:
            document = read_document(path)
            raise document.error(
                [
                    Complaint(
                        (_KIND_WORDS[kind], "id"), "is not the name of the file", found.id, f'"{name}"',
                        f'Write id = "{name}" or rename the file to {found.id}.toml.',
                    )
                ]
            )  # fmt: skip
        return found

    def missing(self, kind: str, name: str) -> str:
        known = self.ids(kind)
        return nearest(name, known) if known else f"There is none yet: put one into {self.root / kind}."

    def _check_id(self, kind: str, name: str) -> None:
        pattern = MATCH_ID_PATTERN if kind == "matches" else ID_PATTERN
        if not re.fullmatch(pattern, name):
            word = _KIND_WORDS[kind]
            raise SeasonError(
                f"is not the id of a {word}", file=self.root, found=name, expected=f"an id of the form {pattern}",
                mend=self.missing(kind, name),
            )  # fmt: skip

    def _add_again(self, match: Match, entry: LogEntry) -> str:
        original = self.original_of(entry)
        source = entry.name if original is None else str(original)
        return f"Read it again with: afterbout add {source} --season {self.root} --match {match.id}"
