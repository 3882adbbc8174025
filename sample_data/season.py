"""The demo season: twelve invented matches, each with what was planted in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from . import devices as dev
from .loggers import Device
from .parts import BUILDS, PACKS, PackSpec
from .plants import NOTHING, JointStep, Plants
from .script import PRE_ROLL_s, Script, fight
from .simulate import simulate
from .truth import Truth

SEED = 20260314


@dataclass(frozen=True)
class Planted:
    """Something that a review should find; times are on the match clock."""

    kind: str
    cause: str
    part: str
    start_s: float
    end_s: float
    note: str


@dataclass(frozen=True)
class DemoMatch:
    """One match of the written demo: its files in the order in which they are to be added."""

    id: str
    files: list[Path]
    build: str
    pack: str
    planted: list[Planted]


@dataclass(frozen=True)
class Plan:
    """One match before it is simulated. Times in planted and plants_at are on the match clock."""

    id: str
    event: int
    opponent: str
    start: datetime
    fought_s: int
    result: str
    build: str
    pack: PackSpec
    minutes_to_next: int
    air_degC: float
    script: Script
    devices: tuple[Device, ...]
    plants: Plants = NOTHING
    planted: tuple[Planted, ...] = ()
    notes: str = ""
    reported_speed: Callable[[Truth, int], Truth] | None = field(default=None, repr=False)


EVENTS = {1: "Ostle Barn Open", 2: "Tarnwick Yard Cup", 3: "Millhythe Harvest Bout"}


def _at(match_s: float) -> float:
    return PRE_ROLL_s + match_s


def _usual(event: int) -> tuple[Device, ...]:
    return (
        dev.pack_logger(event),
        dev.weapon(event),
        dev.drive("left", event),
        dev.drive("right", event),
        dev.receiver(event),
    )


def _used(pack: PackSpec, start_degC: float, charge: float = 0.985, ageing: float = 1.0) -> PackSpec:
    return replace(
        pack, start_degC=start_degC, charge_start=charge, cell_mohm=tuple(r * ageing for r in pack.cell_mohm)
    )


def plans(seed: int = SEED) -> tuple[Plan, ...]:
    """The twelve matches, in order."""
    p1, p2 = PACKS["p1"], PACKS["p2"]
    weak = replace(p2, cell_mohm=(4.05, 4.1, 4.0, 11.0, 4.02, 4.08))
    return (
        Plan(
            "m01",
            1,
            "Lathe Widow",
            datetime(2026, 3, 14, 10, 5),
            160,
            "won",
            "a",
            _used(p1, 20.5),
            55,
            19.0,
            fight(seed + 1, 160.0, intensity=1.3),
            (dev.pack_logger(1, rate_Hz=100.0), dev.weapon(1, rate_Hz=100.0), *_usual(1)[2:]),
        ),
        _m02(seed),
        _m03(seed),
        Plan(
            "m04",
            1,
            "Pepper Quoin",
            datetime(2026, 3, 14, 15, 40),
            150,
            "won",
            "a",
            _used(weak, 22.0),
            70,
            20.0,
            fight(seed + 4, 150.0, intensity=1.3),
            _usual(1),
            planted=(
                Planted("voltage_sag", "weak_cell", "cell4", 18.0, 168.0, "cell 4 has 11 mΩ, the others about 4 mΩ"),
            ),
        ),
        _m05(seed),
        _m06(seed),
        _m07(seed),
        _m08(seed),
        _m09(seed),
        _m10(seed),
        _m11(seed),
        _m12(seed),
    )


def _m02(seed: int) -> Plan:
    start, wedged, free = 88.0, 97.0, 103.0
    script = fight(seed + 2, 165.0, intensity=1.2, no_hits_between=((86.0, 105.0),))
    ramp = np.interp(script.t_s, [_at(start) - 0.4, _at(start), _at(free), _at(free) + 0.45], [0.0, 1.0, 1.0, 0.0])
    left = script.left * (1.0 - ramp) + 1.0 * ramp
    right = script.right * (1.0 - ramp) + 0.35 * ramp
    script = replace(script, left=left, right=right)
    return Plan(
        "m02",
        1,
        "Old Tuppence",
        datetime(2026, 3, 14, 11, 30),
        165,
        "lost",
        "a",
        _used(PACKS["p1"], 22.0, 0.982, 1.005),
        60,
        19.5,
        script,
        (*_usual(1)[:2], dev.drive("left", 1, rate_Hz=50.0), dev.drive("right", 1, rate_Hz=50.0), dev.receiver(1)),
        Plants(stall=(_at(start), _at(free))),
        (
            Planted("motor_fault", "stall", "left_motor", start, free, "left wheels wedged, 45 A for 9 s"),
            Planted(
                "thermal_buildup",
                "thermal_limit",
                "left_drive",
                wedged,
                free,
                "the controller's own thermal limit lowers the motor current",
            ),
        ),
        "left side stopped pulling for a while",
    )


def _m03(seed: int) -> Plan:
    stalls = ((61.3, 61.9), (104.6, 105.1))
    script = fight(seed + 3, 145.0, intensity=1.3)
    calm = np.ones_like(script.t_s)
    for a, b in stalls:
        calm[(script.t_s > _at(a) - 1.0) & (script.t_s < _at(b) + 1.0)] = 0.0
    script = replace(script, lifter_A=0.12 + (script.lifter_A - 0.12) * calm)
    planted: list[Planted] = []
    for a, b in stalls:
        planted += [
            Planted("voltage_sag", "regulator_overload", "receiver_supply", a, b, "lifter stalled, rail at 3.4 V"),
            Planted("signal_dropout", "brown_out", "receiver", a, b + 0.8, "receiver below 4.0 V, starts again"),
        ]
    return Plan(
        "m03",
        1,
        "Millrace Aunt",
        datetime(2026, 3, 14, 13, 10),
        145,
        "lost",
        "a",
        _used(PACKS["p2"], 21.0),
        45,
        20.0,
        script,
        (dev.pack_logger(1, cells=False, rate_Hz=100.0), *_usual(1)[1:4], dev.receiver(1, rate_Hz=50.0, uptime=True)),
        Plants(lifter_stalls=tuple((_at(a), _at(b), 0.565) for a, b in stalls)),
        tuple(planted),
        "robot twitched twice when the lifter jammed",
    )


def _m05(seed: int) -> Plan:
    losses = ((49.2, 49.8), (88.5, 89.1), (131.4, 132.0))
    return Plan(
        "m05",
        2,
        "Tallow Mabel",
        datetime(2026, 5, 9, 11, 15),
        155,
        "won",
        "b",
        _used(PACKS["p1"], 21.0, 0.985, 1.01),
        65,
        18.0,
        fight(seed + 5, 155.0, intensity=1.3),
        _usual(2),
        Plants(link_losses=tuple((_at(a), _at(b)) for a, b in losses)),
        tuple(
            Planted("signal_dropout", "radio_loss", "link", a, b, "no radio for 0.6 s, rail steady")
            for a, b in losses
        ),
        "stopped for a blink three times",
    )


def _m06(seed: int) -> Plan:
    script = fight(seed + 6, 165.0, intensity=1.9, extra_hits=((74.0, 0.42),))
    return Plan(
        "m06",
        2,
        "Sir Dovetail",
        datetime(2026, 5, 9, 14, 20),
        165,
        "lost",
        "b",
        _used(PACKS["p1"], 22.0, 0.985, 1.01),
        40,
        18.0,
        script,
        (dev.pack_logger(2, cells=False, rate_Hz=100.0), dev.weapon(2, rate_Hz=100.0), *_usual(2)[2:]),
        Plants(joint_step=JointStep(_at(74.0), "pack_plug", 9.0)),
        (
            Planted("wiring_fault", "joint_step", "battery_lead", 74.0, 183.0, "9 mΩ more in the plug after a hit"),
            Planted("thermal_buildup", "contact_heating", "battery_lead", 74.0, 183.0, "the plug passes its limit"),
        ),
        "smelt warm afterwards",
    )


def _m07(seed: int) -> Plan:
    launches = (46.40, 79.38)
    hits = ((46.0, 0.15), (79.0, 0.15))
    script = fight(seed + 7, 150.0, intensity=1.1, extra_hits=hits, launches=launches, weapon_level=1.0)
    logger = dev.pack_logger(2, cells=False, rate_Hz=100.0)
    columns = tuple(
        replace(c, offset=3.1, full_scale=200.0) if c.channel == "pack_current_A" else c for c in logger.columns
    )
    return Plan(
        "m07",
        2,
        "Hobnail Gran",
        datetime(2026, 5, 9, 16, 45),
        150,
        "won",
        "b",
        _used(PACKS["p3"], 21.0),
        50,
        18.5,
        script,
        (replace(logger, columns=columns), *_usual(2)[1:]),
        planted=(
            Planted("quality", "sensor_clipped", "pack", 46.0, 80.5, "the pack current sensor ends at 200 A"),
            Planted("quality", "sensor_offset", "pack", 0.0, 180.0, "the pack current sensor reads 3.1 A too much"),
        ),
    )


def _m08(seed: int) -> Plan:
    script = fight(
        seed + 8,
        150.0,
        intensity=1.2,
        weapon_slow_from=90.5,
        extra_hits=((94.6, 0.62),),
        no_hits_between=((88.0, 98.0),),
    )
    shove = np.interp(script.t_s, [_at(94.0), _at(95.2)], [0.0, 1.0])
    push = np.where(script.t_s > _at(94.0), 0.42 * shove, script.push_Nm)
    script = replace(
        script,
        left=script.left * (1.0 - shove) + 0.70 * shove,
        right=script.right * (1.0 - shove) + 0.70 * shove,
        push_Nm=push,
    )
    return Plan(
        "m08",
        2,
        "Brasswick",
        datetime(2026, 5, 10, 10, 40),
        78,
        "lost",
        "b",
        _used(PACKS["p3"], 21.0, 0.985, 1.003),
        90,
        18.0,
        script,
        _usual(2),
        Plants(open_at_s=_at(96.0)),
        (
            Planted(
                "power_loss",
                "disconnect_opened",
                "main_disconnect",
                96.0,
                96.0,
                "everything behind the disconnect goes dark at once, the pack itself is well",
            ),
        ),
        "went dead in the middle of a push",
    )


def _m09(seed: int) -> Plan:
    script = fight(seed + 9, 150.0, intensity=1.8)
    return Plan(
        "m09",
        3,
        "Lathe Widow",
        datetime(2026, 9, 26, 10, 20),
        150,
        "won",
        "c",
        _used(PACKS["p3"], 23.0, 0.985, 1.005),
        60,
        21.0,
        script,
        (dev.fast_pack_logger(), dev.weapon(3, rate_Hz=100.0), *_usual(3)[2:]),
    )


def _m10(seed: int) -> Plan:
    losses = ((57.3, 57.9), (96.1, 96.7), (128.4, 129.0))
    script = fight(seed + 10, 155.0, intensity=1.2, no_hits_between=tuple((a - 4.0, b + 4.0) for a, b in losses))
    return Plan(
        "m10",
        3,
        "Flint Hen",
        datetime(2026, 9, 26, 13, 5),
        155,
        "lost",
        "c",
        _used(PACKS["p3"], 24.0, 0.985, 1.008),
        55,
        22.0,
        script,
        (dev.pack_logger(3), dev.weapon(3, rate_Hz=200.0), *_usual(3)[2:]),
        Plants(sync_losses=tuple((_at(a), _at(b)) for a, b in losses)),
        tuple(
            Planted("motor_fault", "sync_loss", "weapon", a, b, "the weapon motor falls out of step and restarts")
            for a, b in losses
        ),
        "weapon growled three times",
        _wild_speed,
    )


def _m11(seed: int) -> Plan:
    return Plan(
        "m11",
        3,
        "Pepper Quoin",
        datetime(2026, 9, 27, 8, 30),
        140,
        "won",
        "c",
        _used(PACKS["p1"], 8.0, 0.985, 1.12),
        80,
        9.0,
        fight(seed + 11, 140.0, intensity=1.1),
        _usual(3),
        planted=(
            Planted("voltage_sag", "cold_pack", "pack", 18.0, 158.0, "pack at 8 °C"),
            Planted("voltage_sag", "ageing", "pack", 18.0, 158.0, "pack 14 % over its first figure; confounded"),
        ),
        notes="frost in the car park, pack not warmed",
    )


def _m12(seed: int) -> Plan:
    return Plan(
        "m12",
        3,
        "Old Tuppence",
        datetime(2026, 9, 27, 12, 15),
        160,
        "won",
        "c",
        _used(PACKS["p3"], 22.0, 0.985, 1.01),
        45,
        16.0,
        fight(seed + 12, 160.0, intensity=1.2),
        (dev.slow_logger((92.0, 2.4)),),
        planted=(
            Planted("quality", "clock_reset", "pack", 92.0, 94.4, "the logger restarted, its clock at zero again"),
            Planted("quality", "undersampled", "pack", 0.0, 190.0, "2 Hz cannot show peaks"),
        ),
        notes="only the small logger was fitted",
    )


def _wild_speed(truth: Truth, seed: int) -> Truth:
    """Out of step the controller reports speeds that are not there."""
    rng = np.random.default_rng([seed, 41])
    rpm = truth.channels["weapon_motor_speed_rpm"].copy()
    for a, b in truth.plants.sync_losses:
        inside = (truth.t_s >= a) & (truth.t_s < a + 0.6 * (b - a))
        steps = np.repeat(rng.uniform(0.1, 1.8, int(inside.sum()) // 20 + 1), 20)[: int(inside.sum())]
        rpm[inside] = rpm[inside] * steps
    return replace(truth, channels={**truth.channels, "weapon_motor_speed_rpm": rpm})


def simulated(plan: Plan, seed: int = SEED) -> Truth:
    """The truth of one plan, as the loggers see it."""
    truth = simulate(
        BUILDS[plan.build], plan.pack, plan.script, plan.plants, air_degC=plan.air_degC, seed=seed + int(plan.id[1:])
    )
    return truth if plan.reported_speed is None else plan.reported_speed(truth, seed)
