"""Matches of the first event: build a; a clean match, a stall, an overloaded rail, a weak cell."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from . import devices as dev
from .parts import PACKS
from .plan import Plan, Planted, at, used, usual
from .plants import Plants
from .script import fight


def matches(seed: int) -> tuple[Plan, ...]:
    return (_m01(seed), _m02(seed), _m03(seed), _m04(seed))


def _m01(seed: int) -> Plan:
    return Plan(
        id="m01",
        event=1,
        opponent="Lathe Widow",
        start=datetime(2026, 3, 14, 10, 5),
        result="won",
        build="a",
        pack=used(PACKS["p1"], 20.5),
        minutes_to_next=55,
        air_degC=19.0,
        script=fight(seed + 1, 160.0, intensity=1.3),
        devices=(dev.pack_logger(1, rate_Hz=100.0), dev.weapon(1, rate_Hz=100.0), *usual(1)[2:]),
    )


def _m02(seed: int) -> Plan:
    start, wedged, free = 88.0, 97.0, 103.0
    script = fight(seed + 2, 165.0, intensity=1.2, no_hits_between=((86.0, 105.0),))
    ramp = np.interp(script.t_s, [at(start) - 0.4, at(start), at(free), at(free) + 0.45], [0.0, 1.0, 1.0, 0.0])
    left = script.left * (1.0 - ramp) + 1.0 * ramp
    right = script.right * (1.0 - ramp) + 0.35 * ramp
    script = replace(script, left=left, right=right)
    return Plan(
        id="m02",
        event=1,
        opponent="Old Tuppence",
        start=datetime(2026, 3, 14, 11, 30),
        result="lost",
        build="a",
        pack=used(PACKS["p1"], 22.0, 0.982, 1.005),
        minutes_to_next=60,
        air_degC=19.5,
        script=script,
        devices=(
            *usual(1)[:2],
            dev.drive("left", 1, rate_Hz=50.0),
            dev.drive("right", 1, rate_Hz=50.0),
            dev.receiver(1),
        ),
        plants=Plants(stall=(at(start), at(free))),
        planted=(
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
        notes="left side stopped pulling for a while",
    )


def _m03(seed: int) -> Plan:
    stalls = ((61.3, 61.9), (104.6, 105.1))
    script = fight(seed + 3, 145.0, intensity=1.3)
    calm = np.ones_like(script.t_s)
    for a, b in stalls:
        calm[(script.t_s > at(a) - 1.0) & (script.t_s < at(b) + 1.0)] = 0.0
    script = replace(script, lifter_A=0.12 + (script.lifter_A - 0.12) * calm)
    planted: list[Planted] = []
    for a, b in stalls:
        planted += [
            Planted("voltage_sag", "regulator_overload", "receiver_supply", a, b, "lifter stalled, rail at 3.4 V"),
            Planted("signal_dropout", "brown_out", "receiver", a, b + 0.8, "receiver below 4.0 V, starts again"),
        ]
    return Plan(
        id="m03",
        event=1,
        opponent="Millrace Aunt",
        start=datetime(2026, 3, 14, 13, 10),
        result="lost",
        build="a",
        pack=used(PACKS["p2"], 21.0),
        minutes_to_next=45,
        air_degC=20.0,
        script=script,
        devices=(
            dev.pack_logger(1, cells=False, rate_Hz=100.0),
            *usual(1)[1:4],
            dev.receiver(1, rate_Hz=50.0, uptime=True),
        ),
        plants=Plants(lifter_stalls=tuple((at(a), at(b), 0.565) for a, b in stalls)),
        planted=tuple(planted),
        notes="robot twitched twice when the lifter jammed",
    )


def _m04(seed: int) -> Plan:
    weak = replace(PACKS["p2"], cell_mohm=(4.05, 4.1, 4.0, 11.0, 4.02, 4.08))
    return Plan(
        id="m04",
        event=1,
        opponent="Pepper Quoin",
        start=datetime(2026, 3, 14, 15, 40),
        result="won",
        build="a",
        pack=used(weak, 22.0),
        minutes_to_next=70,
        air_degC=20.0,
        script=fight(seed + 4, 150.0, intensity=1.3),
        devices=usual(1),
        planted=(Planted("voltage_sag", "weak_cell", "cell4", 18.0, 168.0, "cell 4 has 11 mΩ, the others about 4 mΩ"),),
    )
