"""The replay's band in low and high of every row: the same checks on the ends of the demand model."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.findings import Estimate, Finding, Passed, Review, worst_verdict
from analysis.outcome import Row

Judged = Finding | Passed
Key = tuple[str, str]


# What the fitted pack itself leaves unexplained in the lowest sample of a match (our choice, from simulated matches:
# with it the band covers the re-simulated voltage in more than nine of ten).
MODEL_V = 0.05
CURRENT_UNITS = ("A", "Ah", "Wh")


@dataclass(frozen=True)
class End:
    """One end of the band: what its voltage checks measured, and the share by which a part has more current and heat.

    Temperatures and currents are not checked again: a rise goes with the share of ∫i², a current with its peak's.
    """

    spans: dict[Key, tuple[float, float]]
    shares: dict[str, float]
    heat: dict[str, float]
    air_degC: float

    def named(self, name: str) -> End:
        """The end with "pack" under that name: of a robot of several packs."""

        def own(part: str) -> str:
            return name if part == "pack" else part

        return replace(
            self,
            spans={(check, own(part)): span for (check, part), span in self.spans.items()},
            shares={own(part): share for part, share in self.shares.items()},
            heat={own(part): share for part, share in self.heat.items()},
        )

    def span(self, key: Key, value: float, unit: str) -> tuple[float, float] | None:
        if key in self.spans:
            return self.spans[key]
        share = (self.shares if unit in CURRENT_UNITS else self.heat if unit == "degC" else {}).get(key[1])
        if share is None:
            return None
        end = self.air_degC + (value - self.air_degC) * share if unit == "degC" else value * share
        return end, end


def ends(rows: Iterable[Row]) -> dict[Key, tuple[float, float]]:
    """(check or name, part) -> (low, high) of what one end of the band measured."""
    found: dict[Key, tuple[float, float]] = {}
    for row in rows:
        if isinstance(row, Estimate):
            found[(row.name, row.part)] = (row.low, row.high)
        elif isinstance(row, Finding | Passed) and row.measured is not None:
            low = row.measured if row.low is None else row.low
            high = row.measured if row.high is None else row.high
            found[(row.check, row.part)] = (low, high)
    return found


def with_band(review: Review, others: Sequence[End]) -> Review:
    """The review with every interval widened to what the ends gave; a pass that an end takes away becomes close."""

    def wide(key: Key, low: float | None, high: float | None, value: float, unit: str) -> tuple[float, float]:
        spans = [span for end in others if (span := end.span(key, value, unit)) is not None]
        spans.append((value if low is None else low, value if high is None else high))
        more = MODEL_V if unit == "V" and others else 0.0
        return min(span[0] for span in spans) - more, max(span[1] for span in spans) + more

    estimates = []
    for row in review.estimates:
        low, high = wide((row.name, row.part), row.low, row.high, row.value, row.unit)
        estimates.append(replace(row, low=low, high=high))
    findings = []
    for finding in review.findings:
        if finding.measured is None or not finding.check:
            findings.append(finding)
            continue
        low, high = wide((finding.check, finding.part), finding.low, finding.high, finding.measured, finding.unit)
        findings.append(replace(finding, low=low, high=high))
    passed: list[Passed] = []
    for ok in review.passed:
        low, high = wide((ok.check, ok.part), ok.low, ok.high, ok.measured, ok.unit)
        widened = replace(ok, low=low, high=high)
        if not _reaches(widened):
            passed.append(widened)
        else:
            findings.append(_close(widened, len(findings) + 1))
    match = review.match
    if len(findings) > len(review.findings):
        match = replace(match, verdict=worst_verdict(tuple(findings), True))
    return replace(review, match=match, estimates=tuple(estimates), findings=tuple(findings), passed=tuple(passed))


MINIMA = ("pack_sag", "cell_minimum", "controller_cutoff", "controller_voltage", "rail_voltage")


def _reaches(row: Passed) -> bool:
    if row.low is None or row.high is None:
        return False
    return row.low < row.limit if row.check in MINIMA else row.high > row.limit


def _close(row: Passed, number: int) -> Finding:
    kind: Any = "voltage_sag" if row.check in MINIMA else "thermal_buildup" if row.unit == "degC" else "current_spike"
    return Finding(
        kind=kind,
        cause="unknown",
        part=row.part,
        channel=None,
        start_s=0.0,
        end_s=0.0,
        measured=row.measured,
        low=row.low,
        high=row.high,
        unit=row.unit,
        verdict="close",
        confidence="possible",
        limit=row.limit,
        margin_pct=row.margin_pct,
        evidence=("an end of the replay's band reaches it",),
        rating_source=row.rating_source,
        check=row.check,
        id=f"f{number}",
    )


def judged(rows: Iterable[Row]) -> dict[Key, Judged]:
    """Findings and passes of checks by (check, part)."""
    return {(row.check, row.part): row for row in rows if isinstance(row, Finding | Passed) and row.check}


def measured_with_band(row: Judged, others: Sequence[End]) -> tuple[float | None, float | None]:
    """(low, high) of one row with the ends of the band; None where an end is open."""
    if row.measured is None:
        return row.low, row.high
    spans = [s for end in others if (s := end.span((row.check, row.part), row.measured, row.unit)) is not None]
    more = MODEL_V if row.unit == "V" and others else 0.0
    low = min([row.measured if row.low is None else row.low, *(s[0] for s in spans)]) - more
    high = max([row.measured if row.high is None else row.high, *(s[1] for s in spans)]) + more
    return low, high


def worse_end(row: Judged, others: Sequence[End]) -> float | None:
    """What the row would measure at the worse end of the band, in its unit; None where the band does not move it."""
    if row.measured is None:
        return None
    minimum = row.check in MINIMA
    found = [span for end in others if (span := end.span((row.check, row.part), row.measured, row.unit)) is not None]
    if not found:
        return None
    return min(span[0] for span in found) if minimum else max(span[1] for span in found)


def worse_margin_pct(row: Judged, others: Sequence[End]) -> float | None:
    """The row's margin at the worse end of the band, by the same measure as its own; None where there is none."""
    end = worse_end(row, others)
    if end is None or row.measured is None or row.limit is None or row.margin_pct is None or row.measured == row.limit:
        return row.margin_pct
    return min(row.margin_pct, row.margin_pct * (row.limit - end) / (row.limit - row.measured))


def reaches_limit(row: Judged, others: Sequence[End]) -> bool:
    """Whether the figure's interval, with the band in it, reaches the limit."""
    low, high = measured_with_band(row, others)
    if row.limit is None or low is None or high is None:
        return False
    return low < row.limit if row.check in MINIMA else high > row.limit


def broken(rows: Iterable[Row], others: Sequence[End]) -> list[Key]:
    """(check, part) of every row that is over or close, or that an end of the band takes to its limit."""
    found = []
    for key, row in judged(rows).items():
        if isinstance(row, Finding):
            if row.verdict in ("over", "close"):
                found.append(key)
            continue
        low, high = measured_with_band(row, others)
        if _reaches(replace(row, low=low, high=high)):
            found.append(key)
    return found
