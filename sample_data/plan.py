"""One match of the demo before it is simulated, and what was planted in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from . import devices as dev
from .loggers import Device
from .parts import BUILDS, PackSpec
from .plants import NOTHING, Plants
from .script import PRE_ROLL_s, Script
from .simulate import simulate
from .truth import Truth

SEED = 20260314
EVENTS = {1: "Ostle Barn Open", 2: "Tarnwick Yard Cup", 3: "Millhythe Harvest Bout"}


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
    """One match before it is simulated. Times in planted are planned match-clock seconds."""

    id: str
    event: int
    opponent: str
    start: datetime
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


def at(match_s: float) -> float:
    return PRE_ROLL_s + match_s


def usual(event: int) -> tuple[Device, ...]:
    return (
        dev.pack_logger(event),
        dev.weapon(event),
        dev.drive("left", event),
        dev.drive("right", event),
        dev.receiver(event),
    )


def used(pack: PackSpec, start_degC: float, charge: float = 0.985, ageing: float = 1.0) -> PackSpec:
    return replace(
        pack, start_degC=start_degC, charge_start=charge, cell_mohm=tuple(r * ageing for r in pack.cell_mohm)
    )


def simulated(plan: Plan, seed: int = SEED) -> Truth:
    """The truth of one plan, as the loggers see it."""
    truth = simulate(
        BUILDS[plan.build], plan.pack, plan.script, plan.plants, air_degC=plan.air_degC, seed=seed + int(plan.id[1:])
    )
    return truth if plan.reported_speed is None else plan.reported_speed(truth, seed)
