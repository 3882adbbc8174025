"""Which packs of a season go together in parallel."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from analysis.pack_life import SAME_TEMPERATURE_K, PackLife
from analysis.settings import DEFAULTS
from ingest.packs import Pack

# Makers sort cells of a parallel pack to about 5 % of capacity and 10 % of resistance (from memory; our choice).
PAIR_CAPACITY, PAIR_MOHM = 0.05, 0.10


@dataclass(frozen=True)
class Pair:
    """Two packs for parallel use. fit: "match", "differ" or "not known"."""

    first: str
    second: str
    fit: str
    why: str


def pairs(lives: Sequence[PackLife], packs: Mapping[str, Pack]) -> tuple[Pair, ...]:
    """Every two packs of one voltage and chemistry, for parallel use: alike in capacity and in resistance, and neither
    with a weak cell or past its line.

    Common practice: charge and rest both to within 0.02 V before they are joined; the maker's and the event's rules
    come first.
    """
    found = []
    for first, second in combinations(lives, 2):
        a, b = packs.get(first.pack), packs.get(second.pack)
        if a is None or b is None or a.cells != b.cells or a.chemistry != b.chemistry:
            continue
        found.append(Pair(first.pack, second.pack, *_fit(first, second, a, b)))
    return tuple(found)


def _fit(first: PackLife, second: PackLife, a: Pack, b: Pack) -> tuple[str, str]:
    if a.capacity_Ah is None or b.capacity_Ah is None:
        return "not known", "a capacity is not stated"
    apart = abs(a.capacity_Ah - b.capacity_Ah) / max(a.capacity_Ah, b.capacity_Ah)
    if apart > PAIR_CAPACITY:
        return "differ", f"{a.capacity_Ah:g} against {b.capacity_Ah:g} Ah"
    for life in (first, second):
        if unfit := _unfit(life):
            return "differ", unfit
    fit, why = _by_resistance(first, second)
    dark = [life.pack for life in (first, second) if not life.cells]
    if fit == "match" and dark:
        why += f"; the cells of {' and '.join(dark)} were not logged, so a weak one is not ruled out"
    return fit, why


def _unfit(life: PackLife) -> str:
    """Why a pack goes together with none: a weak cell, or past its line; "" where neither is seen."""
    worst = max(life.cells, key=lambda cell: cell.last_pct, default=None)
    if worst is not None and worst.last_pct > 100 * (DEFAULTS.weak_cell_share - 1):
        return f"{worst.cell} of {life.pack} has {worst.last_pct:.0f} % more resistance than the other cells"
    last = next((use for use in reversed(life.uses) if use.corrected_low is not None), None)
    if last is not None and life.line_mohm is not None and (last.corrected_low or 0.0) >= life.line_mohm:
        return f"{life.pack} is past the line at which it is retired"
    return ""


def _by_resistance(first: PackLife, second: PackLife) -> tuple[str, str]:
    last = [next((u for u in reversed(life.uses) if u.corrected_mohm is not None), None) for life in (first, second)]
    one, other = last
    if one is None or other is None:
        return "not known", "no resistance at a known temperature for both"
    if abs((one.temp_degC or 0.0) - (other.temp_degC or 0.0)) <= SAME_TEMPERATURE_K:
        # What cold does is common to both: the figures as they are tell it best.
        gap = abs(one.mohm - other.mohm) / min(one.mohm, other.mohm)
        text = f"{one.mohm:.1f} against {other.mohm:.1f} mΩ at 80 % charge and {one.temp_degC:.0f} °C"
        return ("match" if gap <= PAIR_MOHM else "differ"), text
    ends = [(use.corrected_low or 0.0, use.corrected_high or math.inf) for use in (one, other)]
    smaller = min(one.corrected_mohm or one.mohm, other.corrected_mohm or other.mohm)
    text = f"{_range(ends[0])} against {_range(ends[1])} mΩ at 80 % charge and 25 °C"
    if max(ends[0][1] - ends[1][0], ends[1][1] - ends[0][0]) <= PAIR_MOHM * smaller:
        return "match", text
    if max(ends[0][0] - ends[1][1], ends[1][0] - ends[0][1]) > PAIR_MOHM * smaller:
        return "differ", text
    return "not known", f"{text}, after matches at unlike temperatures: measure both on the bench"


def _range(ends: tuple[float, float]) -> str:
    return f"{ends[0]:.1f} to {ends[1]:.1f}"
