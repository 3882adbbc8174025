"""What silences the receiver: the bus under its regulator, the regulator overloaded, the radio itself.

The three look alike from the driver's place. They differ in the rail (low, low, sound), in the bus (low, sound,
sound), in the rail's current (usual, past its rating, usual) and in the link figure (fine until the receiver is
off, or bad)."""

from __future__ import annotations

from tests.synthetic.scenarios.bench import Maker, all_in_one, pick, setup, split
from tests.synthetic.scenarios.causes_controller import wedged
from tests.synthetic.scenarios.loggers import recorder
from tests.synthetic.scenarios.model import FEWEST_SAMPLES, Label, Scenario, finish, new_plan
from tests.synthetic.scenarios.plan import ordinary_match
from tests.synthetic.scenarios.robot import Robot
from tests.synthetic.scenarios.simulate import Truth
from tests.synthetic.scenarios.world import BUS, LINK, PACK, RECEIVER, UPTIME, WEAPON

COMPANY = ("hit", "push", "spin_up", "undersampled", "current_limit", "stall")
RECEIVER_PARTS = ("receiver", "receiver_supply")


def brown_out(name: str, k: int) -> Scenario:
    """The bus falls under what the regulator needs (a joint or the disconnect open for 60 to 250 ms with the weapon
    standing), the rail follows it under the receiver's 4 V, and the receiver is away for 0.6 to 2 s after. Seen by
    the rail and the bus together; at a slow rate only by the receiver's uptime."""
    rate, grade = setup(k)
    reboot = (1.2, 0.6, 2.0, 0.8, 1.6, 1.0, 1.4)[k]
    plan = new_plan(name, Robot(reboot_s=reboot))
    at = pick(plan, 18.0, 9.0)
    ordinary_match(plan, [(at - 8.5, at + 4.0)])
    length = max(float(plan.rng.uniform(0.06, 0.16)), 3.6 / rate + 0.02 if rate > 10 else 0.4)
    plan.change("cw", at - 8.0, at + 3.0, 0.0)
    plan.change("drag_w", at - 8.0, at + 1.0, 50.0)
    wedged(plan, at - 0.4, at + 0.3)
    plan.change("open_path", at, at + length, 1.0)
    plan.quick(at - 0.02, at + length + 0.1)
    devices = {
        5: [recorder(rate, grade, PACK, WEAPON)],
        2: [recorder(rate, grade, PACK, BUS, RECEIVER, LINK, UPTIME)],
    }
    devices[1] = split(rate, grade)

    def label(truth: Truth) -> Label:
        when = truth.first("receiver_off", at - 0.1)
        assert when is not None, "the receiver must go"
        dip = (when, at + length)
        caught = (dip[1] - dip[0]) * rate >= FEWEST_SAMPLES
        return Label(
            "voltage_sag", RECEIVER_PARTS, when, dip[1] if caught else dip[1] + reboot,
            needs=("receiver_rail_voltage_V",),
            needs_any=(("distribution_voltage_V", "weapon_voltage_V", "pack_voltage_V"),),
            forbidden=("radio_loss", "regulator_overload", "logger_gap", "frozen_values"),
            also=(*COMPANY, "disconnect_bounce", "undervoltage_restart",
                  "joint_intermittent", "low_voltage_cutoff"),
        )  # fmt: skip

    return finish(name, "brown_out", plan, devices.get(k, all_in_one(rate, grade)), label)


def regulator_overload(name: str, k: int) -> Scenario:
    """The lifter jams: its servo asks 8 to 12 A of a rail rated 5 A; the regulator limits at 7.5 A and the rail sags
    to 4.7 to 3.2 V with the bus sound. Under the receiver's 4 V it restarts (a consequence)."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan)
    length = float(plan.rng.uniform(0.5, 1.6))
    ordinary_match(plan, [(at - 1.5, at + length + 2.5)])
    if k in (0, 4):  # the receiver holds: the servo alone jams
        plan.change("servo_A", at, at + length, float(plan.rng.uniform(8.3, 8.9)))
    else:  # a servo that fails inside does not let go with the command
        plan.change("rail_short_A", at, at + length, float(plan.rng.uniform(9.5, 12.0)))
    devices = {1: split(rate, grade), 5: [recorder(rate, grade, PACK, WEAPON)]}
    devices[2] = [recorder(rate, grade, PACK, BUS, RECEIVER)]
    label = Label(
        "voltage_sag", (*RECEIVER_PARTS,), at, at + length, needs=("receiver_rail_voltage_V",),
        needs_any=(("receiver_rail_current_A",), ("distribution_voltage_V", "weapon_voltage_V", "pack_voltage_V")),
        forbidden=("radio_loss", "logger_gap", "disconnect_bounce", "pack_resistance"),
        also=(*COMPANY, "brown_out", "undervoltage_restart"),
    )  # fmt: skip
    return finish(name, "regulator_overload", plan, devices.get(k, all_in_one(rate, grade)), label)


def radio_loss(name: str, k: int) -> Scenario:
    """The link fades or is covered: quality to nothing and strength to the noise, commands to zero after the failsafe
    delay, for 0.5 to 3 s; rail, bus and every uptime sound."""
    rate, grade = setup(k)
    plan = new_plan(name)
    at = pick(plan)
    length = float(plan.rng.uniform(0.7, 2.8))
    ordinary_match(plan, [(at - 1.0, at + length + 1.5)])
    plan.link_losses.append((at, at + length))
    for series in ("cw", "cl", "cr"):
        plan.change(series, at + 0.3, at + length, 0.0)
    devices = {1: split(rate, grade), 5: [recorder(rate, grade, PACK, WEAPON)]}
    devices[2] = [recorder(rate, grade, PACK, RECEIVER, LINK)]
    label = Label(
        "signal_dropout", ("link", "receiver"), at, at + length,
        needs_any=(("link_quality_pct", "link_strength_dBm", "link_failsafe_active"), ("receiver_rail_voltage_V",)),
        forbidden=("brown_out", "regulator_overload", "undervoltage_restart", "logger_gap", "disconnect_opened"),
        also=COMPANY,
    )  # fmt: skip
    return finish(name, "radio_loss", plan, devices.get(k, all_in_one(rate, grade)), label)


RADIO: dict[str, tuple[Maker, int]] = {
    "brown_out": (brown_out, 7), "regulator_overload": (regulator_overload, 7), "radio_loss": (radio_loss, 7),
}  # fmt: skip
