"""The wire transient against a tight ODE solution written here, against published cases, and its interval.

Reference rows: tests/reference (each with its source; sources.csv says what S.. is and how it was seen).
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import ht
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analysis.binned import Binned, bin_square
from analysis.cooling import air_conductivity_W_mK, air_prandtl, air_viscosity_m2_s
from analysis.ratings import OutsideValidity
from analysis.signal import Floats
from analysis.wire_heat import WireRun, adiabatic_temperature_degC, run_of_wire, wire_heat
from analysis.wire_run import bundle_current_factor, loss_factor
from ingest.builds import Wire
from ingest.tables.gauges import parse_gauge

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(file: str, *quantities: str) -> list[dict[str, str]]:
    with (REFERENCE / file).open(newline="", encoding="utf-8") as stream:
        found = [row for row in csv.DictReader(stream) if row["quantity"] in quantities]
    assert found, quantities
    return found


def by_id(row: dict[str, str]) -> str:
    return row["id"]


def area(row: dict[str, str]) -> float:
    return parse_gauge(f"{row['awg']} AWG")


def steady_load(current_A: float, seconds: float, bin_s: float = 0.25) -> Binned:
    return bin_square([0.0, seconds], [current_A, current_A], bin_s, gap_s=math.inf)


# -- transient against a tight ODE solution written here -----------------------------------------------------


def tight(
    current: Callable[[float], float], seconds: float, awg: int, outer_mm: float, breaks: Floats, rings: int = 4,
    growth: float = 1.8, conductivity: float = 0.2,
) -> Callable[[Floats], Floats]:  # fmt: skip
    """Copper temperature of the same physics, solved stiffly to 1e-8 with ht's Churchill–Chu and no binning."""
    copper = math.pi / 4 * (0.127 * 92 ** ((36 - awg) / 39)) ** 2
    inner, outer = 1.15 * math.sqrt(copper / math.pi) * 1e-3, outer_mm * 5e-4
    thick = growth ** np.arange(rings)
    radius = inner + (outer - inner) * np.concatenate(([0.0], np.cumsum(thick) / thick.sum()))
    bounds = np.concatenate((radius[:1], (radius[1:] + radius[:-1]) / 2, radius[-1:]))
    capacity = 1150 * 1250 * math.pi * (bounds[1:] ** 2 - bounds[:-1] ** 2)
    capacity[0] += 3.45e6 * copper * 1e-6
    link = 2 * math.pi * conductivity / np.log(radius[1:] / radius[:-1])
    ohm = 1 / 58 / copper

    def slope(t: float, state: Floats) -> Floats:
        flow = link * (state[:-1] - state[1:])
        surface = state[-1]
        film = (surface + 25) / 2 + 273.15
        gr = 9.80665 / film * max(surface - 25, 1e-9) * (2 * outer) ** 3 / float(air_viscosity_m2_s(film)) ** 2
        nu = ht.Nu_horizontal_cylinder_Churchill_Chu(Pr=float(air_prandtl(film)), Gr=gr)
        h = nu * float(air_conductivity_W_mK(film)) / (2 * outer)
        glow = 0.9 * 5.670374e-8 * ((surface + 273.15) ** 4 - 298.15**4)
        lost = 2 * math.pi * outer * (h * (surface - 25) + glow)
        heat = np.zeros_like(state)
        heat[0] = current(t) ** 2 * ohm * (1 + 0.00393 * (state[0] - 20))
        heat[:-1] -= flow
        heat[1:] += flow
        heat[-1] -= lost
        return heat / capacity

    pieces = []
    state = np.full(rings + 1, 25.0)
    for start, end in pairwise(breaks):
        inside = (start + 1e-9, end - 1e-9)  # the current's steps lie on the ends and are not looked across
        solved = solve_ivp(slope, inside, state, method="LSODA", rtol=1e-8, atol=1e-8, dense_output=True)
        state = solved.y[:, -1]
        pieces.append((start, solved.sol))

    def copper_at(t: Floats) -> Floats:
        starts = np.array([start for start, _ in pieces])
        which = np.clip(np.searchsorted(starts, t, side="right") - 1, 0, len(pieces) - 1)
        return np.array([pieces[k][1](x)[0] for k, x in zip(which, t, strict=True)])

    return copper_at


def held(breaks: Floats, levels: Floats) -> Callable[[float], float]:
    return lambda t: float(levels[min(int(np.searchsorted(breaks, t, side="right")) - 1, len(levels) - 1)])


@dataclass(frozen=True)
class Case:
    breaks: Floats
    levels: Floats
    awg: int
    outer_mm: float


CASES = {
    "steady 60 A": Case(np.array([0.0, 180.0]), np.array([60.0]), 12, 4.5),
    "spin-ups": Case(
        np.array([0, 2.13, 9.9, 12.31, 30.02, 31.17, 60.0, 61.61, 90.0]),
        np.array([140.0, 25, 150, 30, 180, 0, 160, 40]),
        12,
        4.5,
    ),
    "pushing": Case(np.array([0, 7.3, 8.8, 20.1, 24.6, 40.0]), np.array([22.0, 60, 8, 45, 12]), 16, 3.0),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("bin_s", [0.1, 0.25])
def test_transient_against_a_tight_solution(name: str, bin_s: float) -> None:
    """Within 0.1 °C wherever no bin was cut by a step of the current just before; the peak as stated."""
    case = CASES[name]
    breaks = case.breaks
    current = held(breaks, case.levels)
    t = np.arange(0.0, breaks[-1] + 5e-4, 1e-3)
    load = bin_square(t, [current(x) for x in t], bin_s, between="held")
    run = WireRun("x", parse_gauge(f"{case.awg} AWG"), outer_diameter_mm=case.outer_mm)
    heat = wire_heat([run], [load])[0]
    truth = tight(current, breaks[-1], case.awg, case.outer_mm, breaks)
    # A bin that a step cuts gives up the step's place; compare where such a step is 3 s past.
    cut = np.array([x for x in breaks[:-1] if abs(x / bin_s - round(x / bin_s)) > 1e-6])
    settled = np.array([not ((x > cut) & (x - cut < 3)).any() for x in heat.t_s])
    error = heat.temp_degC - truth(heat.t_s)
    assert settled.sum() > 10
    assert np.abs(error[settled]).max() < 0.1
    assert heat.peak.value == pytest.approx(
        truth(np.linspace(0, breaks[-1], 20_001)).max(), abs=0.1 if bin_s <= 0.1 else 0.6
    )


@pytest.mark.parametrize(
    ("levels", "breaks", "bound"),
    [([60.0], [0, 180.0], 0.1), ([200.0, 0.0], [0, 2.0, 6.0], 0.5), ([400.0, 0.0], [0, 1.0, 5.0], 1.6)],
)
def test_the_rings_stand_for_a_continuous_jacket(levels: list[float], breaks: list[float], bound: float) -> None:
    """Against sixty equal rings (conduction solved finely), with a peak of 103, 52 and 89 °C."""
    points = np.array(breaks, dtype=float)
    current = held(points, np.array(levels))
    truth = tight(current, points[-1], 12, 4.5, points, rings=60, growth=1.0)
    fine = np.linspace(0, points[-1], 4001)
    load = bin_square(fine, [current(x) for x in fine], 0.1, between="held")
    got = wire_heat([WireRun("x", parse_gauge("12 AWG"))], [load])[0].peak.value
    assert got == pytest.approx(truth(fine).max(), abs=bound)


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "lumped_wire_temperature_churchill_chu"), ids=by_id)
def test_single_temperature_wire(row: dict[str, str]) -> None:
    """Rows computed with ht and SciPy for copper and jacket at one temperature: a jacket that conducts freely."""
    run = WireRun("x", area(row), outer_diameter_mm=float(row["D_mm"]), jacket_conductivity_W_mK=1000.0)
    load = steady_load(float(row["I_A"]), float(row["duration_s"]))
    got = wire_heat([run], [load], float(row["T_amb_C"]))[0].temp_degC[-1]
    assert got == pytest.approx(float(row["value"]), abs=0.5)  # the table allows 3


def test_short_circuit_approaches_the_adiabatic_equation() -> None:
    """IEC 60949 holds for short times: 2000 A for 50 ms in 12 AWG."""
    run = WireRun("x", parse_gauge("12 AWG"))
    load = steady_load(2000.0, 0.05, 0.005)
    got = wire_heat([run], [load])[0].temp_degC[-1]
    expected = adiabatic_temperature_degC(run.area_mm2, 2000.0**2 * 0.05, 25.0)
    assert got == pytest.approx(expected, rel=0.08)
    assert got < expected  # the jacket takes a little


def test_mean_current_would_mislead() -> None:
    """The reason for i²: the same mean current, bursts against steady."""
    t = np.arange(0.0, 120.0, 0.01)
    bursts = np.where(t % 10 < 1, 200.0, 10.0)
    run = WireRun("x", parse_gauge("12 AWG"))
    peaks = [wire_heat([run], [bin_square(t, x)])[0].peak.value for x in (bursts, np.full_like(t, bursts.mean()))]
    assert peaks[0] > peaks[1] + 50


# -- interval, laying, validity ------------------------------------------------------------------------------


def test_interval_contains_each_stated_change() -> None:
    """What the interval names, applied for real, stays inside it."""
    run = WireRun("x", parse_gauge("12 AWG"))
    load = steady_load(70.0, 180.0)
    peak = wire_heat([run], [load])[0].peak
    assert peak.low < peak.value < peak.high
    strands = WireRun("x", run.area_mm2, resistance_mohm_per_m=run.mohm_per_m * 1.13)
    thin = WireRun("x", run.area_mm2, outer_diameter_mm=4.5 * 0.92)
    thick = WireRun("x", run.area_mm2, outer_diameter_mm=4.5 * 1.08)
    for changed in (strands, thin, thick):
        assert peak.low <= wire_heat([changed], [load])[0].peak.value <= peak.high
    for air in (22.0, 28.0):
        assert peak.low <= wire_heat([run], [load], air)[0].peak.value <= peak.high
    known = WireRun("x", run.area_mm2, resistance_mohm_per_m=run.mohm_per_m, outer_diameter_mm=4.5)
    narrow = wire_heat([known], [load])[0].peak
    assert narrow.high < peak.high and narrow.value == pytest.approx(peak.value)
    assert "memory" in peak.basis and "memory" not in narrow.basis


def test_current_uncertainty_widens() -> None:
    run = WireRun("x", parse_gauge("12 AWG"))
    load = steady_load(60.0, 60.0)
    plain = wire_heat([run], [load])[0].peak
    wide = wire_heat([run], [load], i2_low_rel=0.1, i2_high_rel=0.1)[0].peak
    assert wide.low < plain.low and wide.high > plain.high
    assert wide.high >= wire_heat([run], [load.scaled(math.sqrt(1.1))])[0].peak.value
    assert wide.low <= wire_heat([run], [load.scaled(math.sqrt(0.9))])[0].peak.value
    bound = wire_heat([run], [load], at_least=[True])[0].peak
    assert bound.high == math.inf and "at least" in bound.basis and bound.low == plain.low


def test_laying() -> None:
    load = steady_load(50.0, 180.0)
    copper = parse_gauge("12 AWG")
    how = [WireRun("x", copper, laid=laid) for laid in ("open", "sleeved", "bundled")]
    how += [WireRun("x", copper, enclosed=True), WireRun("x", copper, bundle=10), WireRun("x", copper, enclosed=None)]
    heats = wire_heat(how, [load] * len(how))
    free = heats[0].peak
    for heat in heats[1:5]:
        assert heat.peak.value > free.value
    assert heats[5].peak.value == pytest.approx(free.value)
    assert heats[5].peak.high > free.high
    for run in how:
        mid, low, high = loss_factor(run)
        assert low <= mid <= high <= 1


@pytest.mark.parametrize("row", rows("free_air_ampacity.csv", "ecss_bundle_factor_K"), ids=by_id)
def test_bundle_factor(row: dict[str, str]) -> None:
    """ECSS-Q-ST-30-11C Rev.2 table 6-41 (S21)."""
    assert bundle_current_factor(int(row["wires"])) == pytest.approx(float(row["value"]), rel=1e-9)


def test_bundle_outside_the_table() -> None:
    assert bundle_current_factor(10) < bundle_current_factor(5) < bundle_current_factor(3)
    with pytest.raises(OutsideValidity, match="1 to 300"):
        bundle_current_factor(301)


def test_parallel_leads_share() -> None:
    one, two = WireRun("x", 3.3), WireRun("x", 3.3, parallel=2)
    heats = wire_heat([one, two], [steady_load(40.0, 60.0), steady_load(80.0, 60.0)])
    assert heats[0].peak.value == pytest.approx(heats[1].peak.value, abs=1e-9)


def test_past_250_degC_is_at_least() -> None:
    heat = wire_heat([WireRun("x", parse_gauge("16 AWG"))], [steady_load(120.0, 60.0)])[0]
    assert heat.valid_to_s is not None and 5 < heat.valid_to_s < 60
    assert heat.peak.value == 250.0 and heat.peak.high == math.inf and "at least" in heat.peak.basis
    assert (heat.temp_degC <= 250.0).all()
    assert (heat.temp_degC[heat.t_s >= heat.valid_to_s] == 250.0).all()
    assert heat.first_above_s(250.0) == heat.valid_to_s


def test_carrying_on_from_the_end() -> None:
    """Two halves, the second started from the end of the first, are one."""
    run = WireRun("x", 2.0)
    whole = wire_heat([run], [steady_load(45.0, 40.0)])[0]
    first = wire_heat([run], [steady_load(45.0, 20.0)])[0]
    second = wire_heat([run], [steady_load(45.0, 20.0)], start_degC=first.end_degC[None, :])[0]
    assert second.temp_degC[-1] == pytest.approx(whole.temp_degC[-1], abs=1e-6)
    warm = wire_heat([run], [steady_load(0.0, 20.0)], 20.0, start_degC=[60.0])[0]
    assert warm.temp_degC[0] == 60.0 and warm.peak.value == 60.0 and warm.temp_degC[-1] < 55.0


def test_times_above_a_limit() -> None:
    heat = wire_heat([WireRun("x", 2.0)], [steady_load(60.0, 60.0)])[0]
    at = heat.first_above_s(105.0)
    assert at is not None
    assert heat.time_above_s(105.0) == pytest.approx(60.0 - at, abs=1e-6)
    assert heat.first_above_s(10.0) == 0.0
    assert heat.first_above_s(249.0) is None or heat.peak.value > 249
    assert heat.time_above_s(400.0) == 0.0


def test_inputs_outside_the_model_are_refused() -> None:
    run = WireRun("x", 2.0)
    load = steady_load(10.0, 5.0)
    with pytest.raises(OutsideValidity, match="air at 200 degC"):
        wire_heat([run], [load], 200.0)
    with pytest.raises(ValueError, match="2 runs but 1 loads"):
        wire_heat([run, run], [load])
    with pytest.raises(ValueError, match="one set of bin edges"):
        wire_heat([run, run], [load, steady_load(10.0, 6.0)])
    assert wire_heat([], []) == ()


def test_run_of_a_build_file() -> None:
    wire = Wire.model_validate(
        {"id": "lead", "from": "pack", "to": "x", "gauge": "12 AWG", "insulation": "silicone", "parallel": 2}
    )
    run = run_of_wire(wire)
    assert run.area_mm2 == pytest.approx(parse_gauge("12 AWG")) and run.parallel == 2
    for left_out, word in (("gauge", "gauge"), ("insulation", "insulation")):
        with pytest.raises(OutsideValidity, match=f"state {word}"):
            run_of_wire(wire.model_copy(update={left_out: None}))


@given(st.floats(1, 150), st.floats(1.01, 1.5), st.sampled_from(["20 AWG", "14 AWG", "10 AWG", "4 mm2"]))
@settings(max_examples=20, deadline=None)
def test_more_current_is_hotter(current: float, factor: float, gauge: str) -> None:
    run = WireRun("x", parse_gauge(gauge))
    load = steady_load(current, 20.0)
    less, more = wire_heat([run, run], [load, load.scaled(factor)])
    assert (more.temp_degC >= less.temp_degC - 1e-9).all()
    assert (less.low_degC <= less.temp_degC + 1e-9).all() and (less.temp_degC <= less.high_degC + 1e-9).all()


@given(st.sampled_from(["20 AWG", "14 AWG", "10 AWG"]), st.floats(5, 40))
@settings(max_examples=10, deadline=None)
def test_thicker_wire_is_cooler(gauge: str, current: float) -> None:
    area_mm2 = parse_gauge(gauge)
    load = steady_load(current, 60.0)
    thin, thick = wire_heat([WireRun("a", area_mm2), WireRun("b", area_mm2 * 1.6)], [load, load])
    assert thick.peak.value <= thin.peak.value


@pytest.mark.parametrize("awg", [14, 16, 18, 20, 22, 24, 26, 28])
@pytest.mark.parametrize("hottest_degC", [60.0, 110.0, 160.0])
def test_the_interval_holds_a_wire_that_convects_by_another_law(awg: int, hottest_degC: float) -> None:
    """The demo's simulation: one node, Morgan 1975, its own air and jacket; the outer diameter is stated.

    Its hottest after three minutes at a steady current lies in the interval of our figure (air known to 1 K; half a
    kelvin is left to its one node and its steps of 0.1 s).
    """
    from sample_data.heat import WireHeat
    from sample_data.parts import Run

    def simulated(current_A: float) -> tuple[float, float]:
        wire = WireHeat((Run("run", "a", "b", awg, 100.0),), 25.0)
        load = np.array([current_A**2])
        hottest = 25.0
        for _ in range(1800):
            hottest = float(wire.step(load, 0.1)[0])
            if hottest > 2 * hottest_degC:
                break
        return hottest, float(wire.outer_m[0])

    low, high = 0.1, 200.0
    for _ in range(14):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if simulated(middle)[0] < hottest_degC else (low, middle)
    truth, outer_m = simulated(low)
    run = WireRun("run", parse_gauge(f"{awg} AWG"), enclosed=False, outer_diameter_mm=outer_m * 1e3)
    peak = wire_heat([run], [steady_load(low, 180.0)], 25.0, air_uncertainty_K=1.0)[0].peak
    assert peak.low - 0.5 <= truth <= peak.high
