"""A silent receiver: radio, brown-out or an overloaded regulator, told by rail, bus and load made here."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.findings import Finding, Review
from analysis.review import review
from tests.synthetic.circuit_truth import LENGTH_S, Circuit, Floats, build, log, pack

AT_S, UNTIL_S = 30.0, 31.2
CHANNELS = ("pack_voltage_V", "pack_current_A", "distribution_voltage_V", "drive_command_pct")


def clock(rate_Hz: float) -> Floats:
    return np.arange(0.0, LENGTH_S, 1.0 / rate_Hz)


def at(t: Floats, start_s: float = AT_S, end_s: float = UNTIL_S) -> Floats:
    return ((t >= start_s) & (t < end_s)).astype(float)


def reviewed(circuit: Circuit, rate_Hz: float, **extra: Floats) -> Review:
    return review(log(circuit.play(), CHANNELS, rate_Hz, extra=extra), build(), pack(), with_advice=False)


def serious(result: Review) -> list[Finding]:
    return [f for f in result.findings if f.verdict in ("over", "fault", "close")]


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 1000.0])
def test_a_steady_rail_leaves_the_radio(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    result = reviewed(
        Circuit(),
        rate_Hz,
        receiver_rail_voltage_V=np.full(t.size, 5.0),
        receiver_rail_current_A=np.full(t.size, 0.4),
        link_quality_pct=98.0 * (1.0 - at(t)),
    )
    (loss,) = serious(result)
    assert (loss.cause, loss.part, loss.kind) == ("radio_loss", "link", "signal_dropout")
    assert loss.start_s == pytest.approx(AT_S, abs=1.5 / rate_Hz)
    assert loss.measured == pytest.approx(UNTIL_S - AT_S, abs=2.5 / rate_Hz)


def test_without_the_rail_it_is_only_possible() -> None:
    t = clock(50.0)
    (loss,) = serious(reviewed(Circuit(), 50.0, link_failsafe_active=at(t)))
    assert (loss.cause, loss.confidence) == ("radio_loss", "possible")


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 1000.0])
def test_a_rail_that_sags_under_its_own_load_with_the_bus_sound(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    result = reviewed(
        Circuit(),
        rate_Hz,
        receiver_rail_voltage_V=5.0 - 1.6 * at(t),
        receiver_rail_current_A=0.4 + 7.1 * at(t),
        link_failsafe_active=at(t),
    )
    rail = next(f for f in result.findings if f.check == "rail_voltage")
    assert (rail.cause, rail.verdict) == ("regulator_overload", "over")
    assert "receiver_supply" in rail.could_be
    assert rail.start_s == pytest.approx(AT_S, abs=1.5 / rate_Hz)
    link = next(f for f in result.findings if f.check == "link")
    assert link.consequence_of == rail.id
    assert {f.cause for f in serious(result)} == {"regulator_overload"}


@pytest.mark.parametrize("rate_Hz", [50.0, 1000.0])
def test_a_rail_that_falls_with_its_supply(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    circuit = Circuit(open_lead=((AT_S, AT_S + 0.3),), decay_s=0.05)
    result = reviewed(
        circuit,
        rate_Hz,
        receiver_rail_voltage_V=5.0 - 4.0 * at(t, AT_S + 0.1, AT_S + 0.3),
        receiver_rail_current_A=np.full(t.size, 0.4),
        link_failsafe_active=at(t, AT_S + 0.1, UNTIL_S),
    )
    rail = next(f for f in result.findings if f.check == "rail_voltage")
    assert rail.cause == "brown_out"
    bounce = next(f for f in result.findings if f.cause == "disconnect_bounce")
    assert rail.consequence_of == bounce.id
    assert "radio_loss" not in {f.cause for f in result.findings}


def test_single_lost_frames_are_counted_and_no_loss() -> None:
    t = clock(100.0)
    quality = np.full(t.size, 98.0)
    quality[2000:2005] = 0.0
    result = reviewed(Circuit(), 100.0, link_quality_pct=quality, receiver_rail_voltage_V=np.full(t.size, 5.0))
    assert serious(result) == []
    (link,) = [p for p in result.passed if p.check == "link"]
    assert "1 shorter" in link.note
