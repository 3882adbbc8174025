"""The written demo season, once for all tests here, and a small reader of its files in plain code."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from sample_data import DemoMatch, write_demo


@dataclass(frozen=True)
class Season:
    folder: Path
    matches: dict[str, DemoMatch]


@dataclass(frozen=True)
class RawFile:
    """Columns by their written header; the clock column as text."""

    clock: list[str]
    columns: dict[str, np.ndarray]

    def seconds(self) -> np.ndarray:
        """Seconds from the first sample; a counter's unit (s, ms, us) is told by the size of its step."""
        if ":" in self.clock[0]:
            moments = [datetime.fromisoformat(x if "T" in x else f"2026-01-01T{x}") for x in self.clock]
            return np.array([(m - moments[0]).total_seconds() for m in moments])
        ticks = np.array([float(x.replace(",", ".")) for x in self.clock])
        step = float(np.median(np.diff(ticks)))
        unit = 1.0 if step < 0.9 else 1e-3 if step < 900 else 1e-6
        return (ticks - ticks[0]) * unit


def read_raw(path: Path) -> RawFile:
    """Knows the demo's layouts by the file's name only; no code of the project."""
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    delimiter = {".txt": "\t"}.get(path.suffix, ",")
    if lines[0].startswith("Weapon controller log"):
        header_at, first, delimiter = 4, 6, ";"
    else:
        header_at = sum(line.startswith("#") for line in lines[:4])
        first = header_at + 1
        if " | " in lines[0]:
            delimiter, lines = ",", [line.replace(" | ", ",") for line in lines]
    header = next(csv.reader([lines[header_at]], delimiter=delimiter))
    rows = list(csv.reader(lines[first:], delimiter=delimiter))
    decimal = delimiter == ";"
    columns = {
        name: np.array([float(r[i].replace(",", ".") if decimal else r[i]) for r in rows])
        for i, name in enumerate(header)
        if i > 0
    }
    return RawFile([r[0] for r in rows], columns)


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Season:
    folder = tmp_path_factory.mktemp("demo")
    return Season(folder, {m.id: m for m in write_demo(folder)})


@pytest.fixture(scope="session")
def raw(season: Season) -> Callable[[str, str], RawFile]:
    """raw("m06", "weapon.csv")."""
    cache: dict[tuple[str, str], RawFile] = {}

    def get(match: str, name: str) -> RawFile:
        if (match, name) not in cache:
            cache[match, name] = read_raw(season.folder / "raw" / match / name)
        return cache[match, name]

    return get
