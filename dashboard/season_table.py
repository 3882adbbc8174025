"""Which lines of the season are shown, in which order, and the same as CSV: pure functions of lines and an address."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final
from urllib.parse import urlencode

from dashboard.exporting import escaped
from dashboard.page_words import VERDICT_ORDER, VERDICT_WORDS
from dashboard.season_lines import FIGURES, Summary
from dashboard.source import Entry

Line = tuple[Entry, Summary | None]
FIND_MOST: Final = 100


@dataclass(frozen=True)
class Asked:
    """What an address asks for. sort: the key of a column, "" the season's own order."""

    verdict: str = ""
    build: str = ""
    pack: str = ""
    find: str = ""
    sort: str = ""
    down: bool = False

    @classmethod
    def of(cls, query: Mapping[str, str]) -> Asked:
        """From the part after "?"; what is not known is as if it were not there."""
        verdict = query.get("verdict", "")
        sort = query.get("sort", "")
        return cls(
            verdict if verdict in VERDICT_ORDER else "",
            query.get("build", "")[:FIND_MOST],
            query.get("pack", "")[:FIND_MOST],
            query.get("find", "").strip()[:FIND_MOST],
            sort if sort in SORTS else "",
            query.get("down") == "1",
        )

    def address(self, path: str = "/", **changes: str | bool) -> str:
        """The address that asks for this with some of it changed."""
        wanted = replace(self, **changes)  # type: ignore[arg-type]
        keys = {name: getattr(wanted, name) for name in ("verdict", "build", "pack", "find", "sort")}
        keys["down"] = "1" if wanted.down else ""
        text = urlencode({name: value for name, value in keys.items() if value})
        return f"{path}?{text}" if text else path

    def sorted_by(self, key: str) -> str:
        """The address of a column's head: once ascending, again descending, a third time as it was."""
        if self.sort != key:
            return self.address(sort=key, down=key in DOWN_FIRST)
        if self.down == (key in DOWN_FIRST):
            return self.address(down=not self.down)
        return self.address(sort="", down=False)

    @property
    def any(self) -> bool:
        return bool(self.verdict or self.build or self.pack or self.find)


def _figure_of(name: str, line: Line) -> float | None:
    """An estimate, or where the log only bounds it that bound; None where there is none."""
    summary = line[1]
    found = summary.estimates.get(name) if summary is not None else None
    if found is None:
        return None
    value = found[0] if math.isfinite(found[0]) else next((end for end in found[1:3] if math.isfinite(end)), None)
    return value


def _hottest_of(line: Line) -> float | None:
    return line[1].hottest.measured if line[1] is not None and line[1].hottest is not None else None


def _verdict_rank(line: Line) -> float | None:
    summary = line[1]
    return None if summary is None or summary.verdict not in VERDICT_ORDER else VERDICT_ORDER.index(summary.verdict)


def _text(name: str) -> Callable[[Line], str | None]:
    return lambda line: (getattr(line[0].match, name) or "").casefold() or None if line[0].match else None


def _with(line: Line) -> str | None:
    match = line[0].match
    return ", ".join([match.build or "", *match.fitted_packs]) if match else None


# key -> what is compared; None goes last in either direction
SORTS: Final[Mapping[str, Callable[[Line], float | str | None]]] = {
    "match": lambda line: line[0].title,
    "opponent": _text("opponent"),
    "with": _with,
    "result": _text("result"),
    "verdict": _verdict_rank,
    "hottest": _hottest_of,
    **{name: partial(_figure_of, name) for name, _ in FIGURES},
}
DOWN_FIRST: Final = {"hottest", "pack_peak_A", "pack_mean_A", "charge_used_Ah"}


def filtered(lines: Sequence[Line], asked: Asked) -> list[Line]:
    """The lines of these builds, packs and words; every verdict, so that the counts beside the verdicts are right."""
    words = asked.find.casefold().split()

    def wanted(line: Line) -> bool:
        match = line[0].match
        if asked.build and (match is None or match.build != asked.build):
            return False
        if asked.pack and (match is None or asked.pack not in match.fitted_packs):
            return False
        if words:
            told = [line[0].title, line[1].because if line[1] else ""]
            told += [match.opponent, match.event, match.result, match.notes] if match else []
            text = " ".join(told).casefold()
            return all(word in text for word in words)
        return True

    return [line for line in lines if wanted(line)]


def shown(lines: Sequence[Line], asked: Asked) -> list[Line]:
    """Those of the verdict asked for, in the order asked for."""
    kept = [x for x in lines if not asked.verdict or (x[1] is not None and x[1].verdict == asked.verdict)]
    if not asked.sort:
        return kept
    key = SORTS[asked.sort]
    known = [(found, line) for line in kept if (found := key(line)) is not None]
    known.sort(key=lambda item: item[0], reverse=asked.down)
    return [line for _, line in known] + [line for line in kept if key(line) is None]


_HEAD = ("match", "event", "opponent", "start", "build", "packs", "result", "verdict", "because", "hottest_wire",
         "hottest_wire_degC", "hottest_wire_limit_degC", "hottest_wire_margin_pct")  # fmt: skip


def csv_text(lines: Sequence[Line]) -> str:
    """The table as CSV (RFC 4180), figures in full; each estimate with the ends of its interval, empty where open."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([*_HEAD, *(f"{name}{end}" for name, _ in FIGURES for end in ("", "_low", "_high"))])
    for entry, summary in lines:
        match = entry.match
        row: list[object] = [entry.title]
        row += [match.event, match.opponent, match.start.isoformat() if match.start else "", match.build or "",
                "+".join(match.fitted_packs), match.result] if match else [""] * 6  # fmt: skip
        if summary is None:
            row += ["", "not reviewed yet"]
        else:
            row += [VERDICT_WORDS[summary.verdict], summary.problem or summary.because]
        hot = summary.hottest if summary is not None else None
        row += [hot.part, hot.measured, hot.limit, hot.margin_pct] if hot is not None else [""] * 4
        for name, _ in FIGURES:
            found = summary.estimates.get(name) if summary is not None else None
            row += [value if math.isfinite(value) else "" for value in found[:3]] if found is not None else [""] * 3
        writer.writerow([_harmless(value) for value in row])
    return out.getvalue()


def _harmless(value: object) -> object:
    """Figures in full; a text as one that no spreadsheet runs."""
    return f"{value:.10g}" if isinstance(value, float) else escaped(value) if isinstance(value, str) else value
