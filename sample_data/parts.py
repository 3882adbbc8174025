"""The invented robot: builds and packs as the simulation sees them.

Every figure here is invented for the demo (ratings are "as stated by the builder"), except copper's resistivity
and the gauge rule.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

COPPER_20C_ohm_mm2_per_m = 0.017241  # IEC 60028 annealed copper
COPPER_PER_K = 0.00393  # IEC 60028, at 20 degC
IDLE_A = 0.06  # a controller's own draw (our choice)


def awg_area_mm2(gauge: int) -> float:
    """Copper area of an AWG size: the geometric rule of ASTM B258, 92^(1/39) between neighbours."""
    diameter_mm = 0.127 * 92.0 ** ((36 - gauge) / 39.0)
    return 0.785398163 * diameter_mm**2


@dataclass(frozen=True)
class Run:
    """One run of wire; resistance is of the whole loop (length_mm one way times conductors in series)."""

    id: str
    start: str
    end: str
    awg: int
    length_mm: float
    conductors: int = 2
    through: tuple[str, ...] = ()

    @property
    def loop_ohm_20C(self) -> float:
        in_series = min(self.conductors, 2)  # of three motor leads two carry the current at any moment
        per_m = COPPER_20C_ohm_mm2_per_m / awg_area_mm2(self.awg)
        return per_m * self.length_mm * 1e-3 * in_series


@dataclass(frozen=True)
class Joint:
    """A contact. resistance_mohm is per pole."""

    id: str
    kind: str
    rated_A: float
    resistance_mohm: float
    limit_degC: float
    rise_at_rated_K: float
    time_constant_s: float

    @property
    def loop_ohm(self) -> float:
        return self.resistance_mohm * 1e-3 * (2 if self.kind == "connector" else 1)


@dataclass(frozen=True)
class Fuse:
    """A fuse; curve is a standard's name or rows of (multiple of the rating, shortest s, longest s)."""

    id: str
    wire: str
    rated_A: float
    curve: str | tuple[tuple[float, float, float], ...]


@dataclass(frozen=True)
class Heat:
    """Two-node heat: the hot part (J/K), its case (J/K), and the paths between them and to air (W/K)."""

    hot_J_per_K: float
    case_J_per_K: float
    hot_to_case_W_per_K: float
    case_to_air_W_per_K: float


@dataclass(frozen=True)
class Drive:
    """A controller with its motor.

    current_limit_A is the stated limiter (of the current that basis names: input or motor), motor_limit_A the limit
    of the motor current. bridge_mohm is the controller's own resistance, winding_mohm the motor's; inertia_kgm2 and
    friction_Nm are at the motor shaft; windage_Nms2 makes a torque with the square of the speed (rad/s).
    """

    controller: str
    motor: str
    kind: str
    continuous_A: float
    burst_A: float
    burst_s: float
    basis: str
    motor_limit_A: float
    current_limit_A: float
    limit_degC: float
    kv_rpm_per_V: float
    winding_mohm: float
    bridge_mohm: float
    inertia_kgm2: float
    friction_Nm: float
    windage_Nms2: float
    pole_pairs: int
    gear_ratio: float
    motor_limit_degC: float
    controller_heat: Heat
    motor_heat: Heat
    ramp_s: float = 0.0

    @property
    def K_Nm_per_A(self) -> float:
        return 60.0 / (2.0 * 3.141592653589793 * self.kv_rpm_per_V)


@dataclass(frozen=True)
class BuildSpec:
    id: str
    summary: str
    mass_kg: float
    runs: tuple[Run, ...]
    joints: tuple[Joint, ...]
    fuses: tuple[Fuse, ...]
    weapon: Drive
    left: Drive
    right: Drive
    air_degC: float = 22.0
    cutoff_V: float = 18.0
    regulator_rated_A: float = 5.0
    regulator_limit_A: float = 6.0
    regulator_ohm: float = 0.012
    regulator_efficiency: float = 0.88
    receiver_minimum_V: float = 4.0

    def run(self, run_id: str) -> Run:
        return next(r for r in self.runs if r.id == run_id)

    def joint(self, joint_id: str) -> Joint:
        return next(j for j in self.joints if j.id == joint_id)


@dataclass(frozen=True)
class PackSpec:
    """A pack as it is on one day.

    cell_mohm: each cell's resistance at 1 s, 25 degC, half charge. stated_mohm is what the owner's file says.
    charge_start is the state of charge (0..1) and start_degC the pack's temperature when the log begins.
    """

    id: str
    capacity_Ah: float
    cell_mohm: tuple[float, ...]
    stated_mohm: float
    mass_g: float
    in_service: str
    charge_start: float = 0.985
    start_degC: float = 20.0
    continuous_C: float = 50.0
    burst_C: float = 100.0
    burst_s: float = 10.0

    @property
    def cells(self) -> int:
        return len(self.cell_mohm)


# Large blade fuse, slow: the gates usually printed in data sheets for that type (memory; the standard decides).
SLOW_BLADE = ((1.35, 60.0, 1800.0), (2.0, 2.0, 60.0), (3.5, 0.2, 7.0), (6.0, 0.04, 1.0))


def _drive(side: str) -> Drive:
    return Drive(
        controller=f"{side}_drive",
        motor=f"{side}_motor",
        kind="brushed",
        continuous_A=25.0,
        burst_A=50.0,
        burst_s=2.0,
        basis="motor",
        motor_limit_A=45.0,
        current_limit_A=45.0,
        limit_degC=100.0,
        kv_rpm_per_V=480.0,
        winding_mohm=110.0,
        bridge_mohm=10.0,
        inertia_kgm2=2.4e-4,
        friction_Nm=0.055,
        windage_Nms2=0.0,
        pole_pairs=1,
        gear_ratio=9.0,
        motor_limit_degC=120.0,
        controller_heat=Heat(2.35, 40.0, 0.12, 0.35),
        motor_heat=Heat(60.0, 190.0, 1.1, 0.7),
    )


def _weapon(motor_limit_A: float, burst_A: float, current_limit_A: float, ramp_s: float = 0.0) -> Drive:
    return Drive(
        controller="weapon",
        motor="weapon_motor",
        kind="brushless",
        continuous_A=80.0,
        burst_A=burst_A,
        burst_s=10.0,
        basis="input",
        motor_limit_A=motor_limit_A,
        current_limit_A=current_limit_A,
        limit_degC=100.0,
        kv_rpm_per_V=580.0,
        winding_mohm=18.0,
        bridge_mohm=7.0,
        inertia_kgm2=2.2e-3,
        friction_Nm=0.03,
        windage_Nms2=1.35e-7,
        pole_pairs=7,
        gear_ratio=2.0,
        motor_limit_degC=155.0,
        controller_heat=Heat(14.0, 90.0, 1.1, 0.6),
        motor_heat=Heat(55.0, 260.0, 1.6, 1.0),
        ramp_s=ramp_s,
    )


def _runs(battery: int, weapon: int, drive: int, through: tuple[str, ...]) -> tuple[Run, ...]:
    return (
        Run("battery_lead", "pack", "distribution", battery, 220.0, 2, through),
        Run("weapon_lead", "distribution", "weapon", weapon, 160.0),
        Run("left_lead", "distribution", "left_drive", drive, 180.0),
        Run("right_lead", "distribution", "right_drive", drive, 180.0),
        Run("supply_lead", "distribution", "receiver_supply", 20, 90.0),
        Run("weapon_motor_leads", "weapon", "weapon_motor", weapon, 120.0, 3),
        Run("left_motor_leads", "left_drive", "left_motor", drive, 140.0),
        Run("right_motor_leads", "right_drive", "right_motor", drive, 140.0),
    )


_PLUG = Joint("pack_plug", "connector", 90.0, 0.4, 105.0, 25.0, 45.0)
_DISCONNECT = Joint("main_disconnect", "disconnect", 150.0, 0.3, 105.0, 30.0, 90.0)
_SCREW = Joint("distribution_screw", "terminal", 120.0, 0.25, 105.0, 25.0, 60.0)

BUILD_A = BuildSpec(
    "a",
    "14 AWG leads, soldered distribution, no weapon fuse",
    13.38,
    _runs(14, 14, 16, ("pack_plug", "main_disconnect")),
    (_PLUG, _DISCONNECT),
    (),
    _weapon(125.0, 160.0, 130.0),
    _drive("left"),
    _drive("right"),
)
_DRIVE_FUSES = (
    Fuse("left_fuse", "left_lead", 40.0, "ISO 8820-3"),
    Fuse("right_fuse", "right_lead", 40.0, "ISO 8820-3"),
)
BUILD_B = BuildSpec(
    "b",
    "12 AWG leads, screw distribution block",
    13.42,
    _runs(12, 12, 14, ("pack_plug", "main_disconnect", "distribution_screw")),
    (_PLUG, _DISCONNECT, _SCREW),
    (Fuse("weapon_fuse", "weapon_lead", 70.0, SLOW_BLADE), *_DRIVE_FUSES),
    _weapon(150.0, 180.0, 150.0),
    _drive("left"),
    _drive("right"),
)
BUILD_C = BuildSpec(
    "c",
    "10 AWG leads, soldered distribution, weapon ramp",
    13.51,
    _runs(10, 10, 14, ("pack_plug", "main_disconnect")),
    (replace(_PLUG, rated_A=120.0, resistance_mohm=0.3, time_constant_s=60.0), _DISCONNECT),
    (Fuse("weapon_fuse", "weapon_lead", 80.0, SLOW_BLADE), *_DRIVE_FUSES),
    _weapon(160.0, 200.0, 170.0, ramp_s=0.9),
    _drive("left"),
    _drive("right"),
)
BUILDS = {b.id: b for b in (BUILD_A, BUILD_B, BUILD_C)}

PACK_P1 = PackSpec("p1", 3.3, (4.03, 4.08, 4.13, 4.06, 4.1, 4.08), 24.0, 520.0, "2026-01-10")
PACK_P2 = PackSpec("p2", 3.3, (4.05, 4.1, 4.0, 4.15, 4.02, 4.08), 24.0, 522.0, "2026-01-10")
PACK_P3 = PackSpec("p3", 4.0, (3.0, 3.02, 2.97, 3.01, 2.99, 3.01), 18.0, 610.0, "2026-03-28")
PACKS = {p.id: p for p in (PACK_P1, PACK_P2, PACK_P3)}
