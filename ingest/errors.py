"""Errors that say what is wrong, where, and the mend.

Every error that a user's file or input can cause is an AfterboutError; a traceback means a defect of ours.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class AfterboutError(Exception):
    """What was found, where, and what to do.

    file     the file or folder at fault, as the user named it
    line     1-based line (text), or None
    byte     0-based byte offset (binary), or None
    column   column or key name, or None
    found    what stood there
    expected what was expected
    mend     the next thing to do, as an instruction
    """

    exit_code = 1

    def __init__(
        self,
        what: str,
        *,
        file: object = None,
        line: int | None = None,
        byte: int | None = None,
        column: str | None = None,
        found: object = None,
        expected: str | None = None,
        mend: str = "",
    ) -> None:
        super().__init__(what)
        self.what = what
        self.file = None if file is None else str(file)
        self.line = line
        self.byte = byte
        self.column = column
        self.found = found
        self.expected = expected
        self.mend = mend

    @property
    def where(self) -> str:
        places = []
        if self.file is not None:
            places.append(self.file)
        if self.line is not None:
            places.append(f"line {self.line}")
        if self.byte is not None:
            places.append(f"byte {self.byte}")
        if self.column is not None:
            places.append(self.column)
        return ", ".join(places)

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        if self.found is not None:
            text += f" (found {self.found!r})"
        if self.expected:
            text += f"; expected {self.expected}"
        text = text.rstrip(".") + "."
        return f"{text} {self.mend}" if self.mend else text


class UnreadableLog(AfterboutError):
    """A log file that cannot be read, or not be trusted: refused whole, never half-read."""


class ReadingError(AfterboutError):
    """A reading file (how one kind of log is read) is wrong or does not fit the file."""


class DescriptionError(AfterboutError):
    """A build, pack, match or season file is wrong."""


class SeasonError(AfterboutError):
    """The season folder is missing, locked, damaged, or does not hold what was asked for."""


class StoreError(AfterboutError):
    """Writing failed; what stood there before still stands."""


class SourceError(AfterboutError):
    """A live source cannot be opened, or none of them gave anything."""


class MissingExtra(AfterboutError):
    """A format needs a library that is not installed."""

    def __init__(self, extra: str, needed_for: str, file: object = None) -> None:
        super().__init__(
            f"{needed_for} needs an extra that is not installed",
            file=file,
            mend=f"Install it with: pip install 'afterbout[{extra}]'",
        )
        self.extra = extra


class UsageError(AfterboutError):
    """The command line asks for something that does not exist."""

    exit_code = 2


def nearest(name: str, known: Iterable[str]) -> str:
    """The mend for a wrong name: the nearest known one, or the list of what is known."""
    choices = sorted(known)
    close = difflib.get_close_matches(name, choices, n=1, cutoff=0.55)
    if close:
        return f'Did you mean "{close[0]}"?'
    if not choices:
        return "There is none yet."
    shown = ", ".join(choices[:12]) + (", …" if len(choices) > 12 else "")
    return f"Known: {shown}."
