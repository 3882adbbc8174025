"""A weapon that takes up speed, and one that gives it away: spin-up and hit.

A spin-up draws current while the speed rises; a hit takes speed at once (or shakes the chassis) and the controller
pays it back. Both are what a weapon is for: they are worth a note only where they took the controller close to the
limit set in it, and they name the cause of a rating that was passed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.causes.drives import COMMANDED_PCT, Drive, Happening, as_finding
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.settings import Settings
from analysis.spans import max_between, spans

# Our choices, tried on simulated matches of both kinds of motor:
LOW_SHARE, HIGH_SHARE = 0.4, 0.8  # of the usual speed: a spin-up goes from under the first to over the second
STANDING_SHARE = 0.1
LONGEST_SPIN_UP_S = 8.0
HIT_DROP_SHARE = 0.12  # of the usual speed, lost within HIT_S: no drag or brake takes that
HIT_S = 0.15
PAYBACK_S = 0.6  # the controller pays the speed back within this
SHOCK_G = 10.0  # our choice: driving shakes a chassis by less


def spin_ups(drive: Drive) -> list[Happening]:
    """Speed rising from under 40 % to over 80 % of the usual under current."""
    if drive.speed_rpm is None or drive.usual_rpm <= 0:
        return []
    t, share = drive.t_s, np.abs(drive.speed_rpm) / drive.usual_rpm
    up = np.flatnonzero((share[:-1] < HIGH_SHARE) & (share[1:] >= HIGH_SHARE))
    low = np.flatnonzero(share < LOW_SHARE)
    found: list[Happening] = []
    for index in up:
        before = int(np.searchsorted(low, index, side="right")) - 1
        if before < 0:
            continue
        start, end = _begin(drive, share, int(low[before])), float(t[index + 1])
        if end - start > LONGEST_SPIN_UP_S or (found and start < found[-1].end_s):
            continue
        inside = (t >= start) & (t <= end + 0.1)
        peak = float(np.abs(drive.current_A[inside]).max())
        detail = f"its speed rose to {drive.usual_rpm * share[index + 1]:,.0f} rpm in {end - start:.1f} s"
        found.append(Happening("spin_up", drive.id, start, end, "spin-up", detail, peak))
    return found


def _begin(drive: Drive, share: np.ndarray, at: int) -> float:
    """When this spin-up began: the command's rise, else where the speed began to rise."""
    t = drive.t_s
    first = int(np.searchsorted(t, t[at] - 3.0))
    if drive.command_pct is not None:
        asked = np.abs(drive.command_pct[first : at + 1]) > COMMANDED_PCT
        rises = np.flatnonzero(asked[1:] & ~asked[:-1])
        if len(rises):
            return float(t[first + rises[-1] + 1])
    window = share[first : at + 1]
    lowest = float(window.min())
    standing = np.flatnonzero(window <= max(STANDING_SHARE, lowest + 0.03))
    return float(t[first + standing[-1]])


def hits(drive: Drive) -> list[Happening]:
    """Speed lost at once although the motor was asked on, in the same direction."""
    if drive.speed_rpm is None or drive.usual_rpm <= 0 or drive.period_s > HIT_S:
        return []
    t, x = drive.t_s, np.abs(drive.speed_rpm)
    later = np.clip(np.searchsorted(t, t + HIT_S + 1e-9, side="right") - 1, 0, len(t) - 1)
    drop = x - x[later]
    fast = (x > 0.3 * drive.usual_rpm) & (drop > HIT_DROP_SHARE * drive.usual_rpm)
    if drive.asked_pct is not None:
        asked = drive.command_pct if drive.command_pct is not None else drive.asked_pct
        on = np.abs(asked) > COMMANDED_PCT
        fast &= on & on[later] & (np.sign(asked) == np.sign(asked[later]))
        fast &= np.abs(asked[later]) > 0.8 * np.abs(asked)
    found: list[Happening] = []
    for start, end in spans(fast, t, join_s=HIT_S):
        low = int(np.searchsorted(t, start))
        high = int(np.searchsorted(t, end + HIT_S, side="right"))
        slice_x = x[low : max(high, low + 2)]
        before, after = float(slice_x[:2].max()), float(slice_x.min())
        fall = low + int(np.argmax(-np.diff(slice_x))) if len(slice_x) > 1 else low
        at = float(t[fall])
        peak = float(np.abs(drive.current_A[low : int(np.searchsorted(t, end + PAYBACK_S)) + 1]).max())
        detail = f"speed from {before:,.0f} to {after:,.0f} rpm at once"
        found.append(Happening("hit", drive.id, at, end + HIT_S, "hit", detail, peak))
    return found


def shocks(data: MatchData) -> list[Happening]:
    """Blows on the chassis, where its acceleration is logged."""
    shock = data.inside("chassis_shock_g")
    if shock is None:
        return []
    size = np.abs(shock.x - np.median(shock.x))
    level = max(SHOCK_G, 6.0 * float(np.percentile(size, 90)))
    return [
        Happening("hit", "chassis", a, b, "hit", f"{max_between(shock, a, b) or 0:.0f} g", max_between(shock, a, b))
        for a, b in spans(size > level, shock.t_s, join_s=0.2)
    ]


def findings(drive: Drive, happened: list[Happening], settings: Settings) -> list[Finding]:
    """A note for the spin-ups and one for the hits that came close to the limit set in the controller."""
    limit, rated = drive.limit_A, drive.rated_A
    if limit is None or rated is None or drive.brushed:
        return []
    level = (1.0 - settings.close_margin_pct / 100.0) * limit
    found = []
    for cause, after_s in (("spin_up", 0.1), ("hit", PAYBACK_S)):
        reached = []
        for one in happened:
            if one.cause != cause or one.part != drive.id:
                continue
            inside = (drive.t_s >= one.start_s) & (drive.t_s <= one.end_s + after_s)
            peak = float(np.abs(rated[inside]).max()) if inside.any() else 0.0
            if peak >= level:
                reached.append(replace(one, figure=peak, detail=f"{peak:.0f} A; {one.detail}"))
        if reached:
            why = f"its controller is set to {limit:g} A: it came within {settings.close_margin_pct:g} % of that"
            found.append(as_finding("current_spike", reached, "note", "likely", drive.rated_channel, "A", (why,)))
    return found
