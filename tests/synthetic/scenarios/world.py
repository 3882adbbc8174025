"""What there is to measure: every channel of the vocabulary as a function of time, from a simulated match.

A World adds what the loop leaves out because it does not act back: cells, temperatures, ripple, shock, radio.
Scenarios may bend one channel with `extra` (a noisy brush, a contact that warms up, a speed reading out of step).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.robot import OCV_CHARGE, OCV_V, RPM_PER_RAD_S
from tests.synthetic.scenarios.simulate import Truth

Floats = npt.NDArray[np.float64]
Bend = Callable[[Floats, Floats], Floats]

PWM_RIPPLE = 0.015  # r.m.s. share of a controller's current at the logger's input filter (our choice)
FAILSAFE_s = 0.3  # commands go to zero this long after the last frame (class value 0.1 to 1 s, no source)

PACK = ("pack_voltage_V", "pack_current_A")
CELLS = tuple(f"cell{k}_voltage_V" for k in range(1, 7))
PACK_TEMP = ("pack_temp_degC",)
BUS = ("distribution_voltage_V",)
WEAPON = (
    "weapon_voltage_V", "weapon_input_current_A", "weapon_motor_current_A", "weapon_command_pct", "weapon_duty_pct",
    "weapon_speed_rpm", "weapon_temp_degC", "weapon_uptime_s", "weapon_fault_code",
)  # fmt: skip
LEFT = (
    "left_drive_voltage_V", "left_drive_input_current_A", "left_drive_motor_current_A", "left_drive_command_pct",
    "left_drive_duty_pct", "left_drive_temp_degC",
)  # fmt: skip
RIGHT = tuple(name.replace("left", "right") for name in LEFT)
DRIVE_SPEED = ("left_drive_speed_rpm", "right_drive_speed_rpm")
RECEIVER = ("receiver_rail_voltage_V", "receiver_rail_current_A")
LINK = ("link_quality_pct", "link_strength_dBm", "link_failsafe_active", "link_frames_lost")
UPTIME = ("receiver_uptime_s",)
SHOCK = ("chassis_shock_g",)
CONTACT_TEMPS = ("main_disconnect_temp_degC", "weapon_terminal_temp_degC")


@dataclass(eq=False)
class World:
    truth: Truth
    extra: dict[str, Bend] = field(default_factory=dict)
    faults: list[tuple[float, float, float]] = field(default_factory=list)  # start, end, code of the weapon controller
    _kept: dict[str, Floats] = field(default_factory=dict)
    _last: Floats | None = None
    _cache: dict[str, Floats] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.truth.plan.rng.integers(1 << 60))
        self.size = round(self.truth.plan.total_s * 1000) + 2
        self._noise = self.rng.standard_normal((3, self.size))

    def __call__(self, channel: str, t: Floats) -> Floats:
        """The true value at the times t (s), before any sensor."""
        x = self._pure(channel, t)
        bend = self.extra.get(channel)
        return x if bend is None else bend(t, x)

    def _once(self, key: str, t: Floats, make: Callable[[], Floats]) -> Floats:
        """Many channels of one logger ask for the same thing at the same times."""
        if self._last is not t:
            self._last, self._cache = t, {}
        if key not in self._cache:
            self._cache[key] = make()
        return self._cache[key]

    def _of(self, name: str, t: Floats) -> Floats:
        return self._once(name, t, lambda: self.truth.at(name, t))

    def _series(self, name: str, t: Floats) -> Floats:
        return np.interp(t, self.truth.t_s, self.truth.series[name])

    def _ripple(self, row: int, t: Floats) -> Floats:
        """Ripple of a controller's input current, A: 0 weapon, 1 left, 2 right."""
        name = ("weapon_A", "left_A", "right_A")[row]

        def make() -> Floats:
            k = np.clip(np.rint(t * 1000).astype(int), 0, self.size - 1)
            return PWM_RIPPLE * self._of(name, t) * self._noise[row, k]

        return self._once(f"ripple{row}", t, make)

    def _pack_ripple(self, t: Floats) -> Floats:
        def make() -> Floats:
            joined = self._of("pack_A", t) != 0.0
            return (self._ripple(0, t) + self._ripple(1, t) + self._ripple(2, t)) * joined

        return self._once("pack ripple", t, make)

    def _bus_ripple(self, t: Floats) -> Floats:
        """What the ripple of all currents drops over the pack and the battery lead, V."""

        def make() -> Floats:
            robot = self.truth.plan.robot
            return self._pack_ripple(t) * (robot.r0_mohm + robot.path_mohm) * 1e-3

        return self._once("bus ripple", t, make)

    def _pure(self, channel: str, t: Floats) -> Floats:
        robot = self.truth.plan.robot
        if channel in ("pack_voltage_V", "pack_current_A", "cell_min_V") or channel.startswith("cell"):
            return self._pack(channel, t)
        if channel == "distribution_voltage_V":
            return self._of("bus_V", t) - self._bus_ripple(t)
        if channel == "pack_temp_degC":
            return self._of("pack_degC", t)
        if channel in CONTACT_TEMPS:
            return np.full(t.shape, robot.air_degC)
        if channel == "chassis_shock_g":
            return self._shock(t)
        if channel.startswith("link_"):
            return self._link(channel, t)
        if channel.startswith("receiver_"):
            return self._receiver(channel, t)
        if channel.startswith("weapon_"):
            return self._weapon(channel.removeprefix("weapon_"), t)
        if channel.startswith(("left_drive_", "right_drive_")):
            side, _, quantity = channel.partition("_drive_")
            return self._drive(side, quantity, t)
        raise KeyError(channel)

    def _pack(self, channel: str, t: Floats) -> Floats:
        robot = self.truth.plan.robot
        current = self._of("pack_A", t) + self._pack_ripple(t)
        if channel == "pack_current_A":
            return current
        n = robot.cells
        factor = self._of("r_factor", t)
        shares = np.array(robot.cell_r) / sum(robot.cell_r)

        def make() -> Floats:
            ohmic = robot.r0_mohm * 1e-3 * sum(robot.cell_r) / n * factor * current
            return self._of("sag_fast", t) + self._of("sag_slow", t) + ohmic

        sag = self._once("sag", t, make)
        if channel == "pack_voltage_V":
            return self._of("rest_V", t) - sag
        drawn = self._of("drawn_Ah", t)
        which = range(n) if channel == "cell_min_V" else [int(channel[4 : channel.index("_")]) - 1]
        each = []
        for k in which:
            charge = robot.start_charge - drawn / (robot.capacity_Ah * robot.cell_capacity[k])
            each.append(np.interp(charge, OCV_CHARGE, OCV_V) - sag * shares[k])
        return np.min(each, axis=0)

    def _weapon(self, quantity: str, t: Floats) -> Floats:
        robot = self.truth.plan.robot
        short = 0.0 if self.truth.plan.short_upstream else self._of("short_A", t)
        ripple = self._ripple(0, t)
        if quantity == "voltage_V":
            run = robot.weapon_path_mohm + self._series("weapon_mohm", t)
            return self._of("weapon_V", t) - self._bus_ripple(t) - ripple * run * 1e-3
        if quantity == "input_current_A":
            return self._of("weapon_A", t) + short + ripple
        if quantity == "motor_current_A":
            return self._of("weapon_motor_A", t) + short + ripple
        if quantity == "command_pct":
            return self._command("cw", t)
        if quantity == "duty_pct":
            return 100.0 * self._of("weapon_duty", t)
        if quantity == "speed_rpm":
            return self._of("weapon_rad_s", t) * RPM_PER_RAD_S
        if quantity == "temp_degC":
            return self._of("weapon_degC", t)
        if quantity == "motor_temp_degC":
            return self._heat("weapon_motor_A", t, 9.0e-4, 60.0)
        if quantity == "uptime_s":
            return self._uptime("weapon_on", t)
        if quantity == "fault_code":
            code = np.zeros(t.shape)
            for start, end, value in self.faults:
                code[(t >= start) & (t < end)] = value
            return code
        raise KeyError(quantity)

    def _drive(self, side: str, quantity: str, t: Floats) -> Floats:
        ripple = self._ripple(1 if side == "left" else 2, t)
        path = self.truth.plan.robot.drive_path_mohm + self._series(f"{side}_mohm", t)
        if quantity == "voltage_V":
            drop = (self._of(f"{side}_A", t) + ripple) * path * 1e-3
            return self._of("bus_V", t) - self._bus_ripple(t) - drop
        if quantity == "input_current_A":
            return self._of(f"{side}_A", t) + ripple + self._drive_short(side, t)
        if quantity == "motor_current_A":
            return self._of(f"{side}_motor_A", t) + ripple + self._drive_short(side, t)
        if quantity == "command_pct":
            return self._command(f"c{side[0]}", t)
        if quantity == "duty_pct":
            return 100.0 * self._of(f"{side}_duty", t)
        if quantity == "speed_rpm":
            return self._of(f"{side}_rad_s", t) * RPM_PER_RAD_S
        if quantity == "temp_degC":
            return self._heat(f"{side}_motor_A", t, 9.0e-4, 80.0)
        if quantity == "uptime_s":
            return self._uptime("drives_on", t)
        raise KeyError(quantity)

    def _drive_short(self, side: str, t: Floats) -> Floats:
        if side == "right":
            return np.zeros(t.shape)
        return self._series("short_l_S", t) * self._of("bus_V", t)

    def _command(self, name: str, t: Floats) -> Floats:
        alive = self._of("receiver_on", t) > 0.5
        return 100.0 * self._series(name, t) * alive * (1.0 - self._failsafe(t))

    def _heat(self, current: str, t: Floats, gain: float, cool_s: float) -> Floats:
        """A one-node temperature fed by the square of a current; stepped at 10 Hz, which its time constant allows."""
        key = f"heat_{current}"
        air = self.truth.plan.robot.air_degC
        if key not in self._kept:
            edges = np.arange(0.0, self.truth.plan.total_s + 0.1, 0.1)
            energy = np.concatenate([[0.0], np.cumsum(self.truth.x[current] ** 2 * self.truth.dt_s)])
            at = np.interp(edges, np.concatenate([[0.0], self.truth.t_s]), energy)
            rise = [0.0]
            for joule in np.diff(at):
                rise.append(rise[-1] * (1 - 0.1 / cool_s) + gain * joule)
            self._kept[key] = np.array(rise)
        return air + np.interp(t, np.arange(self._kept[key].size) * 0.1, self._kept[key])

    def _uptime(self, alive: str, t: Floats) -> Floats:
        on = self.truth.x[alive] > 0.5
        since = np.maximum.accumulate(np.where(on, 0.0, self.truth.t_s))
        return np.maximum(0.0, t - np.interp(t, self.truth.t_s, since))

    def _failsafe(self, t: Floats) -> Floats:
        out = np.zeros(t.shape)
        for start, end in self.truth.plan.link_losses:
            out[(t >= start + FAILSAFE_s) & (t < end)] = 1.0
        return out

    def _receiver(self, channel: str, t: Floats) -> Floats:
        if channel == "receiver_rail_voltage_V":
            return self._of("rail_V", t) - 0.01 * self._of("rail_A", t)
        if channel == "receiver_rail_current_A":
            return self._of("rail_A", t)
        return self._uptime("receiver_on", t)

    def _link(self, channel: str, t: Floats) -> Floats:
        alive = self._of("receiver_on", t) > 0.5
        lost = np.zeros(t.shape, dtype=bool)
        for start, end in self.truth.plan.link_losses:
            lost |= (t >= start) & (t < end)
        wander = np.sin(0.7 * t) + 0.6 * np.sin(1.9 * t + 1.0)
        if channel == "link_quality_pct":
            fine = np.clip(98.5 + wander, 90, 100)
            return np.where(lost, 0.0, fine)
        if channel == "link_strength_dBm":
            return np.where(lost, -108.0, -58.0 + 4.0 * wander)
        if channel == "link_failsafe_active":
            return np.maximum(self._failsafe(t), (~alive).astype(float))
        missed = np.where(lost | ~alive, 50.0, 0.02)
        grid = np.arange(0.0, self.truth.plan.total_s, 0.02)
        lost_grid = np.interp(grid, t, missed)
        return np.interp(t, grid, np.floor(np.cumsum(lost_grid) * 0.02))

    def _shock(self, t: Floats) -> Floats:
        """Hull vibration grows with driving and the weapon; a hit rings for some 15 ms at 90 Hz (class value)."""
        speed = np.abs(self._of("left_rad_s", t)) / 750.0 + np.abs(self._of("weapon_rad_s", t)) / 1400.0
        x = self.rng.standard_normal(t.size) * (0.3 + 1.8 * speed)
        for at, g in self.truth.plan.hits:
            after = t - at
            ring = (after >= 0) & (after < 0.12)
            x[ring] += g * np.exp(-after[ring] / 0.015) * np.cos(2 * np.pi * 90.0 * after[ring])
        return x
