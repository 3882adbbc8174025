"""What a rate hides: how far a sampled peak may lie below the true one."""

from __future__ import annotations

import math

from analysis.findings import NotChecked
from analysis.signal import Signal

# Worst and usual share of a peak that instantaneous samples miss, by rate, from simulated matches with 5 to 20 ms
# hits (our figures, reproduced in benchmarks): straight lines in log-log between the points.
# The slowest interval that still says something of a 0.1 s window: 10 Hz with a jittery clock.
SLOWEST_USEFUL_S = 0.12

_RATES_HZ = (10.0, 50.0, 100.0, 1000.0)
_WORST_SHARE = (0.14, 0.045, 0.015, 0.0005)


def unseen_share(signal: Signal) -> float:
    """The share of a peak's height that may lie between the samples (0 to 1).

    Valid from 10 Hz up; slower logs give 1.0: nothing is known of what lies between.
    """
    if signal.period_s <= 0:
        return 1.0
    rate = 1.0 / signal.period_s
    if rate < 0.98 * _RATES_HZ[0]:
        return 1.0
    if rate >= _RATES_HZ[-1]:
        return _WORST_SHARE[-1]
    for low, high, a, b in zip(_RATES_HZ, _RATES_HZ[1:], _WORST_SHARE, _WORST_SHARE[1:], strict=False):
        if rate <= high:
            where = (math.log(max(rate, low)) - math.log(low)) / (math.log(high) - math.log(low))
            return math.exp(math.log(a) + where * (math.log(b) - math.log(a)))
    return _WORST_SHARE[-1]


def too_slow(check: str, part: str, signal: Signal, need_Hz: float) -> NotChecked:
    """A check whose signal is too slow for it; need_Hz: what would do."""
    rate = 1.0 / signal.period_s if signal.period_s > 0 else 0.0
    return NotChecked(
        check,
        part,
        f"{signal.channel} has {rate:.3g} samples a second: what lies between them is not known",
        f"log {signal.channel} at {need_Hz:g} Hz or more",
    )
