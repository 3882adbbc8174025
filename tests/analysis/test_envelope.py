"""The envelope against brute force, closed forms and the same match logged worse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.envelope import Envelope, RatedEnvelope, against_rating, envelope, rated_limit_A, worst_rms
from analysis.pack_model import NotFitted
from analysis.signal import Detector, Measured, Signal, signal
from analysis.worst_windows import peaks_of, worst_run
from tests.synthetic.pack_truth import Logger, match_current

EVERY = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)


def whole(s: Signal, extra: tuple[float, ...] = EVERY) -> Envelope:
    found = envelope(s, -np.inf, np.inf, extra)
    assert isinstance(found, Envelope), found
    return found


@given(st.lists(st.floats(0, 100), min_size=1, max_size=400), st.data())
@settings(deadline=None)
def test_the_search_is_exact(values: list[float], data: st.DataObject) -> None:
    c = np.concatenate([[0.0], np.cumsum(values)])
    k = data.draw(st.integers(1, len(values)))
    d = c[k:] - c[:-k]
    for peaks in (None, peaks_of(np.array(values))):
        best, at = worst_run(c, k, peaks)
        assert best == pytest.approx(float(d.max()), abs=1e-9)
        assert d[at] == pytest.approx(best, abs=1e-9)


def test_every_window_against_brute_force_on_a_match() -> None:
    t, x = match_current(np.random.default_rng(1), 60.0)
    x = np.round(x / 0.25) * 0.25
    env = whole(signal("pack_current_A", t, x, detector="instant"))
    square, plain = np.concatenate([[0.0], np.cumsum(x * x)]), np.concatenate([[0.0], np.cumsum(x)])
    for j in range(0, env.window_s.shape[0], 5):
        k = round(env.window_s[j] * 1000)
        rms = np.sqrt((square[k:] - square[:-k]) / k)
        assert env.rms_A[j] == pytest.approx(rms.max(), rel=1e-9)
        assert env.mean_A[j] == pytest.approx(((plain[k:] - plain[:-k]) / k).max(), rel=1e-9, abs=1e-6)
        start = round((env.at_s[j] + 0.0005) * 1000)
        assert rms[start] == pytest.approx(rms.max(), rel=1e-9)


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 1000.0])
def test_square_pulses_in_closed_form(rate_Hz: float) -> None:
    """80 A for 2 s out of every 10: r.m.s. 80 up to 2 s, 80·√(2/W) to 10 s, 80·√0.2 over whole periods."""
    t = np.arange(0, 100, 1 / rate_Hz)
    env = whole(signal("pack_current_A", t, 80.0 * (t % 10 < 2 - 1e-9), detector="instant"))
    for window, exact in ((0.1, 80.0), (1.0, 80.0), (2.0, 80.0), (5.0, 80 * np.sqrt(0.4)), (10.0, 80 * np.sqrt(0.2))):
        found = env.at(window)
        assert isinstance(found, Measured) and found.value == pytest.approx(exact, rel=1e-9)


def test_between_grid_windows_the_bracket_holds_the_truth() -> None:
    t, x = match_current(np.random.default_rng(2), 60.0)
    s = signal("pack_current_A", t, x, detector="instant")
    env = whole(s, ())
    for window in (0.137, 0.73, 3.33, 17.77, 41.0):
        exact, found = worst_rms(s, window), env.at(window)
        assert not isinstance(exact, NotFitted) and isinstance(found, Measured)
        assert found.low <= exact[0].value <= found.high and found.high < 1.1 * exact[0].value


def test_intervals_hold_the_full_quality_figure() -> None:
    """Decimate, average, clip, cut out: at least 95 % of the intervals hold what the 1 kHz log shows."""
    inside = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        t, x = match_current(rng, 90.0)
        full = whole(signal("pack_current_A", t, x, detector="instant"))
        for rate in (10.0, 20.0, 50.0, 100.0):
            for kind in ("instant", "average", "unknown instant", "unknown average", "clipped", "gaps"):
                logger = Logger(
                    rate_Hz=rate,
                    noise=0.3,
                    averages="average" in kind,
                    phase_s=rng.uniform(0, 0.1),
                    clip_at=150.0 if kind == "clipped" else None,
                )
                stamps, seen = logger.log(rng, t, x)
                detector: Detector = kind if kind in ("instant", "average") else "unknown"  # type: ignore[assignment]
                clipped = seen > 149.8 if kind == "clipped" else np.zeros(seen.shape, bool)
                keep = np.ones(stamps.shape, bool)
                if kind == "gaps":
                    for start in rng.uniform(5, 90, 6):
                        keep &= ~((stamps > start) & (stamps < start + rng.uniform(0.3, 2)))
                logged = signal(
                    "pack_current_A",
                    stamps[keep],
                    seen[keep],
                    detector=detector,
                    clipped=clipped[keep],
                    noise=0.37,
                )
                env = whole(logged)
                for window in EVERY:
                    exact, found = full.at(window), env.at(window)
                    assert isinstance(exact, Measured) and isinstance(found, Measured)
                    inside.append(found.low - 1e-9 <= exact.value <= found.high + 1e-9)
    assert len(inside) >= 200 and np.mean(inside) >= 0.95


def test_intervals_are_worth_having() -> None:
    t, x = match_current(np.random.default_rng(4), 90.0)
    stamps, seen = Logger(rate_Hz=50.0, noise=0.3).log(np.random.default_rng(0), t, x)
    env = whole(signal("pack_current_A", stamps, seen, noise=0.3))
    for window, rel in ((0.1, 0.06), (1.0, 0.03), (60.0, 0.02)):
        found = env.at(window)
        assert isinstance(found, Measured) and (found.high - found.low) / 2 < rel * found.value


def test_a_clipped_worst_window_is_at_least() -> None:
    t = np.arange(0, 30, 0.02)
    x = 20.0 + 80.0 * ((t > 10) & (t < 11))
    env = whole(signal("pack_current_A", t, x, clipped=x > 99))
    found = env.at(1.0)
    assert isinstance(found, Measured) and np.isinf(found.high) and found.value == pytest.approx(100.0, rel=0.02)


def test_gaps_count_as_time_of_unknown_current() -> None:
    t = np.arange(0, 60, 0.02)
    keep = (t < 20) | (t > 25)
    env = whole(signal("pack_current_A", t[keep], np.full(int(keep.sum()), 30.0), detector="instant"))
    k = env.window_s.shape[0] - 1
    assert env.at_least[k] and np.isinf(env.rms_high[k])
    assert env.rms_A[k] == pytest.approx(30 * np.sqrt(55 / 60), rel=0.01)  # the whole window holds the gap
    short = env.at(5.0)
    assert isinstance(short, Measured) and short.value == pytest.approx(30.0) and np.isfinite(short.high)


def test_uneven_stamps() -> None:
    rng = np.random.default_rng(0)
    t, x = match_current(rng, 60.0)
    stamps = np.cumsum(rng.uniform(0.004, 0.036, 3400))
    stamps = stamps[stamps < 70]
    env = whole(signal("pack_current_A", stamps, np.interp(stamps, t, x), detector="instant"))
    full = whole(signal("pack_current_A", t, x, detector="instant"))
    for window in (0.5, 2.0, 10.0, 30.0):
        exact, found = full.at(window), env.at(window)
        assert isinstance(exact, Measured) and isinstance(found, Measured)
        assert found.value == pytest.approx(exact.value, rel=0.05)


def test_gain_and_offset_are_in_the_interval() -> None:
    t = np.arange(0, 60, 0.01)
    plain = whole(signal("pack_current_A", t, np.full(t.shape, 50.0), detector="instant")).at(10.0)
    rough = whole(
        signal("pack_current_A", t, np.full(t.shape, 50.0), detector="instant", gain_rel=0.02, offset=4.0)
    ).at(10.0)
    assert isinstance(plain, Measured) and isinstance(rough, Measured)
    assert plain.high - plain.value < 0.3
    assert rough.high - rough.value > 1.96 * 0.02 * 50 and rough.value - rough.low > 1.9


@pytest.mark.parametrize(
    ("window_s", "limit"),
    [(0.1, 160.0), (10.0, 160.0), (60.0, 80.0), (180.0, 80.0), (np.sqrt(600.0), 120.0)],
)
def test_rating_by_duration(window_s: float, limit: float) -> None:
    """Burst up to burst_s, continuous from 60 s, linear in A against log t between (half way at the geometric mean)."""
    assert rated_limit_A(window_s, 160.0, 10.0, 80.0) == pytest.approx(limit)


def test_rating_with_a_burst_longer_than_a_minute_or_without_figures() -> None:
    assert rated_limit_A(90.0, 160.0, 90.0, 80.0) == 160.0
    assert rated_limit_A(90.1, 160.0, 90.0, 80.0) == 80.0
    assert rated_limit_A(30.0, None, None, 80.0) is None and rated_limit_A(60.0, None, None, 80.0) == 80.0
    assert rated_limit_A(5.0, 160.0, 10.0, None) == 160.0 and rated_limit_A(30.0, 160.0, 10.0, None) is None


def test_against_rating() -> None:
    t = np.arange(0, 120, 0.01)
    x = np.full(t.shape, 60.0)
    x[(t > 50) & (t < 70)] = 130.0
    env = whole(signal("weapon_input_current_A", t, x, detector="instant"))
    rated = against_rating(env, 160.0, 10.0, 80.0)
    assert isinstance(rated, RatedEnvelope)
    # worst of 130 A for 20 s against 160 → 80 A: at 60 s r.m.s. √((20·130² + 40·60²)/60) = 89.6 A against 80 A
    assert rated.worst.window_s == pytest.approx(20.0, rel=0.07) or rated.worst.window_s == pytest.approx(60.0, rel=0.1)
    assert rated.worst.margin_pct.value < 0 and rated.surest_over is not None
    at_60 = env.at(60.0)
    assert isinstance(at_60, Measured)
    assert at_60.value == pytest.approx(np.sqrt((20 * 130**2 + 40 * 60**2) / 60), rel=0.002)
    assert rated.worst.margin_pct.value <= 100 * (80 - at_60.value) / 80 + 1e-6
    easy = against_rating(env, 400.0, 10.0, 200.0)
    assert isinstance(easy, RatedEnvelope)
    assert easy.surest_over is None and easy.worst.margin_pct.low > 30
    assert easy.worst.limit_A > easy.worst.measured.value
    assert isinstance(against_rating(env, None, None, None), NotFitted)


@pytest.mark.parametrize("n", [0, 1, 2, 5])
def test_short_signals(n: int) -> None:
    found = envelope(signal("pack_current_A", np.arange(n) * 0.02, np.full(n, 3.0)), -np.inf, np.inf)
    assert isinstance(found, NotFitted) == (n < 2)
    if isinstance(found, Envelope):
        assert isinstance(found.at(100.0), NotFitted)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.integers(1, 800),
    st.floats(0, 0.95),
    st.sampled_from(["even", "uneven", "holes"]),
    st.sampled_from(["normal", "zero", "negative", "spikes"]),
    st.sampled_from(["instant", "average", "unknown"]),
)
def test_any_signal_gives_ordered_intervals_or_a_reason(
    seed: int, n: int, missing: float, stamps: str, kind: str, detector: Detector
) -> None:
    rng = np.random.default_rng(seed)
    step = {"even": np.full(n, 0.02), "uneven": rng.exponential(0.02, n) + 1e-6}.get(
        stamps, np.where(rng.uniform(size=n) < 0.02, 3.0, 0.02)
    )
    x = {"zero": np.zeros(n), "negative": -np.abs(rng.normal(0, 30, n))}.get(kind, rng.normal(10, 30, n))
    if kind == "spikes":
        x = np.where(rng.uniform(size=n) < 0.01, 500.0, 0.0)
    x[rng.uniform(size=n) < missing] = np.nan
    s = signal("pack_current_A", np.cumsum(step), x, detector=detector, clipped=x > 80, gain_rel=0.01, noise=0.2)
    env = envelope(s, -np.inf, np.inf)
    if isinstance(env, NotFitted):
        assert env.reason and env.mend
        return
    assert np.all(np.diff(env.window_s) > 0)
    assert np.all(env.rms_low <= env.rms_A + 1e-9) and np.all(env.rms_A <= env.rms_high + 1e-9)
    assert np.all(np.isfinite(env.rms_A)) and np.all(env.rms_low >= 0)
    assert np.all(env.mean_A <= env.rms_A + 1e-6)
    against_rating(env, 100.0, 10.0, 50.0)
