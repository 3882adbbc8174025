"""motor_temperature where the build states the insulation class and no limit: the class's own limit, IEC 60085.

The class limits the hottest spot of the winding. A sensor reads less than that: outside the motor far less. So a
reading can fail the class, and it passes only with room for the hot spot.
"""

from __future__ import annotations

from typing import Final

from analysis import thermal
from analysis.covered import judge_seen
from analysis.findings import NotChecked, Occurrence
from analysis.match_data import MatchData
from analysis.motors import motor_limit
from analysis.outcome import Held, Outcome, Row
from analysis.signal import Measured
from ingest.builds import Motor

CHECK: Final = "motor_temperature"
# The hottest spot above what is measured: 5 to 15 K are allowed for between a winding's mean and its hottest spot
# (IEC 60034-1, recalled); our choice: the upper end, since where the sensor sits is not known.
HOT_SPOT_K: Final = 15.0
# A sensor taped to a part may be off by this (our choice, as for contacts).
SENSOR_K: Final = 1.0
NOTE: Final = "a sensor outside the motor reads far less than its winding"


def temperatures(data: MatchData) -> Outcome:
    """All temperature checks; a motor without limit_degC is held against its insulation class."""
    found = thermal.check(data)
    if data.build is None:
        return found
    motors = {m.id: m for m in data.build.motors if m.limit_degC is None}
    return Outcome(tuple(_row(data, motors, row) for row in found.rows), found.curves)


def limit_of(motor: Motor) -> float | None:
    """The motor's limit as stated or of its stated class, °C; None where the build states neither."""
    if motor.limit_degC is None and motor.insulation_class is None:
        return None
    return motor_limit(motor).value


def _row(data: MatchData, motors: dict[str, Motor], row: Row) -> Row:
    if not isinstance(row, NotChecked) or row.check != CHECK or row.part not in motors:
        return row
    motor, channel = motors[row.part], f"{row.part}_temp_degC"
    signal = data.inside(channel)
    if signal is None:
        return row
    assert data.build is not None
    name = data.build.source_name or "the build file"
    if motor.insulation_class is None:
        return NotChecked(
            CHECK, motor.id, "neither limit_degC nor insulation_class is stated",
            f"state limit_degC, or insulation_class as its plate shows it, of {motor.id} in {name}",
        )  # fmt: skip
    limit = motor_limit(motor, name)
    at = int(signal.x.argmax())
    value, when = float(signal.x[at]), float(signal.t_s[at])
    spread = SENSOR_K + 2.0 * signal.noise
    basis = f"its own sensor, and up to {HOT_SPOT_K:g} K for the hot spot"
    figure = Measured(value, value - spread, value + spread + HOT_SPOT_K, basis)
    over = signal.x > limit.value
    start = float(signal.t_s[over][0]) if over.any() else when
    source = f"{limit.source}, class {motor.insulation_class} in {name}"
    held = Held(
        CHECK, motor.id, limit.value, data.air_degC[0], "degC", source, "thermal_buildup", "max", channel,
        limit.is_memory,
    )  # fmt: skip
    return judge_seen(
        data, held, signal, figure, (start, when), occurrences=(Occurrence(start, when, value),), note=NOTE
    )
