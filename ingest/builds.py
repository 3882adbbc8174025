"""The user's description files: build, pack, match. Field names are the contract's keys.

Everything but ids, from/to and cells may be left out or written "unknown": the field is then None and the checks
that need it say "not checked". Figures of a pack describe the whole pack, parallel included.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from ingest.build_checks import build_complaints
from ingest.description import Complaint, Document, build_model, check_tables, need_table, read_document
from ingest.fields import (
    ID_PATTERN,
    MATCH_ID_PATTERN,
    AirTemperature,
    Count,
    Id,
    NotNegative,
    Part,
    Positive,
    Temperature,
    Text,
)
from ingest.matches import LogEntry, Match, Noted, load_match
from ingest.packs import MeasuredByHand, Pack, load_pack
from ingest.places import place
from ingest.season_file import load_season_settings
from ingest.tables.curves import parse_fuse_curve, parse_fuse_table, parse_motor_class
from ingest.tables.gauges import parse_gauge
from ingest.tables.insulations import parse_insulation
from ingest.toml_lines import KeyPath

__all__ = [
    "ID_PATTERN", "MATCH_ID_PATTERN", "Build", "BuildHead", "Contact", "Controller", "Fuse", "LogEntry", "Match",
    "MeasuredByHand", "Motor", "Noted", "Pack", "PackSlot", "Part", "Receiver", "Regulator", "Sensor", "Wire",
    "fits", "load_build", "load_match", "load_pack", "load_season_settings",
]  # fmt: skip

# Table of the file -> field of the Build.
_LISTS = {
    "wire": "wires", "contact": "contacts", "fuse": "fuses", "controller": "controllers", "motor": "motors",
    "regulator": "regulators", "sensor": "sensors",
}  # fmt: skip


class BuildHead(Part):
    id: Id
    robot: str = ""
    summary: str = ""
    mass_kg: Positive = None
    mass_limit_kg: Positive = None
    air_degC: AirTemperature = None


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
    limit_degC: Temperature = None
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
        return None if value is None else parse_insulation(value).name

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
    limit_degC: Temperature = None
    rise_at_rated_K: Positive = None
    time_constant_s: Positive = None

    @property
    def pole_count(self) -> int:
        return self.poles or (2 if self.kind == "connector" else 1)


class Fuse(Part):
    id: Id
    wire: str
    rated_A: Positive = None
    curve: str | tuple[tuple[float, float, Annotated[float, Field(allow_inf_nan=True)]], ...] | None = None

    @field_validator("curve", mode="before")
    @classmethod
    def _known_curve(cls, value: Any) -> Any:
        if isinstance(value, str):
            return None if value == "unknown" else parse_fuse_curve(value)
        return value if value is None else parse_fuse_table(value)


class Controller(Part):
    id: Id
    motor_type: Literal["brushless", "brushed"] | None = None
    continuous_A: Positive = None
    burst_A: Positive = None
    burst_s: Positive = None
    rating_basis: Literal["input", "motor"] = "input"
    limit_degC: Temperature = None
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
    limit_degC: Temperature = None
    insulation_class: Text = None
    count: Annotated[int, Field(ge=1, le=12)] = 1
    no_load_A: NotNegative = None
    mass_g: Positive = None

    @field_validator("insulation_class")
    @classmethod
    def _known_class(cls, value: str | None) -> str | None:
        return None if value is None else parse_motor_class(value)


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


def load_build(path: str | Path) -> Build:
    """builds/<id>.toml, its wiring checked. Raises DescriptionError with file, line, key and the mend."""
    return build_of(read_document(path), f"builds/{place(path).name}")


def build_of(document: Document, source_name: str = "") -> Build:
    """The build that a parsed file describes; source_name is how ratings name it."""
    check_tables(document, {"build": "table", "pack": "either", "receiver": "table"} | dict.fromkeys(_LISTS, "list"))
    data: dict[str, Any] = {"build": need_table(document, "build", "A build"), "source_name": source_name}
    slots = document.data.get("pack")
    if slots is None or slots == []:
        mend = "Add [pack] with cells = the number of cells in series it is wired for."
        raise document.error([Complaint((), "has no [pack]", mend=mend)])
    data["packs"] = [slots] if isinstance(slots, dict) else slots
    for table, name in _LISTS.items():
        data[name] = document.data.get(table, [])
    if "receiver" in document.data:
        data["receiver"] = document.data["receiver"]
    to_table = {name: table for table, name in _LISTS.items()} | {"packs": "pack"}

    def to_file(path: KeyPath) -> KeyPath:
        rest = path[2:] if path[0] == "packs" and isinstance(slots, dict) else path[1:]
        return (to_table.get(str(path[0]), path[0]), *rest)

    build = build_model(Build, data, document, to_file)
    complaints = build_complaints(build, to_file)
    if complaints:
        raise document.error(complaints)
    return build


def fits(build: Build, pack: Pack | Sequence[Pack]) -> list[str]:
    """What speaks against fitting a pack (or the packs of a match, in the order of the slots); empty where nothing.

    Not an error: the match was fought with it. The review says it.
    """
    packs = [pack] if isinstance(pack, Pack) else list(pack)
    against = [
        f"the pack's id {p.id} is also a part of build {build.id}: a column cannot tell which it means"
        for p in packs
        if p.id in build.part_kinds()
    ]
    if len(packs) == 1 and packs[0].cells != build.cells:
        against.append(f"pack {packs[0].id} has {packs[0].cells} cells, build {build.id} is wired for {build.cells}")
    elif len(packs) == len(build.packs):
        for slot, fitted in zip(build.packs, packs, strict=True):
            if slot.cells != fitted.cells:
                against.append(f"pack {fitted.id} has {fitted.cells} cells, {slot.id} is wired for {slot.cells}")
    for p in packs:
        if p.full_cell_V is None:
            continue
        full_V = p.full_cell_V * p.cells
        against += [
            f"pack {p.id} full is {full_V:.1f} V, {controller.id} trips at {controller.maximum_V:g} V"
            for controller in build.controllers
            if controller.maximum_V is not None and full_V > controller.maximum_V
        ]
    return against
