"""What motors and controllers did, told from signals made here by the equations of the direct-current machine.

The machine of these tests: n = Kv·(duty·V − I·R), stalled I = duty·V/R (same equations as speed_under_load and
stall_current_ideal in tests/reference/motor.csv). Its figures are our choice. No code is shared with analysis/.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.causes.attribution import with_cause
from analysis.causes.drives import drives, smooth
from analysis.causes.motors import detect
from analysis.findings import Finding
from analysis.match_data import MatchData, Window
from analysis.settings import DEFAULTS
from analysis.signal import signal
from ingest.builds import Build, BuildHead, Controller, Motor, PackSlot, Wire

Floats = npt.NDArray[np.float64]

R_OHM, KV, VOLTS = 0.12, 300.0, 24.0
LENGTH_S = 30.0


WINDING: dict[str, Any] = {"winding_mohm": 1e3 * R_OHM}


def build(brushed: bool = True, twin: bool = False, winding: bool = True, **limits: Any) -> Build:
    ids = ["drive", "other"] if twin else ["drive"]
    given_limits = {"current_limit_A": 90.0, "continuous_A": 45.0, "burst_A": 200.0, "burst_s": 10.0, **limits}
    given_limits = {key: value for key, value in given_limits.items() if value is not None}
    return Build(
        build=BuildHead(id="b", robot="Testbed"),
        packs=(PackSlot(cells=6),),
        wires=(
            Wire(id="main", from_="pack", to="block", gauge="10 AWG", length_mm=200, conductors=2),
            *(
                Wire(id=f"{i}_lead", from_="block", to=i, gauge="12 AWG", length_mm=150, conductors=2, through=())
                for i in ids
            ),
        ),
        controllers=tuple(
            Controller(
                id=i,
                motor_type="brushed" if brushed else "brushless",
                rating_basis="motor" if brushed else "input",
                **given_limits,
            )
            for i in ids
        ),
        motors=tuple(
            Motor(id=f"{i}_motor", controller=i, kv_rpm_per_V=KV, **(WINDING if winding else {})) for i in ids
        ),
    )


def clock(rate_Hz: float = 100.0, length_s: float = LENGTH_S) -> Floats:
    return np.arange(round(length_s * rate_Hz)) / rate_Hz


def data(t: Floats, channels: dict[str, Floats], made: Build, noise_A: float = 0.1) -> MatchData:
    rng = np.random.default_rng(5)
    signals = {}
    for name, x in channels.items():
        level = noise_A if name.endswith("_A") else 0.0
        signals[name] = signal(name, t, x + rng.normal(0.0, level, t.size) if level else x, noise=level)
    window = Window(float(t[0]), float(t[-1]), "test")
    return MatchData(signals, dict.fromkeys(signals, 0), {}, (), made, (), None, DEFAULTS, window)


def machine(
    t: Floats, duty: Floats, current: Floats, volts: Floats | float = VOLTS, part: str = "drive"
) -> dict[str, Floats]:
    """All channels of one controller whose motor draws `current` at `duty`."""
    v = np.broadcast_to(np.asarray(volts, float), t.shape).copy()
    return {
        f"{part}_voltage_V": v,
        f"{part}_input_current_A": np.abs(duty) * current * np.sign(duty),
        f"{part}_motor_current_A": current * np.sign(duty),
        f"{part}_duty_pct": 100.0 * duty,
        f"{part}_command_pct": 100.0 * duty,
        f"{part}_speed_rpm": KV * (duty * v - np.sign(duty) * current * R_OHM),
    }


def driving(t: Floats) -> tuple[Floats, Floats]:
    """Duty to and fro every 1.5 s and a light load, one launch of 60 A so that the usual peak is known."""
    duty = np.where(np.floor(t / 1.5) % 2 == 0, 0.7, -0.7)
    current = np.full(t.shape, 8.0)
    current[(t % 1.5) < 0.12] = 60.0
    return duty, current


def inside(t: Floats, start: float, end: float) -> npt.NDArray[np.bool_]:
    return (t >= start) & (t < end)


def causes(found: list[Finding]) -> set[str]:
    return {finding.cause for finding in found}


def one(found: list[Finding], cause: str) -> Finding:
    mine = [finding for finding in found if finding.cause == cause]
    assert len(mine) == 1, f"{cause}: {[(f.cause, f.start_s) for f in found]}"
    return mine[0]


def held(t: Floats, start: float, end: float, current_A: float, duty: float) -> tuple[Floats, Floats]:
    duties, current = driving(t)
    span = inside(t, start, end)
    duties[span], current[span] = duty, current_A
    return duties, current


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 100.0, 1000.0])
def test_ordinary_driving_is_nothing(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    found, _ = detect(data(t, machine(t, *driving(t)), build()))
    assert found == []


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 100.0, 1000.0])
@pytest.mark.parametrize("speed_logged", [True, False])
def test_a_stall_is_duty_times_volts_over_ohms_with_no_speed(rate_Hz: float, speed_logged: bool) -> None:
    """I = 0.4 · 24 V / 0.12 Ω = 80 A at a standing shaft (stall_current_ideal)."""
    t = clock(rate_Hz)
    channels = machine(t, *held(t, 10.0, 11.5, 0.4 * VOLTS / R_OHM, 0.4))
    if not speed_logged:
        del channels["drive_speed_rpm"]
    found, _ = detect(data(t, channels, build()))
    stall = one(found, "stall")
    assert stall.measured == pytest.approx(80.0, abs=1.0)
    assert stall.start_s == pytest.approx(10.0, abs=0.11)
    assert stall.verdict == "note"
    assert stall.could_be == (() if speed_logged else ("stall", "push"))
    assert stall.confidence == ("likely" if speed_logged else "possible")
    assert "push" not in causes(found)


def test_a_long_stall_is_a_fault() -> None:
    t = clock()
    found, _ = detect(data(t, machine(t, *held(t, 10.0, 14.0, 80.0, 0.4)), build()))
    assert one(found, "stall").verdict == "fault"


@pytest.mark.parametrize("speed_logged", [True, False])
def test_a_push_turns(speed_logged: bool) -> None:
    """50 A at 85 %: 20.4 V − 6 V drop leaves 70 % of the no-load speed; its back-EMF says so without a speed."""
    t = clock()
    channels = machine(t, *held(t, 10.0, 12.5, 50.0, 0.85))
    if not speed_logged:
        del channels["drive_speed_rpm"]
    found, _ = detect(data(t, channels, build()))
    push = one(found, "push")
    assert push.start_s == pytest.approx(10.0, abs=0.2)
    assert push.verdict == "note"
    assert "71 % of its own speed" in push.evidence[0]
    assert "stall" not in causes(found)


def test_without_speed_or_winding_a_stall_and_a_push_are_both_named() -> None:
    t = clock()
    channels = machine(t, *held(t, 10.0, 12.5, 55.0, 0.6))
    for gone in ("drive_speed_rpm", "drive_duty_pct", "drive_voltage_V"):
        del channels[gone]
    found, _ = detect(data(t, channels, build(winding=False)))
    push = one(found, "push")
    assert push.could_be == ("stall", "push")
    assert push.confidence == "possible"
    assert any("log the speed" in line for line in push.evidence)


def spinner(t: Floats, peak_A: float = 60.0) -> tuple[Floats, Floats, Floats]:
    """A weapon: speed from rest between 2 and 3 s, then running with 8 A. Returns duty, motor current, speed."""
    speed = 5500.0 * np.clip(t - 2.0, 0.0, 1.0)
    current = np.where(inside(t, 2.0, 3.0), peak_A, np.where(t < 2.0, 0.0, 8.0))
    duty = (speed / KV + current * R_OHM) / VOLTS
    return duty, current, speed


def weapon(t: Floats, duty: Floats, current: Floats, speed: Floats, command: Floats | None = None) -> dict[str, Floats]:
    channels = machine(t, duty, current)
    channels["drive_speed_rpm"] = speed
    channels["drive_input_current_A"] = duty * current
    channels["drive_command_pct"] = np.where(t >= 2.0, 95.0, 0.0) if command is None else command
    return channels


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 100.0, 1000.0])
def test_a_spin_up_below_the_limit_is_a_happening_and_no_finding(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    found, happened = detect(data(t, weapon(t, *spinner(t)), build(brushed=False)))
    assert found == []
    (spin,) = [h for h in happened if h.cause == "spin_up"]
    assert spin.start_s == pytest.approx(2.0, abs=0.11)
    assert not [h for h in happened if h.cause == "stall"]


def test_a_spin_up_near_the_set_limit_is_a_note() -> None:
    t = clock()
    found, _ = detect(data(t, weapon(t, *spinner(t, peak_A=85.0)), build(brushed=False, current_limit_A=60.0)))
    note = one([f for f in found if f.cause == "spin_up"], "spin_up")
    assert note.verdict == "note"
    assert note.measured is not None and note.measured >= 54.0


def test_a_hit_takes_speed_at_once() -> None:
    t = clock()
    duty, current, speed = spinner(t)
    back = inside(t, 15.0, 15.4)
    speed[back] = 3000.0 + 2500.0 * (t[back] - 15.0) / 0.4
    current[back] = 80.0
    duty = (speed / KV + current * R_OHM) / VOLTS
    found, happened = detect(data(t, weapon(t, duty, current, speed), build(brushed=False)))
    (hit,) = [h for h in happened if h.cause == "hit"]
    assert hit.start_s == pytest.approx(15.0, abs=0.02)
    assert not causes(found) & {"short", "sync_loss", "stall"}


def test_a_short_is_beyond_the_limiter_and_pulls_the_voltage_down() -> None:
    t = clock()
    duty, current, speed = spinner(t)
    channels = weapon(t, duty, current, speed)
    span = inside(t, 12.0, 12.2)
    channels["drive_input_current_A"][span] = 400.0
    channels["drive_voltage_V"][span] = 17.0
    short = one(detect(data(t, channels, build(brushed=False)))[0], "short")
    assert (short.part, short.verdict) == ("drive", "fault")
    assert short.start_s == pytest.approx(12.0, abs=0.011)
    assert "drive_lead" in short.could_be
    # The same current with the voltage rising is the inrush after a supply that came back.
    channels["drive_voltage_V"][span] = 24.0
    channels["drive_voltage_V"][inside(t, 11.8, 12.0)] = 15.0
    assert "short" not in causes(detect(data(t, channels, build(brushed=False)))[0])


def test_a_short_before_the_controllers_is_the_packs_surplus() -> None:
    t = clock()
    channels = weapon(t, *spinner(t))
    channels["pack_current_A"] = channels["drive_input_current_A"] + 0.5
    channels["pack_voltage_V"] = np.full(t.shape, 24.5)
    span = inside(t, 12.0, 12.2)
    channels["pack_current_A"][span] += 350.0
    channels["pack_voltage_V"][span] = 18.0
    short = one(detect(data(t, channels, build(brushed=False)))[0], "short")
    assert short.part == "main"
    assert "drive_lead" in short.could_be


def limited(t: Floats, limit_A: float, climb: bool = True) -> dict[str, Floats]:
    """A heavy spin-up from 2 to 5 s with its input current held while the duty climbs."""
    speed = 5500.0 * np.clip((t - 2.0) / 3.0, 0.0, 1.0) ** 0.6
    duty = np.clip(speed / KV / VOLTS + 0.08, 0.05, 0.95) * (t >= 2.0)
    held_in = inside(t, 2.05, 5.0)
    current = np.where(held_in, limit_A / np.maximum(duty, 0.05), np.where(t < 2.0, 0.0, 8.0))
    channels = weapon(t, duty, current, speed)
    channels["drive_input_current_A"] = np.where(held_in, limit_A, duty * current)
    if not climb:
        channels["drive_duty_pct"][held_in] = 94.0
    return channels


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 100.0, 1000.0])
def test_a_plateau_at_the_set_limit_is_the_limiter(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    found, _ = detect(data(t, limited(t, 60.0), build(brushed=False, current_limit_A=60.0)))
    note = one(found, "current_limit")
    assert (note.verdict, note.confidence) == ("note", "likely")
    assert note.start_s == pytest.approx(2.05, abs=0.15)
    assert note.measured == pytest.approx(60.0, abs=1.0)


def test_an_unstated_limit_shows_where_the_duty_climbs_at_one_current() -> None:
    t = clock()
    found, _ = detect(data(t, limited(t, 60.0), build(brushed=False, current_limit_A=None)))
    note = one(found, "current_limit")
    assert note.confidence == "possible"
    assert any("state current_limit_A" in line for line in note.evidence)
    steady, _ = detect(data(t, limited(t, 60.0, climb=False), build(brushed=False, current_limit_A=None)))
    assert "current_limit" not in causes(steady)


def test_a_sensor_at_its_end_is_no_limiter() -> None:
    t = clock()
    match = data(t, limited(t, 60.0), build(brushed=False, current_limit_A=60.0))
    top = match.signals["drive_input_current_A"]
    clipped = np.asarray(top.x > 55.0)
    match.signals["drive_input_current_A"] = top.__class__(  # type: ignore[index]
        top.channel, top.t_s, top.x, top.valid, clipped, top.period_s
    )
    assert "current_limit" not in causes(detect(match)[0])


def cut(t: Floats, lowest_V: float, after_V: float) -> dict[str, Floats]:
    """Running; at 15 s the input sags for 0.1 s and the output is gone for 3 s under command."""
    duty, current, speed = spinner(t)
    off = inside(t, 15.0, 18.0)
    duty[off], current[off] = 0.0, 0.0
    speed[off] = 5500.0 * np.exp(-(t[off] - 15.0) / 1.5)
    speed[t >= 18.0] = 5500.0
    channels = weapon(t, duty, current, speed)
    channels["drive_voltage_V"][inside(t, 14.85, 15.0)] = lowest_V
    channels["drive_voltage_V"][off] = after_V
    channels["drive_uptime_s"] = t + 5.0
    return channels


def test_a_cutoff_stops_the_output_at_its_voltage_and_answers_on() -> None:
    t = clock()
    found, _ = detect(data(t, cut(t, 17.5, 22.0), build(brushed=False, cutoff_V=18.0, minimum_V=9.0)))
    row = one(found, "low_voltage_cutoff")
    assert (row.kind, row.verdict, row.confidence) == ("voltage_sag", "fault", "certain")
    assert row.start_s == pytest.approx(15.0, abs=0.02)
    assert "sync_loss" not in causes(found)


@pytest.mark.parametrize("what", ["restart", "no recovery", "high enough"])
def test_what_is_no_cutoff(what: str) -> None:
    t = clock()
    channels = cut(t, {"high enough": 21.0}.get(what, 17.5), 14.0 if what == "no recovery" else 22.0)
    if what == "restart":
        channels["drive_uptime_s"] = np.where(t < 15.0, t + 5.0, t - 15.0)
    found, _ = detect(data(t, channels, build(brushed=False, cutoff_V=18.0, minimum_V=9.0)))
    assert "low_voltage_cutoff" not in causes(found)


def test_braking_over_the_maximum_trips() -> None:
    t = clock()
    duty, current, speed = spinner(t)
    channels = weapon(t, duty, current, speed)
    brake, after = inside(t, 15.0, 15.1), inside(t, 15.1, 17.0)
    channels["drive_input_current_A"][brake] = -70.0
    channels["drive_voltage_V"][brake] = np.linspace(25.0, 27.0, int(brake.sum()))
    channels["drive_input_current_A"][after] = 0.0
    channels["drive_command_pct"][brake | after] = 0.0
    channels["drive_duty_pct"][after] = 0.0
    found, _ = detect(data(t, channels, build(brushed=False, maximum_V=26.5)))
    trip = one(found, "regeneration_trip")
    assert (trip.kind, trip.verdict) == ("power_loss", "fault")
    assert trip.start_s == pytest.approx(15.09, abs=0.05)
    gentle, _ = detect(data(t, channels, build(brushed=False, maximum_V=30.0)))
    assert "regeneration_trip" not in causes(gentle)


@pytest.mark.parametrize("rate_Hz", [50.0, 100.0, 1000.0])
def test_out_of_step_the_reported_speed_jumps_as_no_rotor_can(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    duty, current, speed = spinner(t)
    lost = inside(t, 15.0, 16.0)
    rng = np.random.default_rng(2)
    speed[lost] = rng.uniform(1000.0, 5500.0, int(lost.sum()))
    current[lost] = np.where(rng.random(int(lost.sum())) < 0.5, 0.0, 70.0)
    found, _ = detect(data(t, weapon(t, duty, current, speed), build(brushed=False)))
    row = one(found, "sync_loss")
    assert row.start_s == pytest.approx(15.0, abs=0.15)
    assert not causes(found) & {"stall", "short", "start_failure"}


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 100.0, 1000.0])
def test_a_start_that_fails_bursts_and_a_held_rotor_does_not(rate_Hz: float) -> None:
    t = clock(rate_Hz)
    duty, current, speed = spinner(t)
    wait = inside(t, 15.0, 18.0)
    speed[wait] = 60.0
    burst = wait & (np.floor((t - 15.0) / 0.2) % 2 == 0)
    current[wait], current[burst] = 0.0, 50.0
    speed[inside(t, 12.0, 15.0)] = 0.0
    command = np.where((t >= 2.0) & ~inside(t, 12.0, 15.0), 95.0, 0.0)
    current[inside(t, 12.0, 15.0)] = 0.0
    found, _ = detect(data(t, weapon(t, duty, current, speed, command), build(brushed=False)))
    row = one(found, "start_failure")
    assert row.start_s == pytest.approx(15.0, abs=0.11)
    assert "stall" not in causes(found)
    current[wait] = 60.0
    found, _ = detect(data(t, weapon(t, duty, current, speed, command), build(brushed=False)))
    assert "start_failure" not in causes(found)
    assert one(found, "stall").start_s == pytest.approx(15.0, abs=0.11)


def changed(t: Floats, constant: float) -> dict[str, Floats]:
    """From 15 s on it runs with 40 A in place of 8 A; its constant is `constant` times what it was."""
    duty, current, speed = spinner(t)
    late = t >= 15.0
    current[late] = 40.0
    duty[t >= 3.0] = 0.9
    kv = np.where(late, KV * constant, KV)
    speed = np.where(t >= 3.0, kv * (duty * VOLTS - current * R_OHM), speed)
    return weapon(t, duty, current, speed)


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 100.0, 1000.0])
@pytest.mark.parametrize(("constant", "cause"), [(1.0, "drag"), (1.02, "drag"), (1.2, "winding_short")])
def test_drag_keeps_the_motors_constant_and_a_shorted_winding_does_not(
    rate_Hz: float, constant: float, cause: str
) -> None:
    t = clock(rate_Hz)
    found, _ = detect(data(t, changed(t, constant), build(brushed=False)))
    row = one(found, cause)
    assert (row.kind, row.verdict, row.confidence) == ("motor_fault", "fault", "likely")
    assert row.start_s == pytest.approx(15.0, abs=0.5)
    assert row.measured == pytest.approx(40.0, abs=2.0)
    assert causes(found) == {cause}


def test_without_voltage_drag_and_winding_are_both_named() -> None:
    t = clock()
    channels = changed(t, 1.2)
    del channels["drive_voltage_V"]
    row = one(detect(data(t, channels, build(brushed=False)))[0], "drag")
    assert row.could_be == ("drag", "winding_short")
    assert row.confidence == "possible"
    assert any("log voltage and duty" in line for line in row.evidence)


def test_ragged_brushes_against_the_twin() -> None:
    t = clock()
    ragged, sound = machine(t, *driving(t)), machine(t, *driving(t), part="other")
    rng = np.random.default_rng(4)
    ragged["drive_motor_current_A"] *= 1.0 + 0.4 * np.clip(rng.standard_normal(t.size), -2.4, 3.0)
    found, _ = detect(data(t, {**ragged, **sound}, build(twin=True)))
    row = one(found, "brush_noise")
    assert (row.part, row.verdict, row.confidence) == ("drive", "fault", "likely")
    quiet, _ = detect(data(t, {**machine(t, *driving(t)), **sound}, build(twin=True)))
    assert "brush_noise" not in causes(quiet)


def test_a_hot_controller_holds_its_output_back() -> None:
    t = clock()
    duty, current = held(t, 10.0, 14.0, 40.0, 0.9)
    channels = machine(t, duty, current)
    channels["drive_temp_degC"] = np.interp(t, [0.0, 10.0, 14.0, 30.0], [30.0, 92.0, 98.0, 60.0])
    channels["drive_duty_pct"][inside(t, 11.0, 14.0)] = 30.0
    found, _ = detect(data(t, channels, build(limit_degC=100.0)))
    row = one(found, "thermal_limit")
    assert (row.kind, row.verdict) == ("thermal_buildup", "fault")
    assert row.start_s == pytest.approx(11.0, abs=0.05)
    cold, _ = detect(data(t, {**channels, "drive_temp_degC": np.full(t.shape, 40.0)}, build(limit_degC=100.0)))
    assert "thermal_limit" not in causes(cold)


def rating(check: str, start: float, end: float, **more: Any) -> Finding:
    fields: dict[str, Any] = {
        "kind": "current_spike", "cause": "unknown", "part": "drive", "channel": "drive_motor_current_A",
        "start_s": start, "end_s": end, "measured": 70.0, "low": 60.0, "high": 110.0, "unit": "A", "verdict": "close",
        "confidence": "likely", "limit": 100.0, "margin_pct": 30.0, "check": check,
        "facts": {"window_s": end - start},
    }  # fmt: skip
    return Finding(**{**fields, **more})


def test_a_long_window_is_named_after_what_heated_it() -> None:
    """One stall of 80 A for 4 s outweighs thirty launches of 0.12 s: 25,600 against 13,000 A²s."""
    t = clock()
    match = data(t, machine(t, *held(t, 10.0, 14.0, 80.0, 0.4)), build())
    found, happened = detect(match)
    named = with_cause(match, rating("continuous_current", 0.0, 29.0, verdict="over"), None, found, happened)
    assert named.cause == "stall"
    short_window = with_cause(match, rating("burst_current", 20.9, 21.2, verdict="over"), None, found, happened)
    assert short_window.cause != "stall"


def test_a_collapse_without_supply_is_no_lost_synchronism() -> None:
    t = clock()
    made = build(brushed=False)
    channels = cut(t, 23.0, 23.5)
    assert "sync_loss" in causes(detect(data(t, channels, made))[0])
    assert "sync_loss" not in causes(detect(data(t, cut(t, 12.0, 10.0), made))[0])


def test_what_a_slow_log_may_hide_ends_at_the_limiter() -> None:
    t = clock(10.0)
    match = data(t, machine(t, *driving(t)), build(current_limit_A=65.0, burst_A=100.0))
    found, happened = detect(match)
    assert with_cause(match, rating("burst_current", 3.0, 3.1), None, found, happened).verdict == "note"
    wide = data(t, machine(t, *driving(t)), build(current_limit_A=95.0, burst_A=100.0))
    assert with_cause(wide, rating("burst_current", 3.0, 3.1), None, found, happened).verdict == "close"


def test_an_input_under_the_cutoff_without_a_cut_is_not_called_one() -> None:
    t = clock()
    made = build(brushed=False, cutoff_V=18.0)
    dip = rating("controller_cutoff", 15.0, 15.0, kind="voltage_sag", cause="low_voltage_cutoff", unit="V")
    cut_off = data(t, cut(t, 17.5, 22.0), made)
    assert with_cause(cut_off, dip, None, *detect(cut_off)).cause == "low_voltage_cutoff"
    went_on = data(t, weapon(t, *spinner(t)), made)
    assert with_cause(went_on, dip, None, *detect(went_on)).cause == "unknown"
    lost = rating("power", 14.5, 15.2, kind="power_loss", cause="undervoltage_restart", verdict="fault")
    assert with_cause(went_on, dip, None, [lost], []).cause == "undervoltage_restart"


@given(over_s=st.floats(0.0, 2.0), value=st.floats(-1e3, 1e3), n=st.integers(2, 300))
def test_a_moving_mean_keeps_a_constant_and_the_length(over_s: float, value: float, n: int) -> None:
    mean = smooth(np.full(n, value), 0.01, over_s)
    assert mean.shape == (n,)
    assert np.allclose(mean, value, atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    rate_Hz=st.sampled_from([2.0, 10.0, 50.0, 400.0]),
    gone=st.sets(st.sampled_from(["voltage_V", "input_current_A", "duty_pct", "command_pct", "speed_rpm"])),
    brushed=st.booleans(),
)
def test_any_signals_give_findings_inside_the_match(seed: int, rate_Hz: float, gone: set[str], brushed: bool) -> None:
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0.0, 12.0, max(6, int(12 * rate_Hz))))
    t = t + 1e-6 * np.arange(t.size)
    knots = np.linspace(0.0, 12.0, 25)
    duty = np.interp(t, knots, rng.uniform(-1, 1, 25))
    current = np.interp(t, knots, rng.uniform(-300, 300, 25)) * rng.choice([0.0, 1.0], t.size)
    channels = {n: x for n, x in machine(t, duty, current).items() if n.removeprefix("drive_") not in gone}
    match = data(t, channels, build(brushed, cutoff_V=18.0, maximum_V=26.0, minimum_V=9.0, limit_degC=100.0))
    found, _ = detect(match)
    assert len(drives(match)) == 1
    for finding in found:
        for place in finding.occurrences:
            assert t[0] - 0.5 <= place.start_s <= place.end_s
            assert place.start_s <= t[-1]
