"""Exchanged current channels are told and judge nothing; currents under their own names are never called exchanged.

The matches are simulated by code that shares nothing with the analysis (tests/synthetic/scenarios; physics stated
there, parameters invented).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from analysis.current_mixup import TAILS
from analysis.review import prepare, review
from benchmarks.exchanged_currents import Counts
from tests.synthetic.scenarios.catalogue import ci_subset, made
from tests.synthetic.scenarios.model import Scenario


@pytest.fixture(scope="module")
def scenarios() -> list[Scenario]:
    """Every seventh of the labelled matches: faults and healthy ones, several sensors and rates."""
    return list(made(ci_subset()[::7]))


def exchanged(scenario: Scenario, a: str, b: str) -> list[Any]:
    """The logs with the currents of two parts under each other's names."""
    names = {f"{one}_{tail}": f"{other}_{tail}" for one, other in ((a, b), (b, a)) for tail in TAILS}
    logs = []
    for log in scenario.logs:
        streams = []
        for stream in log.streams:
            fields = [names.get(name, name) for name in stream.table.column_names]
            streams.append(replace(stream, table=stream.table.rename_columns(fields)))
        logs.append(replace(log, streams=tuple(streams)))
    return logs


def test_most_exchanges_are_told_and_currents_under_their_own_names_stay(scenarios: list[Scenario]) -> None:
    """docs/accuracy.md counts over all labelled matches (benchmarks/exchanged_currents.py); here a share of them."""
    counts = Counts()
    for scenario in scenarios:
        counts.add(prepare(scenario.logs, scenario.build, scenario.pack, scenario.match))
    assert counts.matches >= 15 and counts.called_exchanged == 0
    assert counts.tried > 60 and counts.told >= 0.75 * counts.tried


def test_an_exchanged_weapon_passes_nothing(scenarios: list[Scenario]) -> None:
    checked = 0
    for scenario in scenarios:
        logs = exchanged(scenario, "weapon", "left_drive")
        data = prepare(logs, scenario.build, scenario.pack, scenario.match)
        left_out = {n.channel for n in data.quality if "under a wrong name" in n.note}
        if not left_out >= {f"weapon_{tail}" for tail in TAILS} | {f"left_drive_{tail}" for tail in TAILS}:
            continue
        checked += 1
        found = review(logs, scenario.build, scenario.pack, scenario.match, with_advice=False)
        judged = {(p.check, p.part) for p in found.passed}
        assert judged & {
            ("burst_current", "weapon"), ("burst_current", "left_drive"), ("continuous_current", "weapon"),
            ("contact_temperature", "weapon_terminal"), ("contact_temperature", "left_terminal"),
            ("fuse_curve", "weapon_fuse"), ("wire_temperature", "weapon_lead"), ("wire_temperature", "left_lead"),
        } == set()  # fmt: skip
        assert ("controller_voltage", "weapon") in judged or not data.signals.keys() & {"weapon_voltage_V"}
        if found.match.verdict == "within":
            assert "under a wrong name" in found.lines[1], found.lines
        assert any("weapon_" in row.reason and "under a wrong name" in row.reason for row in found.not_checked)
    assert checked >= 3
