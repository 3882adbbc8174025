"""What the motors did: stall, push, hit, spin-up, lost synchronism, failed start, and their controllers' limiters.

Signatures (common practice, no source, unless said): a stalled motor draws current with its shaft standing; a
spin-up draws current while the speed rises; a hit takes speed away at once and the controller pays it back; a
brushless motor that lost synchronism is commanded, but neither turns nor draws a steady current until it restarts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.signal import Bools, Floats, Signal
from analysis.spans import at_times, max_between, mean_between, min_between, overlap_s, spans
from ingest.builds import Controller, Motor

# Our choices, tried on simulated matches of both kinds of motor:
COMMANDED_PCT = 20.0  # a command above this asks the motor to turn
STALL_CURRENT_SHARE = 0.35  # of the largest current the motor drew: below, it is not held
STALL_FAULT_S = 3.0  # standing longer than this under current is not a shove
PUSH_S = 1.5  # held for this long is worth a note
HIT_DROP_SHARE = 0.15  # of the usual speed, lost within HIT_S
HIT_S = 0.15
SYNC_STOP_S = 0.15
JUMP_SHARE = 0.12  # of the usual speed from one sample to the next, and back: no rotor does that
JUMPS = 3
IDLE_CURRENT_SHARE = 0.03


@dataclass(frozen=True, eq=False)
class Drive:
    """One controller's channels inside the match window, on the clock of its current."""

    controller: Controller
    motor: Motor | None
    t_s: Floats
    current: Signal
    current_A: Floats
    command_pct: Floats | None
    speed_rpm: Floats | None
    speed: Signal | None

    @property
    def id(self) -> str:
        return self.controller.id

    @property
    def usual_rpm(self) -> float:
        if self.speed is None or len(self.speed) == 0:
            return 0.0
        return float(np.percentile(np.abs(self.speed.x), 95))

    @property
    def usual_peak_A(self) -> float:
        return float(np.percentile(np.abs(self.current_A), 99.5)) if len(self.current_A) else 0.0


@dataclass(frozen=True)
class Happening:
    """Something a motor did, for naming the cause of what a check finds."""

    cause: str
    part: str
    start_s: float
    end_s: float
    what: str
    detail: str
    figure: float | None = None


def drives(data: MatchData) -> list[Drive]:
    """Every controller with a current channel."""
    found = []
    assert data.build is not None
    for controller in data.build.controllers:
        current = data.inside(f"{controller.id}_motor_current_A") or data.inside(f"{controller.id}_input_current_A")
        if current is None or len(current) < 5:
            continue
        motor = next((m for m in data.build.motors if m.controller == controller.id), None)
        command = data.inside(f"{controller.id}_command_pct") or data.inside(f"{controller.id}_duty_pct")
        speed = next(
            (
                s
                for name in ([motor.id] if motor else []) + [controller.id]
                if (s := data.inside(f"{name}_speed_rpm")) is not None
            ),
            None,
        )
        channels = [s.channel for s in (current, command, speed) if s is not None]
        if not data.same_clock(*channels):
            command = speed = None
        found.append(
            Drive(
                controller,
                motor,
                current.t_s,
                current,
                current.x,
                None if command is None else at_times(command, current.t_s)[0],
                None if speed is None else at_times(speed, current.t_s)[0],
                speed,
            )
        )
    return found


def stalls(data: MatchData, drive: Drive) -> list[Happening]:
    """Spans with current and a standing shaft (speed logged), or a flat plateau of current (not logged)."""
    if drive.usual_peak_A <= 0:
        return []
    strong = np.abs(drive.current_A) > STALL_CURRENT_SHARE * drive.usual_peak_A
    asked = np.ones(len(strong), dtype=bool)
    if drive.command_pct is not None:
        asked = np.abs(drive.command_pct) > COMMANDED_PCT
    if drive.speed_rpm is None or drive.usual_rpm <= 0:
        return []
    standing = np.abs(drive.speed_rpm) < data.settings.stall_speed_share * drive.usual_rpm
    found = []
    for start, end in spans(strong & asked & standing, drive.t_s, min_s=data.settings.stall_s, join_s=0.3):
        current = mean_between(drive.current, start, end) or 0.0
        found.append(
            Happening(
                "stall",
                drive.id,
                start,
                end,
                "stalled",
                f"{abs(current):.0f} A for {end - start:.1f} s with the shaft standing",
                abs(current),
            )
        )
    return found


def plateaus(drive: Drive) -> list[Happening]:
    """Without a speed channel: current that stays high and flat for over PUSH_S: held or pushing, which is not told."""
    if drive.speed_rpm is not None or drive.usual_peak_A <= 0:
        return []
    smooth = _smooth(drive.current_A, drive.current.period_s, 0.3)
    high = np.abs(smooth) > 0.6 * drive.usual_peak_A
    found = []
    for start, end in spans(high, drive.t_s, min_s=PUSH_S, join_s=0.3):
        current = abs(mean_between(drive.current, start, end) or 0.0)
        found.append(
            Happening(
                "push", drive.id, start, end, "held or pushing", f"{current:.0f} A for {end - start:.1f} s", current
            )
        )
    return found


def spin_ups(drive: Drive) -> list[Happening]:
    """Speed rising from under 40 % to over 80 % of the usual under current."""
    if drive.speed is None or drive.usual_rpm <= 0:
        return []
    share = np.abs(drive.speed.x) / drive.usual_rpm
    t = drive.speed.t_s
    below = np.flatnonzero((share[:-1] < 0.8) & (share[1:] >= 0.8))
    found = []
    for index in below:
        low = np.flatnonzero(share[: index + 1] < 0.4)
        if not len(low):
            continue
        start, end = float(t[low[-1]]), float(t[index + 1])
        if end - start > 8.0 or (found and start < found[-1].end_s):
            continue
        peak = max_between(drive.current, start - 0.2, end) or 0.0
        found.append(Happening("spin_up", drive.id, start - 0.2, end, "spin-up", f"{peak:.0f} A", peak))
    return found


def hits(data: MatchData, drive: Drive) -> list[Happening]:
    """Speed lost at once while the motor was commanded, or a shock on the chassis."""
    found: list[Happening] = []
    if drive.speed is not None and drive.usual_rpm > 0 and drive.speed.period_s <= HIT_S:
        t, x = drive.speed.t_s, np.abs(drive.speed.x)
        later = np.clip(np.searchsorted(t, t + HIT_S), 0, len(t) - 1)
        drop = x - x[later]
        fast = (x > 0.3 * drive.usual_rpm) & (drop > HIT_DROP_SHARE * drive.usual_rpm)
        if drive.command_pct is not None:
            asked = np.interp(t, drive.t_s, np.abs(drive.command_pct))
            fast &= (asked > COMMANDED_PCT) & (asked[later] > COMMANDED_PCT)
        for start, end in spans(fast, t, join_s=HIT_S):
            before = max_between(drive.speed, start - 0.05, start + 0.02) or 0.0
            after = min_between(drive.speed, start, end + HIT_S) or 0.0
            found.append(
                Happening(
                    "hit",
                    drive.id,
                    start,
                    end + HIT_S,
                    "hit",
                    f"speed from {abs(before):,.0f} to {abs(after):,.0f} rpm",
                    before - after,
                )
            )
    return found


def shocks(data: MatchData) -> list[Happening]:
    shock = data.inside("chassis_shock_g")
    if shock is None:
        return []
    size = np.abs(shock.x - np.median(shock.x))
    level = max(10.0, 6.0 * float(np.percentile(size, 90)))
    return [
        Happening("hit", "chassis", a, b, "hit", f"{max_between(shock, a, b) or 0:.0f} g", max_between(shock, a, b))
        for a, b in spans(size > level, shock.t_s, join_s=0.2)
    ]


def lost_synchronism(data: MatchData, drive: Drive) -> list[Happening]:
    """A brushless controller that lost the rotor: two signatures, and a new start after either.

    Erratic: the reported speed jumps to and fro by more than any motor can (its rotor has inertia). Collapse: speed
    and current go away together under command, where a hit leaves current (the controller pays the speed back).
    """
    if drive.controller.motor_type == "brushed" or drive.speed is None or drive.usual_rpm <= 0:
        return []
    if drive.command_pct is None:
        return []
    t, x = drive.speed.t_s, np.abs(drive.speed.x)
    asked = np.interp(t, drive.t_s, np.abs(drive.command_pct)) > COMMANDED_PCT
    current = np.interp(t, drive.t_s, np.abs(drive.current_A))
    idle = asked & (current < IDLE_CURRENT_SHARE * drive.usual_peak_A + 3.0 * drive.current.noise)
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
        if any(overlap_s((start, end), (f.start_s, f.end_s)) > -0.5 for f in found):
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
    return sorted(found, key=lambda h: h.start_s)


def _erratic(drive: Drive, t: Floats, x: Floats, asked: Bools) -> list[tuple[float, float]]:
    """Spans where the speed reading jumps both ways, three times or more within half a second."""
    if len(t) < 5:
        return []
    marks = [i for i in _reversals(x, JUMP_SHARE * drive.usual_rpm) if asked[i]]
    found: list[tuple[float, float]] = []
    group: list[int] = []
    for mark in [*marks, -1]:
        if mark >= 0 and (not group or t[mark] - t[group[-1]] <= 0.15):
            group.append(int(mark))
            continue
        if len(group) >= JUMPS:
            found.append((float(t[group[0]]), float(t[group[-1]])))
        group = [int(mark)] if mark >= 0 else []
    return found


def _reversals(x: Floats, least: float) -> list[int]:
    """Indices at which a series turns, where the moves before and after are at least that large."""
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


def thermal_limits(data: MatchData, drive: Drive) -> list[Happening]:
    """The output falls under the command while the controller is near its limit temperature."""
    duty = data.inside(f"{drive.id}_duty_pct")
    command = data.inside(f"{drive.id}_command_pct")
    temp = data.inside(f"{drive.id}_temp_degC")
    if temp is None:
        return []
    limit = drive.controller.limit_degC
    hot_from = (limit - 12.0) if limit is not None else float(np.percentile(temp.x, 99)) - 3.0
    if float(temp.x.max()) < hot_from:
        return []
    if duty is not None and command is not None:
        asked = at_times(command, duty.t_s)[0]
        cut: Bools = (np.abs(asked) > COMMANDED_PCT) & (np.abs(duty.x) < 0.75 * np.abs(asked))
        signal = duty
    else:
        return []
    heat, near = at_times(temp, signal.t_s)
    found = []
    for start, end in spans(cut & near & (heat > hot_from), signal.t_s, min_s=0.5, join_s=1.0):
        peak = max_between(temp, start - 1, end) or 0.0
        ratio = float(np.median(np.abs(duty.between(start, end).x)))
        found.append(
            Happening(
                "thermal_limit",
                drive.id,
                start,
                end,
                "thermal limit",
                f"at {peak:.0f} °C its output fell to {ratio:.0f} %",
                peak,
            )
        )
    return found


def as_finding(
    kind: str,
    happenings: list[Happening],
    verdict: str,
    confidence: str,
    channel: str,
    unit: str,
    evidence: tuple[str, ...] = (),
) -> Finding:
    worst = max(happenings, key=lambda h: (h.end_s - h.start_s, h.figure or 0.0))
    return Finding(
        kind=kind,  # type: ignore[arg-type]
        cause=worst.cause,
        part=worst.part,
        channel=channel,
        start_s=worst.start_s,
        end_s=worst.end_s,
        measured=worst.figure,
        low=worst.figure,
        high=worst.figure,
        unit=unit,
        verdict=verdict,  # type: ignore[arg-type]
        confidence=confidence,  # type: ignore[arg-type]
        evidence=(worst.detail, *evidence),
        check="motor",
        occurrences=tuple(Occurrence(h.start_s, h.end_s, h.figure) for h in happenings),
    )


def detect(data: MatchData) -> tuple[list[Finding], list[Happening]]:
    """Findings of their own, and everything that may explain another finding."""
    findings: list[Finding] = []
    happened: list[Happening] = shocks(data)
    for drive in drives(data):
        stalled = stalls(data, drive)
        lost = lost_synchronism(data, drive)
        stalled = [
            s for s in stalled if not any(overlap_s((s.start_s, s.end_s), (x.start_s, x.end_s)) > 0 for x in lost)
        ]
        limited = thermal_limits(data, drive)
        happened += stalled + lost + limited + plateaus(drive) + spin_ups(drive)
        happened += [
            h
            for h in hits(data, drive)
            if not any(overlap_s((h.start_s, h.end_s), (x.start_s, x.end_s)) > 0 for x in lost)
        ]
        if lost:
            findings.append(
                as_finding("motor_fault", lost, "fault", "likely", f"{drive.id}_speed_rpm", "rpm"),
            )
        long = [s for s in stalled if s.end_s - s.start_s >= STALL_FAULT_S]
        short = [s for s in stalled if PUSH_S <= s.end_s - s.start_s < STALL_FAULT_S]
        if long:
            findings.append(as_finding("motor_fault", long, "fault", "likely", drive.current.channel, "A"))
        elif short:
            findings.append(as_finding("motor_fault", short, "note", "likely", drive.current.channel, "A"))
        if limited:
            findings.append(as_finding("thermal_buildup", limited, "fault", "likely", f"{drive.id}_temp_degC", "degC"))
    return findings, happened


def _smooth(x: Floats, period_s: float, over_s: float) -> Floats:
    n = max(1, round(over_s / period_s)) if period_s > 0 else 1
    if n <= 1 or n >= len(x):
        return x
    return np.convolve(x, np.ones(n) / n, mode="same")
