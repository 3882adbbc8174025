"""Joints: a resistance that stepped up and stayed, one that wanders, creeps with its heat, or comes and goes."""

from __future__ import annotations

from analysis.findings import Finding, Occurrence
from analysis.joint_moments import Flicker
from analysis.match_data import MatchData
from analysis.taps import Joints, JointStep, joints
from analysis.wiring import Tree, tree

SURE_SIGMAS = 12.0  # our choice: twice what no healthy match reaches


def detect(data: MatchData) -> list[Finding]:
    """One finding for every joint that the voltage taps see, placed as closely as they allow."""
    if data.build is None or data.window is None:
        return []
    seen = joints(data)
    wiring = tree(data.build)
    steps = [_step(data, wiring, one) for one in seen.steps]
    return [*steps, *(_flicker(one) for one in _each_run_once(seen))]


def _each_run_once(seen: Joints) -> list[Flicker]:
    best: dict[str, Flicker] = {}
    for one in seen.flickers:
        if one.run not in best or one.times > best[one.run].times:
            best[one.run] = one
    return list(best.values())


def _step(data: MatchData, wiring: Tree, found: JointStep) -> Finding:
    assert data.window is not None
    step, change = found.step, found.step.change_mohm
    between = "in the pack and up to the" if found.from_pack else "between the tap above it and the"
    tap = found.tap.removesuffix("_voltage_V").replace("_", " ")
    evidence = [
        f"from {step.before_mohm.value:.1f} to {step.after_mohm.value:.1f} mΩ {between} {tap}",
        f"{found.agreeing} of {found.taps} voltage taps see it" if found.taps > 1 else "one voltage tap only",
    ]
    cause, kind = "joint_step", "wiring_fault"
    terminals = [c.id for r in found.runs for c in wiring.runs[r].contacts if c.kind == "terminal"]
    could_be = found.candidates
    if found.how == "creeps":
        cause, kind = "contact_heating", "thermal_buildup"
        evidence.append("it grows with the heat that the current makes in it, and by more than copper does")
    elif found.how == "wanders":
        cause = "terminal_loose" if terminals else "joint_intermittent"
        evidence.append("from then on it is never twice the same: something rattles under load")
    sure = "certain" if step.sigmas > SURE_SIGMAS and found.agreeing > 1 else "likely"
    if found.from_pack:
        sure, could_be = "possible", (*found.candidates, "pack")
        evidence.append("the pack's terminals were not logged: log them to tell the pack from its lead")
    elif len(found.runs) > 1:
        sure = "possible"
        evidence.append("two runs explain it alike: log the voltage between them")
    return Finding(
        kind=kind,  # type: ignore[arg-type]
        cause=cause,
        part=found.part,
        channel=found.tap,
        start_s=step.at_s.value,
        end_s=data.window.end_s,
        measured=change.value,
        low=change.low,
        high=change.high,
        unit="mohm",
        verdict="fault",
        confidence=sure,  # type: ignore[arg-type]
        could_be=could_be,
        evidence=tuple(evidence),
        check="joint",
        occurrences=(Occurrence(step.at_s.value, data.window.end_s, change.value),),
        facts={
            "added_mohm": change.value,
            "before_mohm": step.before_mohm.value,
            "after_mohm": step.after_mohm.value,
            "run": found.part,
        },
    )


def _flicker(one: Flicker) -> Finding:
    worst = max(one.spans, key=lambda s: s[2])
    return Finding(
        kind="wiring_fault",
        cause="joint_intermittent",
        part=one.run,
        channel=one.tap,
        start_s=worst[0],
        end_s=worst[1],
        measured=one.mohm.value,
        low=one.mohm.low,
        high=one.mohm.high,
        unit="mohm",
        verdict="fault",
        confidence="likely",
        could_be=one.candidates,
        evidence=(
            f"up to {one.mohm.value:.0f} mΩ more for moments, {one.times} times, and sound in between and after",
            f"seen at the {one.tap.removesuffix('_voltage_V').replace('_', ' ')}",
        ),
        check="joint",
        occurrences=tuple(Occurrence(a, b, r) for a, b, r in one.spans),
        facts={"run": one.run},
    )
