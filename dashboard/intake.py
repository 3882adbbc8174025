"""The work behind the page that adds files: read them as `inspect` does, take the answers, add them as `add` does.

One thread of its own does it, so that no request waits for a log of 200 MB; the page asks how far it is.
"""

from __future__ import annotations

import contextlib
import copy
import queue
import re
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import replace

from dashboard.match_form import match_head, next_id, now_text
from dashboard.reading_options import read_options
from dashboard.source import Source
from dashboard.upload import Draft, Incoming, Refused, Shelf
from dashboard.upload_answers import is_reading_name, read_answers, reading_of
from ingest.align import align
from ingest.builds import Build, Match
from ingest.errors import AfterboutError, SeasonError, UsageError
from ingest.formats import ReadOptions
from ingest.inspect import inspect_one
from ingest.readings import load_reading
from ingest.season import Season

SHOWN_EVERY_S = 0.3  # how often a page is told of rows read (our choice: an eye sees no more)
FORM_KEYS_MOST = 2000  # of one request: sixteen files with forty questions of four fields are fewer


class Intake:
    """Every draft of a source's season, and the thread that reads and stores."""

    def __init__(self, source: Source, season: Season) -> None:
        self.source = source
        self.season = season
        self.shelf = Shelf(season)
        self._jobs: queue.Queue[Callable[[], None]] = queue.Queue()
        self._thread: threading.Thread | None = None

    # What the page asks for

    def begin(self, token: str | None, name: str, size: int) -> tuple[Draft, Incoming]:
        """Room for one more file. Raises Refused."""
        draft, file = self.shelf.begin(token, name, size)
        if not draft.form:
            draft.form = self.first_form()
        return draft, file

    def received(self, draft: Draft, file: Incoming) -> None:
        """A file is whole: read it. One that says how others are read has them read again."""
        if file.kind != "log":
            self._wait_again(draft)
        self._do(draft, lambda: self._read_waiting(draft))

    def answered(self, draft: Draft, form: Mapping[str, str]) -> None:
        """Keep what the form says, and read everything again with it."""
        if draft.phase != "open":
            raise Refused(409, "These files are being stored.")
        self._take_form(draft, form)
        self._wait_again(draft)
        self._do(draft, lambda: self._read_waiting(draft))

    def store(self, draft: Draft, form: Mapping[str, str]) -> None:
        """Add what was read as one match, review it, and say where its page is."""
        with self.shelf.lock:
            if draft.phase != "open":
                raise Refused(409, "These files are being stored.")
            if draft.busy:
                raise Refused(409, "Not all files are read yet.")
            self._take_form(draft, form)
            if draft.error:
                return
            draft.phase, draft.doing = "storing", "Reading with the answers"
            draft.changed()
        self._do(draft, lambda: self._store(draft))

    # The form

    def first_form(self) -> dict[str, str]:
        """What is proposed: the next id, the event and build of the last match, now."""
        last = next((e.match for e in reversed(self.source.entries()) if e.match is not None), None)
        form = {"match": "", "new_id": next_id(self.season.ids("matches")), "start": now_text()}
        if last is not None:
            form |= {"event": last.event, "build": last.build or ""}
        builds = self.season.ids("builds")
        if not form.get("build") and len(builds) == 1:
            form["build"] = builds[0]
        return form

    def match(self, draft: Draft) -> Match | None:
        """The match that is there already, where one was chosen."""
        chosen = draft.form.get("match", "")
        return next((e.match for e in self.source.entries() if chosen and e.title == chosen), None)

    def build(self, draft: Draft) -> Build | None:
        """The build that names the parts. Raises AfterboutError where it cannot be read."""
        match = self.match(draft)
        chosen = (match.build if match is not None else None) or draft.form.get("build", "")
        return self.season.build(chosen) if chosen else None

    def _take_form(self, draft: Draft, form: Mapping[str, str]) -> None:
        """Raises nothing: what is wrong in it stands on the page."""
        draft.error = ""
        draft.form = {**draft.form, **{k: v[:200] for k, v in list(form.items())[:FORM_KEYS_MOST]}}
        for file in draft.files:
            if file.asked is None:
                continue
            try:
                given = {key: value for key, value in form.items() if key.startswith(f"{file.token}.")}
                file.answers = read_answers(given, file.token, file.asked)
            except AfterboutError as error:
                draft.error = f"{file.name}: {error}"
        draft.changed()

    # The thread

    def _do(self, draft: Draft, job: Callable[[], None]) -> None:
        def guarded() -> None:
            try:
                job()
            except (AfterboutError, OSError) as error:
                draft.error = _words(draft, str(error))
            except Exception as error:  # noqa: BLE001 - a defect of ours: the thread must go on for the next file
                draft.error = f"This stopped with {type(error).__name__}: {error}"
            finally:
                if draft.phase == "storing":
                    draft.phase = "open"
                for file in draft.files:
                    if file.state == "reading":
                        file.refuse(draft.error or "It could not be read.")
                draft.doing = ""
                draft.changed()

        with self.shelf.lock:
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._work, name="intake", daemon=True)
                self._thread.start()
        self._jobs.put(guarded)

    def _work(self) -> None:
        while True:
            self._jobs.get()()

    def _wait_again(self, draft: Draft) -> None:
        for file in draft.files:
            if file.kind == "log" and file.have == file.size and file.path.is_file():
                file.state, file.why = "waiting", ""
        draft.changed()

    def _options(self, draft: Draft) -> ReadOptions:
        base = read_options(self.build(draft), self.season)
        dropped = [f.reading for f in draft.files if f.kind == "reading" and f.reading is not None]
        marks = {r.fingerprint for r in dropped if r.fingerprint}
        database = next((f for f in draft.files if f.kind == "database" and f.state == "read"), None)
        return replace(
            base,
            readings=(*dropped, *(r for r in base.readings if r.fingerprint not in marks)),
            dbc=database.path if database is not None else None,
        )

    def _read_waiting(self, draft: Draft) -> None:
        for file in sorted(draft.files, key=lambda f: f.kind == "log"):
            if file.state != "waiting":
                continue
            file.state, file.rows = "reading", 0
            draft.changed()
            try:
                self._read(draft, file)
            except AfterboutError as error:
                file.refuse(str(error))
            except OSError as error:
                file.refuse(f"It cannot be read: {error.strerror or error}. Choose it again.")
            draft.changed()

    def _read(self, draft: Draft, file: Incoming) -> None:
        if file.kind == "reading":
            file.reading = load_reading(file.path)
            file.state = "read"
            return
        if file.kind == "database":
            file.state = "read"
            return
        options = self._options(draft)
        base: object = (options.parts, options.pole_pairs, options.readings, options.dbc)
        if file.read_as is not None and file.read_as == (base, file.answers):
            file.state = "read"
            return
        shown = time.monotonic()

        def rows(count: int) -> None:
            nonlocal shown
            file.rows = count
            if time.monotonic() - shown > SHOWN_EVERY_S:
                shown = draft.touched = time.monotonic()
                draft.changed()

        file.read_as, file.reading, file.reading_text = None, None, ""
        if file.asked is None or file.asked_as != base:
            file.asked, file.provenance = inspect_one(file.path, options, rows)
            file.asked_as = base
            self._look_elsewhere(draft, file, file.asked["sha256"])
        file.entry = file.asked
        if file.provenance is None:
            file.asked_as = None
            file.refuse(file.asked["refused"])
            return
        if file.answers.any:
            file.reading, file.reading_text = reading_of(file.provenance, file.asked, file.answers)
            file.entry, read = inspect_one(file.path, replace(options, reading=file.reading), rows)
            if read is None:
                file.refuse(file.entry["refused"])
                return
        if file.state == "reading":
            file.state, file.read_as = "read", (base, copy.deepcopy(file.answers))

    def _look_elsewhere(self, draft: Draft, file: Incoming, sha256: str) -> None:
        """Where the same bytes are already."""
        matches = [e.match for e in self.source.entries() if e.match is not None]
        file.also_in = tuple(m.id for m in matches if any(log.sha256 == sha256 for log in m.logs))
        before = draft.files[: draft.files.index(file)] if file in draft.files else []
        twins = [f.name for f in before if f.asked is not None and f.asked["sha256"] == sha256]
        file.same_as = twins[0] if twins else ""

    # Storing

    def _store(self, draft: Draft) -> None:
        self._wait_again(draft)
        self._read_waiting(draft)
        logs = draft.logs()
        if not logs:
            raise UsageError("no file could be read", mend="Add a log file.")
        kept = self._readings_to_keep(draft)
        match_id, head = match_head(self.season, draft.form, self.match(draft), self.build(draft))
        draft.doing = "Storing"
        draft.changed()
        own = {f.asked["sha256"]: f.reading for f in logs if f.asked is not None and f.reading is not None}
        result = self.season.add(
            [file.path for file in logs],
            match_id,
            options=replace(self._options(draft), of_bytes=own),
            progress=lambda name, step, _: self._tell(draft, f"{name}: {step}"),
            align=align,
            **head,
        )
        told = list(result.warnings)
        for name, text in kept.items():
            try:
                self.season.store.write_text(self.season.root / "readings" / f"{name}.toml", text)
            except AfterboutError as error:
                told.append(str(error))
        self._tell(draft, "Reviewing")
        entry = next((e for e in self.source.entries() if e.title == match_id), None)
        if entry is None:
            raise SeasonError("was stored, but cannot be read", file=f"matches/{match_id}.toml", mend="Look into it.")
        with contextlib.suppress(AfterboutError, OSError):  # the match's page says what is wrong
            self.source.bench(entry)
        draft.told, draft.match, draft.phase = tuple(told), entry.token, "stored"
        self.shelf.clear_files(draft)

    def _tell(self, draft: Draft, text: str) -> None:
        if draft.doing != text:
            draft.doing, draft.touched = text, time.monotonic()
            draft.changed()

    def _readings_to_keep(self, draft: Draft) -> dict[str, str]:
        """Name -> text of the readings that go into the season. Raises UsageError where a name is taken or is none."""
        kept: dict[str, str] = {}
        there = set(self.season.ids("readings"))
        for file in draft.files:
            if file.kind == "reading" and file.reading is not None:
                name = re.sub(r"[^a-z0-9]+", "-", file.reading.name.lower()).strip("-")[:40] or "reading"
                if name not in there:
                    kept[name] = file.path.read_text("utf-8-sig")
            elif file.state == "read" and file.reading_text and file.answers.keep:
                name = file.answers.name
                if not is_reading_name(name):
                    mend = "Use small letters, digits and lines, at most 40."
                    raise UsageError("this is no name for a reading", column=file.name, found=name, mend=mend)
                if name in there or name in kept:
                    mend = "Give another name."
                    raise UsageError("a reading of this name is there already", column=file.name, found=name, mend=mend)
                kept[name] = file.reading_text
        return kept


def _words(draft: Draft, text: str) -> str:
    """An error with the names the user knows instead of where the bytes wait."""
    for file in draft.files:
        text = text.replace(str(file.path), file.name)
    return text
