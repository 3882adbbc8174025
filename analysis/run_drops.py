"""The voltage lost over the runs between two taps, on common bins, as a sum of each run's own current times its own
resistance: V_up − V_tap = Σ I_run · R_run. A branch lead carries its branch's current and not the pack's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.match_data import MatchData
from analysis.openings import openings
from analysis.pack_model.common import huber_weights
from analysis.pack_model.ladder import low_pass
from analysis.signal import Bools, Floats, Signal
from analysis.wiring import NoCurrent, RunCurrent, Tree

FINE_S = 0.010  # our choice: a joint that comes and goes does so for some tens of milliseconds
COARSE_S = 0.050  # our choice: means of 50 ms keep the relation and lose a skew of some milliseconds
SLOWEST_S = 0.26
# A wire or a joint warms within some ten seconds to a minute (handbook heat capacities): the drop creeps with it.
WARMING_S = 25.0
MIN_BINS = 60
SHORT_TIMES = 2.5  # our choice: beyond this much of its usual peak a branch has a short, and is no measure of a run
RESTS_S = (0.5, 8.0)  # the pack's own slow losses, where its terminals are not tapped


@dataclass(frozen=True, eq=False)
class Drop:
    """One pair of taps on bins. y (n,) volts lost; currents (n,) by run; x (n, m) the other columns; on (n,) usable.

    upstream None: no tap before the runs, so y is the far voltage itself turned round, and the pack is in it.
    blur (n,) V: what unlike clocks may make of a fast change in one bin (0 where one logger took all).
    """

    upstream: str | None
    tap: str
    path: tuple[str, ...]
    t_s: Floats
    y: Floats
    currents: dict[str, Floats]
    x: Floats
    on: Bools
    noise_V: float
    noise_A: dict[str, float]
    blur: Floats
    bin_s: float

    def design(self, *more: Floats) -> Floats:
        """(n, runs + columns): currents of the path first, in its order, then the rest."""
        return np.column_stack([*(self.currents[r] for r in self.path), self.x, *more])


def drops(
    data: MatchData, wiring: Tree, currents: dict[str, RunCurrent | NoCurrent], bin_s: float = COARSE_S
) -> list[Drop]:
    """Every tap against the nearest tap above it; where the pack's terminals are not tapped, the tap alone."""
    found: list[Drop] = []
    made: dict[tuple[str, float, int], tuple[Floats, Bools]] = {}  # bins of one channel serve several taps
    assert data.build is not None
    nodes = dict.fromkeys(run.wire.to for run in wiring.runs.values() if not run.is_motor_lead)
    taps = [(f"{node}_voltage_V", node) for node in nodes]
    taps += [(f"{r.id}_voltage_V", r.from_) for group in wiring.taps.values() for r in group]
    for channel, node in dict.fromkeys(taps):
        if channel not in data.signals:
            continue
        path: list[str] = []
        above: str | None = None
        for run_id in reversed(wiring.path_to(node)):
            path.insert(0, run_id)
            start = f"{wiring.runs[run_id].wire.from_}_voltage_V"
            if start in data.signals and start != channel:
                above = start
                break
        used = {run_id: currents.get(run_id) for run_id in path}
        known = {r: c.signal for r, c in used.items() if isinstance(c, RunCurrent) and c.complete}
        if not path or len(known) < len(path):
            continue
        one = _drop(data, above, channel, tuple(path), known, bin_s, made)
        if one is not None:
            found.append(one)
    return found


def _drop(
    data: MatchData,
    above: str | None,
    tap: str,
    path: tuple[str, ...],
    currents: dict[str, Signal],
    bin_s: float,
    made: dict[tuple[str, float, int], tuple[Floats, Bools]],
) -> Drop | None:
    down = data.signals[tap]
    volts = [down] if above is None else [data.signals[above], down]
    names = [s.channel for s in (*volts, *currents.values())]
    if not data.same_clock(*names) or data.window is None:
        return None
    signals = [s.good() for s in (*volts, *currents.values())]
    if any(len(s) < MIN_BINS or s.period_s > SLOWEST_S for s in signals):
        return None
    start = max(data.window.start_s, *(s.t_s[0] for s in signals))
    end = min(data.window.end_s, *(s.t_s[-1] for s in signals))
    slowest = max(s.period_s for s in signals)
    width = max(bin_s, slowest)
    if end - start < MIN_BINS * width:
        return None
    first = float(signals[0].t_s[np.searchsorted(signals[0].t_s, start)])
    edges = first - 0.5 * min(width, slowest) + width * np.arange(int((end - first) / width) + 1)
    columns = []
    for s in signals:
        key = (s.channel, float(edges[0]), len(edges))
        if key not in made:
            made[key] = _means(s, edges)
        columns.append(made[key])
    on = np.logical_and.reduce([ok for _, ok in columns])
    t = 0.5 * (edges[:-1] + edges[1:])
    for one in openings(data):
        on &= (t < one.start_s - 0.15) | (t > one.end_s + 0.3)
    for x, _ in columns[len(volts) :]:
        size = np.abs(x)
        on &= size <= max(SHORT_TIMES * float(np.percentile(size, 98)), 10.0)
    if int(on.sum()) < MIN_BINS:
        return None
    values = [x for x, _ in columns]
    far = values[len(volts) - 1]
    flows = dict(zip(currents, values[len(volts) :], strict=True))
    many = max(1.0, width / max(s.period_s for s in volts))
    noise = float(np.sqrt(sum(s.noise**2 for s in volts) / many))
    sources = {data.source.get(n, -1) for n in names}
    blur = np.zeros(len(t))
    extra: list[Floats] = [np.ones(len(t)), np.linspace(-1.0, 1.0, len(t))]
    if len(sources) > 1:
        if any((data.placed[k].error_s or 0.0) > 0.5 * width for k in sources if 0 <= k < len(data.placed)):
            return None  # clocks known to no better than a bin make drops of their own
        for x in (values[0], far) if above is not None else (far,):
            blur = np.maximum(blur, _change(x))
        extra += [np.gradient(x) for x in (*flows.values(), values[0])]
    if above is None:
        main = flows[path[0]]
        q = np.concatenate(([0.0], np.cumsum(0.5 * (main[1:] + main[:-1]))))
        q = q / max(abs(float(q[-1])), 1e-9)
        extra += [q**2, q**3, *low_pass(main, width, np.array(RESTS_S)).T]
    y = -far if above is None else values[0] - far
    noise_A = {
        r: s.noise / np.sqrt(max(1.0, width / s.period_s)) for r, s in zip(currents, signals[len(volts) :], strict=True)
    }
    return Drop(above, tap, path, t, y, flows, np.column_stack(extra), on, noise, noise_A, blur, width)


def _means(s: Signal, edges: npt.NDArray[np.floating]) -> tuple[Floats, Bools]:
    """Mean in every bin; a bin without a sample is filled straight and not usable."""
    index = np.searchsorted(s.t_s, edges)
    count = np.diff(index)
    sums = np.concatenate(([0.0], np.cumsum(s.x)))
    total = sums[index[1:]] - sums[index[:-1]]
    ok = count > 0
    mid = 0.5 * (edges[:-1] + edges[1:])
    mean = np.where(ok, total / np.maximum(count, 1), 0.0)
    if not bool(ok.all()):
        straight = np.interp(mid, s.t_s, s.x)
        near = np.clip(np.searchsorted(s.t_s, mid), 1, len(s) - 1)
        close = s.t_s[near] - s.t_s[near - 1] <= 3.0 * s.period_s
        mean = np.where(ok, mean, straight)
        ok = ok | (close & (mid > s.t_s[0]) & (mid < s.t_s[-1]))
    if bool(s.clipped.any()):
        clipped = np.concatenate(([0], np.cumsum(s.clipped)))
        ok = ok & (clipped[index[1:]] == clipped[index[:-1]])
    return mean, ok


def _change(x: Floats) -> Floats:
    """How far a series moves from one bin to either neighbour."""
    step = np.abs(np.diff(x, prepend=x[0]))
    return np.maximum(step, np.concatenate((step[1:], [0.0])))


def warming(drop: Drop, run: str) -> Floats:
    """The current times how warm it has made its own run: what the drop gains as copper and joints warm."""
    i = drop.currents[run]
    heat = low_pass(i**2, drop.bin_s, np.array([WARMING_S]))[:, 0]
    return i * heat / max(float(heat.max()), 1e-9)


def solve(x: Floats, y: Floats, w: Floats) -> Floats:
    """Weighted least squares, scaled so that unlike units do no harm."""
    scale = np.sqrt(np.maximum((w[:, None] * x * x).sum(0), 1e-12))
    xs = x / scale
    xw = xs * w[:, None]
    gram = xw.T @ xs + 1e-9 * np.eye(x.shape[1])
    return np.asarray(np.linalg.solve(gram, xw.T @ y) / scale)


def robust(x: Floats, y: Floats, on: Bools, flow: Floats | None = None, rounds: int = 4) -> tuple[Floats, Floats]:
    """(beta, weights). flow: a current; bins that lost clearly more in its direction than the rest are left out, so
    that the sound state is fitted and not the mean of sound and bad.
    """
    w = on.astype(np.float64)
    beta = np.zeros(x.shape[1])
    for _ in range(rounds if flow is None else 2 * rounds):
        beta = solve(x, y, w)
        residual = y - x @ beta
        w = huber_weights(residual, on)
        if flow is not None:
            sigma = max(1.4826 * float(np.median(np.abs(residual[w > 0]))), 1e-6)
            w = np.where(residual * np.sign(flow) > 3.0 * sigma, 0.0, w)
    return beta, w
