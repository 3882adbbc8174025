"""A channel that cannot have measured what it is named for vouches for nothing, and condemns nothing.

The circuit is Ohm's and Kirchhoff's (tests/synthetic/circuit_truth.py) and shares no code with the analysis; which
channel is broken is known because the test broke it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from analysis.review import review
from ingest.builds import Sensor
from ingest.log import Log, Stream
from tests.synthetic.circuit_truth import END_S, EVERYTHING, LENGTH_S, REST_V, START_S, Circuit, build, log, pack

RATE_HZ = 50.0
ROWS = int(LENGTH_S * RATE_HZ)
PLAIN = Circuit().play()
SWAY = np.rint(10.0 * (40.0 + np.linspace(0.0, 20.0, ROWS))) / 10.0
EXTRA = {
    "weapon_temp_degC": SWAY,
    "pack_temp_degC": SWAY - 10.0,
    **{f"cell{k}_voltage_V": np.interp(np.arange(ROWS) / RATE_HZ, PLAIN["t"], PLAIN["pack_voltage_V"]) / 6
       for k in range(1, 7)},
}  # fmt: skip
AT = np.arange(ROWS) / RATE_HZ
COMMAND = np.where((AT > START_S) & (AT < END_S), 30.0 + 1.5 * (SWAY - 40.0), 0.0)
DUTY = np.full(ROWS, 50.0)
MOTOR = 2.0 * np.interp(AT, PLAIN["t"], PLAIN["weapon_input_current_A"])  # what a duty of one half asks for
EXTRA |= {"weapon_command_pct": np.rint(COMMAND), "drive_command_pct": np.rint(COMMAND)}
SOUND = log(PLAIN, tuple(n for n in EVERYTHING if n not in EXTRA), RATE_HZ, extra=EXTRA)
BUILD = build().model_copy(
    update={
        "controllers": tuple(
            c.model_copy(update={"limit_degC": 100.0, "continuous_A": 200.0, "burst_A": 300.0, "burst_s": 10.0})
            for c in build().controllers
        )
    }
)
PACK = pack(limit_degC=60, continuous_C=50, burst_C=100, burst_s=10)
# Which checks rest on which channel: the contract's words for each check.
RESTS_ON = {
    "weapon_voltage_V": {("controller_cutoff", "weapon"), ("controller_voltage", "weapon")},
    "drive_voltage_V": {("controller_voltage", "drive")},
    "pack_voltage_V": {("pack_sag", "pack"), ("pack_resistance", "pack")},
    "pack_current_A": {("pack_current", "pack"), ("charge_used", "pack"), ("pack_resistance", "pack")},
    "weapon_input_current_A": {("burst_current", "weapon"), ("wire_temperature", "weapon_lead")},
    "drive_input_current_A": {("burst_current", "drive"), ("wire_temperature", "drive_lead")},
    "weapon_temp_degC": {("controller_temperature", "weapon")},
    "pack_temp_degC": {("pack_temperature", "pack")},
    "cell3_voltage_V": {("cell_minimum", f"cell{k}") for k in range(1, 7)},
}


def with_values(names: dict[str, Any], rows: slice = slice(None), made: Log = SOUND) -> Log:
    (stream,) = made.streams
    table = stream.table
    for name, values in names.items():
        place = table.column_names.index(name)
        table = table.set_column(place, table.schema.field(name), pa.array(values, pa.float64()))
    start, end, _ = rows.indices(table.num_rows)
    return Log((Stream("samples", table.slice(start, end - start)),), made.provenance)


def reviewed(made: Log, **changes: Any) -> Any:
    return review([made], changes.get("build", BUILD), changes.get("pack", PACK), with_advice=False)


def judged(found: Any) -> set[tuple[str, str]]:
    rows = [(p.check, p.part) for p in found.passed]
    return {*rows, *((f.check, f.part) for f in found.findings if f.limit is not None)}


def test_the_sound_log_is_judged_on_every_channel_and_nothing_is_left_out() -> None:
    found = reviewed(SOUND)
    assert not [q for q in found.quality if q.code in ("frozen_values", "implausible")]
    for name, rows in RESTS_ON.items():
        assert rows & judged(found), name


@pytest.mark.parametrize("value", ["first", "middle", "zero"])
@pytest.mark.parametrize("name", RESTS_ON)
def test_a_channel_that_stands_still_judges_nothing(name: str, value: str) -> None:
    x = SOUND.streams[0].table[name].to_numpy()
    still = {"first": x[0], "middle": x[ROWS // 2], "zero": 0.0}[value]
    found = reviewed(with_values({name: np.full(ROWS, still)}))
    assert not RESTS_ON[name] & judged(found)
    assert [q.channel for q in found.quality if q.code in ("frozen_values", "implausible")] == [name]
    faults = [f.cause for f in found.findings if f.kind in ("wiring_fault", "power_loss")]
    assert not faults


def test_the_reason_is_the_sensor_and_not_that_nothing_was_logged() -> None:
    found = reviewed(with_values({"weapon_voltage_V": np.full(ROWS, 24.0)}))
    row = next(r for r in found.not_checked if (r.check, r.part) == ("controller_cutoff", "weapon"))
    assert "one value (24)" in row.reason
    assert "not logged" not in row.reason
    assert "look at the sensor of weapon_voltage_V" in row.mend


@pytest.mark.parametrize("share", [1e-3, 0.1, 10.0])
@pytest.mark.parametrize("name", ["weapon_voltage_V", "pack_voltage_V", "cell3_voltage_V"])
def test_a_voltage_of_another_scale_judges_nothing(name: str, share: float) -> None:
    x = SOUND.streams[0].table[name].to_numpy()
    found = reviewed(with_values({name: x * share}))
    assert not RESTS_ON[name] & judged(found)
    assert name in [q.channel for q in found.quality if q.code == "implausible"]


def test_a_part_colder_than_its_air_judges_nothing() -> None:
    found = reviewed(with_values({"weapon_temp_degC": -SWAY, "pack_temp_degC": SWAY / 1000.0}))
    assert not (RESTS_ON["weapon_temp_degC"] | RESTS_ON["pack_temp_degC"]) & judged(found)


@pytest.mark.parametrize("rows", [1, 2, 5])
def test_some_samples_pass_nothing(rows: int) -> None:
    at = int(20 * RATE_HZ)
    found = reviewed(with_values({}, slice(at, at + rows)))
    assert not found.passed
    assert found.not_checked


@pytest.mark.parametrize("name", ["weapon_voltage_V", "weapon_temp_degC", "pack_temp_degC", "pack_voltage_V"])
def test_a_hole_in_the_match_passes_nothing_that_stands_on_one_sample(name: str) -> None:
    x = [
        None if 20 * RATE_HZ <= k < 40 * RATE_HZ else v for k, v in enumerate(SOUND.streams[0].table[name].to_pylist())
    ]
    found = reviewed(with_values({name: x}))
    passed = {(p.check, p.part) for p in found.passed} - {("pack_resistance", "pack")}  # a fit of what was seen
    assert not RESTS_ON[name] & passed
    row = next(r for r in found.not_checked if (r.check, r.part) in RESTS_ON[name])
    assert f"20 s of the match are not in {name}" in row.reason


def test_a_temperature_that_halts_in_the_match_passes_nothing() -> None:
    """A last digit that flickers at every sample cannot rest for half a minute."""
    rng = np.random.default_rng(1)
    x = np.rint(10.0 * (SWAY + rng.normal(0.0, 0.3, ROWS))) / 10.0
    sound = reviewed(with_values({"weapon_temp_degC": x}))
    assert RESTS_ON["weapon_temp_degC"] & judged(sound)
    x[int(20 * RATE_HZ) :] = x[int(20 * RATE_HZ)]
    found = reviewed(with_values({"weapon_temp_degC": x}))
    assert not RESTS_ON["weapon_temp_degC"] & judged(found)
    assert "weapon_temp_degC" in [q.channel for q in found.quality if q.code == "frozen_values"]


def test_the_lowest_cell_may_be_the_one_that_stopped() -> None:
    x = SOUND.streams[0].table["cell3_voltage_V"].to_pylist()
    found = reviewed(with_values({"cell3_voltage_V": [v if k < 20 * RATE_HZ else None for k, v in enumerate(x)]}))
    assert not [p for p in found.passed if p.check == "cell_minimum"]


def test_what_was_over_before_the_hole_stays_over() -> None:
    x: list[float | None] = list(SWAY + 50.0)
    x[int(12 * RATE_HZ)] = None
    x[int(20 * RATE_HZ) : int(40 * RATE_HZ)] = [None] * int(20 * RATE_HZ)
    found = reviewed(with_values({"weapon_temp_degC": x}))
    assert [f.verdict for f in found.findings if f.check == "controller_temperature"] == ["over"]


def test_the_lowest_of_some_cells_is_not_the_lowest_cell() -> None:
    table = SOUND.streams[0].table.drop_columns(["cell3_voltage_V"])
    found = reviewed(Log((Stream("samples", table),), SOUND.provenance))
    assert not [p for p in found.passed if p.check == "cell_minimum"]
    row = next(r for r in found.not_checked if r.check == "cell_minimum")
    assert "1 of 6 cells" in row.reason


def test_a_tap_off_its_zero_is_as_unsure_as_the_others_say() -> None:
    """All taps show the same at rest (Kirchhoff); the one that reads 1.2 V more may be right or wrong by that."""
    x = SOUND.streams[0].table["weapon_voltage_V"].to_numpy()
    lowest = float(np.interp(np.arange(10.0, END_S, 1e-3), PLAIN["t"], PLAIN["weapon_voltage_V"]).min())
    found = reviewed(with_values({"weapon_voltage_V": x + 1.2}))
    row = next(r for r in (*found.passed, *found.findings) if (r.check, r.part) == ("controller_cutoff", "weapon"))
    assert row.low is not None
    assert row.low <= lowest
    assert row.measured > lowest + 1.0
    assert lowest < REST_V


def test_a_stated_error_of_a_voltage_widens_its_lowest_sample() -> None:
    stated = BUILD.model_copy(update={"sensors": (Sensor(channel="weapon_voltage_V", gain_error_pct=4.0),)})
    plain, unsure = reviewed(SOUND), reviewed(SOUND, build=stated)
    rows = [
        next(r for r in (*f.passed, *f.findings) if (r.check, r.part) == ("controller_cutoff", "weapon"))
        for f in (plain, unsure)
    ]
    assert rows[0].low - rows[1].low == pytest.approx(0.04 * rows[0].measured, rel=1e-3)
    assert replace(rows[0], low=0.0) != rows[1]


@pytest.mark.parametrize("share", [1e-3, 0.1, 10.0])
@pytest.mark.parametrize("name", ["pack_current_A", "weapon_motor_current_A"])
def test_currents_that_contradict_each_other_judge_nothing(name: str, share: float) -> None:
    """A pack carries what its branches draw (Kirchhoff), a motor no less than its controller takes."""
    whole = log(
        PLAIN,
        tuple(n for n in EVERYTHING if n not in EXTRA),
        RATE_HZ,
        extra=EXTRA | {"weapon_motor_current_A": MOTOR, "weapon_duty_pct": DUTY},
    )
    sound = reviewed(whole)
    assert not [q for q in sound.quality if q.code == "implausible"]
    x = whole.streams[0].table[name].to_numpy()
    found = reviewed(with_values({name: x * share}, made=whole))
    left_out = [q.channel for q in found.quality if q.code == "implausible"]
    assert name in left_out
    rests = RESTS_ON["pack_current_A"] if name == "pack_current_A" else {("wire_temperature", "weapon_motor_leads")}
    assert not rests & judged(found)


def test_a_rail_and_a_radio_that_read_nothing_are_sensors_and_not_faults() -> None:
    whole = with_values({"receiver_rail_voltage_V": np.zeros(ROWS)})
    found = reviewed(whole)
    assert not [f for f in found.findings if f.part == "receiver"]
    assert not [p for p in found.passed if p.check == "rail_voltage"]
