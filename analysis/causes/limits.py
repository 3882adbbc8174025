"""Controllers holding back to protect themselves: at their temperature, and at the current set in them.

A limiter doing its job on current is a note. One at its temperature has taken output away from the driver: a fault.
"""

from __future__ import annotations

import numpy as np

from analysis.causes.drives import COMMANDED_PCT, Drive, Happening, as_finding
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.signal import Bools, Floats
from analysis.spans import at_times, max_between, spans

# Our choices, tried on simulated matches:
HOT_K = 12.0  # this near its limit temperature a controller may hold back
CUT_SHARE = 0.75  # of the command: output under this is held back
PLATEAU_S = 0.25
BELOW, ABOVE = 0.08, 0.05  # a limiter holds its set figure within its own and the sensor's error
UNSTATED_WITHIN = 0.08  # of the highest current: what stays flat within this ...
UNSTATED_S = 0.5  # ... for this long ...
UNSTATED_DUTY_PCT = 15.0  # ... while the duty climbs by this is held: alone, a motor's input rises with its duty
HELD_BACK_PCT = 3.0  # the duty lies under the command by this meanwhile


def thermal_limits(data: MatchData, drive: Drive) -> list[Happening]:
    """The output falls under the command while the controller is near its limit temperature."""
    duty, command, temp = drive.raw.get("duty"), drive.raw.get("command"), drive.raw.get("temp")
    if temp is None or duty is None or command is None:
        return []
    limit = drive.controller.limit_degC
    hot_from = (limit - HOT_K) if limit is not None else float(np.percentile(temp.x, 99)) - 3.0
    if float(temp.x.max()) < hot_from:
        return []
    asked = at_times(command, duty.t_s)[0]
    cut: Bools = (np.abs(asked) > COMMANDED_PCT) & (np.abs(duty.x) < CUT_SHARE * np.abs(asked))
    heat, near = at_times(temp, duty.t_s)
    found = []
    for start, end in spans(cut & near & (heat > hot_from), duty.t_s, min_s=0.5, join_s=1.0):
        peak = max_between(temp, start - 1, end) or 0.0
        ratio = float(np.median(np.abs(duty.between(start, end).x)))
        detail = f"at {peak:.0f} °C its output fell to {ratio:.0f} %"
        found.append(Happening("thermal_limit", drive.id, start, end, "thermal limit", detail, peak))
    return found


def current_limits(drive: Drive) -> list[Happening]:
    """Current standing at the set limit, below the sensor's end; without a set limit, at a ceiling of its own.

    The limit is taken to be about the same current as the controller's rating (rating_basis).
    """
    limit = drive.limit_A
    if limit is None:
        return _unstated(drive)
    found: list[Happening] = []
    x = drive.rated_A
    if x is None:
        return found
    size = np.abs(drive.smoothed(x, 0.03))
    at_limit = (size > (1.0 - BELOW) * limit) & (size < (1.0 + ABOVE) * limit)
    for start, end in _plateaus(drive, at_limit, PLATEAU_S):
        mean = float(np.abs(x[(drive.t_s >= start) & (drive.t_s <= end)]).mean())
        detail = f"{mean:.0f} A held for {end - start:.1f} s; it is set to {limit:g} A"
        found.append(Happening("current_limit", drive.id, start, end, "at its current limit", detail, mean))
    return found


def _plateaus(drive: Drive, mask: Bools, least_s: float) -> list[tuple[float, float]]:
    """Spans without a clipped sample: a sensor at its end also stands flat, but tells nothing of a limiter."""
    found = []
    for start, end in spans(mask, drive.t_s, min_s=least_s, join_s=max(0.05, 1.5 * drive.period_s)):
        if not bool(drive.current.between(start, end).clipped.any()) and not _input_clipped(drive, start, end):
            found.append((start, end))
    return found


def _input_clipped(drive: Drive, start: float, end: float) -> bool:
    signal = drive.raw.get("input")
    return signal is not None and bool(signal.between(start, end).clipped.any())


def _unstated(drive: Drive) -> list[Happening]:
    """A flat top while the duty climbs under the command: a limit nobody wrote down."""
    x = drive.rated_A if drive.rated_A is not None else drive.current_A
    if drive.duty_pct is None or drive.command_pct is None:
        return []
    size = np.abs(drive.smoothed(x, 0.03))
    top = float(np.percentile(size, 99.5))
    held = np.abs(drive.duty_pct) < np.abs(drive.command_pct) - HELD_BACK_PCT
    flat = (size > (1.0 - UNSTATED_WITHIN) * top) & (size < (1.0 + UNSTATED_WITHIN) * top) & held
    happened = []
    for start, end in _plateaus(drive, flat, UNSTATED_S):
        inside = (drive.t_s >= start) & (drive.t_s <= end)
        duty = np.abs(drive.duty_pct[inside])
        if float(duty[-1] - duty[0]) < UNSTATED_DUTY_PCT:
            continue
        mean = float(size[inside].mean())
        detail = f"{mean:.0f} A held for {end - start:.1f} s while its duty went from {duty[0]:.0f} to {duty[-1]:.0f} %"
        happened.append(Happening("current_limit", drive.id, start, end, "at a current limit", detail, mean))
    return happened


def findings(drive: Drive, thermal: list[Happening], current: list[Happening]) -> list[Finding]:
    """A controller's thermal limit and its current limit at work, each with all its moments."""
    found = []
    if thermal:
        channel = drive.raw["temp"].channel
        found.append(as_finding("thermal_buildup", thermal, "fault", "likely", channel, "degC"))
    if current:
        stated = drive.limit_A is not None
        mend = () if stated else (f"state current_limit_A of {drive.id} in the build file",)
        sure = "likely" if stated else "possible"
        found.append(as_finding("current_spike", current, "note", sure, drive.rated_channel, "A", mend))
    return found


def output_off(drive: Drive) -> Floats | None:
    """1.0 where the controller applies nothing, from duty where logged, else from current; None where not known."""
    if drive.duty_pct is not None:
        return (np.abs(drive.duty_pct) < 2.0).astype(float)
    if drive.asked_pct is None:
        return None
    idle = 0.03 * drive.usual_peak_A + 3.0 * drive.current.noise
    return (np.abs(drive.current_A) < idle).astype(float)
