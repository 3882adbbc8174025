"""What really happened in a simulated match: every channel at 1 kHz, temperatures at 20 Hz, energies, events."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from . import cell
from .parts import IDLE_A, BuildSpec, Drive, PackSpec
from .plants import Plants
from .rail import Rail
from .script import PRE_ROLL_s, Script, STEP_s

Floats = npt.NDArray[np.float64]

BUS_CAPACITOR_s = 0.03  # how fast the node falls once nothing feeds it, under the robot's load (our choice)
COAST_s = 1.1  # how fast a drum slows that feeds the electronics (our choice)
DEAD_V = 5.0  # below this a controller's own logger stops (our choice)


class Recorded:
    """What the stepping loop leaves: lists per step, and a row per chunk."""

    def __init__(self, n: int) -> None:
        self.n = n
        self.pack_A: list[float] = []
        self.pack_V: list[float] = []
        self.weapon_A: list[float] = []
        self.weapon_rad_s: list[float] = []
        self.weapon_duty: list[float] = []
        self.left_A: list[float] = []
        self.left_rad_s: list[float] = []
        self.left_duty: list[float] = []
        self.right_A: list[float] = []
        self.right_rad_s: list[float] = []
        self.right_duty: list[float] = []
        self.chunk_t: list[float] = []
        self.chunk_rows: list[list[float]] = []

    def chunk(self, t_s: float, *groups: list[float]) -> None:
        self.chunk_t.append(t_s)
        self.chunk_rows.append([x for group in groups for x in group])


@dataclass(frozen=True)
class FileClock:
    """One file's clock: its first sample on the simulation clock, and t_match = t_log (1 + drift) + offset.

    clock_fast_ppm is by how much the device's clock itself runs fast.
    """

    file: str
    first_sample_s: float
    clock_offset_s: float
    clock_drift_ppm: float
    clock_fast_ppm: float


@dataclass(frozen=True, eq=False)
class Truth:
    """The simulated truth.

    t_s (n,) simulation seconds at 1 kHz; channels: name as in a log (part, quantity, unit) -> (n,) float64.
    slow_t_s (m,) at 20 Hz; wire_degC, joint_degC: id -> (m,); resistance_mohm (m,): the pack's 1 s figure there
    and then; charge (m,): state of charge 0..1. energy_J: where the pack's energy went. start_s and end_s bound
    the match. powered_until_s: when everything behind the disconnect lost power (None: never).
    """

    build: BuildSpec
    pack: PackSpec
    script: Script
    plants: Plants
    t_s: Floats
    channels: dict[str, Floats]
    slow_t_s: Floats
    wire_degC: dict[str, Floats]
    joint_degC: dict[str, Floats]
    resistance_mohm: Floats
    charge: Floats
    energy_J: dict[str, float]
    start_s: float
    end_s: float
    powered_until_s: float | None
    weapon_logs_until_s: float | None
    clocks: tuple[FileClock, ...] = field(default=())

    def match_time_s(self, simulation_s: npt.ArrayLike) -> Floats:
        """Simulation seconds on the match clock: the first file's own seconds from its first sample.

        Without files (a plain simulate()) it is the planned clock, simulation seconds less PRE_ROLL_s.
        """
        t = np.asarray(simulation_s, dtype=np.float64)
        if not self.clocks:
            return t - PRE_ROLL_s
        return (t - self.clocks[0].first_sample_s) * (1.0 + self.clocks[0].clock_fast_ppm * 1e-6)

    @property
    def pack_resistance_1s_mohm(self) -> float:
        """The 1 s resistance, averaged over the match."""
        inside = (self.slow_t_s >= self.start_s) & (self.slow_t_s <= self.end_s)
        return float(self.resistance_mohm[inside].mean())

    def pack_resistance_mohm(self, seconds: float) -> float:
        """The resistance this long after a step, averaged over the match."""
        return self.pack_resistance_1s_mohm * cell.at_time(seconds)


def finish(
    build: BuildSpec,
    pack: PackSpec,
    script: Script,
    plants: Plants,
    rail: Rail,
    record: Recorded,
    air_degC: float,
) -> Truth:
    n, whole = record.n, script.n
    t_s = script.t_s
    slow_t = np.array(record.chunk_t)
    rows = np.array(record.chunk_rows)
    runs, joints = [r.id for r in build.runs], [j.id for j in build.joints]
    columns = [
        *(f"wire {r}" for r in runs),
        *(f"joint {j}" for j in joints),
        "pack",
        "weapon",
        "weapon_motor",
        "left_drive",
        "left_motor",
        "right_drive",
        "right_motor",
        "r1s",
        "charge",
        *(f"ohm {r}" for r in runs),
        "R0",
        "polarised_W",
        "Rm weapon",
        "Rm left",
        "Rm right",
    ]
    slow = dict(zip(columns, rows.T, strict=True))

    def fine(name: str) -> Floats:
        return np.repeat(slow[name], 50)[:n]

    fast = {k: np.array(v) for k, v in vars(record).items() if isinstance(v, list) and not k.startswith("chunk")}
    pack_A, pack_V = fast["pack_A"], fast["pack_V"]
    node_V = pack_V - pack_A * fine("ohm battery_lead")
    channels: dict[str, Floats] = {"pack_current_A": pack_A, "pack_voltage_V": pack_V}
    energy: dict[str, float] = {
        "pack_delivered": float((pack_A * pack_V).sum() * STEP_s),
        "battery_lead": float((pack_A**2 * fine("ohm battery_lead")).sum() * STEP_s),
    }
    input_A: dict[str, Floats] = {}
    for name, drive in (("weapon", build.weapon), ("left", build.left), ("right", build.right)):
        motor_A, duty, speed = (fast[f"{name}_{x}"] for x in ("A", "duty", "rad_s"))
        part = drive.controller
        lead = f"{name}_lead"
        input_A[lead] = motor_A * duty + IDLE_A
        voltage = node_V - input_A[lead] * fine(f"ohm {lead}")
        channels |= _controller_channels(part, drive, voltage, input_A[lead], motor_A, duty, speed)
        leads = fine(f"ohm {name}_motor_leads")
        heat = motor_A**2 * (leads + drive.bridge_mohm * 1e-3 + fine(f"Rm {name}"))
        energy[lead] = float((input_A[lead] ** 2 * fine(f"ohm {lead}")).sum() * STEP_s)
        energy[f"{name}_copper_and_bridge"] = float(heat.sum() * STEP_s)
        energy[f"{name}_idle"] = float((IDLE_A * voltage).sum() * STEP_s)
        energy[f"{name}_shaft"] = float((drive.K_Nm_per_A * motor_A * speed).sum() * STEP_s)
        out_of_step = np.zeros(n, dtype=bool)
        if name == "weapon":
            for a, b in plants.sync_losses:
                out_of_step |= (t_s[:n] >= a) & (t_s[:n] < b)
        if out_of_step.any():  # there the electrical power makes no shaft power: all of it is heat
            lost = (duty * motor_A * voltage)[out_of_step].sum() * STEP_s
            energy[f"{name}_shaft"] -= float((drive.K_Nm_per_A * motor_A * speed)[out_of_step].sum() * STEP_s)
            energy[f"{name}_copper_and_bridge"] += float(lost - heat[out_of_step].sum() * STEP_s)
    supply_A = pack_A - sum(input_A.values())
    supply_V = node_V - supply_A * fine("ohm supply_lead")
    energy["supply_lead"] = float((supply_A**2 * fine("ohm supply_lead")).sum() * STEP_s)
    energy["receiver_supply"] = float((supply_A * supply_V).sum() * STEP_s)
    energy["pack_heat"] = float((pack_A**2 * fine("R0") + fine("polarised_W")).sum() * STEP_s)
    channels["receiver_supply_voltage_V"] = supply_V
    channels["receiver_supply_input_current_A"] = supply_A
    channels["weapon_lead_drop_V"] = node_V - channels["weapon_voltage_V"]
    channels["distribution_voltage_V"] = node_V
    for part in ("pack", "weapon", "weapon_motor", "left_drive", "left_motor", "right_drive", "right_motor"):
        channels[f"{part}_temp_degC"] = np.interp(t_s[:n], slow_t, slow[part])
    channels["pack_charge_used_mAh"] = np.cumsum(pack_A) * STEP_s / 3.6
    charge_fine = np.interp(t_s[:n], slow_t, slow["charge"])
    r_total = sum(pack.cell_mohm)
    sagged = cell.open_voltage_V(charge_fine) - pack_V / pack.cells
    for i, r in enumerate(pack.cell_mohm, start=1):
        spread = 0.0015 * np.sin(2.4 * i)  # cells of a balanced pack differ by a millivolt or two
        own = cell.open_voltage_V(charge_fine) - sagged * pack.cells * r / r_total + spread
        channels[f"cell{i}_voltage_V"] = own
    channels = {k: _extend(v, whole) for k, v in channels.items()}
    for name, values in (
        ("receiver_rail_voltage_V", rail.voltage_V),
        ("receiver_rail_current_A", rail.current_A),
        ("link_quality_pct", rail.quality_pct),
        ("link_strength_dBm", rail.strength_dBm),
        ("link_failsafe_active", rail.failsafe),
        ("receiver_uptime_s", rail.uptime_s),
        ("weapon_command_pct", 100.0 * script.weapon * rail.link_up),
        ("left_drive_command_pct", 100.0 * script.left * rail.link_up),
        ("right_drive_command_pct", 100.0 * script.right * rail.link_up),
    ):
        channels[name] = values.copy()
    powered = weapon_until = None
    if n < whole:
        powered, weapon_until = _after_opening(channels, build, pack, n, t_s, r_total * 1e-3)
    return Truth(
        build,
        pack,
        script,
        plants,
        t_s,
        channels,
        slow_t,
        {r: slow[f"wire {r}"] for r in runs},
        {j: slow[f"joint {j}"] for j in joints},
        slow["r1s"],
        slow["charge"],
        energy,
        script.start_s,
        script.end_s,
        powered,
        weapon_until,
    )


def _controller_channels(
    part: str, drive: Drive, voltage: Floats, input_A: Floats, motor_A: Floats, duty: Floats, speed: Floats
) -> dict[str, Floats]:
    forward = np.where(np.abs(duty) > 0.01, np.sign(duty), 1.0)
    return {
        f"{part}_voltage_V": voltage,
        f"{part}_input_current_A": input_A,
        f"{part}_motor_current_A": motor_A * forward,  # positive drives, negative brakes
        f"{part}_duty_pct": 100.0 * duty,
        f"{drive.motor}_speed_rpm": speed * 60.0 / (2.0 * np.pi),
    }


def _extend(values: Floats, whole: int) -> Floats:
    return np.concatenate([values, np.full(whole - values.shape[0], values[-1])])


def _after_opening(
    channels: dict[str, Floats], build: BuildSpec, pack: PackSpec, n: int, t_s: Floats, r25_ohm: float
) -> tuple[float, float]:
    """The pack rests; the node falls to what the coasting drum feeds back. Returns when things lost power."""
    t = t_s[n:] - t_s[n - 1]
    once, fast, slow = cell.split()
    pack_A = channels["pack_current_A"]
    now_A, recent_A = pack_A[n - 1], pack_A[max(0, n - 10_000) : n].mean()
    rest_V = channels["pack_voltage_V"][n - 1] + r25_ohm * (
        once * now_A
        + fast * now_A * (1.0 - np.exp(-t / cell.FAST_s))
        + slow * recent_A * (1.0 - np.exp(-t / cell.SLOW_s))
    )
    channels["pack_voltage_V"][n:] = rest_V
    pack_A[n:] = 0.0
    for i, r in enumerate(pack.cell_mohm, start=1):
        before = channels[f"cell{i}_voltage_V"][n - 1]
        rise = (rest_V - channels["pack_voltage_V"][n - 1]) * r / sum(pack.cell_mohm)
        channels[f"cell{i}_voltage_V"][n:] = before + rise
    K = build.weapon.K_Nm_per_A
    rpm = channels["weapon_motor_speed_rpm"]
    rpm[n:] = rpm[n - 1] * np.exp(-t / COAST_s)
    fed_back = K * rpm[n:] * 2.0 * np.pi / 60.0 - 0.8
    node = np.maximum(channels["distribution_voltage_V"][n - 1] * np.exp(-t / BUS_CAPACITOR_s), fed_back)
    for name in ("weapon_voltage_V", "left_drive_voltage_V", "right_drive_voltage_V", "receiver_supply_voltage_V"):
        channels[name][n:] = node
    for part in ("weapon", "left_drive", "right_drive"):
        for what in ("input_current_A", "motor_current_A", "duty_pct"):
            channels[f"{part}_{what}"][n:] = 0.0
    for part in ("left_motor", "right_motor"):
        channels[f"{part}_speed_rpm"][n:] *= np.exp(-t / 0.25)
    first_low = n + int(np.argmax(node < 8.5))
    return float(t_s[first_low]), float(t_s[n + int(np.argmax(node < DEAD_V))])
