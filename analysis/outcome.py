"""What a check gives, and the one place where a figure is held against a rating."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from analysis.findings import Estimate, Finding, Kind, NotChecked, Occurrence, Passed
from analysis.settings import Settings
from analysis.signal import Measured

Row = Finding | Passed | NotChecked | Estimate


@dataclass(frozen=True)
class Outcome:
    """Rows of one or several checks, and the curves behind them for the pictures."""

    rows: tuple[Row, ...] = ()
    curves: dict[str, Any] = field(default_factory=dict)

    def of(self, kind: type) -> tuple[Any, ...]:
        return tuple(row for row in self.rows if isinstance(row, kind))


def joined(outcomes: Iterable[Outcome]) -> Outcome:
    """The rows of several checks in order, and all their curves."""
    rows: list[Row] = []
    curves: dict[str, Any] = {}
    for outcome in outcomes:
        rows += outcome.rows
        curves.update(outcome.curves)
    return Outcome(tuple(rows), curves)


@dataclass(frozen=True)
class Held:
    """A rating as a check holds a figure against it.

    ref: where the margin is 100 % (0 for current, the air for temperature, full voltage for voltage)
    sense: "max" where the figure must stay under the limit, "min" where it must stay over it
    from_memory: the rating rests on memory alone, so it never makes an "over" by itself
    """

    check: str
    part: str
    limit: float
    ref: float
    unit: str
    source: str
    kind: Kind
    sense: Literal["max", "min"] = "max"
    channel: str | None = None
    from_memory: bool = False
    cause: str = "unknown"


def margin_pct(value: float, limit: float, ref: float, sense: Literal["max", "min"]) -> float:
    """The contract's margin: 100 at the reference, 0 at the limit, negative beyond it.

    Where the reference is already beyond the limit, no share of it can be given: 0 or -100 by the side.
    """
    room = (limit - ref) if sense == "max" else (ref - limit)
    left = (limit - value) if sense == "max" else (value - limit)
    if room <= 0:
        return 0.0 if left >= 0 else -100.0
    return 100.0 * left / room


def judge(
    held: Held,
    figure: Measured,
    span: tuple[float, float],
    settings: Settings,
    *,
    at_least: bool = False,
    mend: str = "",
    evidence: tuple[str, ...] = (),
    occurrences: tuple[Occurrence, ...] = (),
    facts: dict[str, float | str | bool] | None = None,
    note: str = "",
) -> Finding | Passed | NotChecked:
    """Over, close, passed, or unable to say.

    at_least: the figure is only a lower bound (an upper bound for "min"), so it can fail but never pass.
    """
    sign = 1.0 if held.sense == "max" else -1.0
    worst = figure.high if held.sense == "max" else figure.low
    best = figure.low if held.sense == "max" else figure.high
    margin = margin_pct(figure.value, held.limit, held.ref, held.sense)
    over = sign * (figure.value - held.limit) > 0
    reaches = sign * (worst - held.limit) > 0
    if not over and (at_least or math.isinf(worst)):
        word = "at least" if held.sense == "max" else "at most"
        return NotChecked(
            held.check,
            held.part,
            f"{word} {figure.value:.3g} {held.unit} of {held.limit:.4g} {held.unit}: {figure.basis or 'a bound only'}",
            mend or "log every load below it",
        )
    if not over and not reaches and margin >= settings.close_margin_pct:
        return Passed(
            held.check,
            held.part,
            figure.value,
            held.limit,
            held.unit,
            margin,
            figure.low,
            figure.high,
            held.source,
            note,
        )
    remembered = over and held.from_memory
    notes = (
        (f"the rating of {held.limit:.4g} {held.unit} is from memory: state your own to have it judged",)
        if remembered
        else ()
    )
    return Finding(
        kind=held.kind,
        cause=held.cause,
        part=held.part,
        channel=held.channel,
        start_s=span[0],
        end_s=span[1],
        measured=figure.value,
        low=figure.low,
        high=figure.high,
        unit=held.unit,
        verdict="over" if over and not remembered else "close",
        confidence="certain" if over and sign * (best - held.limit) > 0 else "likely",
        limit=held.limit,
        margin_pct=margin,
        evidence=(*((figure.basis,) if figure.basis else ()), *evidence, *notes, *((note,) if note else ())),
        rating_source=held.source,
        check=held.check,
        occurrences=occurrences or (Occurrence(span[0], span[1], figure.value),),
        facts=facts or {},
    )


def not_stated(check: str, part: str, key: str, where: str) -> NotChecked:
    """A rating the user has not stated."""
    return NotChecked(check, part, f"{key} is not stated", f"state {key} of {part} in {where}")


def not_logged(check: str, part: str, channel: str) -> NotChecked:
    """A check without its channel, and the mend: log it next time."""
    return NotChecked(check, part, f"{channel} was not logged", f"log {channel} next time")
