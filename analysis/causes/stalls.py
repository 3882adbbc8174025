"""A shaft held still, and a shaft held back: stall and push.

Both draw a steady current. A standing shaft has no back-EMF (speed is nil, and duty·V is all drop in the winding);
a pushing one turns, slower than its command asks. Where neither speed nor back-EMF is known, the two look the same
and both are named.
"""

from __future__ import annotations

import numpy as np

from analysis.causes.drives import COMMANDED_PCT, Drive, Happening, as_finding
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.signal import Bools, Floats
from analysis.spans import spans

# Our choices, tried on simulated matches of both kinds of motor:
STALL_CURRENT_SHARE = 0.35  # of the largest current the motor drew: below, it is not held
STALL_FAULT_S = 3.0  # standing longer than this under current is a jam and no shove
STALL_NOTE_S = 0.5  # longer than any reversal or start takes
EMF_SHARE = 0.15  # of duty·V: less than this is within the error of a winding's stated resistance, so standing
RAGGED = 0.45  # spread of the current over its mean: a held motor draws a steady one
PUSH_S = 1.3  # held for this long is worth a note
PUSH_EFFORT_PCT = 60.0  # the driver asks for more than this: a shove at part throttle is driving
PUSH_CURRENT_SHARE = 0.75  # of the continuous rating, where one is stated ...
PUSH_PEAK_SHARE = 0.45  # ... else of the usual peak
HELD_BACK = 0.88  # of the no-load speed at that duty: a motor without a load turns within some 5 % of it
FLAT_PEAK_SHARE = 0.6


def stalls(data: MatchData, drive: Drive) -> list[Happening]:
    """Spans with a steady current and a standing shaft, by its speed or, without one, by its back-EMF."""
    if drive.usual_peak_A <= 0:
        return []
    held = _strong(drive, STALL_CURRENT_SHARE * drive.usual_peak_A)
    if drive.speed_rpm is not None and drive.usual_rpm > 0:
        held &= np.abs(drive.speed_rpm) < data.settings.stall_speed_share * drive.usual_rpm
        seen = "the shaft standing"
    elif drive.back_emf_V is not None and drive.duty_pct is not None and drive.voltage_V is not None:
        held &= np.abs(drive.back_emf_V) < EMF_SHARE * np.abs(drive.duty_pct) * 0.01 * drive.voltage_V + 0.3
        seen = "no back-EMF: duty times voltage is all drop in the winding"
    else:
        return []
    found = []
    for start, end in spans(held, drive.t_s, min_s=data.settings.stall_s, join_s=max(0.15, 1.5 * drive.period_s)):
        inside = (drive.t_s >= start) & (drive.t_s <= end)
        current = np.abs(drive.current_A[inside])
        mean = float(current.mean())
        if float(current.std()) > RAGGED * mean:
            continue
        detail = f"{mean:.0f} A for {end - start:.1f} s with {seen}"
        found.append(Happening("stall", drive.id, start, end, "stalled", detail, mean))
    return found


def _strong(drive: Drive, level_A: float) -> Bools:
    strong = np.abs(drive.current_A) > level_A
    if drive.asked_pct is not None:
        strong &= np.abs(drive.asked_pct) > COMMANDED_PCT
    return strong


def _shares(drive: Drive) -> Floats | None:
    """Speed over the no-load speed at the duty applied: 1 without a load, 0 when standing; None where not known."""
    motor = drive.motor
    if drive.duty_pct is None or drive.voltage_V is None:
        return None
    applied_V = np.abs(drive.duty_pct) * 0.01 * drive.voltage_V
    if drive.speed_rpm is not None and motor is not None and motor.kv_rpm_per_V is not None:
        return np.abs(drive.speed_rpm) / np.maximum(motor.kv_rpm_per_V * applied_V, 1.0)
    if drive.back_emf_V is not None:
        return np.abs(drive.back_emf_V) / np.maximum(applied_V, 0.1)
    return None


def pushes(drive: Drive) -> list[Happening]:
    """A drive asked for much that turns slower than it would alone, at a steady current, for over PUSH_S."""
    if drive.usual_peak_A <= 0 or (drive.controller.motor_type == "brushless" and drive.speed_rpm is None):
        return []
    if _one_way(drive):
        return []
    share = _shares(drive)
    if drive.asked_pct is None or (share is None and drive.speed_rpm is None):
        return plateaus(drive)
    rated = drive.controller.continuous_A if drive.controller.rating_basis == "motor" else None
    level = PUSH_PEAK_SHARE * drive.usual_peak_A
    if rated is not None:
        level = min(PUSH_CURRENT_SHARE * rated, 0.9 * drive.usual_peak_A)
    smooth = np.abs(drive.smoothed(drive.current_A, 0.15))
    held = (smooth > level) & (np.abs(drive.asked_pct) > PUSH_EFFORT_PCT)
    if share is not None:
        held &= drive.smoothed(share, 0.15) < HELD_BACK
    found = []
    for start, end in spans(held, drive.t_s, min_s=PUSH_S, join_s=max(0.12, 1.5 * drive.period_s)):
        inside = (drive.t_s >= start) & (drive.t_s <= end)
        current = float(np.abs(drive.current_A[inside]).mean())
        turning = (
            "" if share is None else f", turning at {100 * float(np.median(share[inside])):.0f} % of its own speed"
        )
        detail = f"{current:.0f} A for {end - start:.1f} s{turning}"
        found.append(Happening("push", drive.id, start, end, "pushing", detail, current))
    return found


def _one_way(drive: Drive) -> bool:
    """A motor that is only ever asked one way at a steady command is a weapon: it spins up and hits, never pushes."""
    asked = drive.asked_pct
    if asked is None:
        return drive.controller.motor_type == "brushless"
    on = np.abs(asked) > COMMANDED_PCT
    if not on.any():
        return True
    return float((np.sign(asked[on]) == np.sign(np.median(asked[on]))).mean()) > 0.995


def plateaus(drive: Drive) -> list[Happening]:
    """Without speed or back-EMF: current that stays high and flat. Held or pushing, which is not told."""
    level = np.abs(drive.smoothed(drive.current_A, 0.3))
    high = level > FLAT_PEAK_SHARE * drive.usual_peak_A
    found = []
    for start, end in spans(high, drive.t_s, min_s=PUSH_S, join_s=max(0.12, 1.5 * drive.period_s)):
        current = np.abs(drive.current_A[(drive.t_s >= start) & (drive.t_s <= end)])
        if float(current.std()) > RAGGED * float(current.mean()):
            continue
        detail = f"{current.mean():.0f} A for {end - start:.1f} s; without its speed, held and pushing look the same"
        found.append(Happening("push", drive.id, start, end, "held or pushing", detail, float(current.mean())))
    return found


def findings(drive: Drive, stalled: list[Happening], pushed: list[Happening]) -> list[Finding]:
    """A jam is a fault; a shorter stall and a push are notes: worth knowing, nothing to do."""
    found = []
    told = drive.speed_rpm is not None
    both = () if told else ("stall", "push")
    log_it = () if told else (f"log the speed of {drive.id} to tell a stall from a push",)
    sure = "likely" if told else "possible"
    worth = [s for s in stalled if s.length_s >= STALL_NOTE_S]
    if worth:
        jam = any(s.length_s >= STALL_FAULT_S for s in worth)
        kind, verdict = ("motor_fault", "fault") if jam else ("current_spike", "note")
        if jam:
            worth = [s for s in worth if s.length_s >= STALL_FAULT_S]
        found.append(as_finding(kind, worth, verdict, sure, drive.current.channel, "A", log_it, both))
    if pushed:
        unsure = pushed[0].what == "held or pushing"
        found.append(
            as_finding(
                "current_spike",
                pushed,
                "note",
                "possible" if unsure else "likely",
                drive.current.channel,
                "A",
                log_it if unsure else (),
                ("stall", "push") if unsure else (),
            )
        )
    return found
