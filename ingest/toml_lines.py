"""Where each key of a TOML text stands, so that an error can name the line.

The standard library's reader gives values without places. This walks a text that the reader has already accepted
(TOML 1.0), so it need not check anything again: it only has to step over strings, comments and nested values.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

KeyPath = tuple[str | int, ...]

MAX_BYTES = 1_000_000  # our choice: a season's longest description is some 10 kB; more is not a description

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_QUOTED_KEY = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'")
_SPACE = re.compile(r"[ \t]*")
_SPACE_AND_LINES = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_ENDS = {
    '"""': re.compile(r'(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}', re.DOTALL),
    "'''": re.compile(r"(?:[^']|'{1,2}(?!'))*'{3,5}", re.DOTALL),
    '"': re.compile(r'(?:[^"\\]|\\.)*"'),
    "'": re.compile(r"[^']*'"),
}
_PLAIN_VALUE = re.compile(r"[^,\]}#\n]+")
_DEEPEST = 16  # our choice: no description of ours goes deeper than five
# A key of more parts than that: the standard reader's time and memory for it grow with the square of their number.
_LONG_KEY = re.compile(
    r"(?<![A-Za-z0-9_-])(?:(?:[A-Za-z0-9_-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+\.[ \t]*+)"
    rf"{{{4 * _DEEPEST}}}"
)


def refuse_deep_keys(text: str) -> None:
    """Raises RecursionError for a text with a key so deep that reading it would take all memory."""
    if _LONG_KEY.search(text) is not None:
        raise RecursionError("a key of too many parts")


def key_lines(text: str) -> dict[KeyPath, int]:
    """1-based line of every table header, key and array element of a valid TOML text.

    Keys are paths: ("wire", 2, "gauge") is the gauge of the third [[wire]], ("wire", 2) its header. Raises
    RecursionError where it is nested too deeply.
    """
    return _Walker(text).walk()


class _Walker:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.starts = [0] + [found.end() for found in re.finditer("\n", text)]
        self.lines: dict[KeyPath, int] = {}
        self.tables_seen: dict[KeyPath, int] = {}  # arrays of tables: how many so far

    def walk(self) -> dict[KeyPath, int]:
        base: KeyPath = ()
        while True:
            self._skip(_SPACE_AND_LINES)
            if self.at >= len(self.text):
                return self.lines
            if self.text[self.at] == "[":
                base = self._header()
            else:
                self._pair(base)

    def _line(self) -> int:
        return bisect_right(self.starts, self.at)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:  # the reader accepted the text, so this cannot be reached by a valid one
            raise ValueError(f"unexpected text at line {self._line()}")
        self.at = found.end()
        return found.group()

    def _note(self, path: KeyPath, line: int) -> None:
        if len(path) > 4 * _DEEPEST:
            raise RecursionError("nested too deeply")
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _header(self) -> KeyPath:
        line = self._line()
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        keys = self._key()
        self.at += 2 if is_array else 1
        path: KeyPath = ()
        for position, key in enumerate(keys):
            path += (key,)
            if is_array and position == len(keys) - 1:
                self.tables_seen[path] = self.tables_seen.get(path, 0) + 1
            if path in self.tables_seen:
                self.lines.setdefault(path, line)
                path += (self.tables_seen[path] - 1,)
        self._note(path, line)
        return path

    def _key(self) -> tuple[str, ...]:
        parts: list[str] = []
        while True:
            self._skip(_SPACE)
            if self.text[self.at] in "\"'":
                quoted = self._skip(_QUOTED_KEY)
                parts.append(str(tomllib.loads(f"key = {quoted}")["key"]))
            else:
                parts.append(self._skip(_BARE_KEY))
            self._skip(_SPACE)
            if self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def _pair(self, base: KeyPath) -> None:
        line = self._line()
        path = base + self._key()
        self.at += 1  # the equals sign
        self._note(path, line)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._skip(_SPACE)
        for opening, ending in _ENDS.items():
            if self.text.startswith(opening, self.at):
                self.at += len(opening)
                self._skip(ending)
                return
        if self.text[self.at] == "[":
            self._array(path)
        elif self.text[self.at] == "{":
            self._inline_table(path)
        else:
            self._skip(_PLAIN_VALUE)

    def _array(self, path: KeyPath) -> None:
        self.at += 1
        count = 0
        while True:
            self._skip(_SPACE_AND_LINES)
            if self.text[self.at] == "]":
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._note((*path, count), self._line())
            self._value((*path, count))
            count += 1

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        while True:
            self._skip(_SPACE_AND_LINES)
            if self.text[self.at] == "}":
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._pair(path)
