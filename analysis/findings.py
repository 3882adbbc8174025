"""What a review says: small frozen values, each with its evidence. Field names are the contract's.

Words are made in analysis/wording/, so that the command, the sheet and the screen say the same.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

SCHEMA = "afterbout.review/1"

Verdict = Literal["over", "fault", "close", "note", "within", "unknown"]
Confidence = Literal["certain", "likely", "possible"]
Kind = Literal[
    "current_spike",
    "voltage_sag",
    "thermal_buildup",
    "signal_dropout",
    "wiring_fault",
    "power_loss",
    "motor_fault",
]
KINDS: tuple[str, ...] = Kind.__args__  # type: ignore[attr-defined]

CAUSES: tuple[str, ...] = (
    "stall", "push", "spin_up", "hit", "short", "pack_resistance", "weak_cell", "pack_empty", "cold_pack",
    "not_full", "ageing", "joint_step", "joint_intermittent", "contact_heating", "disconnect_opened",
    "disconnect_bounce", "fuse_opened", "thin_wire", "terminal_loose", "current_limit", "thermal_limit",
    "low_voltage_cutoff", "regeneration_trip", "undervoltage_restart", "sync_loss", "start_failure",
    "winding_short", "drag", "brush_noise", "brown_out", "regulator_overload", "radio_loss", "sensor_clipped",
    "sensor_offset", "frozen_values", "undersampled", "clock_reset", "clock_skew", "logger_gap", "truncated",
    "unknown",
)  # fmt: skip


@dataclass(frozen=True)
class Occurrence:
    start_s: float
    end_s: float
    measured: float | None


@dataclass(frozen=True)
class Finding:
    """One thing that went past a rating, failed, or is worth knowing. Repeats of one kind on one part are one."""

    kind: Kind
    cause: str
    part: str
    channel: str | None
    start_s: float
    end_s: float
    measured: float | None
    low: float | None
    high: float | None
    unit: str
    verdict: Verdict
    confidence: Confidence
    limit: float | None = None
    margin_pct: float | None = None
    could_be: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()
    rating_source: str = ""
    check: str = ""
    occurrences: tuple[Occurrence, ...] = ()
    consequence_of: str = ""
    facts: dict[str, float | str | bool] = field(default_factory=dict)
    id: str = ""
    sentence: str = ""

    @property
    def count(self) -> int:
        return max(1, len(self.occurrences))


@dataclass(frozen=True)
class Passed:
    check: str
    part: str
    measured: float
    limit: float
    unit: str
    margin_pct: float
    low: float | None = None
    high: float | None = None
    rating_source: str = ""
    note: str = ""


@dataclass(frozen=True)
class NotChecked:
    """Unable is a result: why, and what to log or state next time."""

    check: str
    part: str
    reason: str
    mend: str


@dataclass(frozen=True)
class Estimate:
    name: str
    part: str
    value: float
    low: float
    high: float
    unit: str
    method: str
    note: str = ""


@dataclass(frozen=True)
class QualityNote:
    """A fault of the log itself; it stands only here, never among the findings."""

    code: str
    channel: str | None
    part: str
    start_s: float
    end_s: float
    note: str


@dataclass(frozen=True)
class Advice:
    """One change. purpose "weight": it clears nothing and only takes weight out, on `matches` matches of the build.

    margin_pct: what the part shown keeps, at the worse end of the band; None where that is not known.
    """

    rank: int
    change: str
    clears: tuple[str, ...]
    before: dict[str, Any]
    after: dict[str, Any]
    adds_g: float | None
    minutes: float | None
    proved: bool
    cost_note: str
    sentence: str
    purpose: Literal["cure", "weight"] = "cure"
    margin_pct: float | None = None
    matches: int = 1


@dataclass(frozen=True)
class Event:
    """One link of the chain: at start_s, what happened to which part."""

    start_s: float
    what: str
    detail: str
    verdict: Verdict
    finding: str = ""


@dataclass(frozen=True)
class LogUsed:
    name: str
    sha256: str
    samples: int
    clock_offset_s: float
    clock_drift_ppm: float
    correlation: float | None
    offset_error_s: float | None


@dataclass(frozen=True)
class MatchFacts:
    id: str
    build: str | None
    pack: str | None
    start_s: float | None
    end_s: float | None
    verdict: Verdict
    logs: tuple[LogUsed, ...] = ()
    event: str = ""
    opponent: str = ""
    result: str = ""
    minutes_to_next: float | None = None


@dataclass(frozen=True)
class Review:
    match: MatchFacts
    quality: tuple[QualityNote, ...]
    estimates: tuple[Estimate, ...]
    findings: tuple[Finding, ...]
    passed: tuple[Passed, ...]
    not_checked: tuple[NotChecked, ...]
    advice: tuple[Advice, ...] = ()
    chain: tuple[Event, ...] = ()
    lines: tuple[str, str, str] = ("", "", "")
    cautions: tuple[str, ...] = ()
    # Not part of the JSON: curves for the pictures, name -> arrays (t_s, value), made on the way.
    curves: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    def to_dict(self) -> dict[str, Any]:
        """The contract's review document. Non-finite bounds become null (an open end)."""
        document = {
            "schema": SCHEMA,
            "match": asdict(self.match),
            "lines": list(self.lines),
            "chain": [asdict(event) for event in self.chain],
            "quality": [asdict(note) for note in self.quality],
            "estimates": [asdict(row) for row in self.estimates],
            "findings": [finding_dict(finding) for finding in self.findings],
            "passed": [asdict(row) for row in self.passed],
            "not_checked": [asdict(row) for row in self.not_checked],
            "advice": [asdict(row) for row in self.advice],
            "cautions": list(self.cautions),
        }
        return plain(document)


def worst_verdict(findings: tuple[Finding, ...], anything_checked: bool) -> Verdict:
    """The worst of over, fault, close, within; unknown where nothing could be checked."""
    for verdict in ("over", "fault", "close"):
        if any(finding.verdict == verdict for finding in findings):
            return verdict
    return "within" if anything_checked else "unknown"


def finding_dict(finding: Finding) -> dict[str, Any]:
    """A finding as in the contract: occurrences as [start_s, end_s, measured], with their count."""
    row = asdict(finding)
    row["count"] = finding.count
    row["occurrences"] = [[o.start_s, o.end_s, o.measured] for o in finding.occurrences]
    return row


def plain(document: dict[str, Any]) -> dict[str, Any]:
    """The document with plain JSON values: seven significant figures, tuples as lists, open ends as null."""
    cleaned = _clean(document)
    assert isinstance(cleaned, dict)
    return cleaned


def _clean(value: Any) -> Any:
    """Plain JSON values: tuples to lists, rounding to six significant figures, non-finite to null."""
    if isinstance(value, dict):
        return {key: _clean(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(inner) for inner in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    number = float(value)
    if not math.isfinite(number):
        return None
    return float(f"{number:.7g}")
