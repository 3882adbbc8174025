"""Files on their way into a season: taken in pieces, kept apart from the season, bounded, taken away again.

Nothing here is stored in the season: what arrives stands in results/incoming until it is added or cancelled. A
server that starts sweeps what an earlier one left there.
"""

from __future__ import annotations

import contextlib
import re
import secrets
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

from dashboard.upload_answers import Answers
from ingest.errors import AfterboutError, StoreError
from ingest.log import Provenance
from ingest.readings import Reading
from ingest.season import Season
from ingest.store import Output, translated

# All our choice: a log of a match is below 200 MB, and a pit laptop's disk is not for filling.
PIECE_BYTES: Final = 960_000  # one request; below serving.MAX_CONTENT_BYTES, so that no request is ever large
FILE_BYTES_MOST: Final = 500_000_000
ALL_BYTES_MOST: Final = 2_000_000_000  # of everything that waits, in all drafts together
FILES_MOST: Final = 16
DRAFTS_MOST: Final = 4
IDLE_S: Final = 600.0  # a draft whose page is open tells so every minute
NAME_MOST: Final = 120

State = Literal["receiving", "waiting", "reading", "read", "refused"]
Kind = Literal["log", "database", "reading"]
_KINDS: Final[Mapping[str, Kind]] = {".dbc": "database", ".toml": "reading"}


class Refused(Exception):
    """A request that is not taken: its HTTP status and why, in words."""

    def __init__(self, status: int, why: str, have: int | None = None) -> None:
        super().__init__(why)
        self.status, self.why, self.have = status, why, have


@dataclass(eq=False)
class Incoming:
    """One file of a draft. entry: its inspect entry as it is read now; asked: the one before any answer."""

    token: str
    name: str
    size: int
    path: Path
    have: int = 0
    state: State = "receiving"
    why: str = ""
    rows: int = 0
    entry: dict[str, Any] | None = None
    asked: dict[str, Any] | None = None
    provenance: Provenance | None = None
    answers: Answers = field(default_factory=Answers)
    reading: Reading | None = None
    reading_text: str = ""
    asked_as: object = None  # what `asked` and `entry` rest on: read again only where it is another
    read_as: object = None
    also_in: tuple[str, ...] = ()
    same_as: str = ""
    output: Output | None = field(default=None, repr=False)
    writing: threading.Lock = field(default_factory=threading.Lock, repr=False)

    @property
    def kind(self) -> Kind:
        return _KINDS.get(Path(self.name).suffix.lower(), "log")

    def refuse(self, why: str) -> None:
        self.state, self.why = "refused", why.replace(str(self.path), self.name)


@dataclass(eq=False)
class Draft:
    """Files that are to become one match. version: counts up with every change that a page should show."""

    token: str
    folder: Path
    files: list[Incoming] = field(default_factory=list)
    form: dict[str, str] = field(default_factory=dict)
    version: int = 0
    touched: float = field(default_factory=time.monotonic)
    phase: Literal["open", "storing", "stored"] = "open"
    doing: str = ""
    error: str = ""
    told: tuple[str, ...] = ()
    match: str = ""

    def file(self, token: str) -> Incoming:
        found = next((file for file in self.files if file.token == token), None)
        if found is None:
            raise Refused(404, "This file is not held here any more. Choose it again.")
        return found

    def logs(self) -> list[Incoming]:
        """Those that were read and can be added."""
        return [file for file in self.files if file.kind == "log" and file.state == "read"]

    @property
    def busy(self) -> bool:
        return self.phase == "storing" or any(f.state in ("receiving", "waiting", "reading") for f in self.files)

    def changed(self) -> None:
        self.version += 1


class Shelf:
    """Every draft of one season. Safe to use from several threads."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.folder = season.results_path / "incoming"
        self._drafts: dict[str, Draft] = {}
        self.lock = threading.RLock()
        with contextlib.suppress(StoreError):  # a season that cannot be written: the first file says so
            season.store.remove_tree(self.folder)

    def draft(self, token: str) -> Draft:
        """Raises Refused where it is gone."""
        with self.lock:
            found = self._drafts.get(token)
            if found is None:
                raise Refused(404, "These files are not held here any more. Choose them again.")
            found.touched = time.monotonic()
            return found

    def begin(self, draft: str | None, name: str, size: int) -> tuple[Draft, Incoming]:
        """Room for one more file; a file that cannot be taken gets its line with the reason. Raises Refused."""
        with self.lock:
            found = self.draft(draft) if draft else self._new()
            if found.phase != "open":
                raise Refused(409, "These files are being stored. Add the next ones afterwards.")
            if len(found.files) >= FILES_MOST:
                raise Refused(413, f"At most {FILES_MOST} files make one match. Store or leave out some first.")
            token = secrets.token_hex(6)
            shown = safe_name(name)
            file = Incoming(token, shown, size, found.folder / token / shown)
            found.files.append(file)
            found.changed()
            held = sum(f.size for d in self._drafts.values() for f in d.files if f.state != "refused" and f is not file)
            if size <= 0:
                file.refuse("It is empty (0 bytes). Copy it from the logger again.")
            elif size > FILE_BYTES_MOST:
                file.refuse(f"It is larger than {megabytes(FILE_BYTES_MOST)}. Add it with: afterbout add")
            elif held + size > ALL_BYTES_MOST:
                file.refuse(
                    f"More than {megabytes(ALL_BYTES_MOST)} would wait here. Store or cancel other files first."
                )
            return found, file

    def piece(self, draft: str, token: str, at: int, data: bytes) -> tuple[Draft, Incoming]:
        """The next bytes of a file. Raises Refused; 409 with what is here already where they are not the next."""
        found = self.draft(draft)
        file = found.file(token)
        with file.writing:
            if file.state == "refused":
                raise Refused(410, file.why)
            if at != file.have or file.state != "receiving":
                raise Refused(409, "These are not the next bytes.", file.have)
            if not data or file.have + len(data) > file.size:
                raise Refused(413, "The file is not as long as was said. Choose it again.")
            try:
                if file.output is None:
                    file.output = self.season.store.record(file.path)
                with translated(file.path):
                    file.output.write(data)
                file.have += len(data)
                if file.have == file.size:
                    file.output.finish()
                    file.output = None
                    file.state = "waiting"
            except AfterboutError as error:
                file.refuse(str(error))
                self._remove_file(file)
                raise Refused(507, file.why) from None
            finally:
                found.changed()
        return found, file

    def leave_out(self, draft: Draft, token: str) -> None:
        """One file fewer."""
        with self.lock:
            file = draft.file(token)
            if draft.phase != "open":
                raise Refused(409, "These files are being stored.")
            draft.files.remove(file)
            draft.changed()
        with file.writing:
            file.refuse("It was left out.")
            self._remove_file(file)

    def cancel(self, draft: Draft) -> None:
        """Everything of a draft goes, unless it is being stored just now."""
        with self.lock:
            if draft.phase == "storing":
                raise Refused(409, "These files are being stored.")
            self._drafts.pop(draft.token, None)
        self._empty(draft)

    def clear_files(self, draft: Draft) -> None:
        """The bytes of a stored draft go; the draft itself stays, to say what became of it."""
        for file in draft.files:
            with file.writing:
                self._remove_file(file)
        with contextlib.suppress(StoreError):
            self.season.store.remove_tree(draft.folder)

    def _new(self) -> Draft:
        idle = [d for d in self._drafts.values() if time.monotonic() - d.touched > IDLE_S and d.phase != "storing"]
        idle += [d for d in self._drafts.values() if d.phase == "stored"]
        if len(self._drafts) >= DRAFTS_MOST:
            for old in idle:
                if self._drafts.pop(old.token, None) is not None:
                    self._empty(old)
        if len(self._drafts) >= DRAFTS_MOST:
            raise Refused(429, f"{DRAFTS_MOST} sets of files wait here already. Store or cancel one of them first.")
        token = secrets.token_hex(8)
        made = Draft(token, self.folder / token)
        self._drafts[token] = made
        return made

    def _empty(self, draft: Draft) -> None:
        for file in draft.files:
            with file.writing:
                file.refuse("It was cancelled.")
                self._remove_file(file)
        with contextlib.suppress(StoreError):
            self.season.store.remove_tree(draft.folder)

    def _remove_file(self, file: Incoming) -> None:
        """The bytes of one file; what cannot be removed now is swept when the server starts."""
        with contextlib.suppress(StoreError, OSError):
            if file.output is not None:
                output, file.output = file.output, None
                output.discard()
            self.season.store.remove_tree(file.path.parent)


def safe_name(name: str) -> str:
    """The user's own file name, as far as every disk takes it: the last part of a path, no marks, not too long."""
    last = re.split(r"[/\\]", name)[-1]
    plain = "".join(c if c.isprintable() and c not in '<>:"|?*' else "_" for c in last).strip(". ")
    plain = plain.encode("utf-8", "replace").decode("utf-8")
    stem, dot, ending = plain.rpartition(".")
    if not dot:
        stem, ending = plain, ""
    if len(plain.encode()) > NAME_MOST:
        ending = ending[:10]
        stem = stem.encode()[: NAME_MOST - len(ending.encode()) - 1].decode("utf-8", "ignore")
    if re.fullmatch(r"(?i)con|prn|aux|nul|com\d|lpt\d", stem):  # names that Windows keeps for itself
        stem = f"_{stem}"
    return (f"{stem}.{ending}" if ending else stem) or "log"


def megabytes(size: int) -> str:
    return f"{size / 1e9:g} GB" if size >= 1_000_000_000 else f"{size / 1e6:,.3g} MB"
