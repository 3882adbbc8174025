"""season.toml: the season's name and robot, the charger, and the thresholds that the user overrides."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from ingest.description import Complaint, Document, build_model, check_tables, read_document
from ingest.description_words import key_mend
from ingest.fields import Part, Positive
from ingest.toml_lines import KeyPath
from ingest.toml_text import toml_value

Threshold = float | int | bool | str


@dataclass(frozen=True)
class Setting:
    """One threshold that season.toml may override: its key, default, unit and what it is for."""

    key: str
    default: Threshold
    unit: str
    comment: str


class Charger(Part):
    """What the season charges with: limits of one output, and how many outputs there are."""

    max_A: Positive = None
    max_W: Positive = None
    outputs: Annotated[int, Field(ge=1, le=50)] = 1


class SeasonHead(Part):
    name: str = ""
    robot: str = ""


class _SeasonTables(Part):
    season: SeasonHead = SeasonHead()
    charger: Charger | None = None


@dataclass(frozen=True)
class SeasonSettings:
    """season.toml. thresholds holds only what the user overrides; document tells the line of each key."""

    name: str
    robot: str
    charger: Charger | None
    thresholds: Mapping[str, Threshold]
    document: Document = field(repr=False, compare=False)

    def check(self, known: Iterable[Setting]) -> None:
        """Raise DescriptionError for a threshold that is not known, or of another type than its default."""
        settings = {setting.key: setting for setting in known}
        complaints = []
        for key, value in self.thresholds.items():
            path: KeyPath = ("thresholds", key)
            setting = settings.get(key)
            if setting is None:
                mend = key_mend(key, list(settings))
                complaints.append(Complaint(path, f'"{key}" is not a threshold', mend=mend))
            elif not _same_kind(value, setting.default):
                expected = f"like the default {toml_value(setting.default)}"
                complaints.append(Complaint(path, "is of the wrong kind", value, expected))
        if complaints:
            raise self.document.error(complaints)


def load_season_settings(path: str | Path, known: Iterable[Setting] | None = None) -> SeasonSettings:
    """season.toml. With `known` the thresholds are checked against it too. Raises DescriptionError, located."""
    return season_settings_of(read_document(path), known)


def season_settings_of(document: Document, known: Iterable[Setting] | None = None) -> SeasonSettings:
    tables = {"season": "table", "name": "value", "robot": "value", "charger": "table", "thresholds": "table"}
    check_tables(document, tables)
    head = dict(document.data.get("season", {}))
    complaints = []
    for key in ("name", "robot"):
        if key in document.data:
            if key in head:
                complaints.append(Complaint((key,), "stands twice", mend="Keep the one in [season]."))
            head[key] = document.data[key]
    thresholds = document.data.get("thresholds", {})
    for key, value in thresholds.items():
        if not isinstance(value, float | int | str) or value != value or value in (float("inf"), -float("inf")):
            complaints.append(Complaint(("thresholds", key), "is not one finite figure or word", value))
    if complaints:
        raise document.error(complaints)
    data: dict[str, Any] = {"season": head}
    if "charger" in document.data:
        data["charger"] = document.data["charger"]

    def to_file(path: KeyPath) -> KeyPath:
        return path[1:] if len(path) == 2 and path[0] == "season" and path[1] in document.data else path

    made = build_model(_SeasonTables, data, document, to_file)
    settings = SeasonSettings(made.season.name, made.season.robot, made.charger, thresholds, document)
    if known is not None:
        settings.check(known)
    return settings


def season_text(name: str, robot: str, thresholds: Sequence[Setting] = ()) -> str:
    """A complete season.toml: every threshold stands in it as a comment with its default, unit and reason."""
    lines = [
        "# A season: one robot, its builds, packs and matches. Every file in this folder is plain and yours to edit.",
        "[season]",
        f"name = {toml_value(name)}",
        f"robot = {toml_value(robot)}",
        "",
        "# What you charge with; `afterbout pit` plans with it. Figures of one output.",
        "# [charger]",
        "# max_A = 10",
        "# max_W = 200",
        "# outputs = 2",
        "",
        "# Where findings begin. Each line is a default; take its # away to override it.",
        "[thresholds]",
    ]
    for setting in thresholds:
        lines += [f"# {line}" for line in textwrap.wrap(setting.comment, 108)]
        unit = f"  # {setting.unit}" if setting.unit and setting.unit != "1" else ""
        lines.append(f"# {setting.key} = {toml_value(setting.default)}{unit}")
    return "\n".join(lines) + "\n"


def _same_kind(value: Threshold, default: Threshold) -> bool:
    if isinstance(default, bool) or isinstance(value, bool):
        return isinstance(default, bool) and isinstance(value, bool)
    if isinstance(default, str) or isinstance(value, str):
        return isinstance(default, str) and isinstance(value, str)
    return not (isinstance(default, int) and isinstance(value, float))
