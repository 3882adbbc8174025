"""The true robot of a scenario, and the build and pack files that a careful builder would have written for it.

Everything is a figure of one 13.6 kg robot with a spinning weapon, two brushed drives and a lifter on the 5 V rail.
The figures are our choice, in the range of hobby parts (class values: "common practice, no source"). What the build
file says may differ from what is true: that difference is what several causes are made of.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ingest.builds import (
    Build,
    BuildHead,
    Contact,
    Controller,
    Fuse,
    Match,
    MeasuredByHand,
    Motor,
    Pack,
    PackSlot,
    Receiver,
    Regulator,
    Sensor,
    Wire,
)

Floats = npt.NDArray[np.float64]

COPPER_ohm_mm2_per_m = 0.01724  # IEC 60028 annealed copper at 20 degC (from memory)
RPM_PER_RAD_S = 30.0 / math.pi

# Charge state against rest volts of one lithium-polymer cell: class values, common practice, no source.
OCV_CHARGE = np.array([-0.05, 0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
OCV_V = np.array([2.5, 3.0, 3.25, 3.45, 3.6, 3.69, 3.735, 3.77, 3.805, 3.86, 3.93, 4.01, 4.095, 4.195])


def awg_mm2(gauge: int) -> float:
    """Copper area of one conductor; the definition of the American wire gauge (ASTM B258, from memory)."""
    diameter_mm = 0.127 * 92.0 ** ((36 - gauge) / 39.0)
    return math.pi / 4.0 * diameter_mm**2


def run_mohm(gauge: int, length_mm: float, conductors: int = 2) -> float:
    return COPPER_ohm_mm2_per_m / awg_mm2(gauge) * length_mm * conductors


@dataclass(frozen=True)
class Robot:
    """What is true. Resistances at 25 degC; times in s; *_limit_A of the motor current where so named."""

    # pack
    cells: int = 6
    capacity_Ah: float = 4.5
    r0_mohm: float = 8.4  # whole pack, ohmic
    r1_mohm: float = 2.4
    tau1_s: float = 0.08
    r2_mohm: float = 3.6
    tau2_s: float = 5.0
    cell_r: tuple[float, ...] = (1.0,) * 6  # each cell's share, 1 = the pack's mean when new
    cell_capacity: tuple[float, ...] = (1.0,) * 6
    start_charge: float = 0.995
    pack_degC: float = 27.0
    pack_heat_J_per_K: float = 520.0
    cold_factor_per_K: float = 0.032  # resistance rises by e^(0.032 dT) below 25 degC (class value, no source)
    # wiring: gauge and length one way
    battery_lead: tuple[int, float] = (10, 220.0)
    weapon_lead: tuple[int, float] = (12, 160.0)
    drive_lead: tuple[int, float] = (14, 140.0)
    plug_mohm: float = 0.4  # per pole
    disconnect_mohm: float = 0.3
    bus_mF: float = 3.3
    # weapon
    weapon_kv: float = 580.0
    weapon_winding_mohm: float = 18.0
    weapon_inertia: float = 1.35e-3  # kg m2 at the motor shaft
    weapon_drag: float = 7.0e-8  # N m s2: air drag, torque over speed squared
    weapon_friction_Nm: float = 0.03
    weapon_input_limit_A: float = 90.0
    weapon_motor_limit_A: float = 150.0
    weapon_ramp_s: float = 0.35
    weapon_brake_A: float = 0.0  # motor current of active braking; 0 = it freewheels
    weapon_cutoff_V: float | None = 17.0
    weapon_minimum_V: float = 9.0
    weapon_maximum_V: float = 34.0
    weapon_derate_degC: float = 100.0
    weapon_heat_K_per_A2s: float = 8.0e-4
    weapon_cool_s: float = 90.0
    # drives
    drive_kv: float = 300.0
    drive_winding_mohm: float = 120.0
    drive_inertia: float = 5.5e-4
    drive_friction_Nm: float = 0.05
    drive_limit_A: float = 75.0
    drive_ramp_s: float = 0.15
    # rail and radio
    regulator_limit_A: float = 7.5
    receiver_minimum_V: float = 4.0
    reboot_s: float = 1.2
    # surroundings
    air_degC: float = 24.0

    @property
    def r_1s_mohm(self) -> float:
        """Pack resistance at 1 s, 25 degC, of the cells as they are."""
        share = sum(self.cell_r) / len(self.cell_r)
        slow = self.r1_mohm * (1 - math.exp(-1 / self.tau1_s)) + self.r2_mohm * (1 - math.exp(-1 / self.tau2_s))
        return share * (self.r0_mohm + slow)

    @property
    def path_mohm(self) -> float:
        """Loop resistance from the pack terminals to the distribution block."""
        return run_mohm(*self.battery_lead) + 2 * self.plug_mohm + self.disconnect_mohm

    @property
    def weapon_path_mohm(self) -> float:
        return run_mohm(*self.weapon_lead) + 0.8  # fuse and its two tabs

    @property
    def drive_path_mohm(self) -> float:
        return run_mohm(*self.drive_lead) + 0.4  # terminal

    def but(self, **changes: Any) -> Robot:
        return replace(self, **changes)


@dataclass(frozen=True)
class Paper:
    """What the description files say, where it matters to a scenario."""

    stated_mohm: float | None = None  # pack resistance; None: the true one of a good pack
    weapon_fuse_A: float = 100.0
    weapon_limit_A: float | None = 90.0
    drive_limit_A: float | None = 75.0
    lead_insulation: str = "silicone"
    in_service: dt.date | None = dt.date(2026, 1, 10)
    measured: tuple[MeasuredByHand, ...] = ()
    full_scale_A: float | None = None  # of the pack current sensor, where the builder states it
    match_length_s: float | None = None
    air_known: bool = True
    regulator_rated_A: float = 5.0


def build_of(robot: Robot, paper: Paper) -> Build:
    """The build file: the contract's example, with the drives added and ratings that a healthy match keeps."""
    wires = [
        Wire(
            id="battery_lead", from_="pack", to="distribution", gauge=f"{robot.battery_lead[0]} AWG",
            length_mm=robot.battery_lead[1], conductors=2, insulation=paper.lead_insulation,
            through=("pack_plug", "main_disconnect"),
        ),
        Wire(
            id="weapon_lead", from_="distribution", to="weapon", gauge=f"{robot.weapon_lead[0]} AWG",
            length_mm=robot.weapon_lead[1], conductors=2, insulation=paper.lead_insulation,
            through=("weapon_terminal",),
        ),
    ]  # fmt: skip
    limits = {} if paper.weapon_limit_A is None else {"current_limit_A": paper.weapon_limit_A}
    if robot.weapon_cutoff_V is not None:
        limits["cutoff_V"] = robot.weapon_cutoff_V
    drive_limit = {} if paper.drive_limit_A is None else {"current_limit_A": paper.drive_limit_A}
    controllers = [
        Controller(
            id="weapon", motor_type="brushless", continuous_A=80, burst_A=160, burst_s=10, rating_basis="input",
            limit_degC=robot.weapon_derate_degC + 5, minimum_V=robot.weapon_minimum_V,
            maximum_V=robot.weapon_maximum_V, ramp_s=robot.weapon_ramp_s, motor_current_is="dc", **limits,
        )
    ]  # fmt: skip
    motors = [
        Motor(
            id="weapon_motor", controller="weapon", kv_rpm_per_V=robot.weapon_kv,
            winding_mohm=robot.weapon_winding_mohm, pole_pairs=7, gear_ratio=2.0, limit_degC=155, no_load_A=10,
        )
    ]  # fmt: skip
    contacts = [
        Contact(id="pack_plug", kind="connector", rated_A=90, resistance_mohm=0.4, limit_degC=105),
        Contact(id="main_disconnect", kind="disconnect", rated_A=150, resistance_mohm=0.3, limit_degC=105),
        Contact(id="weapon_terminal", kind="terminal", rated_A=90, resistance_mohm=0.4, limit_degC=105),
    ]
    for side in ("left", "right"):
        wires.append(
            Wire(
                id=f"{side}_lead", from_="distribution", to=f"{side}_drive", gauge=f"{robot.drive_lead[0]} AWG",
                length_mm=robot.drive_lead[1], conductors=2, insulation="silicone", through=(f"{side}_terminal",),
            )
        )  # fmt: skip
        contacts.append(
            Contact(id=f"{side}_terminal", kind="terminal", rated_A=60, resistance_mohm=0.4, limit_degC=105)
        )
        controllers.append(
            Controller(
                id=f"{side}_drive", motor_type="brushed", continuous_A=45, burst_A=100, burst_s=10,
                rating_basis="motor", limit_degC=100, minimum_V=7.0, maximum_V=34.0,
                ramp_s=robot.drive_ramp_s, motor_current_is="dc", **drive_limit,
            )
        )  # fmt: skip
        motors.append(
            Motor(
                id=f"{side}_motor", controller=f"{side}_drive", kv_rpm_per_V=robot.drive_kv,
                winding_mohm=robot.drive_winding_mohm, gear_ratio=12.0, limit_degC=140, no_load_A=2,
            )
        )  # fmt: skip
    sensors: tuple[Sensor, ...] = ()
    if paper.full_scale_A is not None:
        sensors = (Sensor(channel="pack_current_A", wire="battery_lead", full_scale=paper.full_scale_A),)
    return Build(
        build=BuildHead(
            id="b", robot="Gristmote", summary="screw distribution block", mass_kg=13.42, mass_limit_kg=13.61,
            air_degC=25,
        ),
        packs=(PackSlot(cells=robot.cells),),
        wires=tuple(wires),
        contacts=tuple(contacts),
        fuses=(Fuse(id="weapon_fuse", wire="weapon_lead", rated_A=paper.weapon_fuse_A, curve="ISO 8820-3"),),
        controllers=tuple(controllers),
        motors=tuple(motors),
        regulators=(
            Regulator(
                id="receiver_supply", from_="distribution", output_V=5.0, rated_A=paper.regulator_rated_A,
                minimum_input_V=6.5, supplies="receiver",
            ),
        ),
        receiver=Receiver(minimum_V=robot.receiver_minimum_V),
        sensors=sensors,
        source_name="builds/b.toml",
    )  # fmt: skip


def pack_of(robot: Robot, paper: Paper) -> Pack:
    good = Robot(capacity_Ah=robot.capacity_Ah)
    stated = paper.stated_mohm if paper.stated_mohm is not None else round(good.r_1s_mohm, 1)
    return Pack(
        id="p1", chemistry="lithium-polymer", cells=robot.cells, capacity_Ah=robot.capacity_Ah, continuous_C=50,
        burst_C=100, burst_s=10, charge_C=1.0, mass_g=690, resistance_mohm=stated, minimum_cell_V=3.3,
        limit_degC=60, in_service=paper.in_service, measured=paper.measured, source_name="packs/p1.toml",
    )  # fmt: skip


def match_of(robot: Robot, paper: Paper, name: str) -> Match:
    known: dict[str, Any] = {}
    if paper.match_length_s is not None:
        known["length_s"] = paper.match_length_s
    if paper.air_known:
        known["air_degC"] = round(robot.air_degC, 0)
    return Match(
        id=name[:40], event="Ostle Barn Open", opponent="Fennimore", start=dt.datetime(2026, 5, 9, 14, 20),
        build="b", pack="p1", minutes_to_next=40, **known,
    )  # fmt: skip
