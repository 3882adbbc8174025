"""Metrics of made-up matches whose figures follow from arithmetic, and their absence where nothing tells them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.causes.drives import Drive
from analysis.findings import Review
from analysis.match_data import MatchData, Window
from analysis.metric_kinds import CATALOGUE, Absent, Metric
from analysis.metrics import metrics_of, standard_load_A
from analysis.metrics_drives import rows as drive_rows
from analysis.pack_model.cells import fit_cells
from analysis.pack_model.open_circuit import charge_from_rest
from analysis.review import review_data
from analysis.settings import DEFAULTS
from analysis.signal import Measured, signal
from ingest.builds import Controller, Pack
from ingest.matches import Match

PACK = Pack(id="p1", cells=6, capacity_Ah=3.3, resistance_mohm=24)


def data(pack: Pack | None = PACK, **channels: tuple[np.ndarray, np.ndarray]) -> MatchData:
    signals = {name: signal(name, t, x) for name, (t, x) in channels.items()}
    window = Window(10.0, 110.0, "made up")
    packs = () if pack is None else (pack,)
    return MatchData(signals, dict.fromkeys(signals, 0), {}, (), None, packs, None, DEFAULTS, window)


def steps(seconds: float = 120.0, rate: float = 50.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(t, current, voltage): rest, then 10 A and 60 A in turns of 2 s, with 24 mΩ and nothing else."""
    t = np.arange(0.0, seconds, 1 / rate)
    current = np.where((t >= 10) & (t < 110), np.where((t // 2) % 2 == 0, 10.0, 60.0), 0.0)
    used = np.concatenate([[0.0], np.cumsum(0.5 * (current[1:] + current[:-1]) / rate)]) / 3600
    voltage = 25.0 - 1.2 * used - 0.024 * current
    return t, current, voltage


def made(**more: tuple[np.ndarray, np.ndarray]) -> tuple[dict[tuple[str, str], Metric], dict[tuple[str, str], Absent]]:
    t, current, voltage = steps()
    found = data(pack_current_A=(t, current), pack_voltage_V=(t, voltage), **more)
    metrics, absent = metrics_of(found, review_data(found, with_advice=False))
    return {(m.name, m.part): m for m in metrics}, {(a.name, a.part): a for a in absent}


def test_figures_follow_from_the_current() -> None:
    metrics, _ = made()
    mean = 35.0  # half at 10 A, half at 60 A
    assert metrics["charge_used_Ah", "pack"].value == pytest.approx(mean * 100 / 3600, rel=0.01)
    # r.m.s. of both halves over 60 s; of the upper one over 1 s.
    assert metrics["rms_60s_A", "pack"].value == pytest.approx(math.sqrt((10**2 + 60**2) / 2), rel=0.02)
    assert metrics["rms_1s_A", "pack"].value == pytest.approx(60.0, rel=0.01)
    assert metrics["active_s", "pack"].value == pytest.approx(100.0, abs=0.5)
    energy = metrics["energy_used_Wh", "pack"].value
    assert metrics["energy_per_active_second_J", "pack"].value == pytest.approx(36 * energy, rel=0.01)
    for metric in metrics.values():
        assert metric.low <= metric.value <= metric.high, metric
        assert metric.unit == CATALOGUE[metric.name].unit
        assert metric.name.endswith(metric.unit.replace("1/min", "per_min")), metric.name


def test_resistance_at_matched_charge_and_temperature() -> None:
    t, _, _ = steps()
    metrics, absent = made(pack_temp_degC=(t, np.full(len(t), 25.0)))
    matched = metrics["pack_resistance_matched_mohm", "pack"]
    assert matched.low <= 24.0 <= matched.high
    assert matched.value == pytest.approx(24.0, rel=0.03)
    sag = metrics["sag_standard_V", "pack"]
    assert sag.value == pytest.approx(20 * matched.value / 1e3)
    assert sag.at.startswith("20 A for 1 s")
    assert ("pack_resistance_matched_mohm", "pack") not in absent


def test_without_a_temperature_it_is_absent_and_says_what_to_log() -> None:
    metrics, absent = made()
    assert ("pack_resistance_matched_mohm", "pack") not in metrics
    assert ("pack_resistance_charge_mohm", "pack") in metrics
    lost = absent["pack_resistance_matched_mohm", "pack"]
    assert "pack_temp_degC was not logged" in lost.reason
    assert "pack_temp_degC" in lost.mend


def test_a_cold_pack_is_brought_to_25_degrees_with_a_wide_interval() -> None:
    t, _, _ = steps()
    warm, _ = made(pack_temp_degC=(t, np.full(len(t), 25.0)))
    cold, _ = made(pack_temp_degC=(t, np.full(len(t), 10.0)))
    a, b = (m["pack_resistance_matched_mohm", "pack"] for m in (warm, cold))
    assert b.value < a.value
    assert b.high - b.low > 3 * (a.high - a.low)


def test_temperature_rise_by_energy() -> None:
    t, current, voltage = steps()
    inside = (t >= 10) & (t <= 110)
    joules = float(np.trapezoid((current * voltage)[inside], t[inside]))
    rise = np.interp(t, [10, 110], [0.0, 12.0])
    metrics, _ = made(pack_temp_degC=(t, 20 + rise))
    assert metrics["temp_rise_per_kJ_K", "pack"].value == pytest.approx(12.0 / (joules / 1e3), rel=0.03)


def test_dropouts_by_the_minute_with_the_exact_poisson_interval() -> None:
    """Garwood (1936), table from memory: 2 events are 0.242 to 7.225 with 95 %, none 0 to 3.689."""
    t = np.arange(0.0, 120.0, 0.02)
    lost = ((t > 30) & (t < 30.5)) | ((t > 60) & (t < 60.3)) | ((t > 80) & (t < 80.05))
    metrics, _ = made(link_failsafe_active=(t, lost.astype(float)))
    found = metrics["dropouts_per_min", "link"]
    minutes = 100 / 60
    assert found.value == pytest.approx(2 / minutes)
    assert (found.low * minutes, found.high * minutes) == pytest.approx((0.2422, 7.2247), abs=1e-3)
    none, _ = made(link_failsafe_active=(t, np.zeros(len(t))))
    assert none["dropouts_per_min", "link"].high * minutes == pytest.approx(3.6889, abs=1e-3)


def test_spin_ups_from_standing_only() -> None:
    """Speed rises straight to 10,000 rpm in 1 s from standing, twice; once from 30 % after a hit."""
    t = np.arange(0.0, 60.0, 0.01)
    speed = np.interp(
        t, [0, 5, 6, 20, 20.1, 20.8, 40, 40.3, 45, 46, 60], [0, 0, 1e4, 1e4, 3e3, 1e4, 1e4, 0, 0, 1e4, 1e4]
    )
    command = np.where((t > 5) & (t < 40) | (t > 45), 100.0, 0.0)
    current = np.where(command > 0, 15.0, 0.0) + np.where(np.gradient(speed, t) > 5000, 85.0, 0.0)
    volts = np.full(len(t), 24.0)
    raw = signal("weapon_input_current_A", t, current)
    drive = Drive(
        Controller(id="weapon", motor_type="brushless"), None, t, {"input": raw}, raw, current, input_A=current,
        command_pct=command, voltage_V=volts, speed_rpm=speed,
    )  # fmt: skip
    found = {row.name: row for row in drive_rows(drive)}
    spin = found["spin_up_s"]
    assert isinstance(spin, Metric)
    assert spin.value == pytest.approx(0.8, abs=0.05)  # to 80 % of the usual speed
    assert "2 from standing" in spin.basis
    energy = found["spin_up_energy_J"]
    assert isinstance(energy, Metric)
    assert energy.value == pytest.approx(100 * 24 * 0.8, rel=0.05)
    no_load = found["no_load_A"]
    assert isinstance(no_load, Metric)
    assert no_load.value == pytest.approx(15.0)


def test_a_reading_that_comes_back_is_no_spin_up() -> None:
    """The controller loses its supply twice; its speed reads 0 for half a second, and is 9,000 rpm at once after."""
    t = np.arange(0.0, 60.0, 0.01)
    speed = np.interp(t, [0, 5, 6, 60], [0, 0, 1e4, 1e4])
    dead = ((t >= 20) & (t < 20.5)) | ((t >= 30) & (t < 30.5))
    speed = np.where(dead, 0.0, np.where((t >= 20.5) & (t < 22), 9e3, speed))
    command = np.where(t > 5, 100.0, 0.0)
    current = np.where(dead | (t < 5), 0.0, 15.0)
    raw = signal("weapon_input_current_A", t, current)
    drive = Drive(
        Controller(id="weapon", motor_type="brushless"), None, t, {"input": raw}, raw, current, input_A=current,
        command_pct=command, voltage_V=np.where(dead, 0.0, 24.0), speed_rpm=speed,
    )  # fmt: skip
    spin = next(row for row in drive_rows(drive) if row.name == "spin_up_s")
    assert isinstance(spin, Metric)
    assert spin.value == pytest.approx(0.8, abs=0.05)
    assert "1 from standing" in spin.basis


def test_nothing_logged_gives_reasons_and_no_figures() -> None:
    empty = data()
    metrics, absent = metrics_of(empty, review_data(empty, with_advice=False))
    assert metrics == ()
    assert {a.name for a in absent} >= {"rms_10s_A", "active_s", "dropouts_per_min", "pack_minimum_V", "air_degC"}
    assert all(a.reason and a.mend for a in absent)


def test_air_is_context_only_where_somebody_stated_it() -> None:
    found = data()
    stated = MatchData(
        found.signals, found.source, {}, (), None, (PACK,), Match(id="m1", air_degC=12.0), DEFAULTS, found.window
    )
    metrics, _ = metrics_of(stated, review_data(stated, with_advice=False))
    assert [m.value for m in metrics if m.name == "air_degC"] == [12.0]


def test_time_over_a_rating_counts_each_moment_once() -> None:
    from dataclasses import replace

    from analysis.findings import Finding, MatchFacts, Occurrence
    from analysis.metrics_robot import _time_over

    over = Finding(
        "current_spike", "stall", "left_drive", None, 10, 12, 60.0, 59.0, 61.0, "A", "over", "certain", limit=50.0,
        occurrences=(Occurrence(10, 12, 60.0), Occurrence(20, 21, 55.0)),
    )  # fmt: skip
    other = replace(over, part="right_drive", occurrences=(Occurrence(11, 14, 60.0),))
    near = replace(over, verdict="close", occurrences=(Occurrence(30, 50, 48.0),))
    review = Review(MatchFacts("m", None, None, 0, 60, "over"), (), (), (over, other, near), (), ())
    found = _time_over(review)
    assert isinstance(found, Metric)
    assert found.value == pytest.approx(5.0)  # 10 to 14 and 20 to 21


@given(st.floats(0.01, 500))
def test_the_standard_load_is_round_and_at_most_ten_C(capacity_Ah: float) -> None:
    load = standard_load_A(capacity_Ah)
    assert load <= 10 * capacity_Ah * (1 + 1e-6)
    assert load > 10 * capacity_Ah / 2.5 * (1 - 1e-6)
    lead = load / 10 ** math.floor(math.log10(load) + 1e-9)
    assert min(abs(lead - d) for d in (1, 2, 5)) < 1e-6


def test_every_metric_is_documented() -> None:
    text = (Path(__file__).resolve().parents[2] / "docs" / "comparing.md").read_text(encoding="utf-8")
    assert [name for name in CATALOGUE if f"`{name}`" not in text] == []


def test_capacity_of_a_pack_and_of_its_cells_between_two_rests() -> None:
    """Six cells of 3.0 Ah (the label says 3.3), the fourth of 2.7 Ah. The open-circuit curve is the one in use, so this
    tries the sums and the intervals, not the curve.
    """
    volts = np.linspace(3.5, 4.2, 400)
    charge = np.array(
        [charge_from_rest(Measured(float(v), float(v), float(v), ""), "lithium-polymer").value for v in volts]
    )
    t = np.arange(0.0, 125.0, 0.02)
    current = np.where((t >= 10) & (t < 110), np.where((t // 2) % 2 == 0, 20.0, 100.0), 0.0)
    used = np.concatenate([[0.0], np.cumsum(0.5 * (current[1:] + current[:-1]) * 0.02)]) / 3600
    channels = {"pack_current_A": (t, current)}
    for cell in range(1, 7):
        left = 98.0 - 100 * used / (2.7 if cell == 4 else 3.0)
        channels[f"cell{cell}_voltage_V"] = (t, np.interp(left, charge, volts) - 0.004 * current)
    channels["pack_voltage_V"] = (t, sum(x for name, (_, x) in channels.items() if name.startswith("cell")))
    found = data(**channels)
    review = review_data(found, with_advice=False)
    cells = {f"cell{i}": found.signals[f"cell{i}_voltage_V"] for i in range(1, 7)}
    found.memo["cell_fits"] = fit_cells(found.signals["pack_current_A"], cells, capacity_Ah=3.3)  # as the review does
    metrics, _ = metrics_of(found, review)
    told = {m.part: m for m in metrics if m.name in ("pack_capacity_Ah", "cell_capacity_Ah")}
    assert sorted(told) == [*(f"cell{i}" for i in range(1, 7)), "pack"]
    for part, true in (("pack", 2.95), ("cell1", 3.0), ("cell4", 2.7)):
        assert told[part].low <= true <= told[part].high, part
        assert told[part].value == pytest.approx(true, rel=0.1)
    assert told["cell4"].value < 0.95 * told["cell1"].value
