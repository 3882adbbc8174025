"""Holds reviews against the labels.

Found: a finding (or, for faults of the log, a quality note) names the cause or one that is physically as right, on an
accepted part, at the right time: the start within 0.5 s of an occurrence, or, where the event lasts, an overlap.
Recall counts only what is visible. False alarm: over, close or fault with a cause that neither the label nor its
company explains, or the right cause elsewhere; in a healthy match also a note other than the expected ones. Twin: a
forbidden cause called certain while the event lasts.
"""

from __future__ import annotations

import statistics
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from tests.synthetic.scenarios.catalogue import made
from tests.synthetic.scenarios.healthy import EXPECTED_NOTES
from tests.synthetic.scenarios.model import QUALITY, Recipe, Scenario

TIME_s = 0.5
SLOW_RATE_Hz = 50.0  # at and under this rate a note of undersampling is never a false alarm
ALARMS = ("over", "close", "fault")
ROWS_MISSING = ("logger_gap", "truncated")
Span = tuple[float, float]
ReviewFn = Callable[..., Any]


@dataclass
class Outcome:
    """One scenario's result. state: found, wrong_time, wrong_part, missed, hidden, healthy."""

    name: str
    cause: str
    state: str
    visible: bool
    start_error_s: float | None = None
    kind_right: bool | None = None
    false_alarms: tuple[str, ...] = ()
    twins: tuple[str, ...] = ()
    review_s: float = 0.0


@dataclass
class Table:
    outcomes: list[Outcome] = field(default_factory=list)

    def of(self, cause: str) -> list[Outcome]:
        return [o for o in self.outcomes if o.cause == cause]

    @property
    def causes(self) -> list[str]:
        return list(dict.fromkeys(o.cause for o in self.outcomes if o.cause))

    def recall(self, cause: str | None = None) -> float:
        """Found over visible; of one cause, or of all. 1.0 where nothing is visible."""
        counted = [o for o in self.outcomes if o.visible and o.cause and cause in (None, o.cause)]
        return sum(o.state == "found" for o in counted) / len(counted) if counted else 1.0

    @property
    def false_alarms_per_match(self) -> float:
        return sum(len(o.false_alarms) for o in self.outcomes) / max(1, len(self.outcomes))

    @property
    def healthy_false_alarms_per_match(self) -> float:
        healthy = self.of("")
        return sum(len(o.false_alarms) for o in healthy) / max(1, len(healthy))

    @property
    def twins(self) -> int:
        return sum(len(o.twins) for o in self.outcomes)

    @property
    def worst(self) -> tuple[str, float]:
        return min(((cause, self.recall(cause)) for cause in self.causes), key=lambda row: row[1])

    def failures(self) -> list[str]:
        """What went wrong, one line each, for whoever mends the detectors."""
        lines = []
        for o in self.outcomes:
            if o.visible and o.state not in ("found", "healthy"):
                lines.append(f"{o.name}: {o.state}")
            lines += [f"{o.name}: false alarm {what}" for what in o.false_alarms]
            lines += [f"{o.name}: twin {what}" for what in o.twins]
        return lines

    def to_markdown(self) -> str:
        head = (
            "| cause | n | visible | found | recall | wrong time | wrong part | start error s (median, worst) "
            "| kind right | false alarms | twins |\n|---|---|---|---|---|---|---|---|---|---|---|"
        )
        rows = [head, *(self._row(cause) for cause in self.causes)]
        healthy = self.of("")
        alarms = sum(len(o.false_alarms) for o in healthy)
        rows.append(f"| healthy | {len(healthy)} | | | | | | | | {alarms} | |")
        visible = [o for o in self.outcomes if o.visible and o.cause]
        cause, low = self.worst if self.causes else ("none", 1.0)
        spent = statistics.fmean(o.review_s for o in self.outcomes) if self.outcomes else 0.0
        rows.append("")
        rows.append(
            f"Recall {self.recall():.3f} over {len(visible)} visible events; worst cause {cause} {low:.2f}; "
            f"false alarms {self.false_alarms_per_match:.3f} a match ({self.healthy_false_alarms_per_match:.3f} in "
            f"healthy ones); twins named as certain {self.twins}; {spent:.2f} s a review."
        )
        return "\n".join(rows) + "\n"

    def _row(self, cause: str) -> str:
        mine = self.of(cause)
        visible = [o for o in mine if o.visible]
        count: dict[str, int] = defaultdict(int)
        for o in visible:
            count[o.state] += 1
        errors = [abs(o.start_error_s) for o in visible if o.start_error_s is not None]
        error = f"{statistics.median(errors):.2f}, {max(errors):.2f}" if errors else ""
        kinds = [o.kind_right for o in visible if o.kind_right is not None]
        kind = f"{sum(kinds)}/{len(kinds)}" if kinds else ""
        recall = f"{self.recall(cause):.2f}" if visible else "none visible"
        return (
            f"| {cause} | {len(mine)} | {len(visible)} | {count['found']} | {recall} | {count['wrong_time']} "
            f"| {count['wrong_part']} | {error} | {kind} | {sum(len(o.false_alarms) for o in mine)} "
            f"| {sum(len(o.twins) for o in mine)} |"
        )


def score(
    scenarios: Iterable[Recipe | Scenario],
    review_fn: ReviewFn,
    progress: Callable[[Outcome], None] | None = None,
) -> Table:
    """Review every scenario with review_fn(logs, build, pack, match=match) and hold it against its label."""
    table = Table()
    for scenario in made(scenarios):
        started = time.perf_counter()
        review = review_fn(scenario.logs, scenario.build, scenario.pack, match=scenario.match)
        outcome = judge(scenario, review)
        outcome.review_s = time.perf_counter() - started
        table.outcomes.append(outcome)
        if progress is not None:
            progress(outcome)
    return table


def judge(scenario: Scenario, review: Any) -> Outcome:
    alarms, twins = tuple(_false_alarms(scenario, review)), tuple(_twins(scenario, review))
    if not scenario.cause:
        return Outcome(scenario.name, "", "healthy", True, false_alarms=alarms)
    state, error, kind = "missed", None, None
    order = ("missed", "wrong_part", "wrong_time", "found")
    for what in _candidates(scenario, review):
        part, in_time, start_error = _part_right(scenario, what), *_time_right(scenario, what)
        this = "found" if part and in_time else "wrong_time" if part else "wrong_part"
        if order.index(this) > order.index(state):
            state = this
            error = start_error if this == "found" and scenario.timing == "onset" else None
            kind = None if scenario.cause in QUALITY else getattr(what, "kind", "") == scenario.kind
    if not scenario.visible and state != "found":
        state = "hidden"
    return Outcome(scenario.name, scenario.cause, state, scenario.visible, error, kind, alarms, twins)


def _candidates(scenario: Scenario, review: Any) -> Iterator[Any]:
    wanted = {scenario.cause, *scenario.accept}
    for finding in review.findings:
        if finding.cause in wanted:
            yield finding
    for note in review.quality:
        if note.code in wanted:
            yield note


def spans_of(what: Any) -> list[Span]:
    """Each occurrence of a finding, or its only span."""
    spans: list[Span] = []
    for one in getattr(what, "occurrences", ()) or ():
        start, end = (one.start_s, one.end_s) if hasattr(one, "start_s") else (one[0], one[1])
        spans.append((float(start), float(end)))
    return spans or [(float(what.start_s), float(what.end_s))]


def _part_right(scenario: Scenario, what: Any) -> bool:
    if not scenario.parts:
        return True
    named = {what.part, *(getattr(what, "could_be", ()) or ()), getattr(what, "channel", None)}
    return bool(named.intersection(scenario.parts))


def _time_right(scenario: Scenario, what: Any) -> tuple[bool, float | None]:
    if scenario.timing == "overlap":
        near = any(
            a <= end + TIME_s and b >= start - TIME_s for a, b in spans_of(what) for start, end in scenario.spans
        )
        return near, None
    errors = [a - start for a, _ in spans_of(what) for start, _ in scenario.spans]
    best = min(errors, key=abs)
    return abs(best) <= TIME_s, best


def _overlap(what: Any, spans: Iterable[Span], margin_s: float = 0.0) -> float:
    """The longest common time, s; 0 where they touch, negative (the distance) where they do not."""
    return max(
        (min(b, end + margin_s) - max(a, start - margin_s) for a, b in spans_of(what) for start, end in spans),
        default=-1.0,
    )


def _twins(scenario: Scenario, review: Any) -> Iterator[str]:
    """A forbidden cause called certain for the event: begun where it begins, or, where it lasts, within it.

    What begins later in an event with an onset is a consequence, judged by `also`. A note of the log is certain by
    its nature; that a file has no rows is a fact, though, and no twin where the right cause stands beside it.
    """
    low, high = scenario.start_s - TIME_s, scenario.start_s + TIME_s
    if scenario.timing == "overlap":
        low, high = scenario.start_s, scenario.end_s
    named = {finding.cause for finding in review.findings}
    for finding in review.findings:
        if finding.cause in scenario.forbidden and finding.confidence == "certain":
            at = next((a for a, _ in spans_of(finding) if low <= a <= high), None)
            if at is not None:
                yield f"{finding.cause} on {finding.part} at {at:.1f} s"
    for note in review.quality:
        if note.code in scenario.forbidden and _overlap(note, ((low, high),)) >= 0.0:
            if note.code in ROWS_MISSING and scenario.cause in named:
                continue
            yield f"{note.code} on {note.channel or note.part} at {note.start_s:.1f} s"


def _false_alarms(scenario: Scenario, review: Any) -> Iterator[str]:
    right = {scenario.cause, *scenario.accept} - {""}
    company = {*scenario.also, *right}
    for finding in review.findings:
        name = f"{finding.cause} ({finding.verdict}) on {finding.part} at {finding.start_s:.1f} s"
        if not scenario.cause:
            if finding.verdict in ALARMS or finding.cause not in EXPECTED_NOTES:
                yield name
        elif finding.verdict in ALARMS:
            if finding.cause == "unknown":
                if _overlap(finding, scenario.spans, TIME_s) < 0.0:
                    yield name
            elif finding.cause not in company:
                yield name
            elif finding.cause == scenario.cause and finding.cause not in scenario.also:
                misplaced = not _part_right(scenario, finding)
                if misplaced or _overlap(finding, scenario.spans, TIME_s) < 0.0:
                    yield name
    for note in review.quality:
        slow = note.code == "undersampled" and scenario.rate_Hz <= SLOW_RATE_Hz
        if note.code not in company and not slow:
            yield f"{note.code} on {note.channel or note.part} at {note.start_s:.1f} s"
