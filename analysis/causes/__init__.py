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
    found += pack.detect(data)
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


_VOLTAGE_CHECKS = ("controller_cutoff", "controller_voltage", "rail_voltage", "receiver_restart")
_OPENED = ("disconnect_opened", "disconnect_bounce", "fuse_opened", "joint_intermittent", "terminal_loose")


def _consequences(findings: list[Finding]) -> list[Finding]:
    """Mark what only follows from another finding; the chain keeps it, the verdict line does not lead with it."""
    opened = [f for f in findings if f.check in ("power", "joint") and f.cause in _OPENED]
    result = []
    for finding in findings:
        cause = finding.consequence_of
        for other in findings:
            if other is finding:
                continue
            if finding.check == "link" and other.check in ("rail_voltage", "receiver_restart") and near(finding, other):
                cause = other.check
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
            if finding.check in ("cell_minimum", "pack_sag") and other.check == "pack_empty" and near(finding, other):
                cause, finding = other.check, replace(finding, cause="pack_empty", could_be=())
            if finding.check == "pack_resistance" and finding.limit is not None and other.check == "cell_resistance":
                cause, finding = other.check, replace(finding, cause=other.cause, could_be=(other.part,))
            if finding.check == "rail_voltage" and other.check == "rail_current":
                cause = ""
            if finding.check == "rail_current" and other.check == "rail_voltage":
                cause = "rail_voltage"
        supply = next((o for o in opened if o is not finding and near(finding, o, 0.5)), None)
        restarted = finding.cause == "undervoltage_restart" and finding.check == "power"
        if supply is not None and (finding.check in _VOLTAGE_CHECKS or restarted):
            cause = f"{supply.check}:{supply.cause}"
            if finding.cause == supply.cause:  # named after it: then it sits where that sits
                places = tuple(dict.fromkeys((finding.part, *supply.could_be)))
                finding = replace(finding, could_be=places, kind=supply.kind)
        result.append(replace(finding, consequence_of=cause))
    return [_restarted(finding, findings) for finding in result]


def _restarted(finding: Finding, findings: list[Finding]) -> Finding:
    """An input under minimum_V that is followed by a new start is a loss of power and not only a sag."""
    if finding.check != "controller_voltage" or finding.cause != "undervoltage_restart":
        return finding
    starts = [f for f in findings if f.check == "power" and f.cause == finding.cause and f.part == finding.part]
    if not any(near(finding, f, 1.5) for f in starts):
        return finding
    return replace(finding, kind="power_loss", evidence=(*finding.evidence, "its uptime starts again"))


def _link(findings: list[Finding]) -> list[Finding]:
    """consequence_of as the id of the finding it follows from ("check" or "check:cause or part")."""
    linked = []
    for finding in findings:
        target = finding.consequence_of
        if target:
            wanted, _, which = target.partition(":")
            of_check = [f for f in findings if f.check == wanted and f.id != finding.id]
            exact = [f for f in of_check if which in ("", f.cause, f.part)]
            found = exact or of_check
            target = found[0].id if found else ""
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
