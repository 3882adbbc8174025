"""Sets of causes that are easily taken for each other, each on the same kind of logger, new seeds throughout."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from tests.synthetic.scenarios.bench import Maker, all_in_one, setup, spans_where
from tests.synthetic.scenarios.causes_controller import CONTROLLER
from tests.synthetic.scenarios.causes_load import LOAD
from tests.synthetic.scenarios.causes_logger import LOGGER
from tests.synthetic.scenarios.causes_motor import MOTOR
from tests.synthetic.scenarios.causes_pack import PACKS
from tests.synthetic.scenarios.causes_power import POWER
from tests.synthetic.scenarios.causes_radio import RADIO
from tests.synthetic.scenarios.causes_wiring import WIRING
from tests.synthetic.scenarios.model import Label, Recipe, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.robot import Paper, Robot
from tests.synthetic.scenarios.simulate import Truth

MAKERS: dict[str, tuple[Maker, int]] = {
    **LOAD, **PACKS, **WIRING, **POWER, **CONTROLLER, **MOTOR, **RADIO, **LOGGER,
}  # fmt: skip

# set -> its causes; every one is made with variants 0 (100 Hz, good) and 3 (50 Hz, poor).
SETS: dict[str, tuple[str, ...]] = {
    "dropout": ("brown_out", "regulator_overload", "radio_loss", "disconnect_opened", "logger_gap"),
    "sag": ("weak_cell", "pack_resistance", "joint_step"),
    "age": ("cold_pack", "ageing"),
    "weapon": ("stall", "spin_up", "sync_loss", "winding_short"),
    "gone": ("disconnect_opened", "fuse_opened", "truncated"),
}


def clipped_plateau(name: str, k: int) -> Scenario:
    """The twin of current_limit: the same heavy spin-up at twice the limit, under a sensor that ends at 60 A."""
    rate, grade = setup(k)
    scale = 60.0
    robot = Robot(
        weapon_input_limit_A=120.0,
        weapon_motor_limit_A=300.0,
        weapon_inertia=3.4e-3,
        weapon_ramp_s=0.2,
        weapon_kv=520.0,
    )
    plan = new_plan(name, robot)
    ordinary_match(plan, hits=4)
    devices = [replace(d, full_scale={"weapon_input_current_A": scale}) for d in all_in_one(rate, grade)]

    def label(truth: Truth) -> Label:
        spans = spans_where(truth.t_s, truth.x["weapon_A"] > scale + 1.0, 0.02)
        start, end = max(spans, key=lambda span: span[1] - span[0])
        return Label(
            "", ("weapon_input_current_A", "weapon"), start, end, needs=("weapon_input_current_A",), timing="overlap",
            occurrences=spans, forbidden=("current_limit", "frozen_values"),
            also=("hit", "push", "spin_up", "undersampled"),
        )  # fmt: skip

    paper = Paper(weapon_fuse_A=140.0, weapon_limit_A=120.0)
    return finish(name, "sensor_clipped", plan, devices, label, paper)


def pair_recipes() -> Iterator[Recipe]:
    for k in (0, 3):
        for cause, maker in (("current_limit", MAKERS["current_limit"][0]), ("sensor_clipped", clipped_plateau)):
            name = f"pair_plateau_{cause}_{k}"
            yield Recipe(name, cause, partial(maker, name, k), "plateau")
        for group, causes in SETS.items():
            for cause in causes:
                name = f"pair_{group}_{cause}_{k}"
                yield Recipe(name, cause, partial(MAKERS[cause][0], name, k), group)
