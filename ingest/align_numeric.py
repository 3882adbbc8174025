"""Offset and drift between two clocks from what two signals share. Plain arrays; no knowledge of logs or channels.

FFT cross-correlation of the differences for the coarse offset, then twelve windows, each with its own offset, and a
robust line through them for the drift. The faster signal is brought to the slower one's stamps, as an instant or as
the average over the slower one's period, whichever fits better: that also removes the half period by which a logger
that averages lags. Voltage against current works too (the sign does not matter).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ingest.even_grid import MIN_OVERLAP_S, MIN_SAMPLES, Even, Floats, at_step, box, even

WINDOWS = 12
DRIFT_PRIOR_PPM = 30.0  # 1 sigma: ±60 ppm is what crystal clocks of small loggers keep (common practice, no source)
ACCEPT = 0.11  # unrelated pairs reach 0.08, matched ones 0.14 and more on synthetic matches (our figures)
ACCEPT_SIGMA = 7.0  # our choice: short logs correlate by chance; the peak must stand this many 1/√n above zero
LONE = 1.25  # our choice: the peak must beat every other one by a quarter, or the offset is ambiguous
APART_S = 1.0  # a peak this far away is another peak
TELLS = 1.8  # our choice: below this ratio of rates an average cannot be told from an instant
AVERAGES = 0.8  # our choice: an averaging logger must leave a fifth less unexplained
FLOOR_SHARE = 0.06  # of the slower period; our choice, from synthetic pairs at known offsets
RELAXES_S = 0.003  # a pack's voltage follows its current with a tail: our choice, from the same pairs
UPSAMPLE = 32
SMOOTH = np.array([1.0, 4.0, 6.0, 4.0, 1.0]) / 16.0


@dataclass(frozen=True)
class Alignment:
    """t_match = t_log·(1 + drift_ppm·1e-6) + offset_s.

    correlation: of the differences at the peak, 0 to 1, without sign; offset_error_s: half width of a 95 % interval
    in the middle of the shared time; inverted: the signals move against each other (a voltage and a current).
    Where not accepted, `reason` says why and the offset is not to be used.
    """

    offset_s: float
    drift_ppm: float
    correlation: float
    offset_error_s: float
    accepted: bool
    reason: str = ""
    inverted: bool = False


def align_pair(t_ref: Floats, x_ref: Floats, t: Floats, x: Floats, max_offset_s: float | None = None) -> Alignment:
    """Place the log (t, x) on the clock of (t_ref, x_ref). Stamps in seconds, any units of x; NaN are left out.

    max_offset_s: offsets beyond it are not looked at (None: any that leaves half of the shorter log shared).
    """
    ref, refused = even(t_ref, x_ref, "the reference")
    if ref is None:
        return _no(refused)
    log, refused = even(t, x, "the log")
    if log is None:
        return _no(refused)
    step = max(ref.step_s, log.step_s)
    coarse = _coarse(
        _differences(at_step(ref, step).x), _differences(at_step(log, step).x), ref, log, step, max_offset_s
    )
    if isinstance(coarse, str):
        return _no(coarse)
    offset, peak, rival, count = coarse
    if peak < max(ACCEPT, ACCEPT_SIGMA / np.sqrt(count)):
        return Alignment(
            offset, 0.0, peak, np.inf, False, f"the signals do not correlate (peak {peak:.2f}): not the same match?"
        )
    if peak < LONE * rival:
        return Alignment(offset, 0.0, peak, np.inf, False, "two offsets fit equally well")
    return _refine(ref, log, offset, peak)


def _no(reason: str) -> Alignment:
    return Alignment(0.0, 0.0, 0.0, np.inf, False, reason)


def _differences(x: Floats) -> Floats:
    return _squeezed(np.diff(x))


def _squeezed(d: Floats) -> Floats:
    """Large steps count less: otherwise two logs correlate wherever their two largest hits meet."""
    scale = 2.0 * float(np.sqrt(np.mean(d * d)))
    return np.asarray(d / np.sqrt(1 + (d / scale) ** 2)) if scale > 0 else d


def _coarse(
    a: Floats, b: Floats, ref: Even, log: Even, step: float, max_offset_s: float | None
) -> tuple[float, float, float, int] | str:
    """(offset, peak, highest other peak, samples shared) over all lags that leave enough in common."""
    first_a, first_b = at_step(ref, step).start_s, at_step(log, step).start_s
    need = max(int(MIN_OVERLAP_S / step), MIN_SAMPLES, min(a.shape[0], b.shape[0]) // 2)
    from scipy.fft import irfft, next_fast_len, rfft  # a sixth of a second, which a match of one log need not wait for

    size = a.shape[0] + b.shape[0]
    if min(a.shape[0], b.shape[0]) < need:
        return "the logs share too little time"
    n = next_fast_len(size, real=True)
    fb = np.conj(rfft(b, n))
    lags = np.arange(-(b.shape[0] - 1), a.shape[0])

    def correlate(u: Floats, other: NDArray[np.complex128]) -> Floats:
        full = irfft(rfft(u, n) * other, n)
        return np.asarray(np.concatenate([full[n - (b.shape[0] - 1) :], full[: a.shape[0]]]))

    cross = correlate(a, fb)
    sum_a, sum_b = np.concatenate([[0.0], np.cumsum(a * a)]), np.concatenate([[0.0], np.cumsum(b * b)])
    low, high = np.maximum(lags, 0), np.minimum(lags + b.shape[0], a.shape[0])
    shared = high - low
    power = (sum_a[high] - sum_a[low]) * (sum_b[high - lags] - sum_b[low - lags])
    floor = 0.01 * float(sum_a[-1]) * float(sum_b[-1])  # two quiet stretches are not a match
    offset = first_a - first_b + lags * step
    ok = (shared >= need) & (power > floor)
    if max_offset_s is not None:
        ok &= np.abs(offset) <= max_offset_s
    if not bool(ok.any()):
        return "no offset leaves enough of both logs in common"
    value = np.where(ok, np.abs(cross) / np.sqrt(np.where(power > 0, power, np.inf)), 0.0)
    k = int(np.argmax(value))
    far = np.abs(lags - lags[k]) * step > APART_S
    rival = float(value[far].max()) if bool(far.any()) else 0.0
    return float(offset[k]), float(value[k]), rival, int(shared[k])


def _refine(ref: Even, log: Even, offset: float, peak: float) -> Alignment:
    ref_slow = ref.step_s > log.step_s
    slow, fast = (ref, log) if ref_slow else (log, ref)
    # Offset of the slow one's stamps onto the fast one's clock.
    toward = -offset if ref_slow else offset
    if abs(slow.step_s / fast.step_s - 1) < 2e-3:
        tries = [_by_index(slow, fast, toward)]
    else:
        tries = [_by_lag(slow, fast, toward, 0.0)]
        if slow.step_s > TELLS * fast.step_s:
            tries.append(_by_lag(slow, fast, toward, slow.step_s))
    at, shift, weight, height, inverted = tries[0]
    doubt = 0.0
    if len(tries) > 1 and tries[1][0].shape[0] >= 3:
        unlike = (1 - tries[1][3]) / max(1 - height, 1e-6)
        if unlike < AVERAGES:
            at, shift, weight, height, inverted = tries[1]
        if AVERAGES**2 < unlike < 1 / AVERAGES:
            doubt = 0.5 * slow.step_s
    if at.shape[0] < 3:
        return Alignment(offset, 0.0, peak, np.inf, False, "too few stretches in which both signals move")
    floor = FLOOR_SHARE * slow.step_s + (RELAXES_S if inverted else 0.0)
    middle, value, rate, error = _robust_line(at, shift, weight)
    if ref_slow:  # t_log = t_ref + value + rate·(t_ref - middle), turned round
        middle, value, rate = middle + value, -value, -rate
    return Alignment(
        offset_s=float(value - rate * middle),
        drift_ppm=float(1e6 * rate),
        correlation=float(max(peak, height)),
        offset_error_s=float(np.sqrt(error**2 + doubt**2 + floor**2)),
        accepted=True,
        inverted=inverted,
    )


_Found = tuple[Floats, Floats, Floats, float, bool]


def _by_index(slow: Even, fast: Even, toward: float) -> _Found:
    """Equal rates: sample against sample, no interpolation between them (which would pull towards half steps)."""
    reach = 8
    n = slow.x.shape[0]
    first = round((slow.start_s + toward - fast.start_s) / fast.step_s)
    index = np.arange(n) + first
    inside = (index - reach >= 0) & (index + reach < fast.x.shape[0])
    rows = np.flatnonzero(inside)
    if rows.size < MIN_SAMPLES:
        return np.zeros(0), np.zeros(0), np.zeros(0), 0.0, False
    stamps = slow.stamps()
    lags = np.arange(-reach, reach + 1)
    # Smoothed alike, or the curve between whole samples would be guesswork.
    own = np.convolve(_squeezed(np.diff(slow.x[rows])), SMOOTH, "same")
    theirs = np.stack([np.convolve(_squeezed(np.diff(fast.x[index[rows] + k])), SMOOTH, "same") for k in lags])
    base = fast.start_s + fast.step_s * index[rows] - stamps[rows]
    return _windows(stamps[rows], base, own, theirs, (lags * fast.step_s).astype(np.float64))


def _by_lag(slow: Even, fast: Even, toward: float, width_s: float) -> _Found:
    """Unequal rates: the fast one read at the slow one's stamps plus a lag, averaged over the width before it."""
    lag_step = max(fast.step_s, slow.step_s / 16)
    reach = int(np.ceil(2.0 * slow.step_s / lag_step)) + 2
    lags = np.asarray(lag_step * np.arange(-reach, reach + 1), dtype=np.float64)
    stamps = slow.stamps()
    margin = lags[-1] + width_s
    inside = (stamps + toward - margin > fast.start_s) & (stamps + toward + margin < fast.end_s)
    stamps, x = stamps[inside], slow.x[inside]
    if stamps.shape[0] < MIN_SAMPLES:
        return np.zeros(0), np.zeros(0), np.zeros(0), 0.0, False
    grid = fast.stamps()
    theirs = np.stack(
        [
            _squeezed(
                np.diff(
                    box(fast, stamps + toward + lag, width_s, 0.0)
                    if width_s > 0
                    else np.interp(stamps + toward + lag, grid, fast.x)
                )
            )
            for lag in lags
        ]
    )
    return _windows(stamps, np.full(stamps.shape, toward), _squeezed(np.diff(x)), theirs, lags)


def _windows(stamps: Floats, base: Floats, own: Floats, theirs: Floats, lags: Floats) -> _Found:
    """Middle, shift and weight of every window; the height and sign of the whole correlation."""
    whole = _products(theirs, own) / np.sqrt(np.maximum(np.sum(theirs**2, axis=1) * np.sum(own * own), 1e-300))
    top = int(np.argmax(np.abs(whole)))
    sign = float(np.sign(whole[top])) or 1.0
    edges = np.linspace(0, own.shape[0], WINDOWS + 1).astype(int)
    at, shift, weight = [], [], []
    for low, high in pairwise(edges):
        part, mine = theirs[:, low:high], own[low:high]
        power = np.sum(part**2, axis=1) * np.sum(mine * mine)
        if high - low < 8 or not bool((power > 0).all()):
            continue
        curve = sign * _products(part, mine) / np.sqrt(power)
        k = int(np.argmax(curve))
        if k in (0, lags.shape[0] - 1) or curve[k] < 0.5 * abs(whole[top]):
            continue
        energy = float(np.sum(mine * mine))
        lag = _peak(lags, curve, k)
        at.append(0.5 * (stamps[low] + stamps[high]))
        shift.append(float(base[low:high].mean()) + lag)
        weight.append(energy * float(curve[k]) ** 2)
    return np.array(at), np.array(shift), np.array(weight), float(abs(whole[top])), sign < 0


def _products(rows: Floats, x: Floats) -> Floats:
    """Every row times x, on one thread: spread over busy cores it takes many times as long."""
    return np.asarray(np.einsum("ij,j->i", rows, x))


def _peak(lags: Floats, curve: Floats, k: int) -> float:
    """Lag of the highest point of the band-limited curve through these points."""
    step = float(lags[1] - lags[0])
    fine = lags[k] + step * np.arange(-UPSAMPLE, UPSAMPLE + 1) / UPSAMPLE
    away = (fine[:, None] - lags[None, :]) / step
    taper = np.cos(0.5 * np.pi * np.clip(away / (min(k, lags.shape[0] - 1 - k, 8) + 1), -1, 1)) ** 2
    smooth = (np.sinc(away) * taper) @ curve
    m = int(np.clip(np.argmax(smooth), 1, smooth.shape[0] - 2))
    left, mid, right = smooth[m - 1 : m + 2]
    bend = left - 2 * mid + right
    return float(fine[m] + (0.5 * (left - right) / bend if bend < 0 else 0.0) * step / UPSAMPLE)


def _robust_line(at: Floats, shift: Floats, weight: Floats) -> tuple[float, float, float, float]:
    """(middle, shift there, slope, 95 % half width of the shift there); the slope is held by the drift prior."""
    w = np.sqrt(weight / weight.max())
    prior = 1e-6 * DRIFT_PRIOR_PPM
    middle, value, slope = float(at.mean()), float(np.median(shift)), 0.0
    sigma = max(1.4826 * float(np.median(np.abs(shift - value))), 1e-5)
    use = w.copy()
    for _ in range(8):
        middle = float(use @ at / use.sum())
        x = at - middle
        value = float(use @ shift / use.sum())
        slope = float(use @ (x * (shift - value)) / (use @ (x * x) + (sigma / prior) ** 2))
        left = shift - value - slope * x
        sigma = max(1.4826 * float(np.median(np.abs(left))), 1e-5)
        use = w / (1 + (left / (2 * sigma)) ** 2)
    count = float(use.sum() ** 2 / (use @ use))
    return middle, value, slope, max(2.2 * sigma * float(np.sqrt(1 / max(count - 1, 1))), 2e-4)
