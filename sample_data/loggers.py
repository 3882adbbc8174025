"""Devices that log: each samples the truth with its own clock, rate, noise and units, and leaves a text file.

The layouts are invented: what hobby electronics plausibly leave behind, no maker's format.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from .truth import FileClock, Truth

Floats = npt.NDArray[np.float64]
ClockKind = Literal["s", "ms", "us", "iso", "time_of_day"]


@dataclass(frozen=True)
class Column:
    """One column: its header, the truth's channel, and how the device turns one into the other.

    written = round((value + offset + noise) * scale + shift, digits), after limiting the reading to lowest and
    full_scale.
    quantum is the step of the sensor's own converter, in the channel's unit. A digital value (a counter, a flag, a
    command) is the latest one at the instant; anything else is averaged over the device's average_s.
    """

    header: str
    channel: str
    unit: str = ""
    scale: float = 1.0
    shift: float = 0.0
    digits: int = 2
    noise: float = 0.0
    quantum: float = 0.0
    offset: float = 0.0
    lowest: float | None = None
    digital: bool = False
    full_scale: float | None = None


@dataclass(frozen=True)
class Device:
    """start_s, end_s: on the match clock as planned (the first file of a match starts at 0).

    drift_ppm: by how much the device's clock runs fast. own_power: goes on when the disconnect opens.
    restart: (at, pause): the logger starts anew there and its clock begins at zero again.
    """

    file: str
    rate_Hz: float
    columns: tuple[Column, ...]
    clock: ClockKind = "s"
    clock_header: str = "Time [s]"
    clock_zero: float = 0.0
    start_s: float = 0.0
    end_s: float | None = None
    drift_ppm: float = 0.0
    delimiter: str = ","
    decimal: str = "."
    preamble: tuple[str, ...] = ()
    units_row: bool = False
    comment: str = ""
    average_s: float = 0.004
    jitter_s: float = 0.0002
    own_power: bool = False
    restart: tuple[float, float] | None = None
    bom: bool = False
    line_end: str = "\n"
    stops_with: Literal["node", "weapon"] = "node"


@dataclass(frozen=True)
class Sampled:
    """What a device took: true instants (simulation seconds), its own stamps (s), readings by column header."""

    true_s: Floats
    stamp_s: Floats
    readings: dict[str, Floats] = field(default_factory=dict)


def sample(device: Device, truth: Truth, zero_s: float, seed: tuple[int, ...]) -> Sampled:
    """The device's samples. zero_s: simulation time of the match clock's zero."""
    rng = np.random.default_rng(seed)
    last = float(truth.t_s[-1]) - 0.01
    begin = zero_s + device.start_s
    end = last if device.end_s is None else min(last, zero_s + device.end_s)
    if truth.powered_until_s is not None and not device.own_power:
        off = truth.powered_until_s if device.stops_with == "node" else truth.weapon_logs_until_s
        end = min(end, off if off is not None else end)
    count = int((end - begin) * device.rate_Hz)
    jitter = np.clip(rng.normal(0.0, device.jitter_s, count), -0.3 / device.rate_Hz, 0.3 / device.rate_Hz)
    jitter[0] = 0.0
    own_s = np.arange(count) / device.rate_Hz + jitter  # a device counts its rate on its own clock
    true_s = begin + own_s / (1.0 + device.drift_ppm * 1e-6)
    if device.restart is not None:
        at, pause = device.restart
        keep = (true_s < zero_s + at) | (true_s >= zero_s + at + pause)
        true_s, own_s = true_s[keep], own_s[keep]
        second = true_s >= zero_s + at + pause
        own_s[second] -= own_s[second][0] if second.any() else 0.0
    readings = {c.header: _read(c, device, truth, true_s, rng) for c in device.columns}
    return Sampled(true_s, own_s, readings)


def _read(column: Column, device: Device, truth: Truth, true_s: Floats, rng: np.random.Generator) -> Floats:
    values = truth.channels[column.channel]
    if column.digital:
        values_at = values[np.searchsorted(truth.t_s, true_s, side="right") - 1]
    elif device.average_s > 0.0:
        values_at = _box_average(values, truth.t_s, true_s, device.average_s)
    else:
        values_at = np.interp(true_s, truth.t_s, values)
    x = values_at + column.offset
    if column.noise > 0.0:
        x = x + rng.normal(0.0, column.noise, x.shape)
    if column.quantum > 0.0:
        x = np.round(x / column.quantum) * column.quantum
    if column.lowest is not None:
        x = np.maximum(x, column.lowest)
    if column.full_scale is not None:
        x = np.minimum(x, column.full_scale)
    return np.round(x * column.scale + column.shift, column.digits)


def _box_average(values: Floats, t_s: Floats, at_s: Floats, span_s: float) -> Floats:
    step = t_s[1] - t_s[0]
    total = np.concatenate([[0.0], np.cumsum(values) * step])
    edges = np.concatenate([t_s, [t_s[-1] + step]])
    late, early = np.interp(at_s, edges, total), np.interp(at_s - span_s, edges, total)
    return (late - early) / span_s


def _stamps(device: Device, own_s: Floats, day: datetime) -> list[str] | list[int] | list[float]:
    if device.clock == "ms":
        return np.round((own_s + device.clock_zero) * 1e3).astype(np.int64).tolist()
    if device.clock == "us":
        return np.round((own_s + device.clock_zero) * 1e6).astype(np.int64).tolist()
    if device.clock == "s":
        return np.round(own_s + device.clock_zero, 3).tolist()
    millis = np.round((own_s + device.clock_zero) * 1e3).astype(np.int64).tolist()
    moments = [day + timedelta(milliseconds=m) for m in millis]
    if device.clock == "iso":
        return [m.isoformat(timespec="milliseconds") for m in moments]
    return [m.time().isoformat(timespec="milliseconds") for m in moments]


def text(device: Device, samples: Sampled, day: datetime) -> str:
    """The file's whole text. day is the wall clock at the device's first sample."""
    stamps = _stamps(device, samples.stamp_s, day)
    formats = ["%s" if isinstance(stamps[0], str) else ("%.3f" if device.clock == "s" else "%d")]
    formats += [f"%.{c.digits}f" for c in device.columns]
    row = device.delimiter.join(formats)
    cleaned = [samples.readings[c.header] + 0.0 for c in device.columns]  # + 0.0: no "-0.00" from rounding
    body = "\n".join([row % values for values in zip(stamps, *(x.tolist() for x in cleaned), strict=True)])
    if device.decimal != ".":
        body = body.replace(".", device.decimal)
    head = list(device.preamble)
    head.append(device.comment + device.delimiter.join([device.clock_header, *(c.header for c in device.columns)]))
    if device.units_row:
        unit = {"s": "s", "ms": "ms", "us": "us"}.get(device.clock, "")
        head.append(device.delimiter.join([unit, *(c.unit for c in device.columns)]))
    return "\n".join([*head, body]) + "\n"


def write(
    device: Device, truth: Truth, zero_s: float, folder: Path, seed: tuple[int, ...], day: datetime
) -> tuple[Path, Sampled]:
    """Samples the truth and writes the file; returns its path and what was sampled."""
    samples = sample(device, truth, zero_s, seed)
    content = text(device, samples, day).replace("\n", device.line_end)
    path = folder / device.file
    path.write_bytes(content.encode("utf-8-sig" if device.bom else "utf-8"))
    return path, samples


def clock_truth(devices: tuple[Device, ...], taken: list[Sampled]) -> tuple[FileClock, ...]:
    """Where each file's clock really lies against the first file's: t_match = t_log (1 + drift) + offset."""
    first = 1.0 + devices[0].drift_ppm * 1e-6
    zero = float(taken[0].true_s[0])
    return tuple(
        FileClock(
            d.file,
            float(s.true_s[0]),
            (float(s.true_s[0]) - zero) * first,
            (first / (1.0 + d.drift_ppm * 1e-6) - 1.0) * 1e6,
            d.drift_ppm,
        )
        for d, s in zip(devices, taken, strict=True)
    )
