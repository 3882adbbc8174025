"""Which current flows in which run: Kirchhoff's current law on made signals (closed forms, no other source)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.match_data import MatchData
from analysis.settings import DEFAULTS
from analysis.signal import signal
from analysis.wiring import NoCurrent, RunCurrent, combine, run_currents, tree
from ingest.align import PlacedLog
from ingest.builds import Build
from ingest.log import Log, Provenance

T = np.arange(0.0, 10.0, 0.01)


def build(**more: object) -> Build:
    document = {
        "build": {"id": "b"},
        "packs": [{"cells": 6}],
        "wires": [
            {"id": "battery_lead", "from": "pack", "to": "bar", "gauge": "12 AWG", "length_mm": 200},
            {"id": "weapon_lead", "from": "bar", "to": "weapon", "gauge": "12 AWG", "length_mm": 200},
            {"id": "left_lead", "from": "bar", "to": "left", "gauge": "14 AWG", "length_mm": 200},
            {"id": "right_lead", "from": "bar", "to": "right", "gauge": "14 AWG", "length_mm": 200},
            {"id": "phase_leads", "from": "weapon", "to": "weapon_motor", "gauge": "12 AWG", "length_mm": 100,
             "conductors": 3},
        ],
        "controllers": [{"id": "weapon", "motor_current_is": "dc"}, {"id": "left"}, {"id": "right"}],
        "motors": [{"id": "weapon_motor", "controller": "weapon"}],
        **more,
    }  # fmt: skip
    return Build.model_validate(document)


def data(channels: dict[str, np.ndarray], made: Build) -> MatchData:
    placed = (PlacedLog(Log((), Provenance("a.csv", "0", "made"))),)
    signals = {name: signal(name, T, x) for name, x in channels.items()}
    return MatchData(signals, dict.fromkeys(signals, 0), {}, placed, made, (), None, DEFAULTS)


WEAPON = 50.0 + 40.0 * np.sin(T)
LEFT = 10.0 + 5.0 * np.cos(2 * T)
RIGHT = np.full(len(T), 8.0)


def currents(channels: dict[str, np.ndarray], made: Build | None = None) -> dict[str, RunCurrent | NoCurrent]:
    chosen = made or build()
    return run_currents(data(channels, chosen), tree(chosen))


def test_the_battery_lead_carries_the_sum() -> None:
    found = currents({"weapon_input_current_A": WEAPON, "left_input_current_A": LEFT, "right_input_current_A": RIGHT})
    main = found["battery_lead"]
    assert isinstance(main, RunCurrent) and main.complete and not main.logged
    np.testing.assert_allclose(main.signal.x, WEAPON + LEFT + RIGHT)


def test_one_unlogged_branch_is_the_parent_less_its_siblings() -> None:
    pack = WEAPON + LEFT + RIGHT
    found = currents({"pack_current_A": pack, "weapon_input_current_A": WEAPON, "left_input_current_A": LEFT})
    right = found["right_lead"]
    assert isinstance(right, RunCurrent) and right.complete
    assert float(np.mean(right.signal.x[right.signal.valid])) == pytest.approx(8.0, abs=0.02)


def test_two_unlogged_siblings_are_not_guessed() -> None:
    found = currents({"pack_current_A": WEAPON + LEFT + RIGHT, "weapon_input_current_A": WEAPON})
    assert isinstance(found["left_lead"], NoCurrent)
    assert isinstance(found["right_lead"], NoCurrent)


def test_an_unlogged_load_leaves_the_parent_at_least() -> None:
    found = currents({"weapon_input_current_A": WEAPON, "left_input_current_A": LEFT})
    main = found["battery_lead"]
    assert isinstance(main, RunCurrent) and not main.complete
    np.testing.assert_allclose(main.signal.x, WEAPON + LEFT)


def test_three_motor_leads_share_a_dc_figure_by_commutation() -> None:
    """Six-step commutation: each phase conducts 120 of 180 degrees, so its r.m.s. is the d.c. times root 2/3."""
    found = currents({"weapon_motor_current_A": WEAPON, "pack_current_A": WEAPON})
    phase = found["phase_leads"]
    assert isinstance(phase, RunCurrent)
    np.testing.assert_allclose(phase.signal.x, WEAPON * math.sqrt(2.0 / 3.0))


def test_a_sum_is_not_valid_across_a_gap() -> None:
    gap = (T < 4.0) | (T > 5.0)
    slow = signal("left_input_current_A", T[gap], LEFT[gap])
    fast = signal("weapon_input_current_A", T, WEAPON)
    summed = combine([fast, slow], [1.0, 1.0], "sum_current_A")
    middle = (summed.t_s > 4.1) & (summed.t_s < 4.9)
    assert not summed.valid[middle].any()
    outside = summed.valid & (summed.t_s < 3.9)
    np.testing.assert_allclose(summed.x[outside], (WEAPON + LEFT)[T < 3.9][: outside.sum()], atol=1e-9)


def test_paths_and_what_lies_below() -> None:
    wiring = tree(build())
    assert wiring.path_to("weapon_motor") == ("battery_lead", "weapon_lead", "phase_leads")
    assert set(wiring.below("battery_lead")) == set(wiring.runs)
    assert wiring.roots == ("battery_lead",)
