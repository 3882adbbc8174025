"""The pack file: one physical pack. All figures describe the whole pack, parallel included."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, field_validator

from ingest.channels import RESERVED_PARTS, cell_number
from ingest.description import Complaint, Document, build_model, check_tables, need_table, read_document
from ingest.fields import Id, Part, Positive, Temperature
from ingest.places import place
from ingest.tables.chemistries import CHEMISTRIES, parse_chemistry
from ingest.toml_lines import KeyPath


class MeasuredByHand(Part):
    date: dt.date | None = None
    cell_mohm: tuple[Annotated[float, Field(gt=0)], ...] = ()
    degC: Temperature = None
    by: str = ""


class Pack(Part):
    """One physical pack. resistance_mohm: at 1 s, 25 degC, half charge, the whole pack."""

    id: Id
    chemistry: str = "lithium-polymer"
    cells: Annotated[int, Field(ge=1, le=60)]
    parallel: Annotated[int, Field(ge=1, le=40)] = 1
    capacity_Ah: Annotated[float, Field(gt=0)] | None  # a file must state it; only a bare --cells has none
    continuous_C: Positive = None
    burst_C: Positive = None
    burst_s: Positive = None
    charge_C: Positive = None
    mass_g: Positive = None
    resistance_mohm: Positive = None
    minimum_cell_V: Positive = None
    limit_degC: Temperature = None
    in_service: dt.date | None = None
    measured: tuple[MeasuredByHand, ...] = ()
    source_name: str = ""

    @field_validator("chemistry")
    @classmethod
    def _known_chemistry(cls, value: str) -> str:
        return parse_chemistry(value).name

    @property
    def full_cell_V(self) -> float | None:
        return CHEMISTRIES[self.chemistry].full_V

    @property
    def cell_minimum_V(self) -> float | None:
        """The stated minimum, else the chemistry's default (only lithium-polymer has one)."""
        return self.minimum_cell_V or CHEMISTRIES[self.chemistry].default_minimum_V


def load_pack(path: str | Path) -> Pack:
    """packs/<id>.toml. Raises DescriptionError with file, line, key, what was found and the mend."""
    return pack_of(read_document(path), f"packs/{place(path).name}")


def pack_of(document: Document, source_name: str = "") -> Pack:
    check_tables(document, {"pack": "table", "measured": "list"})
    table = need_table(document, "pack", "A pack")
    complaints = [
        Complaint(("pack", key), f'"{key}" is not a key of [pack]', mend=mend)
        for key, mend in (("measured", "Write it as [[measured]]."), ("source_name", ""))
        if key in table
    ]
    if complaints:
        raise document.error(complaints)
    data: dict[str, Any] = {**table, "measured": document.data.get("measured", []), "source_name": source_name}

    def to_file(path: KeyPath) -> KeyPath:
        return path if path[0] == "measured" else ("pack", *path)

    pack = build_model(Pack, data, document, to_file)
    complaints = list(_contradictions(pack))
    if complaints:
        raise document.error(complaints)
    return pack


def _contradictions(pack: Pack) -> list[Complaint]:
    found = []
    if pack.id in RESERVED_PARTS or cell_number(pack.id) is not None:
        found.append(Complaint(("pack", "id"), "is a reserved name", pack.id, mend='For example "p1".'))
    if pack.burst_C is not None and pack.continuous_C is not None and pack.burst_C < pack.continuous_C:
        what = "is below continuous_C"
        found.append(Complaint(("pack", "burst_C"), what, pack.burst_C, f"at least {pack.continuous_C:g}"))
    full_V = pack.full_cell_V
    if pack.minimum_cell_V is not None and full_V is not None and pack.minimum_cell_V >= full_V:
        what = "is not below a full cell"
        found.append(
            Complaint(("pack", "minimum_cell_V"), what, pack.minimum_cell_V, f"below {full_V:g} V",
                      "State the minimum of one cell, not of the pack.")
        )  # fmt: skip
    for i, measured in enumerate(pack.measured):
        if measured.cell_mohm and len(measured.cell_mohm) != pack.cells:
            what = "does not hold one figure for each cell in series"
            found.append(
                Complaint(("measured", i, "cell_mohm"), what, list(measured.cell_mohm), f"{pack.cells} figures")
            )
    return found
