"""The labelled matches are themselves checked: physics, labels, determinism, and the scorer against known reviews.

The ratings of healthy matches are held here by code of this file alone, by the rule of the contract, section 4: the
worst r.m.s. of every window, burst up to burst_s, continuous from 60 s, linear in A over log t between.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import numpy.typing as npt
import pytest

from analysis.findings import CAUSES
from tests.synthetic.scenarios.catalogue import all_recipes, cause_recipes, ci_subset
from tests.synthetic.scenarios.healthy import healthy, healthy_recipes
from tests.synthetic.scenarios.heat import binned_square, wire_degC
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import QUALITY, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.robot import RPM_PER_RAD_S, awg_mm2
from tests.synthetic.scenarios.score import judge, score
from tests.synthetic.scenarios.simulate import REGULATOR_EFFICIENCY, STANDBY_A, Truth, simulate
from tests.synthetic.scenarios.world import BUS, CELLS, PACK, World

Floats = npt.NDArray[np.float64]
MARGIN = 0.9  # healthy matches keep every maximum to 90 % of it

RECIPES = {recipe.name: recipe for recipe in all_recipes()}
FIRST = [recipe.name for recipe in cause_recipes() if recipe.name.endswith("_0")]


@pytest.fixture(scope="module")
def plain() -> Truth:
    plan = new_plan("plain match")
    ordinary_match(plan)
    return simulate(plan)


def test_every_cause_has_at_least_five_variants() -> None:
    made = [recipe.cause for recipe in cause_recipes()]
    for cause in CAUSES:
        if cause != "unknown":
            assert made.count(cause) >= 5, cause
    assert len(RECIPES) == len(all_recipes())
    assert len(list(healthy_recipes())) >= 40
    assert 100 <= len(ci_subset()) <= 130


def test_charge_balances(plain: Truth) -> None:
    """Charge drawn is the integral of the pack current."""
    total_Ah = float(np.sum(plain.x["pack_A"] * plain.dt_s)) / 3600.0
    assert plain.x["drawn_Ah"][-1] == pytest.approx(total_Ah, rel=1e-9)


def test_bus_currents_balance(plain: Truth) -> None:
    """Kirchhoff at the distribution: pack current = loads + standby + regulator + what the capacitor takes."""
    x, dt = plain.x, plain.dt_s
    before = np.concatenate([[0.0], x["bus_V"][:-1]])
    capacitor = plain.plan.robot.bus_mF * 1e-3 * (x["bus_V"] - before) / dt
    fixed = STANDBY_A + x["rail_V"] * x["rail_A"] / (REGULATOR_EFFICIENCY * before.clip(4.0))
    residual = x["pack_A"] - x["weapon_A"] - x["left_A"] - x["right_A"] - fixed - capacitor
    assert np.abs(residual[plain.t_s > 1.0]).max() < 1e-6


def test_weapon_energy_balances(plain: Truth) -> None:
    """Electrical energy into the weapon = kinetic + drag + heat in winding and leads, hits taken out."""
    robot, x, dt = plain.plan.robot, plain.x, plain.dt_s
    until = plain.t_s < min(at for at, _ in plain.plan.hits) - 0.05
    on = until & (x["weapon_on"] > 0.5)
    w, i_in, i_m = x["weapon_rad_s"], x["weapon_A"], x["weapon_motor_A"]
    electric = float(np.sum((x["bus_V"] * i_in * dt)[on]))
    kinetic = 0.5 * robot.weapon_inertia * float(w[on][-1]) ** 2
    drag = float(np.sum(((robot.weapon_drag * w**2 + robot.weapon_friction_Nm) * w * dt)[on]))
    heat = i_m**2 * robot.weapon_winding_mohm * 1e-3 + i_in**2 * robot.weapon_path_mohm * 1e-3
    assert electric == pytest.approx(kinetic + drag + float(np.sum((heat * dt)[on])), rel=0.03)


def test_weapon_speed_is_its_constant_times_voltage_less_drop(plain: Truth) -> None:
    """n = kv (duty V − I R), the DC motor model (reference: tests/reference/motor.csv, speed_under_load)."""
    x, robot = plain.x, plain.plan.robot
    steady = (x["weapon_rad_s"] > 1250.0) & (x["weapon_motor_A"] > 3.0)
    inner = x["weapon_duty"] * x["weapon_V"] - x["weapon_motor_A"] * robot.weapon_winding_mohm * 1e-3
    rpm = x["weapon_rad_s"] * RPM_PER_RAD_S
    assert np.median(np.abs(rpm[steady] / (robot.weapon_kv * inner[steady]) - 1.0)) < 0.005


def test_cells_add_up_to_the_pack(plain: Truth) -> None:
    world, t = World(plain), np.arange(0.5, 60.0, 0.01)
    total = np.sum([world(channel, t) for channel in CELLS], axis=0)
    assert np.abs(total - world("pack_voltage_V", t)).max() < 0.02  # the rest table is linear between its points


def test_a_spinning_weapon_holds_the_bus_up_after_the_disconnect_opened() -> None:
    plan = new_plan("bus decay")
    ordinary_match(plan, hits=0, pushes=0)
    at = plan.start_s + 20.0
    plan.quick(at - 0.1, at + 0.2)
    plan.change("open_path", at, plan.total_s, 1.0)
    truth = simulate(plan)
    back_emf = truth.at("weapon_rad_s", np.array([at + 0.1]))[0] / (plan.robot.weapon_kv / RPM_PER_RAD_S)
    bus = truth.at("bus_V", np.array([at + 0.1]))[0]
    assert truth.at("pack_A", np.array([at + 0.1]))[0] == 0.0
    assert 0.85 * back_emf < bus < 1.15 * back_emf
    assert truth.x["bus_V"][-1] < 0.8 * back_emf


def test_stall_current_is_volts_over_ohms() -> None:
    """I = duty V / (winding + leads); reference: tests/reference/motor.csv, stall_current_ideal."""
    made = RECIPES["stall_1"].make()
    assert made.truth is not None
    robot = made.truth.plan.robot
    t = np.array([made.start_s + 0.5])
    ohm = (robot.drive_winding_mohm + robot.drive_path_mohm) * 1e-3
    expected = made.truth.at("right_duty", t)[0] * made.truth.at("bus_V", t)[0] / ohm
    assert abs(made.truth.at("right_motor_A", t)[0]) == pytest.approx(abs(expected), rel=0.01)


@pytest.mark.parametrize("name", FIRST)
def test_scenario_is_well_formed(name: str) -> None:
    made = RECIPES[name].make()
    last = max(float(s.table["time_s"].to_numpy()[-1]) for log in made.logs for s in log.streams)
    assert 0.0 <= made.start_s <= made.end_s <= last + 1.0
    assert 8.0 <= made.window[0] <= 12.0 and made.window[0] < made.window[1] <= last + 1.0
    assert made.cause not in made.forbidden and not set(made.accept) & set(made.forbidden)
    # company may be elsewhere in the match, or follow, and yet be wrong for the event itself
    later = {"hit", "push", "spin_up", "current_limit", "low_voltage_cutoff", "logger_gap", "truncated"}
    assert set(made.forbidden) & set(made.also) <= later
    assert {*made.forbidden, *made.accept, *made.also, made.cause} <= set(CAUSES)
    assert made.visible, made.why_hidden
    known = {*made.build.part_kinds(), "pack", "receiver", "link", "chassis", "distribution"}
    channels = {channel for log in made.logs for channel in log.channels}
    known |= {f"cell{n}" for n in range(1, 7)} | channels
    if made.cause not in QUALITY:
        assert set(made.parts) <= known
    for log in made.logs:
        for stream in log.streams:
            t = stream.table["time_s"].to_numpy()
            assert t[0] == 0.0 and (np.diff(t) > 0).all()
            for channel in stream.channels:
                column = stream.table[channel].to_numpy(zero_copy_only=False)
                assert stream.table[channel].null_count or np.isfinite(column).all()


def test_same_name_same_bytes_other_name_other_bytes() -> None:
    one, again = RECIPES["hit_1"].make(), RECIPES["hit_1"].make()
    assert [log.provenance.sha256 for log in one.logs] == [log.provenance.sha256 for log in again.logs]
    assert one.logs[0].streams[0].table.equals(again.logs[0].streams[0].table)
    assert RECIPES["hit_0"].make().logs[0].provenance.sha256 != one.logs[0].provenance.sha256


def test_poor_sensors_are_poorer_and_ten_bits_wide() -> None:
    plan = new_plan("grades")
    ordinary_match(plan)
    truth = simulate(plan)
    logs = {
        grade: finish("grades", "", plan, [recorder(100.0, grade, PACK, BUS)], None, truth=truth).logs[0].to_pandas()
        for grade in ("good", "poor")
    }
    quiet = {grade: frame[(frame.index > 3.5) & (frame.index < 7.5)] for grade, frame in logs.items()}
    assert quiet["good"]["pack_voltage_V"].std() < 0.015 < quiet["poor"]["pack_voltage_V"].std()
    assert 0.05 < quiet["good"]["pack_current_A"].std() < 0.2 < 0.4 < quiet["poor"]["pack_current_A"].std()
    assert logs["poor"]["pack_current_A"].nunique() <= 1024


def worst_rms(square: Floats, seconds: float, step_s: float) -> float:
    count = max(1, round(seconds / step_s))
    total = np.concatenate([[0.0], np.cumsum(square)])
    if count >= square.size:
        return math.sqrt(total[-1] / square.size)
    return math.sqrt(float((total[count:] - total[:-count]).max()) / count)


def allowed(burst: float, burst_s: float, continuous: float, seconds: float) -> float:
    if seconds <= burst_s:
        return burst
    if seconds >= 60.0:
        return continuous
    return burst + (continuous - burst) * math.log(seconds / burst_s) / math.log(60.0 / burst_s)


FLAVOURS = ["hard_hits", "pushes_and_braking", "long", "plug_in", "ordinary", "few_channels"]


@pytest.mark.parametrize("flavour", FLAVOURS)
def test_healthy_matches_keep_every_rating(flavour: str) -> None:
    name = f"healthy_{flavour}_good_100hz"
    made = healthy(name, 100.0, "good", flavour)
    truth, build, pack = made.truth, made.build, made.pack
    assert truth is not None
    step = 0.01
    t = np.arange(truth.plan.plug_in_s + 0.3, truth.plan.total_s, step)
    of = {c.id: c for c in build.controllers}
    currents = {
        "weapon": ("weapon_A", of["weapon"]), "left_drive": ("left_motor_A", of["left_drive"]),
        "right_drive": ("right_motor_A", of["right_drive"]),
    }  # fmt: skip
    for seconds in (0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 20, 30, 45, 60, 90):
        for part, (column, controller) in currents.items():
            rms = worst_rms(truth.at(column, t) ** 2, seconds, step)
            assert controller.burst_A and controller.burst_s and controller.continuous_A
            limit = allowed(controller.burst_A, controller.burst_s, controller.continuous_A, seconds)
            assert rms <= MARGIN * limit, (part, seconds)
        rms = worst_rms(truth.at("pack_A", t) ** 2, seconds, step)
        assert pack.burst_C and pack.continuous_C
        assert rms <= MARGIN * pack.capacity_Ah * allowed(pack.burst_C, 10.0, pack.continuous_C, seconds)
    for contact in build.contacts:
        column = {"weapon_terminal": "weapon_A", "left_terminal": "left_A", "right_terminal": "right_A"}.get(
            contact.id, "pack_A"
        )
        assert contact.rated_A
        assert worst_rms(truth.at(column, t) ** 2, 60.0, step) <= MARGIN * contact.rated_A
    assert build.fuses[0].rated_A
    assert worst_rms(truth.at("weapon_A", t) ** 2, 0.1, step) <= MARGIN * build.fuses[0].rated_A * 1.1
    world = World(truth)
    lowest = np.convolve(world("cell_min_V", t), np.full(100, 0.01), mode="valid").min()
    assert lowest >= 3.3 + 0.1 * (4.2 - 3.3)
    match = (t > truth.plan.start_s - 5) & (t < truth.plan.end_s)
    assert truth.at("rail_V", t)[match].min() >= 4.1 and truth.at("rail_A", t).max() <= MARGIN * 5.0
    assert truth.at("weapon_V", t)[match].min() > 17.0 + 0.1 * (25.2 - 17.0)
    assert truth.at("bus_V", t).max() < MARGIN * 34.0
    for channel, limit in (
        ("weapon_temp_degC", 105.0), ("weapon_motor_temp_degC", 155.0), ("left_drive_temp_degC", 100.0),
        ("right_drive_temp_degC", 100.0), ("pack_temp_degC", 60.0),
    ):  # fmt: skip
        assert world(channel, t).max() < 25.0 + MARGIN * (limit - 25.0), channel
    for run, column in (("battery_lead", "pack_A"), ("weapon_lead", "weapon_A"), ("left_lead", "left_A")):
        wire = next(w for w in build.wires if w.id == run)
        assert wire.gauge
        _, square = binned_square(truth.t_s, truth.x[column], truth.dt_s)
        hottest = wire_degC(square, awg_mm2(int(wire.gauge.split()[0])), truth.plan.robot.air_degC).max()
        assert hottest < 25.0 + MARGIN * (183.0 - 25.0), run
    assert not truth.events


def test_healthy_matches_are_not_dull() -> None:
    """They hold what could be mistaken: large peaks, negative current, hits, and the inrush."""
    hard = healthy("healthy_hard_hits_good_100hz", 100.0, "good", "hard_hits").truth
    brake = healthy("healthy_pushes_and_braking_good_100hz", 100.0, "good", "pushes_and_braking").truth
    assert hard is not None and brake is not None
    assert hard.x["pack_A"].max() > 120.0 and len(hard.plan.hits) >= 8
    assert brake.x["pack_A"].min() < -25.0
    frame = RECIPES["healthy_plug_in_good_100hz"].make().logs[0].to_pandas()
    assert frame["distribution_voltage_V"].iloc[:40].max() < 0.1 and frame["distribution_voltage_V"].iloc[150] > 24.0


def perfect(made: Scenario) -> SimpleNamespace:
    """The review that the label describes."""
    if made.cause in QUALITY:
        channel = made.parts[0] if made.parts else None
        note = SimpleNamespace(code=made.cause, channel=channel, part="", start_s=made.start_s, end_s=made.end_s)
        return SimpleNamespace(findings=(), quality=(note,))
    finding = SimpleNamespace(
        kind=made.kind, cause=made.cause, part=made.parts[0], could_be=(), start_s=made.start_s + 0.2,
        end_s=made.end_s, verdict="fault", confidence="certain", occurrences=(), channel=None,
    )  # fmt: skip
    return SimpleNamespace(findings=(finding,), quality=())


NAMES = ["stall_0", "drag_1", "logger_gap_0", "weak_cell_0", "radio_loss_1", "sensor_clipped_0"]


def test_scorer_passes_a_perfect_review_and_fails_a_blind_one() -> None:
    scenarios = [RECIPES[name].make() for name in NAMES]
    by_match = {made.match.id: made for made in scenarios}
    good = score(scenarios, lambda logs, build, pack, match: perfect(by_match[match.id]))
    assert good.recall() == 1.0 and good.false_alarms_per_match == 0.0 and good.twins == 0 and not good.failures()
    blind = score(scenarios, lambda logs, build, pack, match: SimpleNamespace(findings=(), quality=()))
    assert blind.recall() == 0.0 and len(blind.failures()) == len(NAMES)
    assert "| stall | 1 | 1 | 0 | 0.00 |" in blind.to_markdown()


def test_scorer_sees_wrong_part_wrong_time_twins_and_false_alarms() -> None:
    made = RECIPES["stall_0"].make()
    right = perfect(made).findings[0]

    def state(*findings: SimpleNamespace) -> tuple[str, int, int]:
        outcome = judge(made, SimpleNamespace(findings=findings, quality=()))
        return outcome.state, len(outcome.false_alarms), len(outcome.twins)

    def but(**changes: object) -> SimpleNamespace:
        return SimpleNamespace(**{**vars(right), **changes})

    assert state(right) == ("found", 0, 0)
    assert state(but(part="right_drive")) == ("wrong_part", 1, 0)
    assert state(but(part="left_lead", could_be=("left_motor",))) == ("found", 0, 0)
    assert state(but(start_s=made.start_s - 0.7)) == ("wrong_time", 0, 0)
    assert state(but(start_s=1.0, occurrences=((made.start_s + 0.4, made.end_s),))) == ("found", 0, 0)
    assert state(right, but(cause="winding_short")) == ("found", 1, 1)
    assert state(right, but(cause="winding_short", confidence="possible", verdict="note")) == ("found", 0, 0)
    assert state(but(cause="weak_cell", part="cell1")) == ("missed", 1, 0)


def test_scorer_on_healthy_and_hidden_matches() -> None:
    calm = RECIPES["healthy_few_channels_good_50hz"].make()
    note = SimpleNamespace(
        kind="current_spike", cause="hit", part="weapon", could_be=(), start_s=20.0, end_s=20.4, verdict="note",
        confidence="likely", occurrences=(), channel=None,
    )  # fmt: skip
    loud = SimpleNamespace(**{**vars(note), "verdict": "over"})
    assert not judge(calm, SimpleNamespace(findings=(note,), quality=())).false_alarms
    assert len(judge(calm, SimpleNamespace(findings=(note, loud), quality=())).false_alarms) == 1
    hidden = RECIPES["weak_cell_5"].make()
    assert not hidden.visible and "cell" in hidden.why_hidden
    assert judge(hidden, SimpleNamespace(findings=(), quality=())).state == "hidden"
    assert judge(replace(hidden, visible=True), SimpleNamespace(findings=(), quality=())).state == "missed"
