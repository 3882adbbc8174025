"""From what the checks found to why it happened, and in which order."""

from __future__ import annotations

from dataclasses import replace

from analysis.causes import joints, motors, pack, power
from analysis.causes.attribution import with_cause
from analysis.causes.drives import Happening
from analysis.dropouts import name_rail_causes, near
from analysis.findings import Event, Finding
from analysis.match_data import MatchData
from analysis.outcome import Outcome
from analysis.wiring import Tree

_ORDER = {"over": 0, "fault": 1, "close": 2, "note": 3}
# What can end the next match comes first among equals.
_KIND_ORDER = (
    "wiring_fault", "power_loss", "motor_fault", "signal_dropout", "thermal_buildup", "voltage_sag", "current_spike",
)  # fmt: skip


def detect(data: MatchData, checked: Outcome) -> tuple[list[Finding], list[Happening]]:
    """Findings that are faults in themselves (no rating needed), and what the motors did."""
    if data.build is None:
        return [], []  # without a wiring nothing can be said of what opened
    found, happened = motors.detect(data)
    found += power.detect(data, checked)
    found += joints.detect(data)
    found += pack.detect(data, checked)
    return found, happened


def explain(
    data: MatchData, wiring: Tree | None, checked: list[Finding], detected: list[Finding], happened: list[Happening]
) -> list[Finding]:
    """Every finding with its cause; consequences marked; the gravest first; numbered."""
    checked = name_rail_causes(data, checked)
    named = [with_cause(data, finding, wiring, detected, happened) for finding in checked]
    all_found = _consequences([*named, *detected])
    ordered = sorted(
        all_found,
        key=lambda f: (
            bool(f.consequence_of) and f.verdict != "over",
            _ORDER.get(f.verdict, 4),
            _KIND_ORDER.index(f.kind),
            f.margin_pct if f.margin_pct is not None else 0.0,
            f.start_s,
        ),
    )
    numbered = [replace(finding, id=f"f{i}") for i, finding in enumerate(ordered, 1)]
    return _link(numbered)


def _consequences(findings: list[Finding]) -> list[Finding]:
    """Mark what only follows from another finding; the chain keeps it, the verdict line does not lead with it."""
    result = []
    for finding in findings:
        cause = finding.consequence_of
        for other in findings:
            if other is finding:
                continue
            if finding.check == "link" and other.check == "rail_voltage" and near(finding, other):
                cause = "rail_voltage"
            earlier = other.part == finding.part and other.start_s <= finding.start_s
            if finding.cause == "thermal_limit" and other.cause == "stall" and earlier:
                cause = "motor:" + other.part
            if finding.cause == "joint_step" and finding.check != "joint" and other.check == "joint":
                cause = "joint"
            if finding.check in ("cell_minimum", "pack_sag") and other.check in (
                "cell_resistance",
                "pack_resistance",
            ):
                cause = other.check
            if finding.check == "rail_voltage" and other.check == "rail_current":
                cause = ""
            if finding.check == "rail_current" and other.check == "rail_voltage":
                cause = "rail_voltage"
        result.append(replace(finding, consequence_of=cause))
    return result


def _link(findings: list[Finding]) -> list[Finding]:
    """consequence_of as the id of the finding it follows from."""
    linked = []
    for finding in findings:
        target = finding.consequence_of
        if target:
            wanted = target.split(":")[0]
            other = next((f for f in findings if f.check == wanted and f.id != finding.id), None)
            target = other.id if other is not None else ""
        linked.append(replace(finding, consequence_of=target))
    return linked


def chain(findings: list[Finding], happened: list[Happening]) -> tuple[Event, ...]:
    """What happened in order of time: at most five, hits only where something followed within two seconds."""
    from analysis.wording import event

    serious = [f for f in findings if f.verdict in ("over", "fault", "close")]
    events = [event(f) for f in serious]
    for finding in serious:
        before = [h for h in happened if h.cause == "hit" and -0.2 <= finding.start_s - h.start_s <= 2.0]
        if before and finding.check in ("joint", "link", "power", "rail_voltage"):
            hit = max(before, key=lambda h: h.start_s)
            events.append(Event(hit.start_s, "Hit", hit.detail, "note"))
    order = {"over": 0, "fault": 1, "close": 2, "note": 1}
    kept = sorted(set(events), key=lambda e: order.get(e.verdict, 3))[:5]
    return tuple(sorted(kept, key=lambda e: e.start_s))
