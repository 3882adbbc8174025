"""What motors do when something in them or on them is wrong: out of step, no start, shorted turns, drag, brushes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.bench import Maker, all_in_one, pick, setup, split
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import Plan, ordinary_match
from tests.synthetic.scenarios.world import BUS, CELLS, LEFT, PACK, RIGHT, SHOCK, WEAPON, World

Floats = npt.NDArray[np.float64]

WEAPON_PARTS = ("weapon", "weapon_motor")
COMPANY = ("hit", "push", "spin_up", "undersampled", "current_limit")
CURRENT = ("weapon_motor_current_A", "weapon_input_current_A")


def ragged(
    rng: np.random.Generator, start: float, end: float, low: float, high: float, beat_s: float
) -> Callable[[Floats], Floats]:
    """Bursts of conductance, each about half of beat_s long and of its own height."""
    knots = [start]
    while knots[-1] < end:
        knots.append(knots[-1] + float(rng.uniform(0.35, 0.75)) * beat_s)
    edges = np.array(knots)
    level = rng.uniform(low, high, edges.size) * (np.arange(edges.size) % 2 == 0)
    return lambda t: level[np.clip(np.searchsorted(edges, t, side="right") - 1, 0, edges.size - 1)]


def out_of_step(plan: Plan, start: float, end: float, beat_s: float, strength: tuple[float, float]) -> None:
    """The bridge switches against the rotor: current in bursts, torque that averages to nothing."""
    plan.change("on_w", start, end, 0.0)
    plan.change("short_w_S", start, end, ragged(plan.rng, start, end, *strength, beat_s))
    plan.quick(start, end)


def blind(world: World, start: float, end: float, duty: float, scatter_rpm: float) -> None:
    """Out of step the controller reports the duty it applies and a speed that it has lost."""
    rng = np.random.default_rng(7)

    def inside(t: Floats) -> npt.NDArray[np.bool_]:
        return (t >= start) & (t < end)

    world.extra["weapon_duty_pct"] = lambda t, x: np.where(inside(t), duty * (0.9 + 0.1 * np.sin(40 * t)), x)
    world.extra["weapon_speed_rpm"] = lambda t, x: np.where(
        inside(t), np.abs(x + scatter_rpm * rng.standard_normal(t.size)), x
    )
    world.faults.append((start, end, 4.0))


def sync_loss(name: str, k: int) -> Scenario:
    """After a blow or a hard restart a sensorless controller loses the rotor: duty stays high, current comes in
    ragged bursts of 8 to 20 a second, the speed it reports jumps about and the true speed falls; 0.5 to 1.5 s, then
    a restart."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan)
    length = float(plan.rng.uniform(0.6, 1.5))
    ordinary_match(plan, [(at - 2.0, at + length + 3.0)])
    if k != 3:
        plan.hit(at, 230.0, 0.6)
    out_of_step(plan, at + 0.01, at + length, 0.1 if rate >= 50 else 0.35, (1.2, 5.0))
    plan.change("drag_w", at, at + length, 4.0)
    devices = {1: split(rate, grade), 5: [recorder(rate, grade, PACK, CELLS)]}
    devices[2] = [recorder(rate, grade, WEAPON, SHOCK)]
    label = Label(
        "motor_fault", WEAPON_PARTS, at, at + length, needs=("weapon_speed_rpm",),
        needs_any=(CURRENT, ("weapon_duty_pct", "weapon_command_pct")),
        forbidden=("stall", "short", "fuse_opened", "winding_short", "undervoltage_restart", "low_voltage_cutoff"),
        also=(*COMPANY, "start_failure"),
    )  # fmt: skip
    return finish(
        name, "sync_loss", plan, devices.get(k, all_in_one(rate, grade)), label,
        dress=lambda world: blind(world, at + 0.01, at + length, 90.0, 2500.0),
    )  # fmt: skip


def start_failure(name: str, k: int) -> Scenario:
    """The weapon is asked to start and does not: bursts two to five times a second at low duty, the rotor twitching
    at a few hundred rpm, for 1.5 to 5 s; then it starts (or is given up, variants 2 and 4)."""
    rate, grade = setup(k)
    plan = new_plan(name)
    ordinary_match(plan, hits=3)
    given_up = k in (2, 4)
    at = plan.start_s + 0.4
    length = float(plan.rng.uniform(2.0, 4.5))
    if k in (3, 6):  # later in the match, after the weapon was stopped
        at = pick(plan, 14.0, 12.0)
        plan.change("cw", at - 5.0, at, 0.0)
        plan.change("drag_w", at - 5.0, at, 60.0)
    end = at + length
    plan.hits = [hit for hit in plan.hits if not at - 6.0 < hit[0] < end + 1.5]
    if given_up:
        plan.hits = [hit for hit in plan.hits if hit[0] < at]
        plan.change("cw", end, plan.total_s, 0.0)
    out_of_step(plan, at + 0.02, end, float(plan.rng.uniform(0.25, 0.5)), (0.8, 3.0))
    plan.change("free_w", at, end, 0.0)
    rng = np.random.default_rng(11)

    def dress(world: World) -> None:
        blind(world, at + 0.02, end, 14.0, 0.0)
        world.extra["weapon_speed_rpm"] = lambda t, x: np.where(
            (t >= at + 0.02) & (t < end), np.abs(220.0 * rng.standard_normal(t.size)), x
        )

    devices = {1: split(rate, grade), 5: [recorder(rate, grade, PACK, CELLS)]}
    label = Label(
        "motor_fault", WEAPON_PARTS, at, end, needs=("weapon_speed_rpm", "weapon_command_pct"), needs_any=(CURRENT,),
        forbidden=("stall", "spin_up", "short", "winding_short", "fuse_opened", "drag"), accept=("sync_loss",),
        also=COMPANY,
    )  # fmt: skip
    return finish(name, "start_failure", plan, devices.get(k, all_in_one(rate, grade)), label, dress=dress)


def winding_short(name: str, k: int) -> Scenario:
    """Turns of the weapon motor short to each other: fewer turns work (more speed per volt, less resistance) and the
    shorted ones brake like an eddy current, so it draws five to eight times the running current at a speed that does
    not fit its constant, and heats fast. Drag alone keeps the constant."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan, 14.0, 18.0)
    ordinary_match(plan, [(at - 2.0, at + 3.0)])
    factor = float(plan.rng.uniform(4.0, 5.5))
    plan.change("ke_w", at, plan.total_s, lambda t: np.maximum(0.78, 1.0 - 0.44 * (t - at)))  # spreads within 0.5 s
    plan.change("rm_w", at, plan.total_s, 0.6)
    plan.change("drag_w", at, plan.total_s, factor, "times")
    devices = {1: split(rate, grade), 5: [recorder(rate, grade, PACK, BUS)]}
    extra = ("weapon_motor_temp_degC",)
    chosen = devices.get(k) or [recorder(rate, grade, all_in_one(rate, grade)[0].channels, extra)]
    label = Label(
        "motor_fault", WEAPON_PARTS, at, plan.end_s, needs=("weapon_speed_rpm", "weapon_voltage_V", "weapon_duty_pct"),
        needs_any=(CURRENT,), forbidden=("stall", "sync_loss", "short", "start_failure"), accept=("drag",),
        also=(*COMPANY, "thermal_limit"),
    )  # fmt: skip
    return finish(name, "winding_short", plan, chosen, label)


def drag(name: str, k: int) -> Scenario:
    """A bent blade, a bearing gone, something in the works: from one moment the weapon draws four to seven times its
    running current at nearly its old speed, and speed still equals kv·(duty·V − I·R)."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan, 14.0, 18.0)
    ordinary_match(plan, [(at - 2.0, at + 2.5)])
    if k % 2 == 0:
        plan.hit(at, 240.0, 0.7)
    plan.change("drag_w", at, plan.total_s, float(plan.rng.uniform(4.0, 7.0)), "times")
    devices = {1: split(rate, grade), 5: [recorder(rate, grade, PACK, BUS)]}
    devices[2] = [recorder(rate, grade, PACK, WEAPON)]
    label = Label(
        "motor_fault", WEAPON_PARTS, at, plan.end_s, needs=("weapon_speed_rpm",), needs_any=(CURRENT,),
        forbidden=("winding_short", "stall", "short", "sync_loss", "start_failure"), also=(*COMPANY, "thermal_limit"),
    )  # fmt: skip
    return finish(name, "drag", plan, devices.get(k, all_in_one(rate, grade)), label)


def brush_noise(name: str, k: int) -> Scenario:
    """Worn brushes lift and spark: the armature current of one drive becomes ragged, with drop-outs of a few ms, a
    spread of 30 % and more of the current, while its mean, its speed and the other drive's current stay as they
    were."""
    rate, grade = setup(k, slowest_Hz=50.0)
    side = "left" if k % 2 == 0 else "right"
    plan = new_plan(name)
    at = pick(plan, 14.0, 18.0) if k in (0, 3) else plan.start_s + 0.5
    ordinary_match(plan, pushes=4, push_A=(30, 45))
    spread = float(plan.rng.uniform(0.35, 0.55))

    def dress(world: World) -> None:
        rng = np.random.default_rng(13)
        ragged_x = rng.standard_normal(world.size) * spread
        ragged_x[rng.random(world.size) < 0.06] = -1.0  # the brush is off the bar
        ragged_x = np.maximum(ragged_x, -1.0)

        def factor(t: Floats) -> Floats:
            at_ms = np.clip(np.rint(t * 1000).astype(int), 0, world.size - 1)
            return np.where((t >= at) & (t < plan.total_s), ragged_x[at_ms], 0.0)

        def surplus(t: Floats) -> Floats:
            return world.truth.at(f"{side}_A", t) * factor(t)

        source = plan.robot.r0_mohm * 1e-3
        path = source + plan.robot.path_mohm * 1e-3
        for channel in ("motor_current_A", "input_current_A"):
            world.extra[f"{side}_drive_{channel}"] = lambda t, x: x * (1.0 + factor(t))
        world.extra["pack_current_A"] = lambda t, x: x + surplus(t)
        world.extra["pack_voltage_V"] = lambda t, x: x - source * surplus(t)
        for channel in ("distribution", "weapon", "left_drive", "right_drive"):
            world.extra[f"{channel}_voltage_V"] = lambda t, x: x - path * surplus(t)

    devices = {1: split(rate, grade), 5: [recorder(rate, grade, PACK, BUS)]}
    devices[2] = [recorder(rate, grade, PACK, LEFT, RIGHT)]
    label = Label(
        "motor_fault", (f"{side}_drive", f"{side}_motor"), at, plan.end_s,
        needs_any=((f"{side}_drive_motor_current_A", f"{side}_drive_input_current_A"),), timing="overlap",
        forbidden=("stall", "short", "joint_intermittent", "terminal_loose", "winding_short"), also=COMPANY,
    )  # fmt: skip
    return finish(name, "brush_noise", plan, devices.get(k, all_in_one(rate, grade)), label, dress=dress)


MOTOR: dict[str, tuple[Maker, int]] = {
    "sync_loss": (sync_loss, 7), "start_failure": (start_failure, 7), "winding_short": (winding_short, 7),
    "drag": (drag, 7), "brush_noise": (brush_noise, 7),
}  # fmt: skip
