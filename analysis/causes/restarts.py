"""Controllers and receivers that started again: their uptime counts from nil."""

from __future__ import annotations

import numpy as np

from analysis.dropouts import near, rail_cause
from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.openings import openings
from analysis.outcome import Outcome
from analysis.spans import min_between


def detect(data: MatchData, checked: Outcome) -> list[Finding]:
    """A controller's restart is a finding; a receiver's follows from its rail, and only without one is it its own."""
    found = []
    for name in data.signals:
        if not name.endswith("_uptime_s") or (signal := data.inside(name)) is None or len(signal) < 3:
            continue
        back = np.flatnonzero(np.diff(signal.x) < -1.0)
        if not len(back):
            continue
        part = name.removesuffix("_uptime_s")
        places = tuple(Occurrence(float(signal.t_s[i]), float(signal.t_s[i + 1]), None) for i in back)
        if part == "receiver":
            found += _receiver(data, checked, name, places)
        else:
            found.append(_controller(data, part, name, places))
    return found


def _controller(data: MatchData, part: str, name: str, places: tuple[Occurrence, ...]) -> Finding:
    controller = next((c for c in data.build.controllers if c.id == part), None) if data.build else None
    minimum = controller.minimum_V if controller is not None else None
    volts = data.get(f"{part}_voltage_V")
    evidence = ["its uptime starts again"]
    low_enough = False
    for place in places:
        lowest = min_between(volts, place.end_s - 1.5, place.end_s)
        if lowest is not None:
            evidence.append(f"input down to {lowest:.1f} V before it")
            low_enough |= minimum is not None and lowest < minimum
    opened = [o for o in openings(data) if any(abs(o.start_s - p.start_s) < 1.5 for p in places)]
    if opened:
        evidence.append(f"{opened[0].run} was open just then")
    return Finding(
        kind="power_loss",
        cause="undervoltage_restart",
        part=part,
        channel=name,
        start_s=places[0].start_s,
        end_s=places[0].end_s,
        measured=None,
        low=None,
        high=None,
        unit="V",
        verdict="fault",
        confidence="certain" if low_enough else "likely",
        evidence=tuple(evidence),
        check="power",
        occurrences=places,
    )


def _receiver(data: MatchData, checked: Outcome, name: str, places: tuple[Occurrence, ...]) -> list[Finding]:
    """The receiver's restart where no sample of the rail shows why: a slow log's only sign of a brown-out."""
    cause, _, evidence = rail_cause(data, (places[0].start_s - 0.5, places[0].end_s))
    finding = Finding(
        kind="voltage_sag",
        cause=cause,
        part="receiver",
        channel=name,
        start_s=places[0].start_s,
        end_s=places[0].end_s,
        measured=None,
        low=None,
        high=None,
        unit="V",
        verdict="fault",
        confidence="possible",
        evidence=("its uptime starts again", *evidence, "no sample of its rail shows it: log the rail faster"),
        check="receiver_restart",
        occurrences=places,
    )
    rails = [f for f in checked.of(Finding) if f.check == "rail_voltage" and f.verdict == "over"]
    return [] if any(near(finding, rail, 2.5) for rail in rails) else [finding]
