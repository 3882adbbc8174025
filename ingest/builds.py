"""The user's description files: build, pack, match. Field names are the contract's keys.

Everything but ids, from/to and cells may be left out or written "unknown": the field is then None and the checks
that need it say "not checked". Figures of a pack describe the whole pack, parallel included.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator

from ingest.tables.chemistries import CHEMISTRIES
from ingest.tables.curves import FUSE_CURVES
from ingest.tables.gauges import parse_gauge
from ingest.tables.insulations import INSULATIONS

ID_PATTERN = r"^[a-z][a-z0-9_]{0,39}$"
MATCH_ID_PATTERN = r"^[a-z0-9][a-z0-9_]{0,39}$"


def _unknown_is_none(value: Any) -> Any:
    return None if value == "unknown" else value


Positive = Annotated[float | None, BeforeValidator(_unknown_is_none), Field(gt=0)]
NotNegative = Annotated[float | None, BeforeValidator(_unknown_is_none), Field(ge=0)]
Number = Annotated[float | None, BeforeValidator(_unknown_is_none)]
Count = Annotated[int | None, BeforeValidator(_unknown_is_none), Field(ge=1)]
Text = Annotated[str | None, BeforeValidator(_unknown_is_none)]
Id = Annotated[str, Field(pattern=ID_PATTERN)]


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class BuildHead(Part):
    id: Id
    robot: str = ""
    summary: str = ""
    mass_kg: Positive = None
    mass_limit_kg: Positive = None
    air_degC: Number = None


class PackSlot(Part):
    """What a build is wired for; the match names the pack really fitted."""

    id: Id = "pack"
    cells: Annotated[int, Field(ge=1, le=60)]
    join: Literal["series", "parallel"] | None = None


class Wire(Part):
    """A run of wire. length_mm is one way; area from gauge or area_mm2; the current follows from the loads below."""

    id: Id
    from_: Annotated[str, Field(alias="from")]
    to: str
    gauge: Text = None
    area_mm2: Positive = None
    length_mm: Positive = None
    conductors: Annotated[int, Field(ge=1, le=3)] = 2
    insulation: Text = None
    limit_degC: Number = None
    resistance_mohm_per_m: Positive = None
    through: tuple[str, ...] = ()
    parallel: Annotated[int, Field(ge=1, le=20)] = 1
    laid: Literal["open", "sleeved", "bundled"] | None = None
    bundle: Count = None
    enclosed: bool | None = None

    @field_validator("gauge")
    @classmethod
    def _known_gauge(cls, value: str | None) -> str | None:
        if value is not None:
            parse_gauge(value)
        return value

    @field_validator("insulation")
    @classmethod
    def _known_insulation(cls, value: str | None) -> str | None:
        if value is not None and value not in INSULATIONS:
            raise ValueError(f"is not a known insulation: {', '.join(INSULATIONS)}")
        return value

    @property
    def copper_mm2(self) -> float | None:
        """Copper area of one conductor, all parallel leads together, or None where nothing states it."""
        area = self.area_mm2
        if area is None and self.gauge is not None:
            area = parse_gauge(self.gauge)
        return None if area is None else area * self.parallel


class Contact(Part):
    """resistance_mohm is per pole; a connector has two poles in the loop, anything else one."""

    id: Id
    kind: Literal["connector", "disconnect", "terminal", "joint"] = "connector"
    rated_A: Positive = None
    resistance_mohm: NotNegative = None
    poles: Count = None
    limit_degC: Number = None
    rise_at_rated_K: Positive = None
    time_constant_s: Positive = None

    @property
    def pole_count(self) -> int:
        return self.poles or (2 if self.kind == "connector" else 1)


class Fuse(Part):
    id: Id
    wire: str
    rated_A: Positive = None
    curve: str | tuple[tuple[float, float, float], ...] | None = None

    @field_validator("curve")
    @classmethod
    def _known_curve(cls, value: Any) -> Any:
        if isinstance(value, str):
            if value == "unknown":
                return None
            if value not in FUSE_CURVES:
                raise ValueError(f"is not a known curve: {', '.join(FUSE_CURVES)}, or rows of [multiple, min_s, max_s]")
        return value


class Controller(Part):
    id: Id
    motor_type: Literal["brushless", "brushed"] | None = None
    continuous_A: Positive = None
    burst_A: Positive = None
    burst_s: Positive = None
    rating_basis: Literal["input", "motor"] = "input"
    limit_degC: Number = None
    current_limit_A: Positive = None
    cutoff_V: Positive = None
    minimum_V: Positive = None
    maximum_V: Positive = None
    ramp_s: NotNegative = None
    motor_current_is: Literal["dc", "phase_peak", "phase_rms"] | None = None
    mass_g: Positive = None


class Motor(Part):
    id: Id
    controller: str
    kv_rpm_per_V: Positive = None
    winding_mohm: Positive = None
    pole_pairs: Count = None
    gear_ratio: Positive = None
    limit_degC: Number = None
    insulation_class: Text = None
    count: Annotated[int, Field(ge=1, le=12)] = 1
    no_load_A: NotNegative = None
    mass_g: Positive = None


class Regulator(Part):
    id: Id
    from_: Annotated[str, Field(alias="from")]
    output_V: Positive = None
    rated_A: Positive = None
    minimum_input_V: Positive = None
    supplies: str = "receiver"


class Receiver(Part):
    minimum_V: Positive = None


class Sensor(Part):
    """Where a figure was taken: a current in `wire` on `side`, or a voltage `at` a node."""

    channel: str
    wire: Text = None
    side: Text = None
    at: Text = None
    full_scale: Positive = None
    detection: Literal["instant", "average"] | None = None
    gain_error_pct: NotNegative = None


class Build(Part):
    build: BuildHead
    packs: tuple[PackSlot, ...]
    wires: tuple[Wire, ...] = ()
    contacts: tuple[Contact, ...] = ()
    fuses: tuple[Fuse, ...] = ()
    controllers: tuple[Controller, ...] = ()
    motors: tuple[Motor, ...] = ()
    regulators: tuple[Regulator, ...] = ()
    receiver: Receiver = Receiver()
    sensors: tuple[Sensor, ...] = ()
    source_name: str = ""  # how the file is named in a rating's source: "builds/b.toml"

    @property
    def id(self) -> str:
        return self.build.id

    @property
    def cells(self) -> int:
        """Cells in series as the build is wired for."""
        if len(self.packs) > 1 and all(slot.join == "series" for slot in self.packs):
            return sum(slot.cells for slot in self.packs)
        return self.packs[0].cells

    def part_kinds(self) -> dict[str, str]:
        """Every id of the build and what it is: for naming columns and for finding a part."""
        kinds = {slot.id: "pack" for slot in self.packs}
        for kind, parts in (
            ("wire", self.wires),
            ("contact", self.contacts),
            ("fuse", self.fuses),
            ("controller", self.controllers),
            ("motor", self.motors),
            ("regulator", self.regulators),
        ):
            kinds.update({part.id: kind for part in parts})
        return kinds


class MeasuredByHand(Part):
    date: dt.date | None = None
    cell_mohm: tuple[float, ...] = ()
    degC: Number = None
    by: str = ""


class Pack(Part):
    """One physical pack. resistance_mohm: at 1 s, 25 degC, half charge, the whole pack."""

    id: Id
    chemistry: str = "lithium-polymer"
    cells: Annotated[int, Field(ge=1, le=60)]
    parallel: Annotated[int, Field(ge=1, le=40)] = 1
    capacity_Ah: Annotated[float, Field(gt=0)]
    continuous_C: Positive = None
    burst_C: Positive = None
    burst_s: Positive = None
    charge_C: Positive = None
    mass_g: Positive = None
    resistance_mohm: Positive = None
    minimum_cell_V: Positive = None
    limit_degC: Number = None
    in_service: dt.date | None = None
    measured: tuple[MeasuredByHand, ...] = ()
    source_name: str = ""

    @field_validator("chemistry")
    @classmethod
    def _known_chemistry(cls, value: str) -> str:
        if value not in CHEMISTRIES:
            raise ValueError(f"is not a known chemistry: {', '.join(CHEMISTRIES)}")
        return value

    @property
    def full_cell_V(self) -> float | None:
        return CHEMISTRIES[self.chemistry].full_V

    @property
    def cell_minimum_V(self) -> float | None:
        """The stated minimum, else the chemistry's default (only lithium-polymer has one)."""
        return self.minimum_cell_V or CHEMISTRIES[self.chemistry].default_minimum_V


class LogEntry(Part):
    """One ingested log of a match, written by `add`."""

    sha256: str
    name: str
    reading: Text = None
    clock_offset_s: float | None = None
    clock_drift_ppm: float = 0.0
    clock_by: str = ""  # how offset and drift were found: "aligned on pack voltage, correlation 0.83", "by hand"
    file: str = ""  # telemetry file stem


class Noted(Part):
    part: str
    quantity: str
    value: float
    unit: str
    when: str = ""
    by: str = ""


class Match(Part):
    id: Annotated[str, Field(pattern=MATCH_ID_PATTERN)]
    event: str = ""
    opponent: str = ""
    start: dt.datetime | None = None
    length_s: Positive = None
    result: str = ""
    build: str | None = None
    pack: str | None = None
    packs: dict[str, str | tuple[str, ...]] = {}
    minutes_to_next: NotNegative = None
    air_degC: Number = None
    notes: str = ""
    ended_s: NotNegative = None
    ended_by: str = ""
    window_start_s: Number = None
    window_end_s: Number = None
    logs: tuple[LogEntry, ...] = ()
    noted: tuple[Noted, ...] = ()
    source_name: str = ""
