"""A pack, a battery lead, a weapon lead and two drives by Ohm's and Kirchhoff's laws, logged imperfectly.

V_pack = E − I·R0, V_bus = V_pack − I·R_lead, V_weapon = V_bus − I_weapon·R_weapon, I = sum of the branches. Figures
are our choice. Shares no code with analysis/.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from ingest.builds import (
    Build,
    BuildHead,
    Contact,
    Controller,
    Fuse,
    Motor,
    Pack,
    PackSlot,
    Receiver,
    Regulator,
    Wire,
)
from ingest.channels import parse_channel
from ingest.log import Clock, Fault, Log, Provenance, Stream, channel_field

Floats = npt.NDArray[np.float64]
Shape = Callable[[Floats], Floats]

START_S, END_S, LENGTH_S = 10.0, 55.0, 62.0
REST_V = 25.1
STANDBY_A = 0.6
WINDOW = (START_S, END_S)


def build() -> Build:
    return Build(
        build=BuildHead(id="b", robot="Testbed", air_degC=25),
        packs=(PackSlot(cells=6),),
        wires=(
            Wire(
                id="battery_lead", from_="pack", to="distribution", gauge="10 AWG", length_mm=220, conductors=2,
                insulation="silicone", through=("pack_plug", "main_disconnect"),
            ),
            Wire(
                id="weapon_lead", from_="distribution", to="weapon", gauge="12 AWG", length_mm=160, conductors=2,
                insulation="silicone", through=("weapon_terminal",),
            ),
            Wire(
                id="drive_lead", from_="distribution", to="drive", gauge="14 AWG", length_mm=140, conductors=2,
                insulation="silicone",
            ),
        ),
        contacts=(
            Contact(id="pack_plug", kind="connector", rated_A=120, resistance_mohm=0.4, limit_degC=105),
            Contact(id="main_disconnect", kind="disconnect", rated_A=150, resistance_mohm=0.3, limit_degC=105),
            Contact(id="weapon_terminal", kind="terminal", rated_A=120, resistance_mohm=0.4, limit_degC=105),
        ),
        fuses=(Fuse(id="weapon_fuse", wire="weapon_lead", rated_A=60, curve="ISO 8820-3"),),
        controllers=(
            Controller(id="weapon", motor_type="brushless", rating_basis="input", cutoff_V=17.0, minimum_V=9.0),
            Controller(id="drive", motor_type="brushed", rating_basis="input", minimum_V=7.0),
        ),
        motors=(Motor(id="weapon_motor", controller="weapon", kv_rpm_per_V=580),),
        regulators=(
            Regulator(
                id="receiver_supply", from_="distribution", output_V=5.0, rated_A=5, minimum_input_V=6.5,
                supplies="receiver",
            ),
        ),
        receiver=Receiver(minimum_V=4.0),
        source_name="builds/b.toml",
    )  # fmt: skip


def pack(**changes: object) -> Pack:
    figures: dict[str, object] = {
        "id": "p1", "chemistry": "lithium-polymer", "cells": 6, "capacity_Ah": 4.5, "resistance_mohm": 14,
        "minimum_cell_V": 3.3, "source_name": "packs/p1.toml",
    }  # fmt: skip
    return Pack(**{**figures, **changes})  # type: ignore[arg-type]


def nothing(t: Floats) -> Floats:
    return np.zeros_like(t)


def after(at_s: float, size: float) -> Shape:
    return lambda t: np.where(t >= at_s, size, 0.0)


@dataclass
class Circuit:
    """What is true, at 2 kHz. *_mohm: added to the run over time; open_*: spans in which it carries nothing."""

    seed: int = 1
    lead_mohm: Shape = nothing
    weapon_mohm: Shape = nothing
    drive_mohm: Shape = nothing
    open_lead: tuple[tuple[float, float], ...] = ()
    open_weapon: tuple[tuple[float, float], ...] = ()
    decay_s: float = 3.0  # how long what still turns holds a part up that lost its supply
    rest_V: Shape = field(default=lambda t: np.full_like(t, REST_V))
    idle_from_s: float = END_S

    def play(self) -> dict[str, Floats]:
        rng = np.random.default_rng(self.seed)
        t = np.arange(0.0, LENGTH_S, 5e-4)
        at_work = (t >= START_S) & (t < self.idle_from_s)
        weapon = np.where(at_work, 8.0, 0.0)
        for at in np.concatenate(([START_S + 0.5], rng.uniform(START_S + 3, END_S - 2, 12))):
            since = t - at
            weapon += np.where((since >= 0) & (since < 1.2) & at_work, 70.0 * np.exp(-np.clip(since, 0, 9) / 0.4), 0.0)
        knots = np.arange(0.0, LENGTH_S + 1.0, 0.4)
        drive = np.interp(t, knots, rng.uniform(4.0, 45.0, knots.size)) * at_work
        closed, branch = _closed(t, self.open_lead), _closed(t, self.open_weapon)
        weapon = weapon * closed * branch
        drive = drive * closed
        total = (weapon + drive + STANDBY_A) * closed
        pack_V = self.rest_V(t) - 8.4e-3 * total - 5e-3 * _slow(total, 5.0, 5e-4)
        bus = pack_V - 1e-3 * (2.5 + self.lead_mohm(t)) * total
        bus = _held_up(t, bus, self.open_lead, self.decay_s)
        at_weapon = bus - 1e-3 * (2.6 + self.weapon_mohm(t)) * weapon
        at_weapon = _held_up(t, at_weapon, self.open_weapon, self.decay_s)
        at_drive = bus - 1e-3 * (3.0 + self.drive_mohm(t)) * drive
        rail = np.clip(bus - 1.5, 0.0, 5.0)
        return {
            "t": t, "pack_voltage_V": pack_V, "pack_current_A": total, "distribution_voltage_V": bus,
            "weapon_voltage_V": at_weapon, "weapon_input_current_A": weapon, "drive_voltage_V": at_drive,
            "drive_input_current_A": drive, "receiver_rail_voltage_V": rail,
            "weapon_command_pct": 80.0 * at_work, "drive_command_pct": np.where(at_work, 60.0, 0.0),
        }  # fmt: skip


def _closed(t: Floats, spans: tuple[tuple[float, float], ...]) -> Floats:
    on = np.ones_like(t)
    for start, end in spans:
        on[(t >= start) & (t < end)] = 0.0
    return on


def _slow(x: Floats, tau_s: float, step_s: float) -> Floats:
    out, now = np.empty_like(x), 0.0
    share = step_s / tau_s
    for k, value in enumerate(x.tolist()):
        now += share * (value - now)
        out[k] = now
    return out


def _held_up(t: Floats, volts: Floats, spans: tuple[tuple[float, float], ...], tau_s: float) -> Floats:
    out = volts.copy()
    for start, end in spans:
        gone = (t >= start) & (t < end)
        out[gone] = 0.9 * volts[np.searchsorted(t, start) - 1] * np.exp(-(t[gone] - start) / tau_s)
    return out


NOISE = {"good": (0.005, 0.005, 0.1, 0.1), "poor": (0.03, 36 / 1023, 0.5, 410 / 1023)}  # V, step V, A, step A


def log(
    truth: dict[str, Floats],
    channels: tuple[str, ...],
    rate_Hz: float = 100.0,
    grade: str = "good",
    name: str = "recorder",
    stops_s: float | None = None,
    wall: str | None = None,
    stamps_off_s: float = 0.0,
    cut_short: bool = False,
    extra: dict[str, Floats] | None = None,
) -> Log:
    """One logger's file; extra: channels as they are, by the stamps of a log at this rate from 0 to the end."""
    rng = np.random.default_rng([len(name), round(rate_Hz), len(channels)])
    t = np.arange(0.0, LENGTH_S if stops_s is None else stops_s, 1.0 / rate_Hz)
    noise_V, step_V, noise_A, step_A = NOISE[grade]
    fields = [pa.field("time_s", pa.float64()), pa.field("recording", pa.int16())]
    arrays = [pa.array(t), pa.array(np.zeros(t.size, dtype=np.int16))]
    for channel in (*channels, *(extra or {})):
        if extra and channel in extra:
            x = extra[channel][: t.size]
        else:
            x = np.interp(t, truth["t"], truth[channel])
            noise, step = (noise_A, step_A) if channel.endswith("_A") else (noise_V, step_V)
            if channel.endswith("_pct"):
                noise, step = 0.0, 1.0
            x = np.rint((x + rng.normal(0.0, noise, t.size)) / step) * step if noise else np.rint(x / step) * step
        parsed = parse_channel(channel)
        assert parsed is not None, channel
        fields.append(
            channel_field(
                channel, part=parsed.part, quantity=parsed.quantity.suffix.rsplit("_", 1)[0], unit=parsed.unit,
                source=channel, source_unit=parsed.unit,
            )
        )  # fmt: skip
        arrays.append(pa.array(x))
    start = None
    if wall is not None:
        start = (dt.datetime.fromisoformat(wall) + dt.timedelta(seconds=stamps_off_s)).isoformat(
            timespec="microseconds"
        )
    clock = Clock("time", "s", "certain", 0.0, float(t[-1]), rate_Hz, (), wall_start=start)
    faults = (Fault("truncated", "dropped", "the last row ends within a number"),) if cut_short else ()
    about = Provenance(
        f"{name}.csv", f"{abs(hash((name, rate_Hz, grade))):064x}"[:64], "delimited text", rows=t.size, clock=clock,
        faults=faults,
    )  # fmt: skip
    return Log((Stream("samples", pa.Table.from_arrays(arrays, schema=pa.schema(fields))),), about)


EVERYTHING = (
    "pack_voltage_V", "pack_current_A", "distribution_voltage_V", "weapon_voltage_V", "weapon_input_current_A",
    "drive_voltage_V", "drive_input_current_A", "receiver_rail_voltage_V", "weapon_command_pct", "drive_command_pct",
)  # fmt: skip
