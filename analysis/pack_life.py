"""How each pack ages over the season, and when it reaches the line at which it is retired.

Resistance is taken at 80 % charge and brought to 25 °C by what cold does to a cell, which is known only roughly: the
trend is drawn with the least and the most of it, and where its sign hangs on that, cold and age are called confounded.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.metric_kinds import Metric
from analysis.pack_check import RETIRE_RATIO
from analysis.pack_model import NotFitted, cold_factor
from analysis.season_rows import MatchRow
from analysis.statistics import LEVEL, Trend, paired_shift, theil_sen
from ingest.packs import Pack

CHARGE_MOHM, CELL_MOHM = "pack_resistance_charge_mohm", "cell_resistance_1s_mohm"
CAPACITY, CELL_CAPACITY = "pack_capacity_Ah", "cell_capacity_Ah"
OF_PACKS = (CHARGE_MOHM, "pack_temp_mean_degC", CELL_MOHM, CAPACITY, CELL_CAPACITY)  # what this module looks at
LEAST_USES = 4  # our choice: three points make a line of anything
# Our choice: a forecast beyond three times the uses seen is a guess.
REACH = 3.0
TOO_WIDE = 0.5  # our choice, as for comparisons: such a figure says too little about its match
SAME_TEMPERATURE_K = 5.0  # our choice: 5 K are about a tenth of resistance


@dataclass(frozen=True)
class Use:
    """One match of a pack. corrected_*: at 25 °C with the likely, the least and the most effect of cold; None where
    its temperature is not known.
    """

    match: str
    number: int
    mohm: float
    temp_degC: float | None
    corrected_mohm: float | None
    corrected_low: float | None
    corrected_high: float | None


@dataclass(frozen=True)
class Course:
    """One figure over the uses of a pack: every value with the use it is of, the slope per use with its interval and
    Kendall's p; None where fewer than four uses tell it. Nothing is brought to one temperature.
    """

    uses: tuple[int, ...]
    values: tuple[float, ...]
    per_use: float | None
    low: float | None
    high: float | None
    achieved_pct: float | None
    p: float | None


@dataclass(frozen=True)
class CellLife:
    """Resistance of one cell against the median of the other cells of the same match (cold and gain fall out): % of
    it per use. capacity_pct: its capacity in the same way; None where no match tells it.
    """

    cell: str
    last_pct: float
    per_use_pct: float | None
    low: float | None
    high: float | None
    p: float | None
    capacity_pct: Course | None = None


@dataclass(frozen=True)
class PackLife:
    """trend: "rises", "no trend shown", "confounded", or "too few". per_use_mohm with its interval, p by Kendall.

    line_mohm: where it is retired. at_use, early, late: the use at which it gets there; late is infinite where the
    interval holds no rise. capacity_Ah: every figure; capacity: the course of those that are close enough.
    """

    pack: str
    uses: tuple[Use, ...]
    trend: str
    per_use_mohm: float | None
    low: float | None
    high: float | None
    achieved_pct: float | None
    p: float | None
    line_mohm: float | None
    line_source: str
    at_use: float | None
    early: float | None
    late: float | None
    capacity_Ah: tuple[float, ...]
    capacity: Course | None
    cells: tuple[CellLife, ...]
    notes: tuple[str, ...]


def pack_lives(rows: Sequence[MatchRow], packs: Mapping[str, Pack], level: float = LEVEL) -> tuple[PackLife, ...]:
    """Every pack that was ever fitted alone, in the order of its first match. rows in the order of the season."""
    ids = list(dict.fromkeys(row.pack for row in rows if row.pack and "+" not in row.pack))
    return tuple(_life(pack_id, [r for r in rows if r.pack == pack_id], packs.get(pack_id), level) for pack_id in ids)


def _life(pack_id: str, rows: list[MatchRow], pack: Pack | None, level: float) -> PackLife:
    uses = _uses(rows)
    notes: list[str] = []
    if len(uses) < len(rows):
        notes.append(f"{len(rows) - len(uses)} of {len(rows)} matches do not tell its resistance at 80 % charge")
    trend, word = _trend(uses, level, notes)
    stated = pack.resistance_mohm if pack is not None else None
    line = RETIRE_RATIO * stated if stated is not None else None
    source = "twice resistance_mohm of the pack file (common practice, no source)" if line is not None else ""
    if line is None:
        notes.append("no line to retire at: state resistance_mohm of the pack, measured when new")
    at, early, late = _forecast(uses, trend, word, line, notes, level)
    told = [(n, m) for n, row in enumerate(rows, 1) if (m := row.metric(CAPACITY)) is not None]
    capacity = _course([(n, m.value) for n, m in told if _tells(m)], level)
    if told and capacity is None:
        notes.append("no match tells its capacity closely: use more than half of its charge, and let it rest before")
    return PackLife(
        pack_id,
        tuple(uses),
        word,
        None if trend is None else trend.slope,
        None if trend is None else trend.low,
        None if trend is None else trend.high,
        None if trend is None else 100 * trend.achieved,
        None if trend is None else trend.p,
        line,
        source,
        at,
        early,
        late,
        tuple(m.value for _, m in told),
        capacity,
        _cells(rows, level),
        tuple(notes),
    )


def _uses(rows: list[MatchRow]) -> list[Use]:
    """number counts every match of the pack, also those that tell no figure: each aged it."""
    found = []
    for number, row in enumerate(rows, start=1):
        figure, temp = row.metric(CHARGE_MOHM), row.metric("pack_temp_mean_degC")
        if figure is None or not _tells(figure):
            continue
        temp_degC = None if temp is None else temp.value
        factor = None if temp_degC is None else cold_factor(temp_degC)
        if factor is None or isinstance(factor, NotFitted):
            found.append(Use(row.match, number, figure.value, temp_degC, None, None, None))
            continue
        low, high = sorted((figure.value / factor.low, figure.value / factor.high))
        found.append(Use(row.match, number, figure.value, temp_degC, figure.value / factor.value, low, high))
    return found


def _trend(uses: list[Use], level: float, notes: list[str]) -> tuple[Trend | None, str]:
    """The trend of the corrected figures where every temperature is known, else of the raw ones, called confounded."""
    if len(uses) < LEAST_USES:
        notes.append(f"{len(uses)} uses with a figure: a trend takes {LEAST_USES}")
        return None, "too few"
    number = [use.number for use in uses]
    if any(use.corrected_mohm is None for use in uses):
        raw = theil_sen(number, [use.mohm for use in uses], level)
        notes.append("its temperature is not known in every match: cold and age are confounded")
        return raw, "confounded"
    temps = np.array([use.temp_degC for use in uses], dtype=np.float64)
    series = [[use.corrected_mohm or 0.0 for use in uses]]
    series += [_at_activation(uses, high) for high in (False, True)]
    trends = [theil_sen(number, values, level) for values in series]
    middle = trends[0]
    low, high = min(t.low for t in trends), max(t.high for t in trends)
    whole = Trend(
        middle.slope, low, high, middle.achieved, middle.reached, middle.intercept, max(t.p for t in trends),
        middle.least_p, middle.n,
    )  # fmt: skip
    shown = [t.reached and (t.low > 0 or t.high < 0) for t in trends]
    signs = {int(np.sign(t.slope)) for t in trends}
    if float(np.ptp(temps)) > SAME_TEMPERATURE_K and (len(signs - {0}) > 1 or len(set(shown)) > 1):
        notes.append(
            f"it ran at {temps.min():.0f} to {temps.max():.0f} °C, and what cold does is known too roughly: "
            "cold and age are confounded"
        )
        return whole, "confounded"
    if not all(shown):
        return whole, "no trend shown"
    return whole, "rises" if middle.slope > 0 else "falls"


def _at_activation(uses: list[Use], strong: bool) -> list[float]:
    """All figures at 25 °C with the most (or the least) effect of cold on every one of them."""
    found = []
    for use in uses:
        factor = cold_factor(25.0 if use.temp_degC is None else use.temp_degC)
        assert not isinstance(factor, NotFitted)  # a use outside its range has no corrected figure
        weak, most = sorted((factor.low, factor.high), key=lambda f: abs(f - 1.0))
        found.append(use.mohm / (most if strong else weak))
    return found


def _forecast(
    uses: list[Use], trend: Trend | None, word: str, line: float | None, notes: list[str], level: float
) -> tuple[float | None, float | None, float | None]:
    """(likely, earliest, latest) use at which the trend crosses the line; nothing beyond three times what was seen.

    The ends take the ends of the slope and those of the height at the middle use together, so that they hold the truth
    at least as often as either does.
    """
    if line is None or not uses:
        return None, None, None
    last = uses[-1].number
    if (uses[-1].corrected_low or uses[-1].mohm) >= line:
        return float(last), float(last), float(last)
    if trend is None or word in ("confounded", "falls"):
        return None, None, None
    reach = last + REACH * (last - uses[0].number + 1)

    middle = float(np.median([use.number for use in uses]))
    height, lowest, highest = _height(uses, trend.slope, middle, level)

    def crosses(slope: float, start: float) -> float:
        return middle + (line - start) / slope if slope > 0 else math.inf

    early, at, late = crosses(trend.high, highest), crosses(trend.slope, height), crosses(trend.low, lowest)
    early, at, late = (max(value, float(last)) for value in (early, at, late))
    if early > reach:
        notes.append(f"at no slope that fits does it reach the line before use {reach:.0f}; further on is a guess")
        return None, None, None
    if word != "rises":
        notes.append("no rise is shown, so the earliest use is only what cannot be ruled out")
        return None, early, math.inf
    return (at if at <= reach else math.inf), early, (late if late <= reach else math.inf)


def _height(uses: list[Use], slope: float, middle: float, level: float) -> tuple[float, float, float]:
    """(likely, lowest, highest) mΩ at the middle use: the Hodges–Lehmann interval of what the slope leaves, with the
    least and the most effect of cold.
    """
    along = slope * (np.array([use.number for use in uses]) - middle)
    series = [[use.corrected_mohm or use.mohm for use in uses], _at_activation(uses, False), _at_activation(uses, True)]
    found = [paired_shift(np.array(values) - along, level) for values in series]
    likely = float(np.median(series[0]))
    return likely, min(likely, *(one.low for one in found)), max(likely, *(one.high for one in found))


def _tells(figure: Metric) -> bool:
    return figure.high - figure.low <= TOO_WIDE * figure.value


def _course(points: list[tuple[int, float]], level: float) -> Course | None:
    if not points:
        return None
    uses, values = tuple(n for n, _ in points), tuple(v for _, v in points)
    if len(points) < LEAST_USES:
        return Course(uses, values, None, None, None, None, None)
    t = theil_sen(uses, values, level)
    return Course(uses, values, t.slope, t.low, t.high, 100 * t.achieved, t.p)


def _cells(rows: list[MatchRow], level: float) -> tuple[CellLife, ...]:
    mohm, capacity = (_against_the_others(rows, name) for name in (CELL_MOHM, CELL_CAPACITY))
    found = []
    for cell in sorted(mohm):
        course = _course(mohm[cell], level)
        assert course is not None  # a cell is named by its points
        found.append(
            CellLife(
                cell, course.values[-1], course.per_use, course.low, course.high, course.p,
                _course(capacity.get(cell, []), level),
            )
        )  # fmt: skip
    return tuple(found)


def _against_the_others(rows: list[MatchRow], name: str) -> dict[str, list[tuple[int, float]]]:
    """cell -> (use, % above the median of the other cells); matches with three cells and more."""
    series: dict[str, list[tuple[int, float]]] = {}
    for number, row in enumerate(rows, start=1):
        here = {m.part: m.value for m in row.metrics if m.name == name}
        if len(here) < 3:
            continue
        for cell, value in here.items():
            others = float(np.median([v for part, v in here.items() if part != cell]))
            series.setdefault(cell, []).append((number, 100 * (value / others - 1)))
    return series
