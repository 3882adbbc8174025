"""The radio link and the receiver: losses, what the rail did meanwhile, and which of the two it was.

A loss is judged from the receiver's own reports (failsafe flag, link figure); a gap in a log is no loss. The rail
tells the causes apart: under the receiver's minimum it is a brown-out (or, with the supply steady and the rail's
load high, the regulator); with the rail steady it is the radio.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.findings import Finding, NotChecked, Occurrence, Passed
from analysis.match_data import MatchData
from analysis.outcome import Outcome, Row
from analysis.signal import Signal
from analysis.spans import max_between, min_between, overlap_s, spans

# A link figure at or under this is no link (our choice: receivers report 0, some 1, when nothing arrives).
NO_LINK_PCT = 1.0
# How long before and after a loss the rail is looked at: a receiver restarts in 0.3 to 2 s (memory).
BEFORE_S, AFTER_S = 1.0, 0.3
# A rail this far under its nominal is no longer steady (our choice: regulators hold within 5 %).
STEADY_SHARE = 0.90


def losses(data: MatchData) -> tuple[list[tuple[float, float]], str] | None:
    """Spans without a link, and the channel that says so; None where no channel can say it."""
    flag = data.inside("link_failsafe_active")
    quality = data.inside("link_quality_pct")
    found: list[tuple[float, float]] = []
    channel = ""
    for signal, level in ((flag, 0.5), (quality, NO_LINK_PCT)):
        if signal is None:
            continue
        gone = signal.x > level if signal is flag else signal.x <= level
        here = _with_interval(spans(gone, signal.t_s), signal)
        found += here
        channel = channel or signal.channel
    if not channel:
        return None
    return _merged(found, 0.15), channel


def _with_interval(found: list[tuple[float, float]], signal: Signal) -> list[tuple[float, float]]:
    """A state seen at samples lasts up to the next one; its length is known to one interval."""
    return [(start, end + signal.period_s) for start, end in found]


def _merged(found: list[tuple[float, float]], join_s: float) -> list[tuple[float, float]]:
    merged: list[tuple[float, float]] = []
    for start, end in sorted(found):
        if merged and start - merged[-1][1] <= join_s:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def rail_signal(data: MatchData) -> Signal | None:
    """The rail of the receiver inside the match, V; None where it was not logged."""
    for name in data.signals:
        if name.endswith("_rail_voltage_V") or name == "receiver_voltage_V":
            return data.inside(name)
    return None


def link_check(data: MatchData) -> Outcome:
    """link: every loss of 0.1 s or more, grouped by cause; single lost frames are only counted."""
    seen = losses(data)
    if seen is None:
        reason = "neither a link figure nor a failsafe flag was logged"
        return Outcome((NotChecked("link", "link", reason, "log the receiver's link"),))
    found, channel = seen
    long = [span for span in found if span[1] - span[0] >= data.settings.dropout_s]
    signal = data.inside(channel)
    if signal is not None and signal.period_s > data.settings.dropout_s * 3:
        slow = NotChecked(
            "link", "link", f"{channel} every {signal.period_s:.2g} s misses shorter losses", "log the link at 10 Hz"
        )
        if not long:
            return Outcome((slow,))
    if not long:
        short = f"{len(found)} shorter than {data.settings.dropout_s:g} s" if found else ""
        return Outcome((Passed("link", "link", 0.0, data.settings.dropout_s, "s", 100.0, note=short),))
    rows: list[Row] = []
    by_cause: dict[str, list[tuple[float, float]]] = {}
    proofs: dict[str, tuple[str, ...]] = {}
    confidence: dict[str, str] = {}
    for span in long:
        cause, sure, evidence = _loss_cause(data, span)
        by_cause.setdefault(cause, []).append(span)
        proofs.setdefault(cause, evidence)
        confidence[cause] = sure if confidence.get(cause, sure) == sure else "likely"
    for cause, these in by_cause.items():
        worst = max(these, key=lambda s: s[1] - s[0])
        length = worst[1] - worst[0]
        step = signal.period_s if signal is not None else 0.0
        rows.append(
            Finding(
                kind="signal_dropout",
                cause=cause,
                part="link" if cause == "radio_loss" else "receiver",
                channel=channel,
                start_s=worst[0],
                end_s=worst[1],
                measured=length,
                low=max(length - step, 0.0),
                high=length + step,
                unit="s",
                verdict="fault",
                confidence=confidence[cause],  # type: ignore[arg-type]
                evidence=proofs[cause],
                check="link",
                could_be=("link", "receiver") if confidence[cause] == "possible" else (),
                occurrences=tuple(Occurrence(a, b, b - a) for a, b in these),
                consequence_of="rail_voltage" if cause != "radio_loss" else "",
            )
        )
    return Outcome(tuple(rows))


def _loss_cause(data: MatchData, span: tuple[float, float]) -> tuple[str, str, tuple[str, ...]]:
    """radio_loss, brown_out or regulator_overload for one loss, how sure, and why."""
    rail = rail_signal(data)
    if rail is None:
        return "radio_loss", "possible", ("the rail was not logged: a brown-out looks the same from here",)
    low = min_between(rail, span[0] - BEFORE_S, span[1] + AFTER_S)
    if low is None:
        return "radio_loss", "possible", ("no sample of the rail near this loss",)
    minimum = data.build.receiver.minimum_V if data.build is not None else None
    usual = float(np.median(rail.x))
    limit = minimum if minimum is not None else STEADY_SHARE * usual
    if low < limit:
        cause, sure, evidence = rail_cause(data, span)
        return cause, sure, (f"rail down to {low:.2f} V", *evidence)
    if low > STEADY_SHARE * usual:
        strength = data.inside("link_strength_dBm")
        extra: tuple[str, ...] = ()
        weakest = min_between(strength, span[0] - 0.5, span[1])
        if weakest is not None and strength is not None and weakest < float(np.median(strength.x)) - 6.0:
            extra = (f"signal down to {weakest:.0f} dBm",)
        return "radio_loss", "likely", (f"rail steady at {low:.2f} V or more", *extra)
    return "radio_loss", "possible", (f"rail sagged to {low:.2f} V, above the receiver's minimum",)


def rail_cause(data: MatchData, span: tuple[float, float]) -> tuple[str, str, tuple[str, ...]]:
    """Why the rail fell: its supply (brown_out), or its load (regulator_overload)."""
    build = data.build
    regulator = build.regulators[0] if build is not None and build.regulators else None
    load = next((data.inside(n) for n in data.signals if n.endswith("_rail_current_A")), None)
    supply_names = []
    if regulator is not None:
        supply_names = [f"{regulator.id}_voltage_V", f"{regulator.from_}_voltage_V"]
    supply_names += ["pack_voltage_V", *(n for n in data.signals if n.endswith("_voltage_V") and "rail" not in n)]
    supply = next(
        (
            s
            for n in supply_names
            if "cell" not in n and (s := data.inside(n)) is not None and n != "receiver_voltage_V"
        ),
        None,
    )
    lowest_supply = min_between(supply, span[0] - 0.2, span[1])
    needed = regulator.minimum_input_V if regulator is not None else None
    if needed is None and regulator is not None and regulator.output_V is not None:
        needed = regulator.output_V + 1.5
    drawn = max_between(load, span[0] - 0.2, span[1])
    rated = regulator.rated_A if regulator is not None else None
    if lowest_supply is not None and needed is not None and lowest_supply < needed:
        return "brown_out", "likely", (f"its supply was down to {lowest_supply:.1f} V; it needs {needed:g} V",)
    if lowest_supply is not None and needed is not None:
        steady = f"its supply held {lowest_supply:.1f} V; it needs {needed:g} V"
        if drawn is not None and rated is not None and drawn > rated:
            return (
                "regulator_overload",
                "certain",
                (steady, f"its load reached {drawn:.1f} A; it is rated {rated:g} A"),
            )
        if drawn is not None:
            return "regulator_overload", "likely", (steady, f"its load reached {drawn:.1f} A")
        return "regulator_overload", "likely", (steady,)
    return "brown_out", "possible", ("the supply of the regulator was not logged",)


def name_rail_causes(data: MatchData, findings: list[Finding]) -> list[Finding]:
    """Rail findings with the cause that supply and load point to."""
    named = []
    for finding in findings:
        if finding.check == "rail_voltage":
            cause, sure, evidence = rail_cause(data, (finding.start_s, finding.end_s))
            regulator = data.build.regulators[0].id if data.build is not None and data.build.regulators else ""
            finding = replace(
                finding,
                cause=cause,
                confidence="likely" if sure == "possible" and finding.confidence == "certain" else finding.confidence,
                evidence=(*finding.evidence, *evidence),
                could_be=(regulator,) if cause == "regulator_overload" and regulator else finding.could_be,
            )
        if finding.check == "rail_current" and finding.verdict == "over":
            finding = _overload_times(data, finding)
        named.append(finding)
    return named


def _overload_times(data: MatchData, finding: Finding) -> Finding:
    """From when to when the load was over the rating, and what the rail did meanwhile: the worst window lies inside."""
    load = next((data.inside(n) for n in data.signals if n.endswith("_rail_current_A")), None)
    if load is None or finding.limit is None:
        return finding
    over = spans(np.abs(load.x) > finding.limit, load.t_s, join_s=max(0.1, 2.0 * load.period_s))
    over = [s for s in over if s[1] - s[0] >= min(0.1, finding.end_s - finding.start_s)]
    if not any(overlap_s(s, (finding.start_s, finding.end_s)) > 0 for s in over):
        return finding
    worst = max(over, key=lambda s: overlap_s(s, (finding.start_s, finding.end_s)))
    rail = rail_signal(data)
    low = min_between(rail, *worst)
    sagged = rail is not None and low is not None and low < 0.95 * float(np.median(rail.x))
    said = (f"its output down to {low:.2f} V meanwhile",) if sagged else ()
    places = tuple(Occurrence(a, b, float(np.abs(load.between(a, b).x).max())) for a, b in over)
    evidence = (*finding.evidence, *said)
    return replace(finding, start_s=worst[0], end_s=worst[1], occurrences=places, evidence=evidence)


def near(a: Finding, b: Finding, within_s: float = 1.0) -> bool:
    """Whether any occurrence of a lies within that many seconds of one of b."""
    spans_a = [(o.start_s, o.end_s) for o in a.occurrences] or [(a.start_s, a.end_s)]
    spans_b = [(o.start_s, o.end_s) for o in b.occurrences] or [(b.start_s, b.end_s)]
    return any(overlap_s(x, y) > -within_s for x in spans_a for y in spans_b)
