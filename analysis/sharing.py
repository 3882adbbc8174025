"""Metrics without names: for a club or a league that wants to compare robots without telling whose they are."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pyarrow as pa

from analysis.season_rows import MatchRow
from ingest.builds import Build
from ingest.channels import RESERVED_PARTS, cell_number

SCHEMA = pa.schema(
    [
        pa.field("robot", pa.string()),
        pa.field("match", pa.int32()),
        pa.field("build", pa.string()),
        pa.field("pack", pa.string()),
        pa.field("verdict", pa.string()),
        pa.field("metric", pa.string()),
        pa.field("part", pa.string()),
        pa.field("value", pa.float64()),
        pa.field("low", pa.float64()),
        pa.field("high", pa.float64()),
        pa.field("unit", pa.string()),
        pa.field("at", pa.string()),
    ]
)
KEPT_PARTS = {"", "pack", "link", "wiring", *RESERVED_PARTS}


class _Numbers:
    """Names as "build 1", "build 2" … in the order in which they come up."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str], str] = {}

    def __call__(self, kind: str, name: str) -> str:
        if not name:
            return ""
        if (kind, name) not in self._known:
            count = sum(1 for k, _ in self._known if k == kind)
            self._known[kind, name] = f"{kind} {count + 1}"
        return self._known[kind, name]


def anonymous(seasons: Iterable[tuple[Sequence[MatchRow], Mapping[str, Build]]]) -> pa.Table:
    """(rows of a season, its builds) for each robot -> one table.

    Left out: names of robots, events, opponents, packs, builds and parts, dates, notes, sentences and the intervals'
    bases. A match keeps its place in the season. Parts are named for their kind. Robots are numbered by a hash of
    their own figures: the order in which they were read is that of their folders' names. The figures themselves are
    exact: whoever has a log or a sheet of one of the matches knows it again.
    """
    robots = sorted((_without_names(rows, builds) for rows, builds in seasons), key=_hash)
    return pa.Table.from_pylist(
        [{"robot": f"robot {number}", **row} for number, rows in enumerate(robots, start=1) for row in rows],
        schema=SCHEMA,
    )


def _without_names(rows: Sequence[MatchRow], builds: Mapping[str, Build]) -> list[dict[str, Any]]:
    number = _Numbers()
    kinds: dict[str, str] = {}
    for build in builds.values():
        kinds |= build.part_kinds()
    return [
        {
            "match": place,
            "build": number("build", row.build),
            "pack": number("pack", row.pack),
            "verdict": row.verdict,
            "metric": metric.name,
            "part": _part(metric.part, kinds, number),
            "value": metric.value,
            "low": _bounded(metric.low),
            "high": _bounded(metric.high),
            "unit": metric.unit,
            "at": metric.at,
        }
        for place, row in enumerate(rows, start=1)
        for metric in row.metrics
    ]


def _part(name: str, kinds: Mapping[str, str], number: _Numbers) -> str:
    """A part by its kind and a number; the cells of one of several packs by that pack's."""
    if name in KEPT_PARTS:
        return name
    if cell_number(name) is not None:
        slot, _, cell = name.rpartition("_")
        return f"{number('fitted pack', slot)} {cell}" if slot else cell
    kind = kinds.get(name, "part")
    return number("fitted pack" if kind == "pack" else kind, name)


def _hash(rows: list[dict[str, Any]]) -> str:
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()


def _bounded(value: float) -> float | None:
    return value if abs(value) < float("inf") else None
