"""Offset and drift between two clocks, against pairs logged from one known match."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.align_numeric import Alignment, align_pair
from tests.synthetic.pack_truth import GRADES, Logger, match_current, play, random_pack

CURRENT, VOLTAGE = GRADES["usual 10-bit, 0.4 A noise"]


@functools.cache
def world(seed: int) -> dict[str, np.ndarray]:
    """A weapon branch and drives on one pack."""
    rng = np.random.default_rng(seed)
    pack = random_pack(rng)
    t, branch = match_current(rng, 120.0, peak_A=110.0)
    drives = match_current(rng, 120.0, peak_A=70.0)[1]
    volts = play(pack, t, branch + drives).voltage_V
    return {"t": t, "current": branch + drives, "branch": branch, "voltage": volts}


def pair(seed: int, a: tuple[Logger, str], b: tuple[Logger, str]) -> tuple[Alignment, float, float]:
    """(what was found, error in the middle of the log in s, true drift in ppm)."""
    rng = np.random.default_rng(100 + seed)
    match = world(seed)
    offset, drift = rng.uniform(-60, 60), rng.uniform(-50, 50)
    t_a, x_a = a[0].log(rng, match["t"], match[a[1]])
    t_b, x_b = b[0].but(phase_s=rng.uniform(0, 1 / b[0].rate_Hz)).log(rng, match["t"], match[b[1]])
    own = (t_b - offset) / (1 + drift * 1e-6)
    found = align_pair(t_a, x_a, own, x_b)
    middle = float(np.median(own))
    placed = middle * (1 + found.drift_ppm * 1e-6) + found.offset_s
    return found, placed - (middle * (1 + drift * 1e-6) + offset), drift


CASES = {
    "voltage to voltage, 50 Hz": ((VOLTAGE, "voltage"), (VOLTAGE, "voltage"), 1.0, 3.0),
    "branch to pack current, 50 Hz": ((CURRENT, "current"), (CURRENT, "branch"), 2.0, 5.0),
    "branch to pack current, 100 and 50 Hz": (
        (CURRENT.but(rate_Hz=100.0), "current"),
        (CURRENT, "branch"),
        2.0,
        5.0,
    ),
    "current to voltage, 50 Hz": ((VOLTAGE, "voltage"), (CURRENT, "current"), 4.0, 6.0),
    "current at 1 kHz to voltage": ((CURRENT.but(rate_Hz=1000.0), "current"), (VOLTAGE, "voltage"), 4.0, 6.0),
    "100 and 10 Hz": ((VOLTAGE.but(rate_Hz=100.0), "voltage"), (VOLTAGE.but(rate_Hz=10.0), "voltage"), 5.0, 10.0),
    "100 and 10 Hz that averages": (
        (VOLTAGE.but(rate_Hz=100.0), "voltage"),
        (VOLTAGE.but(rate_Hz=10.0, averages=True), "voltage"),
        5.0,
        10.0,
    ),
    "10 and 100 Hz": ((VOLTAGE.but(rate_Hz=10.0), "voltage"), (VOLTAGE.but(rate_Hz=100.0), "voltage"), 5.0, 10.0),
    "50 and 45 Hz with jitter": (
        (VOLTAGE, "voltage"),
        (VOLTAGE.but(rate_Hz=45.0, jitter_s=0.002), "voltage"),
        2.0,
        5.0,
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_offset_reach(name: str) -> None:
    a, b, usual_ms, worst_ms = CASES[name]
    found = [pair(seed, a, b) for seed in range(6)]
    assert all(one.accepted for one, _, _ in found)
    errors = 1e3 * np.abs([error for _, error, _ in found])
    assert np.median(errors) <= usual_ms and np.max(errors) <= worst_ms
    assert np.mean([abs(error) <= one.offset_error_s for one, error, _ in found]) >= 0.8
    assert np.max(np.abs([one.drift_ppm - drift for one, _, drift in found])) < 45
    assert all(one.inverted == (a[1] != b[1] and "voltage" in (a[1], b[1])) for one, _, _ in found)


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0])
@pytest.mark.parametrize("kinds", [("voltage", "voltage"), ("current", "branch"), ("voltage", "current")])
def test_other_matches_are_not_accepted(rate_Hz: float, kinds: tuple[str, str]) -> None:
    rng = np.random.default_rng(7)
    loggers = {"voltage": VOLTAGE, "current": CURRENT, "branch": CURRENT}
    for seed in range(5):
        a, b = world(seed), world(seed + 1)
        found = align_pair(
            *loggers[kinds[0]].but(rate_Hz=rate_Hz).log(rng, a["t"], a[kinds[0]]),
            *loggers[kinds[1]].but(rate_Hz=rate_Hz).log(rng, b["t"], b[kinds[1]]),
        )
        assert not found.accepted and found.reason


def test_a_log_of_part_of_the_match_with_gaps() -> None:
    rng = np.random.default_rng(3)
    match = world(2)
    t_a, x_a = VOLTAGE.log(rng, match["t"], match["voltage"])
    t_b, x_b = VOLTAGE.but(phase_s=0.007).log(rng, match["t"], match["voltage"])
    keep = (t_b > 40) & (t_b < 110) & ~((t_b > 60) & (t_b < 64)) & (rng.uniform(size=t_b.shape) > 0.02)
    found = align_pair(t_a, x_a, t_b[keep] - 40.0, x_b[keep])
    assert found.accepted and found.offset_s + 35e-6 * found.drift_ppm == pytest.approx(40.0, abs=0.004)


def test_offsets_beyond_the_stated_reach_are_not_looked_at() -> None:
    rng = np.random.default_rng(3)
    match = world(1)
    t, x = VOLTAGE.log(rng, match["t"], match["voltage"])
    assert not align_pair(t, x, t + 30.0, x, max_offset_s=5.0).accepted
    found = align_pair(t, x, t + 30.0, x, max_offset_s=40.0)
    assert found.accepted and found.offset_s == pytest.approx(-30.0, abs=0.002)


def test_a_load_that_repeats_is_ambiguous() -> None:
    t = np.arange(0, 120, 0.02)
    x = 20 * (np.sin(2 * np.pi * t / 4) > 0.3)
    found = align_pair(t, x, t - 1.0, x)
    assert not found.accepted and "equally well" in found.reason


@pytest.mark.parametrize("n", [0, 1, 10, 140])
def test_short_logs_are_refused(n: int) -> None:
    rng = np.random.default_rng(1)
    t = np.arange(n) / 50
    long = np.arange(5000) / 50
    for found in (
        align_pair(t, rng.normal(size=n), long, rng.normal(size=5000)),
        align_pair(long, rng.normal(size=5000), t, rng.normal(size=n)),
    ):
        assert not found.accepted and found.reason


def test_a_constant_channel_is_refused() -> None:
    t = np.arange(5000) / 50
    found = align_pair(t, np.full(5000, 3.0), t, np.random.default_rng(0).normal(size=5000))
    assert not found.accepted and "does not move" in found.reason


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.integers(0, 1500),
    st.integers(0, 1500),
    st.floats(0.0, 1.0),
    st.sampled_from([1.0, 1e-12, 1e12]),
)
def test_any_arrays_give_an_answer_and_noise_is_never_placed(
    seed: int, n: int, m: int, missing: float, scale: float
) -> None:
    rng = np.random.default_rng(seed)
    t, u = np.cumsum(rng.exponential(0.02, n)), np.cumsum(rng.exponential(0.03, m))
    x, y = scale * rng.normal(size=n), rng.normal(size=m)
    x[rng.uniform(size=n) < missing] = np.nan
    found = align_pair(t, x, u, y)
    assert not found.accepted and found.reason
    assert np.isfinite(found.offset_s) and np.isfinite(found.drift_ppm)


@given(st.floats(-1000, 1000), st.booleans())
@settings(max_examples=25, deadline=None)
def test_the_same_samples_shifted_come_back(offset: float, turned: bool) -> None:
    rng = np.random.default_rng(5)
    match = world(3)
    t, x = CURRENT.log(rng, match["t"], match["current"])
    found = align_pair(t, x, t - offset, -3.0 * x + 7.0 if turned else x)
    assert found.accepted and found.inverted == turned and found.correlation > 0.99
    middle = float(np.median(t - offset))
    assert middle * (1 + 1e-6 * found.drift_ppm) + found.offset_s - middle == pytest.approx(offset, abs=2e-4)
