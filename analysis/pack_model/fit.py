"""Pack resistance at a stated time scale from a match log.

Separable least squares on an equivalent circuit: the open-circuit voltage is a polynomial in the charge used q, the
losses are current and low-passed currents times resistances that may not be negative, all moving together with q.
Huber weights, the current-noise variance taken out of the normal matrix, the voltage-current skew fitted, an
18-block jackknife for the interval. Resistance "at 1 s" is the volts lost per ampere one second after a step of
current: that survives a wrong model order, the single branches do not.

The time constants are not searched for one by one: a ladder of them is offered and the non-negative solution picks
the two or three that matter (Lawson and Hanson 1974). On packs with three true branches and a resistance that moves
with charge and temperature this is three times closer than a search for exactly two time constants.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.pack_model.common import GAP_PERIODS, NotFitted, Pair, jackknife_half_width, resample_pair
from analysis.pack_model.ladder import Ladder, climb, dot
from analysis.pack_model.result import PackFit
from analysis.signal import Bools, Floats, Measured, Signal

SCALES_S = (0.1, 1.0, 10.0)
MIN_SPAN_S = 12.0  # our choice: below this the drift of the charge cannot be told from the 10 s branch
MIN_USABLE = 90  # our choice: five samples a jackknife block
MIN_SPREAD_A = 1.0  # our choice: with less spread in current the slope is noise
MAX_CLIPPED = 0.25  # our choice: beyond this the state of the pack is guesswork
SKEW_SEARCH_S = 0.25
AFTER_GAP_S = 3.0  # our choice: three times the usual fast branch
# Our choice, measured on synthetic packs (benchmarks/accuracy_pack.py): what a wrong model order and the sampling
# still do to the figure when noise is gone: MODEL_REL by scale, SAMPLING_REL per (period / scale), and UNSEEN_REL
# at 10 Hz, as the square of the period, for the hits that fall between the samples.
MODEL_REL = {0.1: 0.003, 1.0: 0.0035, 10.0: 0.013}
MODEL_REL_ELSE = 0.013
SAMPLING_REL = 0.015
UNSEEN_REL = 0.02
# SKEW_REL per part of a sample by which the stamps of current and voltage differ (the skew is fitted to second order
# only). FLOOR_REL of a sensor that shows no current below zero: its noise there is cut on one side, which lifts small
# currents; per share of the samples at its floor, and per noise against the spread of the current. Our choice, measured
# on the same packs: what it takes for the intervals of 8-bit logs to cover.
SKEW_REL = 0.005
FLOOR_REL = 0.3


@dataclass
class _Work:
    pair: Pair
    current: Floats
    shift: int
    noise_A: float


def fit_pack(
    current: Signal,
    voltage: Signal,
    *,
    cells: int,
    capacity_Ah: float,
    chemistry: str = "lithium-polymer",
    temp_degC: float | None = None,
    scales_s: tuple[float, ...] = SCALES_S,
) -> PackFit | NotFitted:
    """Fit the pack (or one cell: cells=1) over everything the two signals share.

    current: A, discharge positive; voltage: V at the pack's terminals (else the lead up to the tap is in the figure).
    The resistance stands for the middle of the charge used. Interval: jackknife, gains of both sensors (one to one).
    A scale finer than the slower logger's period is declined with its reason.
    """
    pair = resample_pair(current, voltage)
    if isinstance(pair, NotFitted):
        return pair
    refused = _refusal(pair, current)
    if refused is not None:
        return refused
    noise = max(current.noise, 0.0) * (np.sqrt(current.period_s / pair.period_s) if current.period_s else 1.0)
    shift = _coarse_shift(pair)
    if shift:
        pair = replace(
            pair,
            x=_shifted(pair.x, shift),
            x_floor=_shifted(pair.x_floor, shift),
            usable=pair.usable & _shifted(pair.usable, shift),
        )
    work = _Work(pair, pair.x.copy(), shift, float(noise))
    on = _usable(pair)
    if int(on.sum()) < MIN_USABLE:
        return NotFitted("too few samples in unbroken runs", "log current and voltage without dropped samples")
    unknown = ~pair.usable & pair.y_known
    found = climb(pair, work.current, on, work.noise_A, capacity_Ah)
    for _ in range(3 if bool(unknown.any()) else 0):
        if isinstance(found, NotFitted):
            return found
        _fill(work, found, unknown)
        found = climb(pair, work.current, on, work.noise_A, capacity_Ah)
    if isinstance(found, NotFitted):
        return found
    return _publish(found, work, current, voltage, cells, capacity_Ah, chemistry, temp_degC, scales_s)


def _refusal(pair: Pair, current: Signal) -> NotFitted | None:
    usable = int(pair.usable.sum())
    span = float(pair.t_s[-1] - pair.t_s[0]) if len(pair) > 1 else 0.0
    if span < MIN_SPAN_S:
        return NotFitted(
            f"current and voltage overlap for {span:.1f} s, {MIN_SPAN_S:.0f} s are needed", "log the whole match"
        )
    if usable < MIN_USABLE:
        return NotFitted(f"{usable} usable samples, {MIN_USABLE} are needed", "log at 10 Hz or faster")
    clipped = float(np.isfinite(pair.x_floor).mean())
    if clipped > MAX_CLIPPED:
        return NotFitted(
            f"the current sensor stands at its full scale for {100 * clipped:.0f} % of the log",
            "use a current sensor with a larger range",
        )
    x = pair.x[pair.usable]
    spread = float(x.std())
    if spread < max(MIN_SPREAD_A, 2.0 * current.noise):
        return NotFitted(
            f"the current varies by only {spread:.2f} A r.m.s.", "log a match, or pulse the load on the bench"
        )
    if float(pair.y[pair.usable].std()) == 0.0:
        return NotFitted("the voltage does not change at all", "check the voltage tap and its scaling")
    return None


def _coarse_shift(pair: Pair) -> int:
    """Whole samples by which the current's stamps run ahead of the voltage's (differences correlated)."""
    reach = int(SKEW_SEARCH_S / pair.period_s)
    if reach < 2 or len(pair) < 8 * reach:
        reach = 1
    di = np.where(pair.usable[1:] & pair.usable[:-1], np.diff(pair.x), 0.0)
    dv = np.where(pair.usable[1:] & pair.usable[:-1], -np.diff(pair.y), 0.0)
    inner = slice(reach, di.shape[0] - reach)
    scores = [dot(di[inner.start - k : inner.stop - k], dv[inner]) for k in range(-reach, reach + 1)]
    return int(np.argmax(scores)) - reach


def _shifted(x: npt.NDArray[Any], k: int) -> npt.NDArray[Any]:
    out = np.roll(x, k)
    if k > 0:
        out[:k] = x[0]
    elif k < 0:
        out[k:] = x[-1]
    return out


def _after_gaps(pair: Pair) -> Bools:
    """Samples whose relaxation state is unknown: up to three seconds after a stretch where neither side is known."""
    t = pair.t_s
    known = pair.usable | pair.y_known
    at = t[known]
    out = np.zeros(t.shape, bool)
    for k in np.flatnonzero(np.diff(at) > GAP_PERIODS * pair.period_s):
        length = at[k + 1] - at[k]
        out |= (t > at[k]) & (t < at[k + 1] + min(AFTER_GAP_S, 3.0 * length))
    return out


def _usable(pair: Pair) -> Bools:
    on = pair.usable.copy()
    on[1:] &= pair.usable[:-1]
    on[:-1] &= pair.usable[1:]
    return np.asarray(on & ~_after_gaps(pair))


def _fill(work: _Work, found: Ladder, unknown: Bools) -> None:
    """Put the current that the voltage implies where the current is clipped or missing (never below the clip)."""
    r = float(found.steps_ohm[0])
    if r <= 0:
        return
    guess = work.current - np.where(unknown, found.residual / r, 0.0)
    floor = work.pair.x_floor
    work.current = np.where(unknown, np.maximum(guess, np.where(np.isfinite(floor), floor, guess)), work.current)


def _floor_rel(pair: Pair, noise_A: float) -> float:
    """What a current that is cut at zero may do to the resistance, as a share of it; 0 where it goes below zero."""
    x = pair.x[pair.usable]
    low, spread = float(x.min()), float(x.std())
    if not noise_A > 0 or not spread > 0 or low < -0.5 * noise_A or low > noise_A:
        return 0.0
    return float(FLOOR_REL * np.mean(x <= low + 1e-9) * noise_A / spread)


def _publish(
    found: Ladder,
    work: _Work,
    current: Signal,
    voltage: Signal,
    cells: int,
    capacity_Ah: float,
    chemistry: str,
    temp_degC: float | None,
    scales_s: tuple[float, ...],
) -> PackFit:
    pair = work.pair
    gain = float(np.hypot(current.gain_rel, voltage.gain_rel))
    figures: dict[float, Measured] = {}
    replicates: dict[float, Floats] = {}
    declined: dict[float, str] = {}
    floor = _floor_rel(pair, work.noise_A)
    for s in scales_s:
        if pair.period_s > s * (1 + 1e-6):
            declined[s] = f"one sample every {pair.period_s:.3g} s cannot show resistance at {s:g} s"
            continue
        if pair.t_s[-1] - pair.t_s[0] < 3 * s:
            declined[s] = f"the log is too short for resistance at {s:g} s"
            continue
        rise = found.rise(s)
        value = 1e3 * float(found.steps_ohm @ rise)
        replicates[s] = 1e3 * found.left_out_ohm @ rise
        model = np.hypot(MODEL_REL.get(s, MODEL_REL_ELSE), SAMPLING_REL * min(1.0, pair.period_s / s))
        model = np.hypot(model, UNSEEN_REL * (pair.period_s / 0.1) ** 2)
        model = np.hypot(model, np.hypot(SKEW_REL * min(1.0, abs(found.skew_s) / pair.period_s), floor))
        half = float(
            np.sqrt(jackknife_half_width(replicates[s]) ** 2 + (1.96 * value) ** 2 * (gain**2 + float(model) ** 2))
        )
        basis = f"18-block jackknife, model and sampling {100 * model:.1f} %, "
        basis += f"sensor gain {100 * gain:.2g} %" if gain else "sensor gain taken as exact"
        figures[s] = Measured(value, value - half, value + half, basis)
    return PackFit(
        cells=cells,
        capacity_Ah=capacity_Ah,
        chemistry=chemistry,
        temp_degC=temp_degC,
        resistance_mohm=figures,
        declined=declined,
        replicates_mohm=replicates,
        t_s=pair.t_s,
        current_A=work.current,
        used_Ah=found.used_Ah,
        middle_Ah=found.middle_Ah,
        scale_Ah=found.scale_Ah,
        open_circuit=found.open_circuit,
        moves=found.moves,
        steps_ohm=found.steps_ohm,
        taus_s=found.taus_s,
        residual_V=found.residual,
        on=found.on,
        skew_s=found.skew_s + work.shift * pair.period_s,
        period_s=pair.period_s,
        gain_rel=gain,
        thirds=found.thirds(),
    )
