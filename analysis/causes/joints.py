"""Joints: a resistance that stepped up and stayed, and which run it sits in."""

from __future__ import annotations

from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.taps import joint_step


def detect(data: MatchData) -> list[Finding]:
    """One finding for the step that the voltage taps see, placed as closely as they allow."""
    found = joint_step(data)
    if found is None or data.window is None:
        return []
    step, change = found.step, found.step.change_mohm
    evidence = (
        f"from {step.before_mohm.value:.1f} to {step.after_mohm.value:.1f} mΩ between the pack and {found.tap}",
        f"{found.agreeing} of {found.taps} voltage taps see it" if found.taps > 1 else "one voltage tap only",
    )
    sure = "certain" if step.sigmas > 12 and found.agreeing > 1 else "likely"
    return [
        Finding(
            kind="wiring_fault",
            cause="joint_step",
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
            could_be=found.candidates,
            evidence=evidence,
            check="joint",
            occurrences=(Occurrence(step.at_s.value, data.window.end_s, change.value),),
            facts={
                "added_mohm": change.value,
                "before_mohm": step.before_mohm.value,
                "after_mohm": step.after_mohm.value,
                "run": found.part,
            },
        )
    ]
