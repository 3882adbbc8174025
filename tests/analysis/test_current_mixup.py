"""Exchanged current channels are told and judge nothing; currents under their own names are never called exchanged.

The matches are simulated by code that shares nothing with the analysis (tests/synthetic/scenarios; physics stated
there, parameters invented).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest

from analysis.current_mixup import mixed_up
from analysis.review import prepare, review
from tests.synthetic.scenarios.catalogue import ci_subset, made
from tests.synthetic.scenarios.model import Scenario

TAILS = ("input_current_A", "motor_current_A")


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


def test_currents_under_their_own_names_stay(scenarios: list[Scenario]) -> None:
    seen = 0
    for scenario in scenarios:
        data = prepare(scenario.logs, scenario.build, scenario.pack, scenario.match)
        assert mixed_up(data) == {}, scenario.name
        seen += sum(name.endswith(TAILS) for name in data.signals)
    assert seen > 40


def test_most_exchanges_are_told_and_every_told_one_names_both(scenarios: list[Scenario]) -> None:
    """Published in docs/accuracy.md for all labelled matches; here a share of them."""
    told = tried = 0
    for scenario in scenarios:
        data = prepare(scenario.logs, scenario.build, scenario.pack, scenario.match)
        parts = [c.id for c in data.build.controllers] if data.build is not None else []
        for a, b in combinations(parts, 2):
            if f"{a}_{TAILS[0]}" not in data.signals or f"{b}_{TAILS[0]}" not in data.signals:
                continue
            signals = dict(data.signals)
            x, y = f"{a}_{TAILS[0]}", f"{b}_{TAILS[0]}"
            signals[x], signals[y] = signals[y], signals[x]
            found = mixed_up(replace(data, signals=signals, _inside={}, memo={}))
            told, tried = told + bool(found), tried + 1
            assert not found or {x, y} <= set(found)
    assert tried > 30 and told >= 0.75 * tried


def test_an_exchanged_weapon_passes_nothing(scenarios: list[Scenario]) -> None:
    checked = 0
    for scenario in scenarios:
        logs = exchanged(scenario, "weapon", "left_drive")
        data = prepare(logs, scenario.build, scenario.pack, scenario.match)
        left_out = {n.channel for n in data.quality if "exchanged?" in n.note}
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
        assert any("weapon_" in row.reason and "exchanged?" in row.reason for row in found.not_checked)
    assert checked >= 3
