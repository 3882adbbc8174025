"""Currents that contradict each other by more than any sensor's error: one of them has another unit or scale.

Held against two laws: a pack carries all that its branches draw (Kirchhoff), and a controller takes from its supply
its motor's current times its duty (the mean over a switching period), so never more than its motor's current. Which of
two is wrong nobody can tell from two: both are left out, unless a third speaks for one of them.
"""

from __future__ import annotations

import numpy as np

from analysis.match_data import MatchData
from analysis.signal import Signal

# Our choices: sensors of 10 % and a duty that is read late stay far within these, a wrong decimal does not.
TIMES = 4.0
# A mean below this says nothing of the scale: zero errors and standby are as large.
LEAST_A = 1.0
FEWEST = 64


def contradicting(data: MatchData) -> dict[str, str]:
    """Why, by channel, for every current that another contradicts."""
    found: dict[str, str] = {}
    if data.build is None:
        return found
    parts = [controller.id for controller in data.build.controllers]
    for part in parts:
        found |= _motor_and_input(data, part)
    inputs = {p: _mean(data, f"{p}_input_current_A") for p in parts}
    known = {p: mean for p, mean in inputs.items() if mean is not None}
    pack = _mean(data, "pack_current_A")
    if pack is None or not known or len(data.packs) > 1:
        return found
    total = sum(known.values())
    if total > TIMES * max(pack, LEAST_A / TIMES) and total > LEAST_A:
        found["pack_current_A"] = f"{pack:.3g} A in the mean, its branches {total:.3g} A; is its unit right?"
        most = max(known, key=lambda p: known[p])
        if total - known[most] <= 1.5 * pack:  # without the largest all is well: it may be that one as well
            name = f"{most}_input_current_A"
            found[name] = f"{known[most]:.3g} A in the mean of a pack that gives {pack:.3g} A; is its unit right?"
    elif len(known) == len(parts) and pack > TIMES * total and pack > 5.0 * LEAST_A:
        for part in known:
            name = f"{part}_input_current_A"
            found[name] = f"all branches draw {total:.3g} A of the pack's {pack:.3g} A in the mean; is its unit right?"
        found["pack_current_A"] = f"{pack:.3g} A in the mean, its branches {total:.3g} A; is its unit right?"
    elif len(known) > 1 and "pack_current_A" not in found:
        # The pack and its branches agree: then it is the motor's figure that has the wrong scale.
        agree = 1.0 / 1.5 < pack / total < 1.5 if total > LEAST_A else False
        for part in known:
            if agree and known[part] > 0.1 * pack:
                found.pop(f"{part}_input_current_A", None)
    return found


def _motor_and_input(data: MatchData, part: str) -> dict[str, str]:
    names = f"{part}_input_current_A", f"{part}_motor_current_A"
    drawn, motor = (data.inside(name) for name in names)
    if drawn is None or motor is None or min(len(drawn), len(motor)) < FEWEST or not data.same_clock(*names):
        return {}
    # A phase's r.m.s. or peak stands here too: it is within a half of the direct current, far inside TIMES.
    low = _high(drawn) > TIMES * max(_high(motor), 0.25 * LEAST_A) and _high(drawn) > 2.0 * LEAST_A
    told = f"up to {_high(motor):.3g} A in the motor, {_high(drawn):.3g} A from its supply" if low else ""
    duty = data.inside(f"{part}_duty_pct")
    if not told and duty is not None and len(duty) >= FEWEST and data.same_clock(names[0], duty.channel):
        share = np.interp(motor.t_s, duty.t_s, np.abs(duty.x)) / 100.0
        asked, taken = float(np.mean(share * np.abs(motor.x))), float(np.mean(np.abs(drawn.x)))
        if max(asked, taken) > LEAST_A and not 1.0 / TIMES < asked / max(taken, 1e-9) < TIMES:
            told = f"duty times motor current is {asked:.3g} A in the mean, {taken:.3g} A come from its supply"
    return {name: f"{told}; is its unit right?" for name in names} if told else {}


def _high(signal: Signal) -> float:
    return float(np.quantile(np.abs(signal.x), 0.99))


def _mean(data: MatchData, name: str) -> float | None:
    seen = data.inside(name)
    if seen is None or len(seen) < FEWEST or seen.t_s[-1] - seen.t_s[0] < 2.0:
        return None
    return float(np.mean(np.abs(seen.x)))
