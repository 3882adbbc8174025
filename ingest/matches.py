"""The match file: what was fought, with which build and packs, its logs, and what a person read off."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from ingest.channels import QUANTITIES
from ingest.description import Complaint, Document, build_model, check_tables, need_table, read_document
from ingest.fields import AirTemperature, Id, MatchId, Moment, NotNegative, Number, Part, Positive, Text
from ingest.places import place
from ingest.toml_lines import KeyPath

SHA256_PATTERN = r"^[0-9a-f]{64}$"
STEM_PATTERN = r"^([a-z0-9][a-z0-9_]{0,79})?$"
_TABLES = {
    "match": "table", "log": "list", "packs": "table", "noted": "list", "ended_s": "value", "ended_by": "value",
}  # fmt: skip


class LogEntry(Part):
    """One ingested log of a match, written by `add`."""

    sha256: Annotated[str, Field(pattern=SHA256_PATTERN)]
    name: str
    reading: Text = None
    clock_offset_s: Number = None
    clock_drift_ppm: float = 0.0
    clock_by: str = ""  # how offset and drift were found: "aligned on pack voltage, correlation 0.83", "by hand"
    clock_correlation: Number = None
    clock_error_s: NotNegative = None
    file: Annotated[str, Field(pattern=STEM_PATTERN)] = ""  # telemetry file stem
    samples_sha256: tuple[Annotated[str, Field(pattern=SHA256_PATTERN)], ...] = ()  # of its telemetry files, in order


class Noted(Part):
    """A figure that a person read off: part and quantity as in a channel's name."""

    part: str
    quantity: str
    value: float
    unit: str
    when: str = ""
    by: str = ""

    @property
    def channel_value(self) -> float:
        """The value in the unit of the channel that the quantity belongs to (degF becomes degC, exactly)."""
        return (self.value - 32.0) / 1.8 if self.unit == "degF" else self.value


class Match(Part):
    id: MatchId
    event: str = ""
    opponent: str = ""
    start: Moment = None
    length_s: Positive = None
    result: str = ""
    build: Id | None = None
    pack: Id | None = None
    packs: dict[str, str | tuple[str, ...]] = Field(default_factory=dict)
    minutes_to_next: NotNegative = None
    air_degC: AirTemperature = None
    notes: str = ""
    ended_s: NotNegative = None
    ended_by: str = ""
    window_start_s: Number = None
    window_end_s: Number = None
    logs: tuple[LogEntry, ...] = ()
    noted: tuple[Noted, ...] = ()
    source_name: str = ""

    @property
    def fitted_packs(self) -> tuple[str, ...]:
        """The ids of all packs that this match names, in order, once each."""
        named = [self.pack] if self.pack else []
        for value in self.packs.values():
            named += [value] if isinstance(value, str) else list(value)
        return tuple(dict.fromkeys(named))


def load_match(path: str | Path) -> Match:
    """matches/<id>.toml. Raises DescriptionError. Whether its build and packs exist is the season's matter."""
    return match_of(read_document(path), f"matches/{place(path).name}")


def match_of(document: Document, source_name: str = "") -> Match:
    check_tables(document, _TABLES)
    table = need_table(document, "match", "A match")
    data: dict[str, Any] = {**table, "source_name": source_name}
    complaints = [
        Complaint(("match", key), f'"{key}" is not a key of [match]', mend=f"Write it as {form}.")
        for key, form in (("logs", "[[log]]"), ("noted", "[[noted]]"), ("packs", "[packs]"), ("source_name", ""))
        if key in table
    ]
    for key in ("ended_s", "ended_by"):
        if key in document.data:
            if key in table:
                complaints.append(Complaint(("match", key), "stands twice", mend="Keep the one in [match]."))
            data[key] = document.data[key]
    if complaints:
        raise document.error(complaints)
    data["logs"] = document.data.get("log", [])
    data["noted"] = document.data.get("noted", [])
    data["packs"] = document.data.get("packs", {})

    def to_file(path: KeyPath) -> KeyPath:
        first = path[0]
        if first == "logs":
            return ("log", *path[1:])
        at_top = first in ("packs", "noted") or (first in document.data and first not in ("match", "log"))
        return path if at_top else ("match", *path)

    match = build_model(Match, data, document, to_file)
    complaints = [*_repeated_logs(match), *_unknown_figures(match)]
    if complaints:
        raise document.error(complaints)
    return match


def _repeated_logs(match: Match) -> list[Complaint]:
    seen: set[str] = set()
    complaints = []
    for i, entry in enumerate(match.logs):
        if entry.sha256 in seen:
            complaints.append(Complaint(("log", i, "sha256"), "the same log stands twice", mend="Remove one [[log]]."))
        seen.add(entry.sha256)
    return complaints


def _unknown_figures(match: Match) -> list[Complaint]:
    """What was noted must be in a unit that can be compared with a channel; other quantities are free."""
    complaints = []
    for i, noted in enumerate(match.noted):
        known = _NOTED_UNITS.get(noted.quantity)
        if known is not None and noted.unit not in known:
            expected = " or ".join(known)
            complaints.append(Complaint(("noted", i, "unit"), "is not a unit of this quantity", noted.unit, expected))
    return complaints


def _noted_units() -> dict[str, tuple[str, ...]]:
    """Quantity of a channel -> the units it may be noted in; a thermometer may show degrees Fahrenheit."""
    units: dict[str, tuple[str, ...]] = {}
    for quantity in QUANTITIES.values():
        if quantity.unit != "1":
            name, _, unit = quantity.suffix.rpartition("_")
            units[name] = tuple(dict.fromkeys((unit, quantity.unit)))
    units["temp"] = (*units["temp"], "degF")
    return units


_NOTED_UNITS = _noted_units()
