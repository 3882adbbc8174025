"""Currents that disagree by more than their sensors should: which one, by how much, and wider intervals for it.

The pack carries what its branches draw (Kirchhoff): pack = Σ aᵢ·branchᵢ + standby, with every aᵢ = 1. A factor that is
not 1 is a sensor whose gain is off: one branch's alone is that branch's, all alike is the pack's own. A controller
takes from its supply its motor's direct current times its duty, with a factor of 1 likewise. Nothing is corrected,
since a load that no channel shows looks the same; the interval of the suspect is widened to hold it.
`current_scales` leaves out what is wrong by a whole unit; this is for what is wrong by a tenth to a half.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from analysis.binned import bin_mean
from analysis.findings import QualityNote
from analysis.match_data import MatchData
from analysis.pack_model.common import jackknife_half_width
from analysis.run_drops import robust, solve
from analysis.signal import Floats, Signal
from ingest.channels import parse_channel

BIN_S: Final = 1.0  # our choice: clocks off by some tens of milliseconds do not matter in a mean over a second
FEWEST_BINS: Final = 20
BLOCKS: Final = 10
# Our choices: sensors of hobby loggers keep 3 to 5 %, so a tenth is another matter; what the branches leave unexplained
# of the pack's current must be little, else something else is wrong (a clock, a load that is not logged).
OFF_REL: Final = 0.1
EXPLAINED: Final = 0.97
ALIKE: Final = 0.06
# Our choice: beyond these a channel is dead or of another unit (unusable.py and current_scales.py tell it), and not off
# by its gain.
LEAST: Final = 0.2
MOST: Final = 5.0


def balanced(data: MatchData) -> MatchData:
    """The same data with the gain of suspect current sensors widened, and a quality note for each."""
    found = suspects(data)
    found |= {n: why for n, why in motor_suspects(data).items() if n not in found}
    if not found:
        return data
    signals, notes = dict(data.signals), list(data.quality)
    for name, (off, told) in found.items():
        signal = signals[name]
        # i² may be off by (1 + off)² - 1; four times the gain is what the checks take for it.
        gain = ((1.0 + off) ** 2 - 1.0) / 4.0
        signals[name] = replace(signal, gain_rel=float(max(signal.gain_rel, gain)))
        channel = parse_channel(name)
        part = channel.part if channel is not None else ""
        notes.append(QualityNote("implausible", name, part, float(signal.t_s[0]), float(signal.t_s[-1]), told))
    return replace(data, signals=signals, quality=tuple(notes), _inside={}, memo={})


def suspects(data: MatchData) -> dict[str, tuple[float, str]]:
    """By channel: how far its gain may be off, as a share, and why in words. Empty where all currents agree.

    Needs the pack's current, that of every controller's supply, one clock for all, and FEWEST_BINS s of a match.
    """
    if data.build is None or data.window is None or len(data.build.packs) != 1:
        return {}
    branches = [f"{c.id}_input_current_A" for c in data.build.controllers]
    names = ["pack_current_A", *branches]
    if not branches or any(n not in data.signals for n in names) or not data.same_clock(*names):
        return {}
    columns = _means(data, names)
    if columns is None:
        return {}
    fit = _fit(*columns)
    if fit is None:
        return {}
    factors, half = fit
    gains = {n: (float(factors[k]), float(half[k])) for k, n in enumerate(branches) if LEAST < factors[k] < MOST}
    off = {n: a for n, (a, wide) in gains.items() if abs(a - 1.0) > OFF_REL + wide}
    if not off:
        return {}
    sure = [a for a, wide in gains.values() if wide < ALIKE]
    if len(sure) > 1 and max(sure) - min(sure) < ALIKE and len(off) == len(sure):
        a = float(np.mean(sure))
        pack = f"pack_current_A reads {a:.2f} times what all its branches draw together: its gain or theirs is off"
        # Above 1 the branches may all be low; below 1 the pack is.
        return {
            n: (abs(1.0 / a - 1.0) if a < 1.0 else a - 1.0, pack) for n in (["pack_current_A"] if a < 1.0 else names)
        }
    told = {
        n: (
            abs(a - 1.0),
            f"the pack gives {a:.2f} times what {n} reads: the gain of that sensor is off, or of the pack's",
        )
        for n, a in off.items()
    }
    if len(branches) == 1:
        told["pack_current_A"] = next(iter(told.values()))
    return told


def motor_suspects(data: MatchData) -> dict[str, tuple[float, str]]:
    """The same for every motor's direct current, held against its controller's supply by its duty.

    Needs all three in one log (instants of unlike clocks do not multiply), motor_current_is "dc", and a duty that is
    driven one way: a bridge that brakes has another relation.
    """
    found: dict[str, tuple[float, str]] = {}
    for controller in data.build.controllers if data.build is not None and data.window is not None else ():
        names = [f"{controller.id}_{tail}" for tail in ("input_current_A", "motor_current_A", "duty_pct")]
        if controller.motor_current_is != "dc" or any(n not in data.signals for n in names):
            continue
        drawn, motor, duty = (data.signals[n] for n in names)
        if len({len(s) for s in (drawn, motor, duty)}) > 1 or bool(np.any(drawn.t_s != motor.t_s)):
            continue
        asked = motor.with_values(np.abs(motor.x) * np.abs(duty.x) / 100.0)
        asked = replace(asked, valid=motor.valid & duty.valid)
        columns = _means_of(data, [drawn.with_values(np.abs(drawn.x)), asked])
        fit = None if columns is None else _fit(*columns)
        if fit is None or not LEAST < fit[0][0] < MOST or abs(fit[0][0] - 1.0) <= OFF_REL + fit[1][0]:
            continue
        a = float(fit[0][0])
        told = f"{names[0]} is {a:.2f} times duty times {names[1]}: the gain of one of them is off"
        found[names[1]] = (max(a, 1.0 / a) - 1.0, told)
    return found


def _fit(y: Floats, x: Floats, on: np.ndarray) -> tuple[Floats, Floats] | None:
    """(factors, half widths) of y by the columns of x; None where they leave too much of it unexplained."""
    _, weights = robust(x, y, on)
    factors = solve(x, y, weights)
    rest = y - x @ factors
    around = y - np.average(y, weights=weights)
    if float(np.sum(weights * rest**2)) > (1.0 - EXPLAINED) * float(np.sum(weights * around**2)):
        return None
    return factors, _half_widths(x, y, weights)


def _means(data: MatchData, names: list[str]) -> tuple[Floats, Floats, np.ndarray] | None:
    return _means_of(data, [data.signals[n] for n in names])


def _means_of(data: MatchData, wanted: list[Signal]) -> tuple[Floats, Floats, np.ndarray] | None:
    """Means over bins of a second: the first's, the others' and a constant, and which bins hold all of them."""
    assert data.window is not None
    signals = [s.good() for s in wanted]
    if any(len(s) < 2 or s.period_s > 0.5 * BIN_S for s in signals):
        return None
    edges = np.arange(data.window.start_s, data.window.end_s, BIN_S)
    if len(edges) <= FEWEST_BINS:
        return None
    on = np.ones(len(edges) - 1, dtype=bool)
    means = []
    for s in signals:
        mean, count, clipped = bin_mean(s, edges)
        means.append(mean)
        on &= (count > 0.8 * BIN_S / s.period_s) & (clipped == 0)
    if int(on.sum()) < FEWEST_BINS:
        return None
    return means[0], np.column_stack([*means[1:], np.ones(len(on))]), on


def _half_widths(x: Floats, y: Floats, weights: Floats) -> Floats:
    """Half of the 95 % interval of each factor, by leaving out a tenth of the match at a time."""
    left = []
    for a, b in pairwise(np.linspace(0, len(y), BLOCKS + 1).astype(int)):
        w = weights.copy()
        w[a:b] = 0.0
        left.append(solve(x, y, w))
    replicates = np.array(left)
    return np.array([jackknife_half_width(replicates[:, k]) for k in range(x.shape[1])])
