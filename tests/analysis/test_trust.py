"""Doubts about a log: they speak when there is reason, and never on a healthy one."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.signal import Signal, signal
from analysis.trust import (
    clipping,
    clock_skew,
    detector_against,
    examine,
    frozen,
    gap_notes,
    gaps,
    held_times,
    jitter_rel,
    noise_of,
    quantum,
    rest_disagreement,
    undersampled,
)
from tests.synthetic.pack_truth import GRADES, Logger, TrueMatch, match_current, play, random_pack

ROOMY = 600.0  # a sensor whose top no match reaches


def match(seed: int, length_s: float = 60.0) -> TrueMatch:
    rng = np.random.default_rng(seed)
    pack = random_pack(rng)
    return play(pack, *match_current(rng, length_s))


def current_of(m: TrueMatch, logger: Logger, x: np.ndarray | None = None, seed: int = 0) -> Signal:
    rng = np.random.default_rng(seed)
    return signal("pack_current_A", *logger.log(rng, m.t_s, m.current_A if x is None else x))


def voltage_of(m: TrueMatch, logger: Logger, seed: int = 0) -> Signal:
    return signal("pack_voltage_V", *logger.log(np.random.default_rng(seed), m.t_s, m.voltage_V))


USUAL_A, USUAL_V = GRADES["usual 10-bit, 0.4 A noise"]
ROOMY_A = USUAL_A.but(high=ROOMY, bits=11)


def test_healthy_logs_give_no_note() -> None:
    count = 0
    for seed in range(20):
        m = match(seed, 40.0)
        rng = np.random.default_rng(seed)
        for grade_a, grade_v in GRADES.values():
            rate = float(rng.choice([10, 20, 50, 100, 200]))
            i = current_of(m, grade_a.but(rate_Hz=rate, high=ROOMY, bits=grade_a.bits + 1), seed=seed)  # type: ignore[operator]
            v = voltage_of(m, grade_v.but(rate_Hz=rate), seed)
            temp = signal("pack_temp_degC", v.t_s, np.round(np.interp(v.t_s, m.t_s, m.degC)))
            duty = signal("weapon_duty_pct", i.t_s, np.round(np.clip(2 * i.x, 0, 100)))
            rail = signal("receiver_rail_voltage_V", v.t_s, np.round(np.full(len(v), 5.02) / 0.02) * 0.02)
            notes = [
                *examine(i, companions=[v]).notes,
                *examine(v, companions=[i]).notes,
                *examine(temp, companions=[i]).notes,
                *examine(duty, companions=[i]).notes,
                *examine(rail, companions=[i]).notes,
                *gap_notes(i),
            ]
            assert not notes, (seed, notes)
            count += 5
    assert count >= 271


@pytest.mark.parametrize("ripple", [0.0, 0.004, 0.02])
def test_a_current_limit_is_no_clipping(ripple: float) -> None:
    for seed in range(8):
        m = match(seed)
        rng = np.random.default_rng(seed)
        limited = np.minimum(m.current_A, 90.0) * (1 + ripple * rng.normal(size=m.t_s.shape))
        found = examine(current_of(m, ROOMY_A, limited, seed))
        assert found.clip != "clipped" and not found.notes


def test_clipping_is_recalled() -> None:
    states: Counter[str] = Counter()
    for seed in range(25):
        m = match(seed)
        top = float(np.quantile(m.current_A, 0.985))
        for logger in (
            USUAL_A.but(high=top),
            ROOMY_A.but(clip_at=top),
            GRADES["good 12-bit, 0.2 A noise"][0].but(high=top),
        ):
            s = current_of(m, logger, seed=seed)
            stands = int(np.sum(s.x > s.x.max() - 1e-9))
            if stands < 6:
                continue
            found = examine(s)
            states[found.clip] += 1
            if found.clip == "clipped":
                assert [n.code for n in found.notes] == ["sensor_clipped"]
                assert int(found.signal.clipped.sum()) == stands
                assert found.notes[0].part == "pack" and "at least" in found.notes[0].note
    assert states["clipped"] / states.total() >= 0.9


def test_clipping_with_declared_full_scale_and_with_a_known_limit() -> None:
    t = np.arange(0, 30, 0.02)
    x = 10.0 + 90.0 * (t % 5 < 1)  # no noise: a plateau, which could be either
    s = signal("pack_current_A", t, x)
    assert clipping(s)[0] != "clipped"
    state, mask = clipping(s, full_scale=100.0)
    assert state == "clipped" and np.array_equal(mask, x > 99)
    assert clipping(s, full_scale=200.0)[0] == "not clipped"
    rng = np.random.default_rng(0)
    noisy = np.minimum(np.round(60 + 30 * rng.normal(size=t.shape)), 100.0)
    s = signal("pack_current_A", t, noisy)
    assert clipping(s)[0] == "clipped" and clipping(s, limit=100.0)[0] == "not clipped"


@pytest.mark.parametrize(("offset_A", "codes"), [(-1.5, ["sensor_offset"]), (5.0, ["sensor_offset"]), (0.0, [])])
def test_zero_error(offset_A: float, codes: list[str]) -> None:
    for seed in range(6):
        m = match(seed)
        found = examine(current_of(m, ROOMY_A.but(low=-30.0, offset=offset_A), seed=seed))
        assert [n.code for n in found.notes] == codes
        if codes:
            # the 0.35 A drawn at rest cannot be told from the zero error
            assert found.signal.offset == pytest.approx(offset_A, abs=0.55)
            assert found.signal.x[:40].mean() == pytest.approx(0.0, abs=0.3)


def test_frozen_voltage_while_the_load_moves() -> None:
    for seed in range(8):
        m = match(seed)
        i, v = current_of(m, ROOMY_A, seed=seed), voltage_of(m, USUAL_V, seed)
        k = 1000 + 50 * seed
        x = v.x.copy()
        x[k : k + 150] = x[k]
        found = examine(v.with_values(x), companions=[i])
        assert [n.code for n in found.notes] == ["frozen_values"]
        note = found.notes[0]
        assert note.start_s == pytest.approx(v.t_s[k], abs=0.1) and note.end_s == pytest.approx(v.t_s[k + 149], abs=0.1)
        assert not found.signal.valid[k + 5 : k + 145].any()


def test_a_voltage_that_stands_while_nothing_moves_is_not_frozen() -> None:
    t = np.arange(0, 60, 0.02)
    rng = np.random.default_rng(0)
    load = np.where((t > 20) & (t < 40), 40 + 20 * np.sin(7 * t), 0.3)
    i = signal("pack_current_A", t, np.round((load + 0.3 * rng.normal(size=t.shape)) / 0.25) * 0.25)
    v = signal("pack_voltage_V", t, np.round((25 - 0.02 * load) / 0.03) * 0.03)
    assert frozen(v, [i]) == [] and frozen(v) == []


def test_gaps_are_judged_by_the_loggers_own_interval() -> None:
    t = np.arange(0, 60, 0.1)
    keep = ~(((t > 20) & (t < 22)) | ((t > 40) & (t < 40.35)))
    s = signal("pack_current_A", t[keep], np.ones(int(keep.sum())))
    found = gaps(s.t_s, s.period_s)
    assert len(found) == 1 and found[0] == pytest.approx((20.0, 22.0), abs=0.11)
    note = gap_notes(s)[0]
    assert (note.code, note.channel) == ("logger_gap", None) and "1 gaps" in note.note
    assert gaps(np.arange(10.0), 1.0) == [] and gaps(np.zeros(0), 0.0) == []


def test_a_restart_is_no_gap() -> None:
    t = np.concatenate([np.arange(0, 10, 0.1), np.arange(100, 110, 0.1)])
    recording = np.repeat(np.array([0, 1], np.int16), 100)
    assert gap_notes(signal("pack_current_A", t, np.ones(200), recording=recording)) == []


@given(st.floats(1e-4, 10.0), st.integers(0, 2**32 - 1), st.floats(-50, 50))
@settings(deadline=None, max_examples=60)
def test_quantum_is_found(step: float, seed: int, shift: float) -> None:
    x = np.round(np.random.default_rng(seed).normal(0, 6, 4000)) * step + shift
    assert quantum(x) == pytest.approx(step, rel=1e-3)


def test_continuous_values_have_no_quantum() -> None:
    assert quantum(np.random.default_rng(0).normal(size=5000)) == 0.0
    assert quantum(np.zeros(100)) == 0.0


@pytest.mark.parametrize("noise_A", [0.3, 1.0, 3.0])
def test_noise_of_the_sensor_not_of_the_match(noise_A: float) -> None:
    found = []
    for seed in range(6):
        m = match(seed)
        s = current_of(m, Logger(rate_Hz=100.0, bits=None, noise=noise_A), seed=seed)
        found.append(noise_of(s.x, 0.0))
    assert np.median(found) == pytest.approx(noise_A, rel=0.25)


def test_jitter_and_held_values() -> None:
    rng = np.random.default_rng(0)
    t = np.arange(0, 60, 0.02)
    assert jitter_rel(t) < 1e-6
    assert jitter_rel(t + rng.normal(0, 0.002, t.shape)) == pytest.approx(0.14, abs=0.04)
    x = rng.normal(size=600).repeat(5)
    assert held_times(x) == 5.0 and held_times(rng.normal(size=600)) == 1.0
    s = signal("pack_current_A", t, x)
    note = undersampled(s, 0.05, "the burst rating")
    assert note is not None and note.code == "undersampled" and note.note.startswith("10 new values")
    assert undersampled(s, 0.2, "the continuous rating") is None
    assert undersampled(signal("pack_current_A", t, rng.normal(size=t.shape)), 0.05, "it") is None


def test_detector_told_by_a_faster_twin() -> None:
    m = match(2)
    fast = current_of(m, Logger(rate_Hz=500.0, bits=None, noise=0.3))
    slow = {averages: current_of(m, Logger(rate_Hz=20.0, averages=averages, noise=0.3)) for averages in (True, False)}
    assert detector_against(slow[True], fast) == "average"
    assert detector_against(slow[False], fast) == "instant"
    assert detector_against(fast, slow[True]) == "unknown"


def test_a_tap_that_is_off_at_rest_is_named_by_the_others() -> None:
    m = match(3)
    rng = np.random.default_rng(0)

    def tap(name: str, offset_V: float = 0.0) -> Signal:
        return signal(name, *USUAL_V.but(offset=offset_V).log(rng, m.t_s, m.voltage_V))

    names = ("pack_voltage_V", "distribution_voltage_V", "weapon_voltage_V")
    assert rest_disagreement({name: tap(name) for name in names}) == []
    off = {name: tap(name, 1.1 if name == "weapon_voltage_V" else 0.0) for name in names}
    notes = rest_disagreement(off)
    assert [(n.code, n.channel, n.part) for n in notes] == [("sensor_offset", "weapon_voltage_V", "weapon")]
    assert "+1." in notes[0].note
    two = {name: off[name] for name in names[1:]}
    assert rest_disagreement(two) == []
    cell = Logger(bits=12, high=5.0, noise=0.002)
    cells = [signal(f"cell{k}_voltage_V", *cell.log(rng, m.t_s, m.voltage_V / 6)) for k in range(1, 7)]
    assert [n.channel for n in rest_disagreement(two, cells)] == ["weapon_voltage_V"]
    assert rest_disagreement({}) == []


def test_a_top_that_a_companion_contradicts_is_clipping() -> None:
    """No noise at all, so the plateau alone says nothing; the pack's voltage says the current went on rising."""
    m = match(4)
    stamps = m.t_s[::10]
    seen = np.round(m.current_A[::10] / 0.25) * 0.25
    top = float(np.quantile(seen, 0.8))
    alone = signal("pack_current_A", stamps, np.minimum(seen, top))
    steady = np.where((stamps > 20) & (stamps < 23), top + 40 + 20 * np.sin(3 * stamps), np.minimum(seen, top))
    truly = signal("pack_voltage_V", stamps, np.round((24.5 - 0.02 * steady) / 0.005) * 0.005)
    stuck = signal("pack_current_A", stamps, np.minimum(steady, top))
    assert examine(alone).clip == "undetermined"
    assert examine(stuck).clip == "undetermined" and examine(stuck, companions=[truly]).clip == "clipped"
    limited = np.where((stamps > 20) & (stamps < 23), top, np.minimum(seen, top))
    held = signal("pack_voltage_V", stamps, np.round((24.5 - 0.02 * limited) / 0.005) * 0.005)
    assert examine(signal("pack_current_A", stamps, limited), companions=[held]).clip == "undetermined"


def test_frozen_by_its_own_noise() -> None:
    rng = np.random.default_rng(0)
    t = np.arange(0, 60, 0.02)
    x = np.round((20 + 10 * np.sin(t) + 0.3 * rng.normal(size=t.shape)) / 0.25) * 0.25
    x[1000:1200] = x[1000]
    assert frozen(signal("weapon_input_current_A", t, x)) == [pytest.approx((20.0, 23.98), abs=0.05)]
    calm = np.round((20 + 10 * np.sin(t)) / 5.0) * 5.0
    assert frozen(signal("weapon_input_current_A", t, calm)) == []


def test_clock_skew() -> None:
    assert clock_skew("weapon", 0.003, 0.001, 0, 180) is None
    assert clock_skew("weapon", 0.2, 0.3, 0, 180) is None
    assert clock_skew("weapon", 0.2, float("inf"), 0, 180) is None
    note = clock_skew("weapon", -0.2, 0.002, 0, 180)
    assert note is not None and note.code == "clock_skew" and "-200 ms" in note.note


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.integers(0, 600),
    st.floats(0, 1),
    st.sampled_from(["noise", "constant", "two values", "huge", "negative"]),
    st.sampled_from(
        ["pack_current_A", "pack_voltage_V", "weapon_duty_pct", "pack_temp_degC", "receiver_rail_current_A"]
    ),
)
def test_any_signal_is_examined(seed: int, n: int, missing: float, kind: str, channel: str) -> None:
    rng = np.random.default_rng(seed)
    x = rng.normal(20, 5, n)
    if kind == "constant":
        x = np.full(n, 7.0)
    elif kind == "two values":
        x = np.where(rng.uniform(size=n) < 0.5, 0.0, 1.0)
    elif kind == "huge":
        x = x * 1e12
    elif kind == "negative":
        x = -x
    x[rng.uniform(size=n) < missing] = np.nan
    t = np.cumsum(rng.exponential(0.02, n) + 1e-6)
    s = signal(channel, t, x)
    other = signal("pack_current_A", t, rng.normal(size=n))
    found = examine(s, companions=[other])
    assert len(found.signal) == n and np.isfinite(found.noise) and found.quantum >= 0
    assert not (found.signal.valid & ~s.valid).any()


@pytest.mark.parametrize(("step", "top"), [(0.8015640, 40.0), (0.4, 33.1), (0.05, 12.02)])
def test_a_top_between_the_codes_of_a_converter_was_cut(step: float, top: float) -> None:
    """Codes are evenly spaced (common practice, no source): what stands between two was cut. On the grid: open."""
    rng = np.random.default_rng(4)
    t = np.arange(0, 30, 0.01)
    true = 1.1 * top * np.abs(np.sin(0.7 * t)) + 0.2 * step * rng.normal(size=t.shape)
    codes = np.round(true / step) * step
    for highest, state in ((top, "clipped"), (np.floor(top / step) * step, "undetermined")):
        found = clipping(signal("left_drive_motor_current_A", t, np.minimum(codes, highest)))
        assert found[0] == state
