"""A signal as equal cells, and the exact search for the worst run of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.pack_model.common import GAP_PERIODS, NotFitted
from analysis.signal import Floats, Signal

BLOCK = 16  # cells in a block of the search
CLIP_TIMES = 2.0  # our choice: a clipped sample outside the worst window is allowed for at twice its reading


@dataclass(frozen=True, eq=False)
class Cells:
    """The signal as equal cells: mean square, mean and the flag "unknown or clipped", all as cumulative sums."""

    start_s: float
    step_s: float
    square: Floats  # (n + 1,) cumulative mean square × cells
    most: Floats | None  # the same with unknown stretches at their allowance; None where nothing is unknown
    value: Floats  # (n + 1,) cumulative (x - floor)
    floor: float
    doubt: Floats | None  # (n + 1,) cumulative count of doubtful cells
    rough: Floats  # (n,) cumulative (difference of squares)²
    jumps: Floats  # (n,) cumulative (difference)²; empty where the detector is known to be instant
    square_peaks: Floats
    value_peaks: Floats


def cells_of(s: Signal) -> Cells | NotFitted:
    """Samples as cells of one period; irregular stamps are averaged into such cells, gaps stay as doubtful zeros.

    NotFitted for fewer than two samples.
    """
    whole = s
    s = s.good()
    n = len(s)
    if n < 2 or s.period_s <= 0:
        return NotFitted(f"{s.channel} holds fewer than two samples", f"log {s.channel}")
    t, x = s.t_s, s.x
    step = (t[-1] - t[0]) / (n - 1)
    even = len(whole) == n and bool(np.max(np.abs(t - (t[0] + step * np.arange(n)))) < 0.5 * step)
    if even and s.recording is not None:
        even = bool((s.recording == s.recording[0]).all())
    doubt = s.clipped.astype(np.float64) if bool(s.clipped.any()) else None
    square = x * x
    start = t[0] - (step if s.detector == "average" else 0.5 * step)
    allowance = np.where(s.clipped, (CLIP_TIMES * x) ** 2, square) if doubt is not None else None
    if even:
        cells, values = square, x
    else:
        step = s.period_s
        left, right = t - 0.5 * step, t + 0.5 * step
        joined = np.diff(t) <= GAP_PERIODS * step
        if s.recording is not None:
            joined &= np.diff(s.recording) == 0
        middle = 0.5 * (t[1:] + t[:-1])
        right[:-1] = np.where(joined, middle, np.minimum(right[:-1], middle))
        left[1:] = np.where(joined, middle, np.maximum(left[1:], middle))
        start = float(left[0])
        grid = start + step * np.arange(max(round(float(right[-1] - start) / step), 1) + 1, dtype=np.float64)
        edges = np.stack([left, right], axis=1).ravel()
        covered = _rebin(edges, np.ones(n), grid)
        cells, values = _rebin(edges, square, grid), _rebin(edges, x, grid)
        gap = np.clip(1.0 - covered, 0.0, 1.0)
        gap[gap < 1e-6] = 0.0
        if doubt is not None and allowance is not None:
            doubt, allowance = _rebin(edges, doubt, grid), _rebin(edges, allowance, grid)
        if bool(gap.any()):
            doubt = gap if doubt is None else doubt + gap
            allowance = (cells if allowance is None else allowance) + gap * float(square.max())
        if s.detector == "average":
            start -= 0.5 * step
    floor = min(float(values.min()), 0.0)
    change = np.diff(cells)
    jump = np.diff(values) if s.detector != "instant" else np.zeros(0)
    return Cells(
        float(start),
        float(step),
        _sum(cells),
        None if allowance is None else _sum(allowance),
        _sum(values - floor),
        floor,
        None if doubt is None else _sum(doubt),
        _sum(change * change),
        _sum(jump * jump),
        peaks_of(cells),
        peaks_of(values - floor),
    )


def peaks_of(x: Floats) -> Floats:
    """Greatest of each block of BLOCK samples: x (n,) to (n / BLOCK, rounded up)."""
    return np.asarray(np.maximum.reduceat(x, np.arange(0, x.shape[0], BLOCK)))


def _sum(x: Floats) -> Floats:
    out = np.zeros(x.shape[0] + 1)
    np.cumsum(x, out=out[1:])
    return out


def _rebin(edges: Floats, x: Floats, grid: Floats) -> Floats:
    """Mean over each grid cell of x held over [edges[2k], edges[2k + 1]], zero between."""
    area = np.zeros(edges.shape[0])
    area[1::2] = x * (edges[1::2] - edges[::2])
    total = np.interp(grid, edges, np.cumsum(area))
    return np.asarray(np.diff(total) / np.diff(grid))


def worst_run(c: Floats, k: int, peaks: Floats | None = None) -> tuple[float, int]:
    """Largest c[j + k] - c[j] of a rising c, and its j. Exact: blocks that cannot hold it are skipped.

    peaks: the largest single step of c in every BLOCK of them, which sharpens the bound for short windows.
    """
    n = c.shape[0] - 1
    stride = max(k // 16, BLOCK)
    if n < 4 * BLOCK or n <= k:
        d = c[k:] - c[:-k]
        j = int(np.argmax(d))
        return float(d[j]), j
    at_start = c[: n - k + 1 : stride]
    reach = np.full(at_start.shape[0], c[n])  # no window that starts in the block reaches further
    ends = c[k + stride - 1 :: stride]
    reach[: ends.shape[0]] = ends[: reach.shape[0]]
    reach -= at_start
    if k < BLOCK and peaks is not None:
        bound = k * peaks[: reach.shape[0]]
        after = k * peaks[1 : reach.shape[0] + 1]
        np.maximum(bound[: after.shape[0]], after, out=bound[: after.shape[0]])
        np.minimum(reach, bound, out=reach)
    top = int(np.argmax(reach))
    index = np.minimum(top * stride + np.arange(stride), n - k)
    inside = c[index + k] - c[index]
    at = int(index[np.argmax(inside)])
    best = float(inside.max())
    if k >= BLOCK:
        found = c[k::stride] - at_start
        j = int(np.argmax(found))
        if found[j] > best:
            best, at = float(found[j]), j * stride
    hopeful = np.flatnonzero(reach > best)
    for part in np.array_split(hopeful, max(1, hopeful.shape[0] * stride // 200_000)):
        index = (stride * part)[:, None] + np.arange(stride)[None, :]
        index = np.minimum(index, n - k)
        d = c[index + k] - c[index]
        if d.size and float(d.max()) > best:
            m = int(np.argmax(d))
            best, at = float(d.flat[m]), int(index.flat[m])
    return best, at
