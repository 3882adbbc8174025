"""A current sensor whose gain is off is found by Kirchhoff's law or by its motor's duty; its interval holds the truth.

The circuit is Ohm's and Kirchhoff's (tests/synthetic/circuit_truth.py) and shares no code with the analysis.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.current_balance import suspects
from analysis.review import prepare, review
from analysis.wiring import RunCurrent, currents_of, tree
from tests.synthetic.circuit_truth import END_S, EVERYTHING, START_S, Circuit, build, log, pack

TRUTH = Circuit().play()
RATED = build().model_copy(
    update={
        "controllers": tuple(
            c.model_copy(update={"continuous_A": 200.0, "burst_A": 300.0, "burst_s": 10.0}) for c in build().controllers
        )
    }
)


def scaled(**factors: float) -> dict[str, Any]:
    return {name: x * factors.get(name, 1.0) for name, x in TRUTH.items()}


def notes(data: Any) -> dict[str, str]:
    return {n.channel: n.note for n in data.quality if n.code == "implausible"}


@pytest.mark.parametrize("grade", ["good", "poor"])
@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 200.0])
def test_sensors_that_agree_are_left_as_they_are(rate_Hz: float, grade: str) -> None:
    data = prepare(log(TRUTH, EVERYTHING, rate_Hz, grade), RATED, pack())
    assert suspects(data) == {} and notes(data) == {}
    assert data.signals["pack_current_A"].gain_rel == 0.0


@pytest.mark.parametrize("factor", [0.6, 0.8, 1.3])
@pytest.mark.parametrize("channel", ["weapon_input_current_A", "drive_input_current_A"])
def test_one_branch_that_reads_wrong_is_named_and_its_interval_holds_the_truth(channel: str, factor: float) -> None:
    data = prepare(log(scaled(**{channel: factor}), EVERYTHING, 50.0), RATED, pack())
    assert list(notes(data)) == [channel]
    assert f"the pack gives {1.0 / factor:.2f} times" in notes(data)[channel]
    seen = data.signals[channel].between(START_S, END_S)
    true = float(np.sqrt(np.mean(np.interp(seen.t_s, TRUTH["t"], TRUTH[channel]) ** 2)))
    rms = float(np.sqrt(np.mean(seen.x**2)))
    assert abs(true - rms) <= 1.96 * seen.gain_rel * rms


@pytest.mark.parametrize("factor", [0.7, 1.25])
def test_a_pack_sensor_that_reads_wrong_is_told_from_its_branches(factor: float) -> None:
    data = prepare(log(scaled(pack_current_A=factor), EVERYTHING, 50.0), RATED, pack())
    said = notes(data)
    assert f"pack_current_A reads {factor:.2f} times what all its branches draw" in said["pack_current_A"]
    # Read high, it may also be the branches that all read low; read low, the pack alone is not to be trusted to pass.
    assert set(said) == (
        {"pack_current_A"} if factor < 1 else {"pack_current_A", *(b for b in EVERYTHING if "input" in b)}
    )


def test_a_rating_between_what_is_read_and_what_is_true_does_not_pass() -> None:
    """The weapon reads 0.7 of its current; its burst rating lies a quarter above what is read: past it."""
    peak = float(np.sqrt(np.mean(TRUTH["weapon_input_current_A"][(TRUTH["t"] > 10.5) & (TRUTH["t"] < 10.6)] ** 2)))
    tight = RATED.model_copy(
        update={"controllers": tuple(
            c.model_copy(update={"burst_A": 0.7 * peak * 1.25}) if c.id == "weapon" else c for c in RATED.controllers
        )}
    )  # fmt: skip
    made = log(scaled(weapon_input_current_A=0.7), EVERYTHING, 100.0)
    found = review([made], tight, pack(), with_advice=False)
    assert ("burst_current", "weapon") not in {(p.check, p.part) for p in found.passed}
    assert any(f.check == "burst_current" and f.part == "weapon" for f in found.findings)


def test_without_every_branch_or_in_a_slow_log_nothing_is_said() -> None:
    made = scaled(weapon_input_current_A=0.7)
    few = tuple(c for c in EVERYTHING if c != "drive_input_current_A")
    assert suspects(prepare(log(made, few, 50.0), RATED, pack())) == {}
    assert suspects(prepare(log(made, EVERYTHING, 1.0), RATED, pack())) == {}


@pytest.mark.parametrize("factor", [1.0, 0.75])
def test_a_motor_current_is_held_against_supply_and_duty(factor: float) -> None:
    direct = RATED.model_copy(
        update={"controllers": tuple(c.model_copy(update={"motor_current_is": "dc"}) for c in RATED.controllers)}
    )
    at = np.arange(0.0, 62.0, 1.0 / 50.0)
    duty = np.round(50.0 + 20.0 * np.sin(0.9 * at))
    drawn = np.interp(at, TRUTH["t"], TRUTH["drive_input_current_A"])
    extra = {"drive_duty_pct": duty, "drive_motor_current_A": factor * drawn / (duty / 100.0)}
    data = prepare(log(TRUTH, EVERYTHING, 50.0, extra=extra), direct, pack())
    assert list(notes(data)) == ([] if factor == 1.0 else ["drive_motor_current_A"])
    if factor != 1.0:
        assert "1.33 times duty times" in notes(data)["drive_motor_current_A"]
        assert isinstance(current := currents_of(data, tree(direct))["drive_lead"], RunCurrent) and current.complete
