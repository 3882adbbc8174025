"""Controllers that stop their output at a voltage: too low (cutoff), or too high while braking (regeneration trip).

Both leave the controller alive: it answers, its uptime runs on, and its output comes back by itself. A controller
that lost its supply has no answer and counts its uptime from nil: that is told in power.py and never here.
"""

from __future__ import annotations

import numpy as np

from analysis.causes.drives import COMMANDED_PCT, Drive, Happening, as_finding
from analysis.causes.limits import output_off
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.spans import spans

# Our choices, tried on simulated matches:
CUT_S = 0.4  # output gone for this long under command: no reversal, no shift
BEFORE_S = 0.35  # the voltage that caused it lies at most this long before (controllers filter for 50 to 200 ms)
NEAR_CUTOFF = 1.04  # a logger seldom catches the very lowest sample
NEAR_MAXIMUM = 0.985
TRIP_S = 0.3
GONE_SHARE = 0.9  # of the cutoff: other loads may hold an unloaded input just under it, a lost supply falls away
GONE_S = 0.4  # silence of the controller within a cut means that it lost its supply


def low_voltage_cutoffs(data: MatchData, drive: Drive) -> list[Happening]:
    """Output cut under command right after the input was at cutoff_V, by a controller that went on answering."""
    volts, off, asked = drive.voltage_V, output_off(drive), drive.command_pct
    cutoff = drive.controller.cutoff_V
    if volts is None or off is None or asked is None or cutoff is None:
        return []
    cut = (off > 0.5) & (np.abs(asked) > COMMANDED_PCT)
    found = []
    for start, end in spans(cut, drive.t_s, min_s=CUT_S, join_s=max(0.05, 1.5 * drive.period_s)):
        before = (drive.t_s >= start - BEFORE_S - drive.period_s) & (drive.t_s <= start + 0.02)
        running = (drive.t_s >= start - 1.0) & (drive.t_s < start) & (off < 0.5)
        if not before.any() or not running.any():
            continue
        lowest = float(volts[before].min())
        if lowest > NEAR_CUTOFF * cutoff or restarted(data, drive, start - 0.5, end):
            continue
        after = volts[(drive.t_s > start + 0.1) & (drive.t_s <= end)]
        if len(after) and float(np.median(after)) < GONE_SHARE * cutoff:
            continue  # nothing holds the input up although nothing is drawn: the supply is gone
        recovers = f", the input then at {np.median(after):.1f} V" if len(after) else ""
        detail = (
            f"input down to {lowest:.1f} V; its cutoff is {cutoff:g} V; no output for {end - start:.1f} s "
            f"under command{recovers}"
        )
        found.append(Happening("low_voltage_cutoff", drive.id, start, end, "cut off", detail, lowest))
    return found


def restarted(data: MatchData, drive: Drive, start_s: float, end_s: float) -> bool:
    """Whether the controller was without supply then: its uptime starts again, its log is silent, or it is dead."""
    uptime = data.get(f"{drive.id}_uptime_s")
    if uptime is not None:
        x = uptime.good().between(start_s - 1.0, end_s + 2.0).x
        if len(x) > 1 and bool((np.diff(x) < -1.0).any()):
            return True
    around = drive.t_s[(drive.t_s >= start_s - 0.1) & (drive.t_s <= end_s + 1.0)]
    if len(around) > 1 and float(np.diff(around).max()) > max(GONE_S, 6.0 * drive.period_s):
        return True
    volts, minimum = drive.voltage_V, drive.controller.minimum_V
    if volts is None or minimum is None:
        return False
    inside = (drive.t_s >= start_s) & (drive.t_s <= end_s)
    return bool((volts[inside] < minimum).any())


def regeneration_trips(data: MatchData, drive: Drive) -> list[Happening]:
    """The input driven over maximum_V by the motor's own braking, and the output off after it."""
    volts, maximum, x = drive.voltage_V, drive.controller.maximum_V, drive.input_A
    if volts is None or maximum is None:
        return []
    found = []
    for start, end in spans(volts > NEAR_MAXIMUM * maximum, drive.t_s, join_s=0.5):
        highest = float(volts[(drive.t_s >= start) & (drive.t_s <= end)].max())
        before = (drive.t_s >= start - 0.2) & (drive.t_s <= end)
        back = -float(x[before].min()) if x is not None else 0.0
        if x is not None and back < max(0.05 * drive.usual_peak_A, 5.0 * drive.current.noise):
            continue
        after = (drive.t_s > end + 0.05) & (drive.t_s <= end + 0.05 + max(3.0 * drive.period_s, TRIP_S))
        if x is not None and after.any() and float(np.abs(x[after]).max()) > 0.3 * back:
            continue
        if x is None and highest <= maximum:
            continue
        peak = drive.t_s[before][int(np.argmax(volts[before]))]
        fed = f"{back:.0f} A fed back by braking" if x is not None else "its current was not logged"
        detail = f"input up to {highest:.1f} V, its maximum is {maximum:g} V; {fed}, then no output"
        found.append(
            Happening(
                "regeneration_trip",
                drive.id,
                float(min(peak, end)),
                end + TRIP_S,
                "tripped while braking",
                detail,
                highest,
            )
        )
    return found


def findings(drive: Drive, cut: list[Happening], tripped: list[Happening]) -> list[Finding]:
    """A controller's own low-voltage cutoff and its trips from too much voltage, each with all its moments."""
    found = []
    if cut:
        sure = (
            "certain"
            if drive.duty_pct is not None and min(h.figure or 0.0 for h in cut) <= (drive.controller.cutoff_V or 0.0)
            else "likely"
        )
        channel = drive.raw["voltage"].channel
        found.append(as_finding("voltage_sag", cut, "fault", sure, channel, "V"))
    if tripped:
        channel = drive.raw["voltage"].channel
        found.append(as_finding("power_loss", tripped, "fault", "likely", channel, "V"))
    return found
