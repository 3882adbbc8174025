"""Adding logs to a match: everything is staged first, then renamed, the match file last.

A killed add leaves only files that nothing refers to: hidden unfinished ones, which the next add sweeps away, and
originals or samples that the same add, run again, takes up.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ingest.align import PlacedLog
from ingest.builds import Build, fits
from ingest.description import Complaint, parse_document, read_description
from ingest.errors import DescriptionError, StoreError, UsageError
from ingest.formats import ReadOptions, read_head
from ingest.log import Log, Provenance
from ingest.match_text import entry_table, new_match_text
from ingest.matches import LogEntry, Match, match_of
from ingest.season_stage import Progress, Staged, Stager, Status
from ingest.season_survey import reference_complaints
from ingest.season_sweep import replaced_samples
from ingest.store import Original, Store
from ingest.telemetry import stem_of, telemetry_files
from ingest.toml_text import edit

if TYPE_CHECKING:
    from ingest.season import Season

Placement = tuple[float | None, float, str]
Aligner = Callable[[list[Log]], Sequence[Placement | PlacedLog]]

_BY_HAND = "by hand"


@dataclass(frozen=True)
class AddedLog:
    """What became of one file."""

    name: str
    sha256: str
    file: str
    status: Status
    provenance: Provenance


@dataclass(frozen=True)
class AddResult:
    """What an add did. warnings: to be looked at; notes: what was assumed or made."""

    match: Match
    created: bool
    logs: tuple[AddedLog, ...]
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def changed(self) -> bool:
        return self.created or any(log.status != "unchanged" for log in self.logs)


def add_files(
    season: Season,
    files: Sequence[str | Path],
    match_id: str,
    head: Mapping[str, Any],
    options: ReadOptions | None,
    progress: Progress | None,
    align: Aligner | None,
    lock_timeout_s: float,
) -> AddResult:
    """See Season.add."""
    paths = [Path(file) for file in files]
    if not paths:
        raise UsageError("no file to add was named", mend="Name the logs of the match.")
    season.telemetry_path(match_id)  # refuses what is not an id
    for path in paths:
        read_head(path)  # refuses what is not an ordinary file, before anything waits or is copied
    with season.locked(f"adding to match {match_id}", lock_timeout_s):
        adding = _Adding(season, match_id, head, options or ReadOptions(), progress or (lambda *_: None))
        try:
            for path in paths:
                adding.take(path)
            adding.place(align)
            adding.publish()
        finally:
            adding.tidy()
        return adding.result()


class _Adding:
    """One add in progress. Nothing that the match refers to changes before publish()."""

    def __init__(
        self, season: Season, match_id: str, head: Mapping[str, Any], options: ReadOptions, progress: Progress
    ) -> None:
        self.season = season
        self.store: Store = season.store
        self.folder = season.telemetry_path(match_id)
        self.path = season.inside(season.root / "matches" / f"{match_id}.toml")
        self.progress = progress
        self.notes: list[str] = []
        self.warnings: list[str] = []
        self.created = not self.path.exists()
        self.text = self._new_text(match_id, head) if self.created else self._filled_text(head)
        self.match = self._checked(self.text)
        self.build: Build | None = season.build(self.match.build) if self.match.build else None
        self.stager = Stager(self.store, self.folder, self.match.logs, self._options(options), progress)
        self.new_originals: list[Original] = []
        self.final_text: str | None = None
        self.placed_files: list[Path] = []
        self.obsolete: list[Path] = []

    # The match file

    def _new_text(self, match_id: str, head: Mapping[str, Any]) -> str:
        chosen = dict(head)
        for key, kind in (("build", "builds"), ("pack", "packs")):
            known = self.season.ids(kind)
            if key not in chosen and not (key == "pack" and "packs" in chosen) and len(known) == 1:
                chosen[key] = known[0]
                self.notes.append(f"{key} {known[0]} was taken: it is the only one of the season")
        self.notes.append(f"matches/{match_id}.toml was made")
        return new_match_text(match_id, chosen)

    def _filled_text(self, head: Mapping[str, Any]) -> str:
        """What the match file leaves open is filled in; what it says otherwise is refused, as verdicts hang on it."""
        text = read_description(self.path)
        document = parse_document(text, file=self.path)
        match_of(document)
        table = document.data["match"]
        missing = {key: value for key, value in head.items() if key != "packs" and key not in table}
        for key, value in head.items():
            there = document.data.get("packs") if key == "packs" else table.get(key)
            if there is not None and key in ("build", "pack", "packs") and there != value:
                path = (key,) if key == "packs" else ("match", key)
                mend = f"Leave the option out, or change the line to {key} = {value!r}."
                raise document.error([Complaint(path, f"differs from the {key} that was given", there, mend=mend)])
        if "packs" in head and "packs" not in document.data:
            raise document.error([Complaint(("match",), "names no [packs]", mend="Write [packs] into the file.")])
        return edit(text, file=self.path, keys={("match",): missing}) if missing else text

    def _checked(self, text: str) -> Match:
        """The match that a text describes, its build and packs there. Raises before anything is stored."""
        document = parse_document(text, file=self.path)
        match = match_of(document, f"matches/{self.path.name}")
        if match.id != self.path.stem:
            complaint = Complaint(("match", "id"), "is not the name of the file", match.id, f'"{self.path.stem}"')
            raise document.error([complaint])
        complaints = reference_complaints(self.season, match)
        if complaints:
            raise document.error(complaints)
        return match

    def _options(self, options: ReadOptions) -> ReadOptions:
        """The season's readings and the build's parts, where the caller gave none; the packs fitted in any case."""
        readings = options.readings or tuple(self.season.readings())
        parts = dict(options.parts) or ({} if self.build is None else self.build.part_kinds())
        if self.build is not None and self.match.packs:
            # Where a match names its packs by slot, channels begin with the id of the pack fitted.
            parts |= {pack: "pack" for pack in self.match.fitted_packs}
        return replace(options, readings=readings, parts=parts)

    def take(self, path: Path) -> None:
        """Keep the bytes of a file and stage its samples."""
        name = path.name.encode("utf-8", "replace").decode("utf-8")
        self.progress(name, "keeping", 0)
        original = self.store.keep_original(path, self.season.inside(self.season.root / "originals"))
        if original.new:
            self.new_originals.append(original)
        if any(staged.entry.sha256 == original.sha256 for staged in self.stager.staged):
            self.notes.append(f"{name} was named twice; it was taken once")
            return
        if original.sha256 not in self.stager.known:
            self._look_elsewhere(original.sha256, name)
        self.stager.take(path, original, name)

    def _look_elsewhere(self, sha256: str, name: str) -> None:
        for other in self.season.ids("matches"):
            if other == self.path.stem:
                continue
            try:
                text = read_description(self.season.root / "matches" / f"{other}.toml")
            except DescriptionError:  # another match's own fault is not this add's
                continue
            if sha256 in text:
                self.warnings.append(f"{name}: the same bytes are also a log of match {other}")

    def place(self, align: Aligner | None) -> None:
        """The clock of each log: the first log's is the match clock; the others by `align`, or left open."""
        entries = self._entries()
        changed = {staged.entry.sha256 for staged in self.stager.staged if staged.status != "unchanged"}
        if not changed:
            return
        if entries[0].clock_by != _BY_HAND:
            self._set(entries[0], 0.0, 0.0, "the match clock", None, None)
        if len(entries) < 2 or align is None:
            return
        first_changed = entries[0].sha256 in changed
        placed = list(align([self.stager.log(entry) for entry in entries]))
        if entries[0].clock_by != _BY_HAND:
            # Its place is given; its error against the others is known only now.
            self._set(entries[0], 0.0, 0.0, "the match clock", None, _placement(placed[0])[4])
        for entry, place in zip(entries[1:], placed[1:], strict=True):
            stated = entry.clock_offset_s is not None
            if stated and (entry.clock_by == _BY_HAND or not (first_changed or entry.sha256 in changed)):
                continue
            self._set(entry, *_placement(place))

    def _entries(self) -> list[LogEntry]:
        """The entries of the match as they will stand, in order."""
        new = {staged.entry.sha256: staged.entry for staged in self.stager.staged}
        kept = [new.pop(entry.sha256, entry) for entry in self.match.logs]
        return kept + list(new.values())

    def _set(
        self,
        entry: LogEntry,
        offset: float | None,
        drift: float,
        how: str,
        correlation: float | None,
        error: float | None,
    ) -> None:
        update = {
            "clock_offset_s": None if offset is None else round(offset, 6),
            "clock_drift_ppm": round(drift, 3),
            "clock_by": how,
            "clock_correlation": None if correlation is None else round(correlation, 4),
            "clock_error_s": None if error is None else round(error, 6),
        }
        changed = entry.model_copy(update=update)
        for staged in self.stager.staged:
            if staged.entry.sha256 == entry.sha256:
                staged.entry = changed
                return
        self.stager.staged.append(Staged(changed, "unchanged", Provenance(entry.name, entry.sha256, "")))

    def publish(self) -> None:
        """Rename the samples, then write the match file: from here on the add has happened."""
        text = self._final_text()
        self._checked(text)
        for staged in self.stager.staged:
            targets = {target for _, target in staged.parquet}
            for left_over in set(telemetry_files(self.folder, staged.entry.file)) - targets if targets else ():
                self.store.remove(left_over)  # of a killed add: no entry refers to this name
            for output, target in staged.parquet:
                self.placed_files.append(target)
                output.commit(target)
        new_stems = {staged.entry.sha256: staged.entry.file for staged in self.stager.staged if staged.parquet}
        for entry in self.match.logs:
            if new_stems.get(entry.sha256, stem_of(entry)) != stem_of(entry):
                self.obsolete += telemetry_files(self.folder, stem_of(entry))
        self.final_text = text
        if self.created or text != read_description(self.path):
            self.store.write_text(self.path, text)

    def _final_text(self) -> str:
        places = {entry.sha256: i for i, entry in enumerate(self.match.logs)}
        keys: dict[tuple[str | int, ...], dict[str, Any]] = {}
        append: list[tuple[str, dict[str, Any]]] = []
        for staged in self.stager.staged:
            entry = staged.entry
            place = places.get(entry.sha256)
            if place is None:
                append.append(("log", entry_table(entry)))
            elif entry != self.match.logs[place]:
                before, after = entry_table(self.match.logs[place]), entry_table(entry)
                gone = dict.fromkeys(key for key in before if key not in after)
                keys["log", place] = gone | {key: value for key, value in after.items() if before.get(key) != value}
        return edit(self.text, file=self.path, keys=keys, append=append) if keys or append else self.text

    def tidy(self) -> None:
        """After a failure everything new goes; after success the samples that were replaced go.

        What cannot be removed (a failing disk, a file open elsewhere) stays: nothing refers to it.
        """
        published = self._is_published()
        self.stager.discard()
        if published:  # with what a killed add before this one left standing
            self.obsolete += replaced_samples(self.folder, self._checked(self.final_text or self.text))
        unwanted = self.obsolete if published else self.placed_files + [kept.path for kept in self.new_originals]
        for path in unwanted:
            with contextlib.suppress(StoreError):
                self.store.remove(path)

    def _is_published(self) -> bool:
        """Whether the match file refers to what was staged: also right where an interrupt fell behind the rename."""
        try:
            return self.final_text is not None and read_description(self.path) == self.final_text
        except DescriptionError:
            return False

    def result(self) -> AddResult:
        match = self._checked(self.final_text or self.text)
        warnings = list(self.warnings)
        if self.build is not None and match.fitted_packs:
            warnings += fits(self.build, [self.season.pack(pack_id) for pack_id in match.fitted_packs])
        logs = tuple(
            AddedLog(s.entry.name, s.entry.sha256, stem_of(s.entry), s.status, s.provenance)
            for s in self.stager.staged
            if s.provenance.format
        )
        return AddResult(match, self.created, logs, tuple(warnings), tuple(self.notes))


def _placement(place: Placement | PlacedLog) -> tuple[float | None, float, str, float | None, float | None]:
    if isinstance(place, PlacedLog):
        offset = place.offset_s if place.placed else None
        return offset, place.drift_ppm, place.how, place.correlation, place.error_s
    return (*place, None, None)
