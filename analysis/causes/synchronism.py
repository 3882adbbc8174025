"""A brushless motor out of step with its controller: lost on the run, or never found at the start.

The bridge then switches against the rotor: current comes in bursts that give no lasting torque, and the speed that
the controller reports is not the rotor's. A held shaft draws a steady current, a hit leaves current (the speed is
paid back), a cutoff or a restart takes duty and current away together with the voltage that caused it.
"""

from __future__ import annotations

import numpy as np

from analysis.causes.drives import COMMANDED_PCT, Drive, Happening, as_finding
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.signal import Bools, Floats
from analysis.spans import overlap_s, spans

# Our choices, tried on simulated matches:
SLOWEST_S = 0.12  # a slower log shows a weapon that stops and starts the same way
SYNC_STOP_S = 0.15
JUMP_SHARE = 0.12  # of the usual speed from one sample to the next, and back: no rotor does that
JUMPS = 3
JUMP_GAP_S, JUMP_SAMPLES = 0.15, 5.5  # the next jump follows within the longer of these
IDLE_CURRENT_SHARE = 0.03
SUPPLIED_SHARE = 0.8  # of the usual input voltage: no sag of a pack that still drives others takes more
START_SHARE = 0.08  # of the usual speed: a rotor that only twitches
START_S = 0.8
BURSTS = 2
RAGGED = 0.35  # spread over mean of the current: bursts; a held motor under a limiter has a tenth of that
STARTING_A_SHARE = 0.08


def lost_synchronism(data: MatchData, drive: Drive) -> list[Happening]:
    """Two signatures, and a new start after either.

    Erratic: the reported speed jumps to and fro by more than any motor can (its rotor has inertia). Collapse: speed
    and current go away together under command.
    """
    if drive.brushed or drive.speed_rpm is None or drive.usual_rpm <= 0:
        return []
    if drive.asked_pct is None or drive.period_s > SLOWEST_S:
        return []
    t, x = drive.t_s, np.abs(drive.speed_rpm)
    asked = np.abs(drive.asked_pct) > COMMANDED_PCT
    idle = asked & (np.abs(drive.current_A) < IDLE_CURRENT_SHARE * drive.usual_peak_A + 3.0 * drive.current.noise)
    quiet = spans(idle, t, join_s=0.03)
    found = []
    for start, end in _erratic(drive, t, x, asked):
        after = [(a, b) for a, b in quiet if b - a >= 0.08 and a - end < 0.4 and b > start]
        stop = max((b for _, b in after), default=end)
        inside = (t >= start) & (t <= end)
        detail = f"its speed reading jumps between {x[inside].min():,.0f} and {x[inside].max():,.0f} rpm under command"
        if after:
            detail += f", then no drive for {sum(b - a for a, b in after):.2f} s"
        found.append(
            Happening("sync_loss", drive.id, start, stop, "lost synchronism", detail, float(np.ptp(x[inside])))
        )
    for start, end in spans(asked & (x < 0.5 * drive.usual_rpm), t, join_s=0.1):
        head = x[(t >= start - 0.6) & (t < start)]
        if end - start < SYNC_STOP_S or not len(head) or head.max() < 0.55 * drive.usual_rpm:
            continue
        if any(overlap_s((start, end), f.span) > -0.5 for f in found):
            continue
        inside = (t >= start) & (t <= end)
        longest = max((b - a for a, b in spans(inside & idle, t, join_s=0.03)), default=0.0)
        if longest >= SYNC_STOP_S:
            drop = float(head.max() - x[inside].min())
            detail = (
                f"speed from {head.max():,.0f} to {x[inside].min():,.0f} rpm under command, "
                f"no drive for {longest:.2f} s: a hit leaves current"
            )
            found.append(Happening("sync_loss", drive.id, start, end, "lost synchronism", detail, drop))
    return sorted((h for h in found if _supplied(drive, h)), key=lambda h: h.start_s)


def _supplied(drive: Drive, happening: Happening) -> bool:
    """Whether its input stood while it was out of step: a lost supply takes speed and current away as well."""
    if drive.voltage_V is None:
        return True
    inside = (drive.t_s >= happening.start_s) & (drive.t_s <= happening.end_s)
    return float(np.median(drive.voltage_V[inside])) > SUPPLIED_SHARE * float(np.median(drive.voltage_V))


def _erratic(drive: Drive, t: Floats, x: Floats, asked: Bools) -> list[tuple[float, float]]:
    """Spans where the speed reading jumps both ways, three times or more with no pause between."""
    if len(t) < 5:
        return []
    gap_s = max(JUMP_GAP_S, JUMP_SAMPLES * drive.period_s)
    marks = [i for i in _reversals(x, JUMP_SHARE * drive.usual_rpm) if asked[i]]
    found: list[tuple[float, float]] = []
    group: list[int] = []
    for mark in [*marks, -1]:
        if mark >= 0 and (not group or t[mark] - t[group[-1]] <= gap_s):
            group.append(int(mark))
            continue
        if len(group) >= JUMPS:
            found.append((float(t[group[0]]), float(t[group[-1]])))
        group = [int(mark)] if mark >= 0 else []
    return found


def _reversals(x: Floats, least: float) -> list[int]:
    """Indices at which a series turns, where the moves before and after are at least that large.

    Looked for only near steps of a third of that or more: a rotor's own course has none.
    """
    moves = np.abs(np.diff(x)) > least / 3.0
    if not moves.any():
        return []
    wide = np.convolve(moves, np.ones(9), mode="same") > 0
    edges = np.flatnonzero(np.diff(np.concatenate(([False], wide, [False])).astype(np.int8)))
    found: list[int] = []
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        found += [start + i for i in _turns(x[start : end + 1], least)]
    return found


def _turns(x: Floats, least: float) -> list[int]:
    found: list[int] = []
    low = high = float(x[0])
    low_at = high_at = 0
    heading = 0
    for i, value in enumerate(x.tolist()):
        if value > high:
            high, high_at = value, i
        if value < low:
            low, low_at = value, i
        if heading >= 0 and high - value > least:
            if heading > 0:
                found.append(high_at)
            heading, low, low_at = -1, value, i
            high, high_at = value, i
        elif heading <= 0 and value - low > least:
            if heading < 0:
                found.append(low_at)
            heading, high, high_at = 1, value, i
            low, low_at = value, i
    return found


def failed_starts(drive: Drive) -> list[Happening]:
    """Asked to start from rest, current in bursts, and no speed."""
    if (
        drive.brushed
        or drive.speed_rpm is None
        or drive.asked_pct is None
        or drive.usual_rpm <= 0
        or drive.period_s > 2 * SLOWEST_S
    ):
        return []
    t, current = drive.t_s, np.abs(drive.current_A)
    asked = drive.command_pct if drive.command_pct is not None else drive.asked_pct
    waiting = (np.abs(asked) > COMMANDED_PCT) & (np.abs(drive.speed_rpm) < START_SHARE * drive.usual_rpm)
    found = []
    for start, end in spans(waiting, t, min_s=START_S, join_s=max(0.1, 2.5 * drive.period_s)):
        inside = (t >= start) & (t <= end)
        x = current[inside]
        high = float(np.percentile(x, 90))
        if high < max(STARTING_A_SHARE * drive.usual_peak_A, 5.0 * drive.current.noise, 2.0):
            continue
        over = x > 0.5 * high
        bursts = int(np.sum(over[1:] & ~over[:-1])) + int(over[0])
        if bursts < BURSTS or float(x.std()) < RAGGED * float(x.mean()):
            continue
        detail = (
            f"asked for {end - start:.1f} s: {bursts} bursts of up to {high:.0f} A and no more than "
            f"{np.abs(drive.speed_rpm[inside]).max():,.0f} rpm"
        )
        found.append(Happening("start_failure", drive.id, start, end, "failed start", detail, high))
    return found


def findings(drive: Drive, lost: list[Happening], failed: list[Happening]) -> list[Finding]:
    """Lost synchronism and starts that failed, each with all its moments."""
    found = []
    if lost:
        channel = drive.raw["speed"].channel
        found.append(as_finding("motor_fault", lost, "fault", "likely", channel, "rpm"))
    if failed:
        found.append(as_finding("motor_fault", failed, "fault", "likely", drive.current.channel, "A"))
    return found
