"""The ordered checks. The review and the replay both call these; each gives rows and never words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis import dropouts, estimates, motor_check, pack_check, sag, spikes, terminal_check
from analysis.match_data import MatchData
from analysis.outcome import Outcome, joined
from analysis.separate import checked_apart, separate


@dataclass(frozen=True)
class Check:
    """A group of checks: the names it can answer for, and the function that runs them."""

    names: tuple[str, ...]
    run: Callable[[MatchData], Outcome]
    measured: bool = False  # on what the log itself measured: no replay of a change moves it


CHECKS: tuple[Check, ...] = (
    Check(
        ("pack_current", "burst_current", "continuous_current", "contact_current", "fuse_curve", "rail_current"),
        spikes.check,
    ),
    Check(("pack_resistance", "charge_used", "pack_temperature"), pack_check.check),
    Check(
        (
            "pack_sag",
            "cell_minimum",
            "controller_cutoff",
            "controller_voltage",
            "controller_overvoltage",
            "rail_voltage",
        ),
        sag.check,
    ),
    Check(
        ("wire_temperature", "contact_temperature", "controller_temperature", "motor_temperature"),
        motor_check.temperatures,
    ),
    Check(("contact_drop",), terminal_check.check, measured=True),
    Check(("link",), dropouts.link_check),
    Check((), estimates.check),
)


def run_checks(data: MatchData, *, estimates_too: bool = True) -> Outcome:
    """Every check on one match; without the figures that no rating is held against where only verdicts count.

    A robot of several packs in trees of their own is checked tree by tree.
    """
    trees = separate(data)
    if trees:
        return checked_apart(trees, lambda one: run_checks(one, estimates_too=estimates_too))
    return joined(check.run(data) for check in CHECKS if estimates_too or (check.names and not check.measured))
