"""Joints from voltage taps. Truth: Ohm's law on a circuit whose resistances are known (tests/synthetic)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.review import prepare
from analysis.taps import Joints, joints
from tests.synthetic.circuit_truth import EVERYTHING, Circuit, Floats, Shape, after, build, log, pack

AT_S = 32.0
LOGGERS = [(100.0, "good"), (50.0, "poor"), (10.0, "good"), (1000.0, "poor")]
WITHOUT_BUS = tuple(c for c in EVERYTHING if c != "distribution_voltage_V")


def seen(circuit: Circuit, rate_Hz: float, grade: str, channels: tuple[str, ...] = EVERYTHING) -> Joints:
    return joints(prepare(log(circuit.play(), channels, rate_Hz, grade), build(), pack()))


@pytest.mark.parametrize(("rate_Hz", "grade"), LOGGERS)
@pytest.mark.parametrize("channels", [EVERYTHING, WITHOUT_BUS])
def test_sound_runs_show_nothing(rate_Hz: float, grade: str, channels: tuple[str, ...]) -> None:
    found = seen(Circuit(), rate_Hz, grade, channels)
    assert found.taps > 0
    assert (found.steps, found.flickers) == ((), ())


@pytest.mark.parametrize(("rate_Hz", "grade"), LOGGERS)
@pytest.mark.parametrize("channels", [EVERYTHING, WITHOUT_BUS])
@pytest.mark.parametrize(("series", "run"), [("lead_mohm", "battery_lead"), ("weapon_mohm", "weapon_lead")])
def test_a_step_is_placed_in_the_run_whose_current_carries_it(
    series: str, run: str, channels: tuple[str, ...], rate_Hz: float, grade: str
) -> None:
    made: dict[str, Any] = {series: after(AT_S, 14.0)}
    found = seen(Circuit(**made), rate_Hz, grade, channels)
    (step,) = found.steps
    assert step.runs == (run,)
    assert step.how == "step"
    assert step.step.at_s.value == pytest.approx(AT_S, abs=0.5)
    change = step.step.change_mohm
    assert change.value == pytest.approx(14.0, rel=0.12)
    assert change.low - 0.5 <= 14.0 <= change.high + 0.5


def test_a_step_seen_by_all_taps_counts_them() -> None:
    (step,) = seen(Circuit(lead_mohm=after(AT_S, 12.0)), 100.0, "good", WITHOUT_BUS).steps
    assert (step.agreeing, step.taps) == (2, 2)


def test_without_a_tap_ahead_of_it_the_pack_is_among_the_suspects() -> None:
    channels = ("pack_current_A", "weapon_voltage_V", "weapon_input_current_A")
    (step,) = seen(Circuit(lead_mohm=after(AT_S, 20.0)), 100.0, "good", channels).steps
    assert step.from_pack
    assert step.step.change_mohm.value == pytest.approx(20.0, rel=0.2)


def test_no_current_no_verdict() -> None:
    found = joints(prepare(log(Circuit().play(), ("pack_voltage_V", "distribution_voltage_V")), build(), pack()))
    assert (found.steps, found.flickers, found.taps) == ((), (), 0)


@pytest.mark.parametrize("share", [0.1, 0.3])
def test_copper_that_warms_is_no_joint(share: float) -> None:
    """39 % in 100 K is what copper gains (IEC 60028, from memory)."""

    def warm(t: Floats) -> Floats:
        return 2.6 * share * (1.0 - np.exp(-np.clip(t - 12.0, 0.0, None) / 20.0))

    assert seen(Circuit(weapon_mohm=warm), 100.0, "good").steps == ()


def flicker(at: float, until: float) -> Shape:
    return lambda t: np.where((t > at) & (t < until) & (((t - at) % 0.22) < 0.12), 45.0, 0.0)


@pytest.mark.parametrize(("rate_Hz", "grade"), [(100.0, "good"), (50.0, "poor"), (1000.0, "poor")])
@pytest.mark.parametrize(("series", "run"), [("lead_mohm", "battery_lead"), ("drive_mohm", "drive_lead")])
def test_a_joint_that_comes_and_goes(series: str, run: str, rate_Hz: float, grade: str) -> None:
    made: dict[str, Any] = {series: flicker(AT_S, AT_S + 3.0)}
    found = seen(Circuit(**made), rate_Hz, grade)
    (one,) = found.flickers
    assert found.steps == ()
    assert one.run == run
    assert min(start for start, _, _ in one.spans) == pytest.approx(AT_S, abs=0.5)
    assert one.mohm.value == pytest.approx(45.0, rel=0.25)


def test_a_terminal_that_rattles_to_the_end_wanders() -> None:
    rng = np.random.default_rng(4)
    knots = np.arange(AT_S, 70.0, 0.045)
    level = rng.uniform(15.0, 90.0, knots.size)
    (step,) = seen(
        Circuit(drive_mohm=lambda t: np.where(t > AT_S, np.interp(t, knots, level), 0.0)), 100.0, "good"
    ).steps
    assert (step.runs, step.how) == (("drive_lead",), "wanders")
    assert step.step.at_s.value == pytest.approx(AT_S, abs=0.5)


def test_a_contact_that_heats_itself_creeps() -> None:
    def worse(t: Floats) -> Floats:
        return 25.0 * (1.0 - np.exp(-np.clip(t - 10.0, 0.0, None) / 22.0))

    (step,) = seen(Circuit(lead_mohm=worse), 100.0, "good").steps
    assert (step.runs, step.how) == (("battery_lead",), "creeps")
