"""Every threshold a review uses, each with its source or the reason for our choice.

The user overrides any of them in season.toml under [thresholds]; the commands name the overridden ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any


@dataclass(frozen=True)
class Settings:
    shortest_window_s: float = 0.1
    continuous_window_s: float = 60.0
    close_margin_pct: float = 10.0
    cell_mean_s: float = 1.0
    dropout_s: float = 0.1
    gap_intervals: float = 5.0
    wire_bin_s: float = 0.25
    air_degC: float = 25.0
    air_uncertainty_K: float = 5.0
    cold_pack_degC: float = 15.0
    not_full_cell_V: float = 4.10
    weak_cell_share: float = 1.6
    joint_step_mohm: float = 2.0
    stall_speed_share: float = 0.05
    stall_s: float = 0.3
    activity_share: float = 0.10
    spare_matches: float = 5.0
    spare_margin_pct: float = 40.0


ABOUT: dict[str, tuple[str, str]] = {
    "shortest_window_s": (
        "s",
        "current ratings are held against windows from here up; shorter ones are for the log's own sake "
        "(our choice: wire and contact heat is nothing in less)",
    ),
    "continuous_window_s": (
        "s",
        "a continuous rating holds from here (our choice: no maker states it for robots; a match is three minutes)",
    ),
    "close_margin_pct": (
        "%",
        "below this margin a figure is close (our choice: about twice the usual sensor error)",
    ),
    "cell_mean_s": (
        "s",
        "the cell minimum is held against the lowest mean this long (our choice: shorter sags do not harm a cell)",
    ),
    "dropout_s": (
        "s",
        "a dropout starts here; shorter losses are counted (our choice: drivers notice about a tenth of a second)",
    ),
    "gap_intervals": (
        "1",
        "a gap in a log is this many of its own intervals (our choice: beyond usual jitter)",
    ),
    "wire_bin_s": (
        "s",
        "bin of the wire model (0.1 to 0.25 s keeps it within 0.04 K of the exact solution)",
    ),
    "air_degC": (
        "degC",
        "air inside the chassis where neither a channel, the match nor the build tells (our choice)",
    ),
    "air_uncertainty_K": (
        "K",
        "how far that default may be off (our choice)",
    ),
    "cold_pack_degC": (
        "degC",
        "below this a lithium pack counts as cold (common practice, no source)",
    ),
    "not_full_cell_V": (
        "V",
        "a lithium-polymer cell resting below this was not full (common practice, no source: 4.20 V less 0.10 V)",
    ),
    "weak_cell_share": (
        "1",
        "a cell with this many times its pack's median resistance is weak (our choice)",
    ),
    "joint_step_mohm": (
        "mohm",
        "a lasting rise of resistance this large is a joint (our choice: a good plug has under 1)",
    ),
    "stall_speed_share": (
        "1",
        "below this share of the usual speed a motor counts as standing (our choice)",
    ),
    "stall_s": (
        "s",
        "a motor standing this long under current is stalled (our choice: longer than a start)",
    ),
    "activity_share": (
        "1",
        "the robot is active where its current exceeds this share of the usual peak (our choice)",
    ),
    "spare_matches": (
        "1",
        "weight is offered to be taken out of a wire only where this many matches of the build say so "
        "(our choice: fewer tell little of the next opponent)",
    ),
    "spare_margin_pct": (
        "%",
        "and only where the thinner wire keeps this margin in all of them (our choice: four times what is close)",
    ),
}

DEFAULTS = Settings()


def with_overrides(overrides: Mapping[str, Any]) -> tuple[Settings, tuple[str, ...]]:
    """Settings with the user's thresholds, and the names of those that differ.

    Raises KeyError for an unknown name and ValueError for a value that is no positive number; the caller knows
    the file and line.
    """
    known = {f.name for f in fields(Settings)}
    for name, value in overrides.items():
        if name not in known:
            raise KeyError(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            raise ValueError(f"{name} must be a number of zero or more")
    changed = tuple(name for name in overrides if float(overrides[name]) != getattr(DEFAULTS, name))
    return replace(DEFAULTS, **{name: float(value) for name, value in overrides.items()}), changed
