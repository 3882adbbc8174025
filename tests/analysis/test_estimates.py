"""Estimates beside the checks: the standard's bench test, runs between taps, a winding without a sensor."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from analysis.estimates import check
from analysis.match_data import MatchData
from analysis.pack_check import capacity_Ah
from analysis.review import prepare
from ingest.builds import Build, Pack
from ingest.channels import parse_channel
from ingest.log import Log, Provenance, Stream, channel_field

RATE_HZ = 50.0


def log(channels: dict[str, np.ndarray]) -> Log:
    n = len(next(iter(channels.values())))
    columns = [pa.array(np.arange(n) / RATE_HZ), pa.array(np.zeros(n, np.int16))]
    fields = [pa.field("time_s", pa.float64()), pa.field("recording", pa.int16())]
    for name, x in channels.items():
        channel = parse_channel(name)
        assert channel is not None
        columns.append(pa.array(x))
        fields.append(
            channel_field(
                name, part=channel.part, quantity=channel.quantity.kind, unit=channel.unit, source=name, source_unit=""
            )
        )
    return Log((Stream("samples", pa.Table.from_arrays(columns, schema=pa.schema(fields))),), Provenance("x", "0", "x"))


def pack() -> Pack:
    return Pack(id="p1", cells=6, capacity_Ah=3.3, resistance_mohm=22.0, mass_g=520.0)


def rows(data: MatchData) -> dict[tuple[str, str], object]:
    return {(row.name, row.part): row for row in check(data).rows}  # type: ignore[union-attr]


def test_the_two_step_discharge_of_iec_61960_3() -> None:
    """R = (U1 - U2)/(I2 - I1), U1 after 10 s of 0.2 C, U2 after 1 s of 1 C (IEC 61960-3, seen in secondary copies)."""
    t = np.arange(0.0, 16.0, 1 / RATE_HZ)
    current = np.where(t < 3.0, 0.0, np.where(t < 13.0, 0.66, np.where(t < 14.2, 3.3, 0.0)))
    volts = 25.0 - 0.024 * current
    data = prepare([log({"pack_current_A": current, "pack_voltage_V": volts})], None, pack())
    found = rows(data)["pack_resistance_dc_mohm", "pack"]
    assert found.value == pytest.approx(24.0, rel=0.01)  # type: ignore[attr-defined]


def match(seed: int = 3) -> dict[str, np.ndarray]:
    """A made match: pack current in bursts, a lead of 4.2 mΩ before the weapon (Ohm's law)."""
    noise = np.random.default_rng(seed)
    t = np.arange(0.0, 120.0, 1 / RATE_HZ)
    level = np.repeat(noise.uniform(5.0, 90.0, 60), int(2 * RATE_HZ))
    current = np.where((t > 10.0) & (t < 110.0), level, 0.3)
    used = np.cumsum(current) / RATE_HZ / 3600.0
    volts = 25.1 - 0.9 * used - 0.022 * current + noise.normal(0, 0.005, len(t))
    return {
        "pack_current_A": current + noise.normal(0, 0.1, len(t)),
        "pack_voltage_V": volts,
        "weapon_voltage_V": volts - 0.0042 * current,
        "weapon_motor_current_A": 1.2 * current,
    }


def build() -> Build:
    return Build.model_validate(
        {
            "build": {"id": "b"},
            "packs": [{"cells": 6}],
            "wires": [{"id": "lead", "from": "pack", "to": "weapon", "gauge": "12 AWG", "length_mm": 300}],
            "controllers": [{"id": "weapon", "motor_current_is": "dc"}],
            "motors": [{"id": "weapon_motor", "controller": "weapon", "winding_mohm": 18.0, "mass_g": 600.0}],
        }
    )


def test_the_lead_between_two_taps_and_its_drop() -> None:
    found = rows(prepare([log(match())], build(), pack()))
    lead = found["harness_resistance_mohm", "lead"]
    assert lead.value == pytest.approx(4.2, abs=0.1)  # type: ignore[attr-defined]
    drop = found["run_drop_V", "lead"]
    assert drop.value == pytest.approx(0.0042 * 88.0, rel=0.05)  # type: ignore[attr-defined]


def test_a_match_is_no_bench_test_and_a_winding_is_only_an_estimate() -> None:
    found = rows(prepare([log(match())], build(), pack()))
    assert ("pack_resistance_dc_mohm", "pack") not in found
    winding = found["motor_winding_degC", "weapon_motor"]
    assert winding.high - winding.low > 0.3 * (winding.value - 25.0)  # type: ignore[attr-defined]
    assert "thermometer" in winding.method  # type: ignore[attr-defined]


def test_a_pack_of_which_only_the_cells_are_known_scales_by_what_was_drawn() -> None:
    bare = Pack(id="pack", cells=6, capacity_Ah=None)
    data = prepare([log(match())], None, bare)
    drawn = float(np.trapezoid(match()["pack_current_A"], dx=1 / RATE_HZ)) / 3600.0
    assert capacity_Ah(data) == pytest.approx(1.5 * drawn, rel=0.02)
