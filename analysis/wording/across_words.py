"""The words of a change over several matches."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.wording.names import CHECK_WORDS, name_of

if TYPE_CHECKING:
    from analysis.across import Across, MatchRow

COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def count_word(n: int) -> str:
    """A small number as a word, a larger one in digits."""
    return COUNTS[n] if n < len(COUNTS) else f"{n:,}"


def across_sentence(found: Across) -> str:
    """ "In the worst of nine matches (m06) …", what it was before, and what was not replayed."""
    out = []
    worst, n = found.worst, len(found.replayed)
    if n == 0:
        out.append("No match could be replayed.")
    elif worst is None or worst.smallest is None:
        out.append(f"{count_word(n).capitalize()} replayed, and no figure of them has a rating: nothing was held.")
    else:
        out.append(f"{_of(n)} ({worst.match}) the smallest margin is {_margin(worst)}; {_before(worst)}.")
        bad = [row.match for row in found.replayed if row.verdict_after != "within"]
        if bad:
            out.append(f"Not within their ratings after it: {', '.join(bad)}.")
        else:
            out.append("All of them are within their ratings in what was logged." if n > 1 else
                       "It is within its ratings in what was logged.")  # fmt: skip
    if found.refused:
        names = ", ".join(row.match for row in found.refused)
        out.append(f"Not replayed, and not counted: {names}.")
    return " ".join(out)


def _of(n: int) -> str:
    return "In the one match" if n == 1 else f"In the worst of {count_word(n)} matches"


def _margin(row: MatchRow) -> str:
    least = row.smallest
    assert least is not None
    worse = least.margin_low_pct
    low = "" if worse is None or worse > (least.margin_pct or 0.0) - 0.5 else f" (down to {_pct(worse)})"
    return f"{_pct(least.margin_pct or 0.0)}{low}, {CHECK_WORDS.get(least.check, least.check)} of {name_of(least.part)}"


def _pct(value: float) -> str:
    return f"{value:.0f} %".replace("-", "−")


def _before(row: MatchRow) -> str:
    if row.before_pct is None:
        return "before nothing had a margin"
    same = row.smallest is not None and row.before_part == row.smallest.part
    where = "" if same else f" at {name_of(row.before_part or '')}"
    return f"it was {_pct(row.before_pct)}{where}"
