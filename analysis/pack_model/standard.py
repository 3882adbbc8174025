"""The bench test of IEC 61960-3: DC resistance from a discharge in two steps."""

from __future__ import annotations

import numpy as np

from analysis.pack_model.common import NotFitted, resample_pair
from analysis.signal import Measured, Signal

FIRST_S, SECOND_S = 10.0, 1.0  # IEC 61960-3: 10 s at 0.2 C, then 1 s at 1 C
STEADY_REL = 0.05  # our choice: a step counts as constant within 5 %
END_S = 0.1  # our choice: the voltage "at the end" is the mean of the last tenth of a second


def two_step_resistance_mohm(first_A: float, first_V: float, second_A: float, second_V: float) -> float:
    """R = (U1 - U2)/(I2 - I1) in mΩ; U1 at the end of 10 s at I1, U2 at the end of 1 s at I2 (IEC 61960-3)."""
    return 1e3 * (first_V - second_V) / (second_A - first_A)


def iec_61960_dc_resistance(current: Signal, voltage: Signal) -> Measured | NotFitted:
    """mΩ from a log of the two-step discharge: at least 10 s at a steady I1, then at least 1 s at a steady higher I2.

    The standard asks for 0.2 C and 1 C at 20 °C after a full charge and rest; any pair with I2 > I1 is evaluated.
    NotFitted where the log holds no such two steps.
    """
    pair = resample_pair(current, voltage)
    if isinstance(pair, NotFitted):
        return pair
    t, i, v = pair.t_s[pair.usable], pair.x[pair.usable], pair.y[pair.usable]
    mend = "discharge for 10 s at 0.2 C, then at once for 1 s at 1 C, and log both"
    if t.shape[0] < 20 or pair.period_s > 0.25:
        return NotFitted("too few samples for a one-second step", "log at 10 Hz or faster")
    rise = np.diff(i)
    for k in np.argsort(rise)[::-1][:5]:
        at = float(t[k + 1])
        before = (t >= at - FIRST_S - 0.5 * pair.period_s) & (t < at - 0.5 * pair.period_s)
        after = (t >= at) & (t <= at + SECOND_S + 0.5 * pair.period_s)
        if t[0] > at - FIRST_S + 1.5 * pair.period_s or t[-1] < at + SECOND_S - 1.5 * pair.period_s:
            continue
        if int(before.sum()) < 5 or int(after.sum()) < 3:
            continue
        first, second = float(np.median(i[before])), float(np.median(i[after]))
        settled = after & (t > at + 0.5 * pair.period_s)
        if first <= 0 or second < 1.5 * first:
            continue
        allowed = STEADY_REL + 3 * current.noise / first
        if float(np.mean(np.abs(i[before] - first) > allowed * first)) > 0.05:
            continue
        if float(np.mean(np.abs(i[settled] - second) > allowed * second)) > 0.05:
            continue
        end_first = before & (t >= t[before][-1] - END_S + 0.5 * pair.period_s)
        end_second = after & (t >= t[after][-1] - END_S + 0.5 * pair.period_s)
        u1, u2 = float(v[end_first].mean()), float(v[end_second].mean())
        i1, i2 = float(i[end_first].mean()), float(i[end_second].mean())
        value = two_step_resistance_mohm(i1, u1, i2, u2)
        counts = 1 / int(end_first.sum()) + 1 / int(end_second.sum())
        noise_V = 1e3 * voltage.noise * np.sqrt(counts) / (i2 - i1)
        noise_A = value * current.noise * np.sqrt(counts) / (i2 - i1)
        gain = value * np.hypot(current.gain_rel, voltage.gain_rel)
        half = 1.96 * float(np.sqrt(noise_V**2 + noise_A**2 + gain**2))
        return Measured(value, value - half, value + half, f"IEC 61960-3, {i1:.3g} A then {i2:.3g} A")
    return NotFitted("no 10 s at a steady current followed by 1 s at a higher one", mend)
