"""The sentences of a comparison: made here, so that the command and the page say the same."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.statistics import fewest_each
from analysis.wording import name_of, number

if TYPE_CHECKING:
    from analysis.compare import Compared

ONE_EACH = "One match each: this says what differed between them, not why."


def figure(value: float | None, unit_name: str) -> str:
    """A figure with its unit; small ones keep two digits that tell something."""
    if value is None or not math.isfinite(value):
        return "not known"
    if unit_name in ("s", "V") and abs(value) < 10:
        return f"{value:.2f} {unit_name}".replace("-", "−")
    if unit_name in ("1/min", "K") and abs(value) < 10:
        text = (f"{value:.2f}" if abs(value) >= 1 or value == 0 else f"{value:.2g}").replace("-", "−")
        return f"{text} {'a minute' if unit_name == '1/min' else 'K'}"
    return number(value, unit_name)


def title(metric: str, part: str, words: str) -> str:
    """The metric as a person names it: "weapon, spin-up from standing"."""
    whole = part in ("", "wiring") or (part in ("pack", "link") and metric.startswith((part, "dropouts", "link")))
    return words if whole else f"{name_of(part)}, {words}"


def sentence(row: Compared, by: str) -> str:
    """One row in words: how far apart, how sure, what would tell, what else differs."""
    if row.shift is None:
        return f"Not compared: {row.reason}."
    size = figure(abs(row.shift), row.unit)
    if row.shift == 0:
        text = f"{row.second} is level with {row.first}"
    else:
        text = f"{row.second} is {size} {'above' if row.shift > 0 else 'below'} {row.first}"
        if row.better:
            good = (row.shift > 0) == (row.better == "higher")
            text += ", the good way" if good else ", the bad way"
    if row.low is not None and row.high is not None and row.achieved_pct is not None:
        ends = f"{_end(row.low, row.unit)} to {_end(row.high, row.unit)}"
        text += f"; from {ends} with {math.floor(row.achieved_pct + 1e-9)} %"
    if by != "match":
        text += f", {len(row.first_figures)} against {len(row.second_figures)} matches"
    text += ". "
    if row.verdict == "differs":
        text += f"They differ (p {_p(row.p_adjusted)} after all comparisons)."
    elif row.p is None:
        text += f"Not told apart: {row.reason}."
    else:
        text += f"No difference shown (p {_p(row.p_adjusted)} after all comparisons)."
        if by != "match" and row.shift != 0:
            text += (
                f" About {row.needed} matches a side would tell a difference of this size."
                if row.needed is not None
                else " No number of matches in reach would tell one of this size."
            )
    if row.paired is not None:
        kept = ", ".join(row.paired.ids)
        text += f" With the same {row.paired.by} on both ({kept}): {_signed(row.paired.shift, row.unit)}"
        if len(row.paired.ids) > 1:
            ends = f"{_end(row.paired.low, row.unit)} to {_end(row.paired.high, row.unit)}"
            text += (
                f", from {ends} with {math.floor(row.paired.achieved_pct + 1e-9)} % (p {_p(row.paired.p)} by itself)"
            )
        text += "."
    if row.confounded:
        text += f" Confounded with {'; '.join(row.confounded)}."
    return text


def _end(value: float, unit_name: str) -> str:
    return "no bound" if not math.isfinite(value) else _signed(value, unit_name)


def _signed(value: float, unit_name: str) -> str:
    text = figure(value, unit_name)
    return text if text.startswith("−") or value == 0 else f"+{text}"


def _p(p: float | None) -> str:
    if p is None:
        return "not known"
    return "under 0.001" if p < 0.001 else f"{p:.2g}"


def summary(
    rows: Sequence[Compared], sizes: Sequence[tuple[str, int]], comparisons: int, level: float, by: str
) -> tuple[str, ...]:
    """What holds for the whole comparison: how many questions were asked, and what so few matches can show at all."""
    notes = []
    if by == "match":
        notes.append(ONE_EACH)
    if comparisons > 1:
        notes.append(
            f"{comparisons} comparisons share one chance of {100 * (1 - level):.0f} % of a false claim (Holm). "
            "Naming one metric beforehand (--metric) asks one question and shows smaller differences."
        )
    if by != "match" and comparisons:
        reach = min((row.least_p for row in rows if row.least_p is not None), default=1.0)
        if reach * comparisons > 1 - level + 1e-12:
            fewest = fewest_each(comparisons, level)
            counted = ", ".join(f"{name} {count}" for name, count in sizes)
            notes.append(
                f"Matches: {counted}. So few can show no difference at all after {comparisons} comparisons: it takes "
                f"{fewest} against {fewest}. The shifts and their intervals stand all the same."
            )
    return tuple(notes)
