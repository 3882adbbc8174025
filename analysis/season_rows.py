"""One match as the season keeps it: facts, metrics, findings; as JSON, and as rows of the two tables."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import pyarrow as pa

from analysis.findings import finding_dict, plain
from analysis.metric_kinds import Absent, Metric
from analysis.metrics import metrics_of
from analysis.season_review import Reviewed

ROWS_PER_BATCH = 200  # our choice: matches in one batch of a table; some ten thousand metrics, a few megabytes

_TEXT, _NUMBER = pa.string(), pa.float64()
_MATCH = [
    pa.field("match", _TEXT),
    pa.field("order", pa.int32()),
    pa.field("build", _TEXT),
    pa.field("pack", _TEXT),
    pa.field("event", _TEXT),
    pa.field("opponent", _TEXT),
    pa.field("start", _TEXT),
]
METRICS_SCHEMA = pa.schema(
    [
        *_MATCH,
        pa.field("metric", _TEXT),
        pa.field("part", _TEXT),
        pa.field("value", _NUMBER),
        pa.field("low", _NUMBER),
        pa.field("high", _NUMBER),
        pa.field("unit", _TEXT),
        pa.field("at", _TEXT),
        pa.field("basis", _TEXT),
    ]
)
_FINDING_TEXT = ("kind", "cause", "part", "channel", "unit", "verdict", "confidence", "check", "sentence")
_FINDING_NUMBER = ("start_s", "end_s", "measured", "low", "high", "limit", "margin_pct")
FINDINGS_SCHEMA = pa.schema(
    [
        *_MATCH,
        pa.field("match_verdict", _TEXT),
        *(pa.field(name, _TEXT) for name in _FINDING_TEXT),
        *(pa.field(name, _NUMBER) for name in _FINDING_NUMBER),
        pa.field("count", pa.int32()),
        pa.field("consequence_of", _TEXT),
    ]
)


@dataclass(frozen=True)
class MatchRow:
    """One reviewed match. packs: the ids fitted, joined by "+"; start: ISO 8601 or ""; findings: as in the review."""

    match: str
    build: str
    pack: str
    event: str
    opponent: str
    start: str
    verdict: str
    length_s: float | None
    metrics: tuple[Metric, ...]
    absent: tuple[Absent, ...]
    findings: tuple[dict[str, Any], ...]

    def metric(self, name: str, part: str | None = None) -> Metric | None:
        """The metric of that name (and part); None where this match cannot tell it."""
        return next((m for m in self.metrics if m.name == name and part in (None, m.part)), None)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON; open ends as null."""
        return plain(
            {
                **self.__dict__,
                "metrics": [metric.__dict__ for metric in self.metrics],
                "absent": [absent.__dict__ for absent in self.absent],
            }
        )

    @classmethod
    def from_dict(cls, document: dict[str, Any]) -> MatchRow:
        """Raises KeyError or TypeError where the document is not one of ours."""
        metrics = tuple(
            Metric(
                **{
                    **row,
                    "low": -math.inf if row["low"] is None else row["low"],
                    "high": math.inf if row["high"] is None else row["high"],
                }
            )
            for row in document["metrics"]
        )
        absent = tuple(Absent(**row) for row in document["absent"])
        return cls(**{**document, "metrics": metrics, "absent": absent, "findings": tuple(document["findings"])})


def row_of(reviewed: Reviewed) -> MatchRow:
    """The season's row of one reviewed match."""
    match, facts = reviewed.match, reviewed.review.match
    metrics, absent = metrics_of(reviewed.data, reviewed.review)
    return MatchRow(
        match.id,
        match.build or "",
        "+".join(match.fitted_packs),
        match.event,
        match.opponent,
        match.start.isoformat() if match.start is not None else "",
        facts.verdict,
        None if facts.start_s is None or facts.end_s is None else facts.end_s - facts.start_s,
        metrics,
        absent,
        tuple(finding_dict(finding) for finding in reviewed.review.findings),
    )


def batches(rows: Iterable[MatchRow]) -> Iterator[tuple[pa.RecordBatch, pa.RecordBatch]]:
    """(metrics, findings) for every few hundred matches, in the order given; memory stays that of one batch."""
    metrics: list[tuple[Any, ...]] = []
    findings: list[dict[str, Any]] = []
    held = 0
    for order, row in enumerate(rows):
        head = (row.match, order, row.build, row.pack, row.event, row.opponent, row.start)
        metrics += [
            (*head, m.name, m.part, m.value, _bounded(m.low), _bounded(m.high), m.unit, m.at, m.basis)
            for m in row.metrics
        ]
        named = dict(zip(METRICS_SCHEMA.names[:7], head, strict=True)) | {"match_verdict": row.verdict}
        findings += [named | finding for finding in row.findings]
        held += 1
        if held == ROWS_PER_BATCH:
            yield _metrics(metrics), _findings(findings)
            metrics, findings, held = [], [], 0
    yield _metrics(metrics), _findings(findings)


def _bounded(value: float) -> float | None:
    """Open ends as null, as everywhere in the store."""
    return value if math.isfinite(value) else None


def _metrics(rows: list[tuple[Any, ...]]) -> pa.RecordBatch:
    columns = zip(*rows, strict=True) if rows else [()] * len(METRICS_SCHEMA)
    arrays = [pa.array(column, field.type) for column, field in zip(columns, METRICS_SCHEMA, strict=True)]
    return pa.RecordBatch.from_arrays(arrays, schema=METRICS_SCHEMA)


def _findings(rows: list[dict[str, Any]]) -> pa.RecordBatch:
    columns = [pa.array([row.get(field.name) for row in rows], field.type) for field in FINDINGS_SCHEMA]
    return pa.RecordBatch.from_arrays(columns, schema=FINDINGS_SCHEMA)
