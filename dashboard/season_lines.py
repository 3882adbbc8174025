"""The lines of the season's table: what one review says in one row, kept in results/ for the next start."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

from analysis.season_keys import app_version
from analysis.wording import NO_ACTION
from dashboard.reviewing import Bench
from dashboard.rows import Row, margin_rows
from ingest.errors import StoreError
from ingest.sealed import sealed, unsealed
from ingest.season import Season

FORM: Final = 2  # of the lines; raised when the meaning of one changes, so that older ones are made again
FILE: Final = "season_lines.json"
# estimate -> column head
FIGURES: Final = (
    ("cell_minimum_V", "Lowest cell"),
    ("pack_peak_A", "Peak"),
    ("pack_mean_A", "Mean"),
    ("charge_used_Ah", "Charge"),
)

LineKey = tuple[str, str]  # match id, fingerprint of what its review rests on


@dataclass(frozen=True)
class Summary:
    """One line of the season: the verdict, why, and the figures to compare; figures are None where not known."""

    verdict: str
    because: str
    hottest: Row | None
    estimates: dict[str, tuple[float, float, float, str]]  # name -> value, low, high, unit
    problem: str = ""


def summarise(bench: Bench) -> Summary:
    """One line from a review."""
    review = bench.review
    rows = margin_rows(review)
    wires = [row for row in rows if row.check == "wire_temperature"]
    worst = next((f for f in review.findings if f.verdict == review.match.verdict and not f.consequence_of), None)
    worst = worst or next((f for f in review.findings if f.verdict == review.match.verdict), None)
    because = ""
    if worst is not None:
        cause = worst.cause if worst.cause != "unknown" else worst.kind
        because = ", ".join(x for x in (cause.replace("_", " "), _part(worst.part)) if x)
    elif review.lines[2] != NO_ACTION:
        because = "not all of it could be checked" if review.quality else "see its note"
    wanted = {name for name, _ in FIGURES}
    figures = {e.name: (e.value, e.low, e.high, e.unit) for e in reversed(review.estimates) if e.name in wanted}
    return Summary(review.match.verdict, because, min(wires, key=lambda r: r.margin_pct, default=None), figures)


def _part(part: str) -> str:
    """As it is said in a row: "cell 4"; of the radio its cause says all."""
    if part == "link":
        return ""
    return re.sub(r"^cell(\d+)$", r"cell \1", part).replace("_", " ")


def read_lines(season: Season) -> dict[LineKey, Summary]:
    """Those kept by this version; nothing where the file is absent, damaged or of another version."""
    try:
        document = unsealed((season.results_path / FILE).read_bytes())
        if document["version"] != [app_version(), FORM]:
            return {}
        return {(line["match"], line["key"]): _summary(line["line"]) for line in document["lines"]}
    except (OSError, ValueError, KeyError, TypeError):
        return {}


def write_lines(season: Season, lines: Mapping[LineKey, Summary]) -> None:
    """Keep these and no others; one that stands for a failure is tried again at the next start."""
    kept = [
        {"match": match, "key": key, "line": _plain(asdict(line))}
        for (match, key), line in lines.items()
        if not line.problem
    ]
    try:
        text = sealed({"version": [app_version(), FORM], "lines": kept})
        season.store.write_text(season.results_path / FILE, text)
    except StoreError:  # it only saves a review at the next start
        return


def _plain(value: Any) -> Any:
    """Infinite ends as text: plain JSON has none."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return str(value) if isinstance(value, float) and not math.isfinite(value) else value


def _summary(line: dict[str, Any]) -> Summary:
    hottest = line["hottest"]
    row = None
    if hottest is not None:
        ends = {key: None if hottest[key] is None else float(hottest[key]) for key in ("low", "high")}
        row = Row(**{**hottest, **ends, "could_be": tuple(hottest["could_be"])})
    figures = {
        name: (float(value), float(low), float(high), str(unit))
        for name, (value, low, high, unit) in line["estimates"].items()
    }
    return Summary(line["verdict"], line["because"], row, figures)
