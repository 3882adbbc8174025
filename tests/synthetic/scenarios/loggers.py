"""Loggers: rate, sensor grade, what they keep, and what supplies them; from a World to a Log.

Two grades, as ordered: good has 0.1 A and 5 mV noise and steps; poor has 1 % gain error, 0.5 A and 20 to 50 mV noise
and 10 bits over its range. A logger on the bus dies with the bus, one on the pack or on its own cell does not.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from ingest.channels import parse_channel
from ingest.log import Clock, Fault, Log, Provenance, Stream, channel_field
from tests.synthetic.scenarios.world import World

Floats = npt.NDArray[np.float64]

# quantity -> (noise good, step good, noise poor, low, high of the 10-bit range)
SENSORS: dict[str, tuple[float, float, float, float, float]] = {
    "voltage": (0.005, 0.005, 0.03, 0.0, 36.0),
    "cell": (0.002, 0.001, 0.005, 0.0, 5.0),
    "rail": (0.005, 0.005, 0.02, 0.0, 6.6),
    "current": (0.1, 0.1, 0.5, -110.0, 300.0),
    "motor": (0.1, 0.1, 0.5, -410.0, 410.0),
    "rail_current": (0.02, 0.01, 0.05, 0.0, 12.0),
    "temperature": (0.05, 0.1, 0.3, -40.0, 215.0),
    "speed": (5.0, 1.0, 30.0, -20460.0, 20460.0),
    "percent": (0.0, 0.1, 0.0, -102.3, 102.3),
    "count": (0.0, 1.0, 0.0, 0.0, 1e9),
    "strength": (1.0, 1.0, 2.0, -150.0, 40.0),
    "shock": (0.2, 0.05, 1.0, -400.0, 400.0),
    "uptime": (0.0, 0.01, 0.0, 0.0, 1e9),
}
UNSTEPPED = ("percent", "count", "strength", "uptime", "temperature")
GOOD_FULL_SCALE_A = 500.0


def kind_of(channel: str) -> str:
    if channel.startswith("cell"):
        return "cell"
    for tail, kind in (
        ("rail_voltage_V", "rail"), ("rail_current_A", "rail_current"), ("motor_current_A", "motor"),
        ("current_A", "current"), ("voltage_V", "voltage"), ("temp_degC", "temperature"), ("speed_rpm", "speed"),
        ("_pct", "percent"), ("dBm", "strength"), ("shock_g", "shock"), ("uptime_s", "uptime"),
    ):  # fmt: skip
        if channel.endswith(tail):
            return kind
    return "count"


@dataclass(frozen=True)
class Device:
    """One logger. supply: own, bus (dies with the weapon controller), drives, receiver."""

    name: str
    channels: tuple[str, ...]
    rate_Hz: float
    grade: str = "good"
    supply: str = "own"
    averages: bool = False
    start_s: float = 0.0
    full_scale: dict[str, float] = field(default_factory=dict)  # channel -> the sensor's end, both signs
    offset: dict[str, float] = field(default_factory=dict)
    frozen: tuple[tuple[str, float, float], ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    stops_s: float | None = None
    cut_short: bool = False  # the file ends within a row
    restarts: tuple[tuple[float, float], ...] = ()  # the logger starts again: (when, for how long it was away)
    clock_offset_s: float = 0.0  # what its stamps are wrong by, although it claims the common clock
    clock_drift_ppm: float = 0.0
    wall_clock: str | None = None


# Which of a controller's own figures stand still when it is off.
_REPORTED = ("command_pct", "duty_pct", "speed_rpm", "temp_degC", "uptime_s", "fault_code", "motor_current_A")
_DRIVES = ("left_drive_", "right_drive_")


def sensed(device: Device, channel: str, x: Floats, rng: np.random.Generator) -> Floats:
    """What the sensor makes of the true values."""
    kind = kind_of(channel)
    noise_good, step_good, noise_poor, low, high = SENSORS[kind]
    if device.grade == "poor":
        if kind in ("current", "motor", "voltage", "rail", "cell", "rail_current"):
            limit = 0.01 if kind in ("current", "motor", "rail_current") else 0.003
            x = x * (1.0 + rng.uniform(-limit, limit))
        noise = noise_poor * (rng.uniform(0.7, 1.6) if kind == "voltage" else 1.0)
        step = step_good if kind in UNSTEPPED else (high - low) / 1023.0
        if kind == "temperature":
            step = 1.0
        if kind == "percent":
            step = 1.0
    else:
        noise, step = noise_good, step_good
        if kind in ("current", "motor"):
            low, high = -GOOD_FULL_SCALE_A, GOOD_FULL_SCALE_A
    if noise:
        x = x + rng.normal(0.0, noise, x.shape)
    x = x + device.offset.get(channel, 0.0)
    if channel in device.full_scale:
        low, high = -device.full_scale[channel], device.full_scale[channel]
    if kind == "strength":
        x = np.maximum(x, -120.0)
    return np.clip(np.rint(x / step) * step, low, high)


def record(world: World, device: Device) -> Log:
    """The Log this device leaves behind."""
    seed = int.from_bytes(hashlib.sha256(device.name.encode()).digest()[:6], "big")
    rng = np.random.default_rng([seed, int(world.truth.plan.total_s * 1000), int(world.size)])
    rng = np.random.default_rng([seed, int(rng.integers(1 << 40)), round(device.rate_Hz)])
    total = world.truth.plan.total_s
    period = 1.0 / device.rate_Hz
    true_t = np.asarray(device.start_s + np.arange(int((total - device.start_s) * device.rate_Hz)) * period, float)
    keep = _kept(world, device, true_t)
    columns: dict[str, tuple[Floats, npt.NDArray[np.bool_]]] = {}
    for channel in device.channels:
        x = _sampled(world, channel, true_t, device)
        x = sensed(device, channel, x, rng)
        null = _nulls(world, device, channel, true_t)
        columns[channel] = (x, null)
    for channel, start, end in device.frozen:
        x, null = columns[channel]
        low, high = np.searchsorted(true_t, [start, end])
        if high > low:
            x[low:high] = x[low]
    stamps = true_t * (1.0 + device.clock_drift_ppm * 1e-6) + device.clock_offset_s
    return _assemble(device, stamps[keep], {c: (x[keep], n[keep]) for c, (x, n) in columns.items()}, true_t[keep])


def _sampled(world: World, channel: str, t: Floats, device: Device) -> Floats:
    if not device.averages or device.rate_Hz >= 500 or kind_of(channel) in UNSTEPPED:
        return world(channel, t)
    inner = max(2, round(1000.0 / device.rate_Hz))
    fine = (t[:, None] - np.arange(inner)[None, ::-1] * 0.001).ravel()
    return world(channel, np.maximum(fine, 0.0)).reshape(t.size, inner).mean(axis=1)


def _kept(world: World, device: Device, t: Floats) -> npt.NDArray[np.bool_]:
    keep = np.ones(t.shape, dtype=bool)
    column = {"bus": "weapon_on", "drives": "drives_on", "receiver": "receiver_on"}.get(device.supply)
    if column is not None:
        keep &= (world.truth.at(column, t) > 0.5) | (t < 2.0)
    for start, end in device.gaps:
        keep &= ~((t >= start) & (t < end))
    for at, away in device.restarts:
        keep &= ~((t >= at) & (t < at + away))
    if device.stops_s is not None:
        keep &= t < device.stops_s
    return keep


def _nulls(world: World, device: Device, channel: str, t: Floats) -> npt.NDArray[np.bool_]:
    """A recorder with a cell of its own asks the controllers: no answer while they are off."""
    null = np.zeros(t.shape, dtype=bool)
    if device.supply != "own" or not channel.endswith(_REPORTED):
        return null
    if channel.startswith("weapon_"):
        null |= (world.truth.at("weapon_on", t) < 0.5) & (t > 2.0)
    elif channel.startswith(_DRIVES):
        null |= (world.truth.at("drives_on", t) < 0.5) & (t > 2.0)
    return null


def _assemble(
    device: Device, stamps: Floats, columns: dict[str, tuple[Floats, npt.NDArray[np.bool_]]], true_t: Floats
) -> Log:
    period = 1.0 / device.rate_Hz
    recording = np.zeros(stamps.shape, dtype=np.int16)
    restarts = []
    for at, _ in device.restarts:
        k = int(np.searchsorted(true_t, at))
        if 0 < k < stamps.size:
            recording[k:] += 1
            stamps = stamps.copy()
            stamps[k:] += stamps[k - 1] + period - stamps[k]  # laid end to end: the true pause is unknown
            restarts.append(float(stamps[k]))
    wall = None
    if device.wall_clock is not None and stamps.size:
        wall = dt.datetime.fromisoformat(device.wall_clock) + dt.timedelta(seconds=float(stamps[0]))
    if stamps.size:
        stamps = stamps - stamps[0]
    fields = [pa.field("time_s", pa.float64()), pa.field("recording", pa.int16())]
    arrays = [pa.array(stamps), pa.array(recording)]
    for channel, (x, null) in columns.items():
        parsed = parse_channel(channel)
        assert parsed is not None, channel
        fields.append(
            channel_field(
                channel, part=parsed.part, quantity=parsed.quantity.suffix.rsplit("_", 1)[0], unit=parsed.unit,
                source=channel, source_unit=parsed.unit,
            )
        )  # fmt: skip
        arrays.append(pa.array(x, mask=null if null.any() else None))
    table = pa.Table.from_arrays(arrays, schema=pa.schema(fields))
    digest = hashlib.sha256(device.name.encode())
    digest.update(np.ascontiguousarray(stamps).tobytes())
    for x, _ in columns.values():
        digest.update(np.ascontiguousarray(x).tobytes())
    faults = []
    if device.cut_short:
        faults.append(Fault("truncated", "dropped", "the last row ends within a number", line=stamps.size + 2))
    if restarts:
        faults.append(Fault("clock_restart", "repaired", "the clock starts again", count=len(restarts)))
    duration = float(stamps[-1] - stamps[0]) if stamps.size else 0.0
    clock = Clock(
        "time",
        "s",
        "certain",
        0.0,
        duration,
        device.rate_Hz,
        tuple(restarts),
        wall_start=None if wall is None else wall.isoformat(timespec="microseconds"),
    )
    about = Provenance(
        f"{device.name}.csv", digest.hexdigest(), "delimited text", rows=int(stamps.size), clock=clock,
        faults=tuple(faults),
    )  # fmt: skip
    return Log((Stream("samples", table),), about)


def recorder(rate_Hz: float, grade: str, *groups: tuple[str, ...], **options: object) -> Device:
    """One logger with its own cell that keeps everything named."""
    channels = tuple(dict.fromkeys(channel for group in groups for channel in group))
    return replace(Device("recorder", channels, rate_Hz, grade), **options)  # type: ignore[arg-type]
