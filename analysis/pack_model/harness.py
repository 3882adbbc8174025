"""Resistance between two voltage taps, and the moment a resistance steps up: a joint that lets go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.pack_model.common import NotFitted, huber_weights, jackknife_half_width, resample_common
from analysis.pack_model.ladder import applied, dot, low_pass, normal_matrix
from analysis.pack_model.result import PackFit
from analysis.signal import Bools, Floats, Measured, Signal

BLOCKS = 18
MIN_USABLE = 60  # our choice
MIN_SPREAD_A = 1.0  # our choice: with less spread in current the slope is noise
STEP_SIGMA = 6.0  # our choice: of thousands of possible moments none reaches it by chance, nor by slow warming
ONE_TAP_SIGMA = 10.0  # our choice: with one tap the pack's own bend is in the residual
MIN_SHARE = 0.03  # our choice: either side of a step must hold this share of the I²
# Our choice: the pack's own bend with charge and heat leaves up to 4 % of its resistance that looks like a step.
MIN_STEP_REL = 0.08
MODEL_REL = 0.004  # our choice, measured on synthetic packs: hits between the samples of three clocks
WINDOW_S = 10.0  # our choice: long enough to hold several loads


@dataclass(frozen=True)
class Step:
    """A lasting step of resistance: when, from what to what (mΩ), and how many of its own errors the change is."""

    at_s: Measured
    before_mohm: Measured
    after_mohm: Measured
    change_mohm: Measured
    sigmas: float


@dataclass(frozen=True, eq=False)
class ResistanceOverTime:
    """mohm, half_mohm (k,): slope and half width of its 95 % interval around t_s; NaN where a window held no load."""

    t_s: Floats
    mohm: Floats
    half_mohm: Floats
    step: Step | None
    note: str = ""


@dataclass
class _Drop:
    """Voltage lost against current, with the columns for skew: y ≈ x·beta; column 1 is the current."""

    t: Floats
    current: Floats
    x: Floats
    y: Floats
    on: Bools
    gain: float
    noise_A: float


def _drop(current: Signal, v_upstream: Signal, v_downstream: Signal) -> _Drop | NotFitted:
    common = resample_common([current, v_upstream, v_downstream])
    if isinstance(common, NotFitted):
        return common
    i, up, down = common.values
    on = np.logical_and.reduce([*common.ok, *(~c for c in common.clipped)])
    on[[0, -1]] = False
    if int(on.sum()) < MIN_USABLE:
        return NotFitted(f"{int(on.sum())} usable samples, {MIN_USABLE} are needed", "log all three without dropouts")
    spread = float(i[on].std())
    if spread < max(MIN_SPREAD_A, 2 * current.noise):
        return NotFitted(f"the current varies by only {spread:.2f} A r.m.s.", "log a match, or pulse the load")
    change_up, change_down = np.gradient(up), np.gradient(down)
    change_i = np.gradient(i)
    # I', I'' and the voltages' own changes carry a skew of a few milliseconds between the three clocks.
    x = np.stack([np.ones(i.shape), i, change_i, np.gradient(change_i), 0.5 * (change_up + change_down)], axis=1)
    gain = float(np.hypot(current.gain_rel, np.hypot(v_upstream.gain_rel, v_downstream.gain_rel)))
    return _Drop(common.t_s, i, x, up - down, on, gain, current.noise)


def _solve(gram: Floats, right: Floats) -> Floats:
    s = np.sqrt(np.maximum(np.einsum("...ii->...i", gram), 1e-12))
    scaled = gram / (s[..., :, None] * s[..., None, :]) + 1e-10 * np.eye(gram.shape[-1])
    return np.asarray(np.linalg.solve(scaled, (right / s)[..., None])[..., 0] / s)


def _fit(d: _Drop) -> tuple[Floats, Floats, Floats]:
    """(beta, residual, weight) by Huber's iteration, current noise taken out."""
    weight = d.on.astype(np.float64)
    beta = np.zeros(d.x.shape[1])
    residual = d.y
    for _ in range(5):
        gram, right = normal_matrix(d.x, weight, d.y)
        gram[1, 1] -= weight.sum() * d.noise_A**2
        beta = _solve(gram, right)
        residual = d.y - applied(d.x, beta)
        weight = huber_weights(residual, d.on)
    return beta, residual, weight


def harness_resistance(current: Signal, v_upstream: Signal, v_downstream: Signal) -> Measured | NotFitted:
    """mΩ of everything that carries `current` between the two taps (wire, contacts, both ways), over the whole log.

    Robust regression of V_up - V_down on I with a constant (so unequal zeros of the taps do not matter) and the skew
    between the clocks fitted; 18-block jackknife. A gain mismatch of the taps acts on the full voltage, not the drop:
    it moves the constant, and the slope by mismatch × pack resistance, which is in the interval by gain_rel.
    NotFitted where the loads stand in one short stretch.
    """
    d = _drop(current, v_upstream, v_downstream)
    if isinstance(d, NotFitted):
        return d
    beta, _, weight = _fit(d)
    edges = np.linspace(0, d.t.shape[0], BLOCKS + 1).astype(int)
    grams = np.empty((BLOCKS, d.x.shape[1], d.x.shape[1]))
    rights = np.empty((BLOCKS, d.x.shape[1]))
    for k in range(BLOCKS):
        s = slice(edges[k], edges[k + 1])
        grams[k], rights[k] = normal_matrix(d.x[s], weight[s], d.y[s])
        grams[k][1, 1] -= weight[s].sum() * d.noise_A**2
    left_out = _solve(grams.sum(0) - grams, rights.sum(0) - rights)[:, 1]
    value = 1e3 * float(beta[1])
    half = 1e3 * jackknife_half_width(left_out)
    mismatch = float(np.hypot(v_upstream.gain_rel, v_downstream.gain_rel))
    swing = 0.0
    if mismatch > 0:  # volts the upstream tap itself moves per ampere
        swing = 1e3 * abs(_slope(d.current[d.on], np.interp(d.t[d.on], v_upstream.t_s, v_upstream.x)))
    half = float(
        np.sqrt(half**2 + (1.96 * value) ** 2 * (current.gain_rel**2 + MODEL_REL**2) + (1.96 * mismatch * swing) ** 2)
    )
    if not np.isfinite(half):
        return NotFitted("the loads stand in one short stretch of the log only", "log the whole match")
    gain = f"sensor gain {100 * d.gain:.2g} %" if d.gain else "sensor gain taken as exact"
    return Measured(value, value - half, value + half, f"18-block jackknife, {gain}")


def _slope(x: Floats, y: Floats) -> float:
    xc = x - x.mean()
    return dot(xc, y - y.mean()) / max(dot(xc, xc), 1e-12)


def resistance_steps(
    current: Signal, v_upstream: Signal, v_downstream: Signal, window_s: float = WINDOW_S
) -> ResistanceOverTime | NotFitted:
    """Resistance between two taps in windows, and the one lasting step if there is one.

    The step is the moment that explains most (likelihood over every moment, each sample counting as I²), against a
    model in which the resistance may also drift straight, as a wire that warms does.
    NotFitted where the two do not overlap.
    """
    d = _drop(current, v_upstream, v_downstream)
    if isinstance(d, NotFitted):
        return d
    _, _, weight = _fit(d)
    t_mid = 0.5 * (d.t[0] + d.t[-1])
    drift = d.current * (d.t - t_mid) / max(d.t[-1] - t_mid, 1e-9)
    step = find_step(d.t, d.current, np.concatenate([d.x, drift[:, None]], axis=1), d.y, d.on, weight, 1)
    t, mohm, half = _windows(d.t, d.current, d.x[:, [0, 1]], d.y, weight, window_s)
    return ResistanceOverTime(t, mohm, half, step)


def slope_steps(fit: PackFit, window_s: float = WINDOW_S) -> ResistanceOverTime:
    """The same with one tap: a step in the voltage lost per ampere against the fitted pack.

    Says that something between the cells and the tap stepped, not what: a second tap would separate pack and harness.
    """
    t, i = fit.t_s, fit.current_A
    q = np.asarray((fit.used_Ah - fit.middle_Ah) / fit.scale_Ah)
    active = fit.steps_ohm[1:] > 0
    z = low_pass(i, fit.period_s, fit.taus_s[active])
    lost = fit.steps_ohm[0] * i + applied(z, fit.steps_ohm[1:][active])
    change = np.gradient(i)
    powers = q[:, None] ** np.arange(fit.open_circuit.shape[0])
    x = np.concatenate([np.ones((q.shape[0], 1)), i[:, None], powers[:, 1:], z], axis=1)
    x = np.concatenate([x, np.stack([lost * q, change, np.gradient(change)], axis=1)], axis=1)
    y = -fit.residual_V + fit.step_ohm(0.0) * i
    weight = huber_weights(fit.residual_V, fit.on)
    step = find_step(t, i, x, y, fit.on, weight, 1)
    tw, mohm, half = _windows(t, i, x[:, [0, 1]], y, weight, window_s)
    shift = 1e3 * (fit.step_ohm(1.0) - fit.step_ohm(0.0))
    small = MIN_STEP_REL * 1e3 * fit.step_ohm(1.0)
    if step is not None and (step.sigmas < ONE_TAP_SIGMA or abs(step.change_mohm.value) < small):
        step = None
    if step is not None:
        step = Step(
            step.at_s, _moved(step.before_mohm, shift), _moved(step.after_mohm, shift), step.change_mohm, step.sigmas
        )
    return ResistanceOverTime(tw, mohm + shift, half, step, "pack and harness up to the tap, at 1 s")


def _moved(m: Measured, by: float) -> Measured:
    return Measured(m.value + by, m.low + by, m.high + by, m.basis)


def find_step(
    t: Floats, i: Floats, x: Floats, y: Floats, on: Bools, weight: Floats, current_column: int
) -> Step | None:
    """The one lasting step of resistance that explains the residual best, or None.

    t (n,) s; i (n,) A; x (n, m) the model's columns, of which current_column is the current; y (n,) V; on and weight
    (n,) the samples that take part. Score statistic of an added column i·(t >= at), weighed again with the step in it.
    """
    n = t.shape[0]
    w = weight.copy()
    step: Step | None = None
    for _ in range(3):  # a true step makes its own samples look like outliers: weigh again with the step in the model
        xw = x * w[:, None]
        gram, right = normal_matrix(x, w, y)
        e = y - applied(x, _solve(gram, right))
        tail_cross = np.cumsum((xw * i[:, None])[::-1], axis=0)[::-1]  # (n, m): sum over t >= t_k of w·I·x
        tail_e = np.cumsum((w * i * e)[::-1])[::-1]
        tail_ii = np.cumsum((w * i * i)[::-1])[::-1]
        solved = np.linalg.solve(gram + 1e-10 * np.diag(np.maximum(np.diag(gram), 1e-12)), tail_cross.T).T
        freedom = tail_ii - np.einsum("km,km->k", tail_cross, solved)
        share = tail_ii / max(float(tail_ii[0]), 1e-12)
        allowed = (share > MIN_SHARE) & (share < 1 - MIN_SHARE) & (freedom > 1e-4 * tail_ii[0])
        if not bool(allowed.any()):
            return None
        gained = np.where(allowed, tail_e**2 / np.where(allowed, freedom, 1.0), 0.0)
        k = int(np.argmax(gained))
        size = float(tail_e[k] / freedom[k])
        late = np.arange(n) >= k
        full = np.concatenate([x, (i * late)[:, None]], axis=1)
        left = y - applied(full, _solve(*normal_matrix(full, w, y)))
        var = dot(w * left, left) / max(float(w.sum()) - full.shape[1], 1.0)
        var *= _correlation_factor((w * i * left)[on])
        sigmas = float(np.sqrt(gained[k] / var)) if var > 0 else (np.inf if gained[k] > 0 else 0.0)
        w = huber_weights(left, on)
        step = None
        if sigmas >= STEP_SIGMA:
            step = _describe(t, i, x[:, : x.shape[1]], y, w, on, k, gained, var, size, sigmas, current_column)
    return step


def _correlation_factor(v: Floats) -> float:
    """How much slower than white noise the sum of v grows; at least 1 (Newey and West 1987, 25 lags)."""
    v = v - v.mean()
    c0 = dot(v, v)
    if c0 <= 0:
        return 1.0
    lags = 25
    total = sum((1 - k / (lags + 1)) * dot(v[k:], v[:-k]) for k in range(1, lags + 1) if k < v.shape[0])
    return max(1.0, 1.0 + 2.0 * total / c0)


def _describe(
    t: Floats,
    i: Floats,
    x: Floats,
    y: Floats,
    w: Floats,
    on: Bools,
    k: int,
    gained: Floats,
    var: float,
    size: float,
    sigmas: float,
    column: int,
) -> Step:
    near = np.flatnonzero(gained >= gained[k] - 3.84 * var)  # chi-square, one degree, 95 %
    close = near[(near >= k - 5000) & (near <= k + 5000)]
    low, high = int(close.min()), int(close.max())
    low = max(low - 1, 0)
    late = np.arange(t.shape[0]) >= k
    parts = []
    # The straight drift, last column where there is one, is dropped here: before and after are plain levels.
    full = np.concatenate([np.delete(x, column, axis=1), (i * ~late)[:, None], (i * late)[:, None]], axis=1)
    gram, right = normal_matrix(full, w, y)
    beta = _solve(gram, right)
    cov = np.linalg.inv(gram + 1e-10 * np.diag(np.maximum(np.diag(gram), 1e-12))) * var
    error = np.sqrt(np.maximum(np.diag(cov)[-2:], 0.0))
    for value, sd in zip(beta[-2:], error, strict=True):
        parts.append(Measured(1e3 * value, 1e3 * (value - 1.96 * sd), 1e3 * (value + 1.96 * sd), "least squares"))
    change = 1e3 * float(beta[-1] - beta[-2])
    both = cov[-2:, -2:]
    sd = 1e3 * float(np.sqrt(max(both[0, 0] + both[1, 1] - 2 * both[0, 1], 0.0)))
    return Step(
        Measured(float(t[k]), float(t[low]), float(t[high]), "likelihood over every moment"),
        parts[0],
        parts[1],
        Measured(change, change - 1.96 * sd, change + 1.96 * sd, "least squares"),
        sigmas,
    )


def _windows(t: Floats, i: Floats, x: Floats, y: Floats, w: Floats, window_s: float) -> tuple[Floats, Floats, Floats]:
    count = max(1, int((t[-1] - t[0]) / window_s))
    edges = np.searchsorted(t, np.linspace(t[0], np.nextafter(t[-1], np.inf), count + 1))
    mid, value, half = np.full(count, np.nan), np.full(count, np.nan), np.full(count, np.nan)
    for k in range(count):
        s = slice(edges[k], edges[k + 1])
        if edges[k + 1] - edges[k] < 10:
            continue
        mid[k] = 0.5 * (t[edges[k]] + t[edges[k + 1] - 1])
        total = float(w[s].sum())
        if total < 10:
            continue
        ic = i[s] - float(w[s] @ i[s]) / total
        yc = y[s] - float(w[s] @ y[s]) / total
        sxx = float((w[s] * ic) @ ic)
        if sxx < total * MIN_SPREAD_A**2:
            continue
        slope = float((w[s] * ic) @ yc) / sxx
        left = yc - slope * ic
        sd = np.sqrt(float((w[s] * left) @ left) / max(total - 2, 1) / sxx * _correlation_factor(w[s] * ic * left))
        value[k], half[k] = 1e3 * slope, 1e3 * 1.96 * sd
    return mid, value, half
