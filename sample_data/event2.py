"""Matches of the second event: build b; lost radio, a joint, a clipped sensor, an opened disconnect."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from . import devices as dev
from .parts import PACKS
from .plan import Plan, Planted, at, used, usual
from .plants import JointStep, Plants
from .script import fight


def matches(seed: int) -> tuple[Plan, ...]:
    return (_m05(seed), _m06(seed), _m07(seed), _m08(seed))


def _m05(seed: int) -> Plan:
    losses = ((49.2, 49.8), (88.5, 89.1), (131.4, 132.0))
    return Plan(
        id="m05",
        event=2,
        opponent="Tallow Mabel",
        start=datetime(2026, 5, 9, 11, 15),
        result="won",
        build="b",
        pack=used(PACKS["p1"], 21.0, 0.985, 1.01),
        minutes_to_next=65,
        air_degC=18.0,
        script=fight(seed + 5, 155.0, intensity=1.3),
        devices=usual(2),
        plants=Plants(link_losses=tuple((at(a), at(b)) for a, b in losses)),
        planted=tuple(
            Planted("signal_dropout", "radio_loss", "link", a, b, "no radio for 0.6 s, rail steady") for a, b in losses
        ),
        notes="stopped for a blink three times",
    )


def _m06(seed: int) -> Plan:
    script = fight(seed + 6, 165.0, intensity=1.9, extra_hits=((74.0, 0.42),))
    return Plan(
        id="m06",
        event=2,
        opponent="Sir Dovetail",
        start=datetime(2026, 5, 9, 14, 20),
        result="lost",
        build="b",
        pack=used(PACKS["p1"], 22.0, 0.985, 1.01),
        minutes_to_next=40,
        air_degC=18.0,
        script=script,
        devices=(dev.pack_logger(2, cells=False, rate_Hz=100.0), dev.weapon(2, rate_Hz=100.0), *usual(2)[2:]),
        plants=Plants(joint_step=JointStep(at(74.0), "pack_plug", 9.0)),
        planted=(
            Planted("wiring_fault", "joint_step", "battery_lead", 74.0, 183.0, "9 mΩ more in the plug after a hit"),
            Planted("thermal_buildup", "contact_heating", "battery_lead", 74.0, 183.0, "the plug passes its limit"),
        ),
        notes="smelt warm afterwards",
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
        id="m07",
        event=2,
        opponent="Hobnail Gran",
        start=datetime(2026, 5, 9, 16, 45),
        result="won",
        build="b",
        pack=used(PACKS["p3"], 21.0),
        minutes_to_next=50,
        air_degC=18.5,
        script=script,
        devices=(replace(logger, columns=columns), *usual(2)[1:]),
        planted=(
            Planted("quality", "sensor_clipped", "pack", 46.0, 80.5, "the pack current sensor ends at 200 A"),
            Planted("quality", "sensor_offset", "pack", 0.0, 180.0, "the pack current sensor reads 3.1 A too much"),
        ),
    )


def _m08(seed: int) -> Plan:
    # a hit jars the disconnect open: 5 ms later it is gone, before the weapon takes current again
    script = fight(seed + 8, 150.0, intensity=1.2, extra_hits=((95.995, 0.42),), no_hits_between=((90.0, 98.0),))
    shove = np.interp(script.t_s, [at(94.0), at(95.2)], [0.0, 1.0])
    script = replace(
        script,
        left=script.left * (1.0 - shove) + 0.60 * shove,
        right=script.right * (1.0 - shove) + 0.60 * shove,
        push_Nm=np.where(script.t_s > at(94.0), 0.28 * shove, script.push_Nm),
    )
    return Plan(
        id="m08",
        event=2,
        opponent="Brasswick",
        start=datetime(2026, 5, 10, 10, 40),
        result="lost",
        build="b",
        pack=used(PACKS["p3"], 21.0, 0.985, 1.003),
        minutes_to_next=90,
        air_degC=18.0,
        script=script,
        devices=usual(2),
        plants=Plants(open_at_s=at(96.0)),
        planted=(
            Planted(
                "power_loss",
                "disconnect_opened",
                "main_disconnect",
                96.0,
                96.0,
                "everything behind the disconnect goes dark at once, the pack itself is well",
            ),
        ),
        notes="went dead at a hit in the middle of a push",
    )
