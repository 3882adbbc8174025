"""What else differs between two groups of matches, so that a difference may be its doing and not the build's."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from analysis.metric_kinds import About
from analysis.season_rows import MatchRow

# Our choice: 5 K move a lithium pack's resistance by about a tenth (analysis.pack_model.cold_factor).
TEMPERATURE_K = 5.0
# Our choice: a twentieth of the charge moves a resting cell by some 30 mV, about the error of a rest voltage.
CHARGE_PCT = 5.0
# What a pack is by itself: moved by the pack, whatever robot it sits in.
OF_THE_PACK = ("pack",)


def confounders(first: Sequence[MatchRow], second: Sequence[MatchRow], about: About, by: str) -> tuple[str, ...]:
    """In words, each with its figures; empty where nothing that moves this metric differs as far as is known."""
    found: list[str] = []
    if by != "pack" and "pack" in about.touched:
        found += _apart(first, second, "pack", lambda row: row.pack)
    if by != "build" and about.touched[:1] != OF_THE_PACK:
        found += _apart(first, second, "build", lambda row: row.build)
    if "temperature" in about.touched:
        found += _far(first, second, ("pack_temp_mean_degC", "air_degC"), TEMPERATURE_K, "temperature", "°C")
    if "charge" in about.touched:
        found += _far(first, second, ("charge_state_start_pct",), CHARGE_PCT, "charge at the start", "%")
    if "opponent" in about.touched:
        found += _apart(first, second, "opponent", lambda row: row.opponent)
    return tuple(found)


def _apart(
    first: Sequence[MatchRow], second: Sequence[MatchRow], what: str, of: Callable[[MatchRow], str]
) -> list[str]:
    """A thing that no two matches across the groups have in common."""
    a, b = ({of(row) for row in side} - {""} for side in (first, second))
    if not a or not b:
        return [f"{what} (not stated)"]
    if a & b:
        return []
    if len(a) + len(b) <= 4:
        return [f"{what} ({', '.join(sorted(a))} against {', '.join(sorted(b))})"]
    return [f"{what} (none in common)"]


def _far(
    first: Sequence[MatchRow], second: Sequence[MatchRow], names: tuple[str, ...], limit: float, what: str, unit: str
) -> list[str]:
    for name in names:
        medians = []
        for side in (first, second):
            values = [m.value for row in side if (m := row.metric(name)) is not None]
            if 2 * len(values) >= len(side):  # known for half of the matches at least
                medians.append(float(np.median(values)))
        if len(medians) == 2:
            if abs(medians[1] - medians[0]) <= limit:
                return []
            return [f"{what} ({medians[0]:.0f} against {medians[1]:.0f} {unit})"]
    return [f"{what} (not known)"]
