"""What takes the power away: the disconnect opened or bouncing, the weapon's fuse. Signatures by Kirchhoff's laws."""

from __future__ import annotations

from tests.synthetic.scenarios.bench import Maker, all_in_one, pick, setup, split
from tests.synthetic.scenarios.causes_wiring import BATTERY_PARTS, COMPANY, WEAPON_RUN
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.robot import Paper, Robot
from tests.synthetic.scenarios.world import LEFT, PACK, RIGHT, SHOCK, WEAPON


def disconnect_opened(name: str, k: int) -> Scenario:
    """The disconnect (or the plug) opens for good: pack current to nothing and pack voltage back to rest within
    milliseconds, every load gone together; the bus falls as its capacitors and the spinning weapon feed it. A logger
    on the bus stops with it and alone cannot say why (variant 5)."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan, 16.0, 12.0)
    ordinary_match(plan, [(at - 1.5, plan.end_s)])
    if k % 2 == 0:
        plan.hit(at - 0.01, float(plan.rng.uniform(200, 340)), 0.7)
    if k == 1:  # the weapon already stands: the bus collapses at once
        plan.change("cw", at - 8.0, plan.total_s, 0.0)
        plan.change("drag_w", at - 8.0, plan.total_s, 50.0)
    plan.quick(at - 0.02, at + 0.3)
    plan.change("open_path", at, plan.total_s, 1.0)
    devices = {1: split(rate, grade), 3: split(rate, grade), 5: split(rate, grade)[1:3]}.get(k, all_in_one(rate, grade))
    if k == 6:
        devices = split(rate, grade)[:2]
    label = Label(
        "power_loss", (*BATTERY_PARTS, "pack", "distribution"), at, plan.total_s,
        needs=("pack_voltage_V", "pack_current_A"),
        forbidden=("fuse_opened", "logger_gap", "truncated", "radio_loss", "pack_empty", "low_voltage_cutoff"),
        accept=("truncated",) if k == 5 else (),
        also=(*COMPANY, "brown_out", "undervoltage_restart", "regeneration_trip", "low_voltage_cutoff", "logger_gap",
              "truncated"),
    )  # fmt: skip
    return finish(name, "disconnect_opened", plan, devices, label, window_end_s=at)


def disconnect_bounce(name: str, k: int) -> Scenario:
    """The disconnect opens for 20 to 150 ms under a blow and closes again, once to three times: pack current gone and
    pack voltage at rest for that long, then everything goes on. A spinning weapon holds the bus up meanwhile; with
    the weapon standing the bus collapses and controllers and receiver start again."""
    rate, grade = setup(k, slowest_Hz=50.0)
    plan = new_plan(name)
    at = pick(plan)
    least = 3.4 / rate
    ordinary_match(plan, [(at - 2.0, at + 3.0)])
    plan.hit(at - 0.005, float(plan.rng.uniform(230, 340)), 0.7)
    for side in ("l", "r"):
        plan.change(f"c{side}", at - 0.6, at + 1.0, 0.8)
        plan.change(f"push_{side}_A", at - 0.5, at + 1.0, 28.0)
    if k in (2, 4):
        plan.change("cw", at - 7.0, at + 3.0, 0.0)
        plan.change("drag_w", at - 7.0, at, 50.0)
    t, spans = at, []
    for _ in range(int(plan.rng.integers(1, 4))):
        length = max(least, float(plan.rng.uniform(0.02, 0.09)))
        spans.append((t, t + length))
        plan.change("open_path", t, t + length, 1.0)
        t += length + float(plan.rng.uniform(0.04, 0.2))
    plan.quick(at - 0.01, t + 0.1)
    devices = {1: split(rate, grade), 5: [recorder(rate, grade, WEAPON, SHOCK)]}.get(k, all_in_one(rate, grade))
    label = Label(
        "power_loss", (*BATTERY_PARTS, "pack", "distribution"), at, spans[-1][1], needs=("pack_current_A",),
        forbidden=("disconnect_opened", "logger_gap", "fuse_opened", "radio_loss", "joint_step"),
        accept=("joint_intermittent",), occurrences=tuple(spans),
        also=(*COMPANY, "brown_out", "undervoltage_restart", "low_voltage_cutoff", "sensor_clipped"),
    )  # fmt: skip
    return finish(name, "disconnect_bounce", plan, devices, label)


def fuse_opened(name: str, k: int) -> Scenario:
    """The weapon's fuse melts after a second or so at 2.3 times its rating (ISO 8820-3 allows 0.1 to some 4 s there):
    the branch's current stops for good and its voltage falls with the weapon's own back-EMF, while the bus is sound
    and the drives go on."""
    rate, grade = setup(k)
    robot = Robot(weapon_input_limit_A=140.0, weapon_motor_limit_A=210.0)
    plan = new_plan(name, robot)
    at = pick(plan, 16.0, 12.0)
    heavy = float(plan.rng.uniform(0.9, 1.6))
    ordinary_match(plan, [(at - heavy - 1.5, at + 1.5)], hits=2)
    plan.hits = [hit for hit in plan.hits if hit[0] < at]
    plan.change("drag_w", at - heavy, at, 15.0)
    plan.quick(at - 0.02, at + 0.2)
    plan.change("open_weapon", at, plan.total_s, 1.0)
    devices = {1: split(rate, grade), 4: split(rate, grade), 5: [recorder(rate, grade, PACK, LEFT, RIGHT)]}.get(
        k, all_in_one(rate, grade)
    )
    label = Label(
        "power_loss", (*WEAPON_RUN, "weapon"), at, plan.total_s,
        needs_any=(
            ("weapon_input_current_A",), ("weapon_voltage_V",), ("pack_voltage_V", "distribution_voltage_V"),
        ),
        forbidden=(
            "disconnect_opened", "sync_loss", "logger_gap", "radio_loss", "thermal_limit", "low_voltage_cutoff",
        ),
        also=(*COMPANY, "drag", "stall", "undervoltage_restart", "truncated", "logger_gap", "low_voltage_cutoff"),
    )  # fmt: skip
    paper = Paper(weapon_fuse_A=60.0, weapon_limit_A=140.0)
    return finish(name, "fuse_opened", plan, devices, label, paper)


POWER: dict[str, tuple[Maker, int]] = {
    "disconnect_opened": (disconnect_opened, 8), "disconnect_bounce": (disconnect_bounce, 7),
    "fuse_opened": (fuse_opened, 7),
}  # fmt: skip
