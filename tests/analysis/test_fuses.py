"""Fuse gates and decisions against tests/reference/blade_fuse_gates.csv (ISO 8820-3; part seen, part memory)."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.fuse_curves import curve_of_table, named_curve
from analysis.fuse_wire import fuse_against_wire
from analysis.fuses import FuseBody, body_of_fuse, fuse_load
from analysis.ratings import OutsideValidity, rating, weakest_limit
from analysis.signal import Signal, signal
from analysis.wire_heat import WireRun, adiabatic_i2t, steady_current
from ingest.builds import Fuse
from ingest.tables.gauges import parse_gauge

REFERENCE = Path(__file__).parents[1] / "reference" / "blade_fuse_gates.csv"
NAMES = {"blade type C and F": "ISO 8820-3", "blade type E": "ISO 8820-3 type E", "": "ISO 8820-3"}
DECISIONS = {"must_not_open": "would not open", "may_open": "may open", "must_open": "must open"}


def rows(*quantities: str) -> list[dict[str, str]]:
    with REFERENCE.open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] in quantities]
    assert found, quantities
    return found


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def blade(rated_A: float = 30.0) -> FuseBody:
    return FuseBody("f", rated_A, named_curve("ISO 8820-3"))


def constant(current_A: float, seconds: float, samples: int = 2001, **more: float) -> Signal:
    t = np.linspace(0.0, seconds, samples)
    return signal("f_current_A", t, np.full_like(t, current_A), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("row", rows("opening_time_min", "opening_time_max"), ids=by_id)
def test_gates(row: dict[str, str]) -> None:
    """S13a, S13b and recalled gates; each keeps its provenance."""
    curve = named_curve(NAMES[row["fuse_type"]])
    least, longest = curve.opening_s(float(row["multiple_of_rating"]))
    got = least if row["quantity"] == "opening_time_min" else longest
    assert float(got) == pytest.approx(float(row["value"]), rel=1e-12)
    (gate,) = [
        source
        for source in curve.sources
        if source.name.endswith(row["quantity"].split("_")[-1])
        and float(source.key.split(" | ")[1]) == float(row["multiple_of_rating"])
    ]
    assert gate.is_memory == (row["provenance"] == "memory")


@pytest.mark.parametrize(
    "row", rows("opening_time_min_loglog_interpolation", "opening_time_max_loglog_interpolation"), ids=by_id
)
def test_between_the_gates(row: dict[str, str]) -> None:
    least, longest = named_curve("ISO 8820-3").opening_s(float(row["multiple_of_rating"]))
    got = least if "_min_" in row["quantity"] else longest
    assert float(got) == pytest.approx(float(row["value"]), rel=1e-3)


@pytest.mark.parametrize("row", rows("gate_decision"), ids=by_id)
def test_decisions(row: dict[str, str]) -> None:
    fuse = blade(float(row["rating_A"]))
    got = fuse_load(fuse, constant(float(row["I_A"]), float(row["duration_s"])))
    assert got.verdict == DECISIONS[row["value"]]


def test_standard_scope() -> None:
    """S13c, abstract of ISO 8820-3:2015."""
    assert rating("fuse_breaking_capacity", "ISO 8820-3").value == float(rows("standard_breaking_capacity")[0]["value"])
    assert rating("fuse_rated_voltage", "ISO 8820-3").value == float(rows("standard_rated_voltage")[0]["value"])


def test_example_fuse_melts_inside_the_gates() -> None:
    """S13a: a 25 A fuse melts at 625 A²s typical. At 6 × rating that takes 28 ms: at the least-time gate (30 ms,
    recalled) within 10 %, and well before the longest."""
    (row,) = rows("example_mini_25A_melting_I2t")
    melts = float(row["value"]) / (6 * 25) ** 2
    least, longest = named_curve("ISO 8820-3").opening_s(6.0)
    assert melts == pytest.approx(float(least), rel=0.10) and melts < float(longest)


@given(st.floats(1.36, 6.0))
@settings(max_examples=60, deadline=None)
def test_constant_current_reaches_one_at_the_curve(multiple: float) -> None:
    """The damage sum of a constant current is its duration over the opening time, for both curves."""
    least, longest = (float(t) for t in blade().curve.opening_s(multiple))
    got = fuse_load(blade(), constant(30 * multiple, least))
    assert got.used_min.value == pytest.approx(1.0, rel=2e-3)
    assert fuse_load(blade(), constant(30 * multiple, longest)).used_max == pytest.approx(1.0, rel=2e-3)


def test_below_the_lowest_gate_nothing_happens() -> None:
    got = fuse_load(blade(), constant(30 * 1.09, 36_000.0))
    assert got.verdict == "would not open" and got.used_min.value == 0.0 and got.margin_pct == 100.0
    assert not got.rests_on_memory and got.worst_window[0] == got.worst_window[1]


def test_pulses_add_up_and_a_rest_forgets() -> None:
    """Two pulses that each use 60 %: together over, an hour apart not."""
    least = float(blade().curve.opening_s(2.0)[0])
    width = 0.6 * least

    def two(rest_s: float, carrying: float = 0.0) -> float:
        pulse = np.linspace(0, width, 200)
        rest = [width + 1e-6, width + rest_s]
        t = np.concatenate((pulse, rest, width + rest_s + 1e-6 + pulse))
        x = np.concatenate((np.full(200, 60.0), [carrying, carrying], np.full(200, 60.0)))
        return fuse_load(blade(), signal("f", t, x), gap_s=1e9).used_min.value

    assert two(1.0) == pytest.approx(1.2, abs=0.02)
    assert two(3600.0) == pytest.approx(0.6, abs=0.01)
    # A fuse that carries current meanwhile cools slower (60 s, our choice, less the square of its load).
    assert two(60.0) == pytest.approx(0.6 * (1 + math.exp(-1)), abs=0.01)
    assert two(60.0, 0.8 * 33.0) == pytest.approx(0.6 * (1 + math.exp(-0.36)), abs=0.01)


def test_a_long_idle_log_does_not_overflow() -> None:
    t = np.arange(0.0, 40_000.0, 1.0)
    x = np.where(t % 20_000 < 2, 45.0, 0.0)
    got = fuse_load(blade(), signal("f", t, x))
    assert math.isfinite(got.used_min.value) and math.isfinite(got.used_max)


def test_worst_window_and_multiple() -> None:
    t = np.arange(0.0, 60.0, 0.01)
    x = np.where((t > 20) & (t < 20.5), 75.0, 20.0)
    got = fuse_load(blade(), signal("f", t, x))
    assert got.worst_multiple == pytest.approx(2.5)
    assert 19.9 < got.worst_window[0] < 20.1 and 20.4 < got.worst_window[1] < 20.6


def test_memory_is_named_only_where_it_decides() -> None:
    assert not fuse_load(blade(), constant(60.0, 1.0)).rests_on_memory  # the 200 % gate was seen
    recalled = fuse_load(blade(), constant(105.0, 1.0))  # the 350 % gate is recalled
    assert recalled.rests_on_memory and any("recalled" in note for note in recalled.notes)
    assert recalled.used_min.high == pytest.approx(2 * recalled.used_min.value, rel=1e-3)
    assert recalled.used_min.low == pytest.approx(recalled.used_min.value / 2, rel=1e-3)


def test_gain_ambient_and_lower_bound_widen() -> None:
    load = constant(60.0, 0.1)
    plain = fuse_load(blade(), load).used_min
    gain = fuse_load(blade(), constant(60.0, 0.1, gain_rel=0.02)).used_min
    assert gain.low < plain.low and gain.high > plain.high
    scaled = fuse_load(blade(), constant(60.0 * 1.04, 0.1)).used_min.value
    assert gain.high == pytest.approx(scaled, rel=1e-3)
    hot = fuse_load(blade(), load, ambient_degC=60.0)
    assert hot.used_min.high > plain.high and any("23 °C" in note for note in hot.notes)
    assert fuse_load(blade(), load, at_least=True).used_min.high == math.inf
    clipped = signal("f", [0, 0.05, 0.1], [60.0, 60.0, 60.0], clipped=[False, True, False])
    got = fuse_load(blade(), clipped)
    assert got.used_min.high == math.inf and any("clipped" in note for note in got.notes)


def test_gaps_and_missing_samples_are_named() -> None:
    t = np.arange(0.0, 10.0, 0.01)
    keep = (t < 4) | (t > 6)
    got = fuse_load(blade(), signal("f", t[keep], np.full(int(keep.sum()), 45.0)))
    whole = fuse_load(blade(), signal("f", t, np.full_like(t, 45.0)))
    assert got.used_min.value < whole.used_min.value and any("without samples" in note for note in got.notes)
    with pytest.raises(OutsideValidity, match="no current through f was logged"):
        fuse_load(blade(), signal("f", [0.0, 1.0], [math.nan, math.nan]))
    with pytest.raises(OutsideValidity, match="ambient of 120"):
        fuse_load(blade(), constant(10.0, 1.0), ambient_degC=120.0)


def test_beyond_the_curve_is_named() -> None:
    got = fuse_load(blade(), constant(30 * 9.0, 0.02))
    assert any("where the curve ends" in note for note in got.notes)
    assert got.used_min.value == pytest.approx(0.02 / (0.03 * (6 / 9) ** 2), rel=2e-3)


def test_a_table_of_the_user() -> None:
    curve = curve_of_table([[1.35, 60, 1800], [2, 2, 60], [6, 0.04, 1]], "builds/b.toml")
    got = fuse_load(FuseBody("f", 80.0, curve), constant(160.0, 3.0))
    assert got.verdict == "may open" and got.used_min.value == pytest.approx(1.5, rel=2e-3)
    assert not got.rests_on_memory and curve.sources[0].source.kind == "stated"
    assert fuse_load(FuseBody("f", 80.0, curve), constant(100.0, 1000.0)).used_min.value == 0.0
    with pytest.raises(ValueError, match="row 2"):
        curve_of_table([[1.35, 60, 1800], [1.2, 2, 60]])


def test_body_of_a_build_file() -> None:
    fuse = Fuse(id="wf", wire="lead", rated_A=80, curve="ISO 8820-3")
    assert body_of_fuse(fuse).curve is named_curve("ISO 8820-3")
    assert (
        body_of_fuse(fuse.model_copy(update={"curve": ((1.35, 60.0, 1800.0), (2.0, 2.0, 60.0))})).curve.name
        == "stated table"
    )
    for left_out in ("rated_A", "curve"):
        with pytest.raises(OutsideValidity, match=f"state {left_out}"):
            body_of_fuse(fuse.model_copy(update={left_out: None}))


@given(st.lists(st.floats(0, 250), min_size=3, max_size=60), st.floats(1.0, 1.5))
@settings(max_examples=60, deadline=None)
def test_more_current_uses_more(currents: list[float], factor: float) -> None:
    t = np.arange(len(currents)) * 0.05
    less = fuse_load(blade(), signal("f", t, currents))
    more = fuse_load(blade(), signal("f", t, np.array(currents) * factor))
    assert more.used_min.value >= less.used_min.value * (1 - 1e-9)
    assert more.used_max >= less.used_max * (1 - 1e-9)
    assert less.used_max <= less.used_min.value * (1 + 1e-9)
    assert less.used_min.low <= less.used_min.value <= less.used_min.high


# -- against the wire ------------------------------------------------------------------------------------------


def test_fuse_protects_a_wire_from_a_short() -> None:
    """IEC 60949: 30 A on 12 AWG, 600 A short: cleared in 9 ms at the longest, the copper far below 183 °C."""
    run = WireRun("lead", parse_gauge("12 AWG"))
    limit = weakest_limit("silicone")
    got = fuse_against_wire(blade(), run, limit, prospective_A=600.0)
    assert got.clears_in_s == pytest.approx(0.1 * (6 / 20) ** 2)
    assert got.withstand_A2s == pytest.approx(adiabatic_i2t(run.area_mm2, 25.0, 183.0))
    assert got.let_through_A2s == pytest.approx(180.0**2 * 0.1)  # no more i²t than at the gate
    assert got.protection == "protects" and got.uncovered_A is None
    assert got.rests_on_memory


def test_a_fuse_too_large_for_its_wire() -> None:
    run = WireRun("lead", parse_gauge("20 AWG"))
    limit = weakest_limit("silicone")
    got = fuse_against_wire(blade(80.0), run, limit, prospective_A=400.0)
    assert got.protection == "does not protect" and got.uncovered_A is not None
    steady = steady_current(run, 183.0).value
    assert got.uncovered_A[0] == pytest.approx(steady, rel=0.01)
    assert got.let_through_A2s is not None and got.let_through_A2s > got.withstand_A2s


def test_overloads_that_are_not_covered_are_a_note() -> None:
    """40 A on 18 AWG (31 A at 183 °C): a short is cleared, a lasting 40 A is not."""
    run = WireRun("lead", parse_gauge("18 AWG"))
    got = fuse_against_wire(blade(40.0), run, weakest_limit("silicone"), prospective_A=500.0)
    assert got.protection == "short only"
    assert got.uncovered_A is not None and got.uncovered_A[0] < 40 < got.uncovered_A[1]
    assert any("does not cover overloads of lead" in note for note in got.notes)


def test_notes_without_a_fuse_or_a_pack() -> None:
    run = WireRun("lead", parse_gauge("12 AWG"))
    limit = weakest_limit("silicone")
    none = fuse_against_wire(None, run, limit)
    assert none.protection == "no fuse" and "lead has no fuse" in none.notes[0]
    unknown = fuse_against_wire(blade(), run, limit)
    assert unknown.protection == "unknown" and any("resistance_mohm in the pack file" in n for n in unknown.notes)
    weak = fuse_against_wire(blade(), run, limit, prospective_A=35.0)
    assert weak.clears_in_s == math.inf and any("must open" in note for note in weak.notes)
    strong = fuse_against_wire(blade(), run, limit, prospective_A=1800.0)
    assert any("1000 A" in note for note in strong.notes)
    with pytest.raises(OutsideValidity, match="limit of 20"):
        fuse_against_wire(blade(), run, weakest_limit(None, stated_degC=20.0))
