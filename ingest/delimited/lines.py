"""Rows that run over several lines, because a quoted cell holds line ends."""

from __future__ import annotations

from collections.abc import Iterator


def joined_lines(lines: list[tuple[int, str]]) -> Iterator[tuple[int, str]]:
    """Numbered lines; those whose quotes run over line ends are put together under the first one's number."""
    k = 0
    while k < len(lines):
        number, text = lines[k]
        if text.count('"') % 2:
            for ahead in range(1, 21):  # our choice: a cell of more than 20 lines is a stray quote instead
                if k + ahead >= len(lines):
                    break
                if lines[k + ahead][1].count('"') % 2:
                    text = "\n".join(line for _, line in lines[k : k + ahead + 1])
                    k += ahead
                    break
        yield number, text
        k += 1
