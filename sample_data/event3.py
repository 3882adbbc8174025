"""Matches of the third event: build c; heavy but clean, lost steps, a cold pack, a poor log."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from . import devices as dev
from .parts import PACKS
from .plan import Plan, Planted, at, used, usual
from .plants import BURST_SHARE, Plants
from .script import fight
from .truth import Truth


def matches(seed: int) -> tuple[Plan, ...]:
    return (_m09(seed), _m10(seed), _m11(seed), _m12(seed))


def _m09(seed: int) -> Plan:
    script = fight(seed + 9, 150.0, intensity=1.8)
    return Plan(
        id="m09",
        event=3,
        opponent="Lathe Widow",
        start=datetime(2026, 9, 26, 10, 20),
        result="won",
        build="c",
        pack=used(PACKS["p3"], 23.0, 0.985, 1.005),
        minutes_to_next=60,
        air_degC=21.0,
        script=script,
        devices=(dev.fast_pack_logger(), dev.weapon(3, rate_Hz=100.0), *usual(3)[2:]),
    )


def _m10(seed: int) -> Plan:
    losses = ((57.3, 58.2), (96.1, 97.0), (128.4, 129.3))
    script = fight(seed + 10, 155.0, intensity=1.2, no_hits_between=tuple((a - 4.0, b + 4.0) for a, b in losses))
    return Plan(
        id="m10",
        event=3,
        opponent="Flint Hen",
        start=datetime(2026, 9, 26, 13, 5),
        result="lost",
        build="c",
        pack=used(PACKS["p3"], 24.0, 0.985, 1.008),
        minutes_to_next=55,
        air_degC=22.0,
        script=script,
        devices=(dev.pack_logger(3), dev.weapon(3, rate_Hz=200.0), *usual(3)[2:]),
        plants=Plants(sync_losses=tuple((at(a), at(b)) for a, b in losses)),
        planted=tuple(
            Planted("motor_fault", "sync_loss", "weapon", a, b, "the weapon motor falls out of step and restarts")
            for a, b in losses
        ),
        notes="weapon growled three times",
        reported_speed=_wild_speed,
    )


def _m11(seed: int) -> Plan:
    return Plan(
        id="m11",
        event=3,
        opponent="Pepper Quoin",
        start=datetime(2026, 9, 27, 8, 30),
        result="won",
        build="c",
        pack=used(PACKS["p1"], 8.0, 0.985, 1.12),
        minutes_to_next=80,
        air_degC=9.0,
        script=fight(seed + 11, 140.0, intensity=1.1),
        devices=usual(3),
        planted=(
            Planted("voltage_sag", "cold_pack", "pack", 18.0, 158.0, "pack at 8 °C"),
            Planted("voltage_sag", "ageing", "pack", 18.0, 158.0, "14 % over its stated figure; confounded"),
        ),
        notes="frost in the car park, pack not warmed",
    )


def _m12(seed: int) -> Plan:
    return Plan(
        id="m12",
        event=3,
        opponent="Old Tuppence",
        start=datetime(2026, 9, 27, 12, 15),
        result="won",
        build="c",
        pack=used(PACKS["p3"], 22.0, 0.985, 1.01),
        minutes_to_next=45,
        air_degC=16.0,
        script=fight(seed + 12, 160.0, intensity=1.2),
        devices=(dev.slow_logger((92.0, 2.4)),),
        planted=(
            Planted("quality", "clock_reset", "pack", 92.0, 94.4, "the logger restarted, its clock at zero again"),
            Planted("quality", "undersampled", "pack", 0.0, 190.0, "2 Hz cannot show peaks"),
        ),
        notes="only the small logger was fitted",
    )


def _wild_speed(truth: Truth, seed: int) -> Truth:
    """Out of step the controller reports speeds that are not there, and nothing while it has let go."""
    rng = np.random.default_rng([seed, 41])
    real = truth.channels["weapon_motor_speed_rpm"]
    told = real.copy()
    for a, b in truth.plants.sync_losses:
        let_go = a + BURST_SHARE * (b - a)
        inside = (truth.t_s >= a) & (truth.t_s < let_go)
        steps = np.repeat(rng.uniform(0.1, 1.8, int(inside.sum()) // 20 + 1), 20)[: int(inside.sum())]
        told[inside] *= steps
        told[(truth.t_s >= let_go) & (truth.t_s < b)] = 0.0
    channels = {**truth.channels, "weapon_motor_speed_rpm": told, "weapon_motor_real_speed_rpm": real}
    return replace(truth, channels=channels)
