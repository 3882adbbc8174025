"""The least-squares engine under the pack figures: a ladder of time constants with non-negative resistances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from analysis.low_pass import filtered
from analysis.pack_model.common import NotFitted, Pair, huber_weights, jackknife_half_width
from analysis.signal import Bools, Floats

BLOCKS = 18
RUNGS = 14  # our choice: neighbours a factor 1.8 apart; more change nothing
TAU_RANGE_S = (0.03, 60.0)
ROUNDS = 4  # Huber weights and the charge factor settle in three
# Our choice: below a tenth of the capacity the open-circuit curve is straight enough for fewer terms.
SHORT_USE = 0.10
CHUNK = 300  # rows; our choice: small enough to stay on one thread


@dataclass
class Ladder:
    """One solved ladder; resistances in ohm, charge in Ah. `steps_ohm[0]` is the immediate one."""

    used_Ah: Floats
    middle_Ah: float
    scale_Ah: float
    open_circuit: Floats
    moves: Floats
    steps_ohm: Floats
    taus_s: Floats
    left_out_ohm: Floats  # (BLOCKS, 1 + rungs)
    residual: Floats
    on: Bools
    skew_s: float
    grams: Floats
    rights: Floats

    def rise(self, after_s: float) -> Floats:
        return np.concatenate([[1.0], 1 - np.exp(-after_s / self.taus_s)])

    def thirds(self) -> Floats:
        """(2, 1 + blocks) how the losses of the first and last third scale against the whole; then left-out figures.

        The shape of the losses is held; NaN where a third holds too little load.
        """
        n_ocv, n = self.open_circuit.shape[0], self.grams.shape[1]
        fixed = n - self.steps_ohm.shape[0]
        shape = np.zeros((n, 4))
        shape[[0, 1, 2], [0, 1, 2]] = 1.0
        shape[fixed:, 3] = self.steps_ohm
        assert n_ocv >= 3
        third = BLOCKS // 3
        out = np.full((2, 1 + third), np.nan)
        for row, sel in enumerate((np.arange(third), np.arange(BLOCKS - third, BLOCKS))):
            g = np.einsum("ia,kij,jb->kab", shape, self.grams[sel], shape)
            r = self.rights[sel] @ shape
            for col, drop in enumerate([None, *range(third)]):
                a = g.sum(0) - (0 if drop is None else g[drop])
                b = r.sum(0) - (0 if drop is None else r[drop])
                if a[3, 3] <= 0:
                    continue
                scale = np.sqrt(np.maximum(np.diag(a), 1e-12))
                out[row, col] = float(
                    (np.linalg.solve(a / np.outer(scale, scale) + 1e-9 * np.eye(4), b / scale) / scale)[3]
                )
        return out


def low_pass(x: Floats, period_s: float, taus: Floats) -> Floats:
    """(n, k) x through first-order low passes, exact for straight lines between the samples."""
    out = np.empty((x.shape[0], taus.shape[0]))
    for j, tau in enumerate(taus):
        r = period_s / tau
        a = np.exp(-r)
        g = (1 - a) / r
        # z_k = a z_(k-1) + (g - a) x_(k-1) + (1 - g) x_k; before the log the current is taken as steady at x[0]
        out[:, j] = filtered(1 - g, g - a, a, x, g * x[0])
    return out


def solve_bounded(gram: Floats, right: Floats, free: int) -> Floats:
    """Least squares from the normal matrix, the columns from `free` on not negative."""
    s = np.sqrt(np.maximum(np.diag(gram), 1e-12))
    g, r = gram / np.outer(s, s), right / s
    head = g[:free, :free] + 1e-10 * np.eye(free)
    side = g[:free, free:]
    solved = np.linalg.solve(head, np.concatenate([side, r[:free, None]], axis=1))
    schur = g[free:, free:] - side.T @ solved[:, :-1]
    rest = r[free:] - side.T @ solved[:, -1]
    w, u = np.linalg.eigh(schur)
    w = np.maximum(w, 1e-9 * max(float(w[-1]), 1e-12))  # the noise correction may leave tiny negative ones
    bounded, _ = nnls(np.sqrt(w)[:, None] * u.T, (u.T @ rest) / np.sqrt(w), maxiter=50 * w.shape[0])
    return np.asarray(np.concatenate([solved[:, -1] - solved[:, :-1] @ bounded, bounded]) / s)


def normal_matrix(x: Floats, weight: Floats, y: Floats) -> tuple[Floats, Floats]:
    """(m, m) and (m,): x'Wx and x'Wy, summed over chunks.

    A product of this size in one piece is spread over threads by the linear algebra library, which costs up to
    thirty times its worth where the other cores are busy; in chunks it stays on one.
    """
    m = x.shape[1]
    gram, right = np.zeros((m, m)), np.zeros(m)
    for low in range(0, x.shape[0], CHUNK):
        part = x[low : low + CHUNK]
        weighed = (part * weight[low : low + CHUNK, None]).T
        gram += weighed @ part
        right += weighed @ y[low : low + CHUNK]
    return gram, right


def dot(a: Floats, b: Floats) -> float:
    """Sum of a·b on one thread."""
    return float(np.einsum("i,i->", a, b))


def applied(x: Floats, beta: Floats) -> Floats:
    """(n,) the columns of x (n, m) times beta (m,), on one thread."""
    return np.asarray(np.einsum("ij,j->i", x, beta))


def _noise_cov(period_s: float, taus: Floats, noise_A: float, n: int = 600) -> Floats:
    """Covariance that current noise alone gives the columns [I', I'', -I, -z...] of one sample."""
    impulse = np.zeros(n)
    impulse[1] = 1.0
    early, late = np.roll(impulse, -1), np.roll(impulse, 1)
    rows = [0.5 * (early - late), early - 2 * impulse + late, -impulse, *-low_pass(impulse, period_s, taus).T]
    taps = np.vstack(rows).T
    return noise_A**2 * normal_matrix(taps, np.ones(n), np.zeros(n))[0]


def climb(pair: Pair, current: Floats, on: Bools, noise_A: float, capacity_Ah: float) -> Ladder | NotFitted:
    """Fit the ladder. current (n,): the pair's x with unknown stretches filled; on: the samples that take part.

    NotFitted where the load does not determine a resistance above zero.
    """
    n, period, t = len(pair), pair.period_s, pair.t_s
    regular = bool(np.max(np.abs(np.diff(t) - period)) < 0.02 * period)
    grid = t if regular else t[0] + period * np.arange(int(np.ceil((t[-1] - t[0]) / period)) + 1)
    taus = np.geomspace(max(TAU_RANGE_S[0], 1.5 * period), min(TAU_RANGE_S[1], 0.4 * (t[-1] - t[0])), RUNGS)
    z = low_pass(current if regular else np.interp(grid, t, current), period, taus)
    if not regular:
        z = np.stack([np.interp(t, grid, z[:, j]) for j in range(z.shape[1])], axis=1)
    used = np.concatenate([[0.0], np.cumsum(0.5 * (current[1:] + current[:-1]) * np.diff(t))]) / 3600.0
    middle = 0.5 * (float(used.min()) + float(used.max()))
    scale = max(0.5 * float(np.ptp(used)), 1e-9)
    q = (used - middle) / scale
    n_ocv, n_move = (5, 2) if 2 * scale > SHORT_USE * capacity_Ah else (3, 1)
    early, late = np.append(current[1:], current[-1]), np.insert(current[:-1], 0, current[0])
    skew = np.stack([0.5 * (early - late), early - 2 * current + late], axis=1)
    losses = np.concatenate([current[:, None], z], axis=1)
    free = n_ocv + n_move + 2
    x = np.concatenate([q[:, None] ** np.arange(n_ocv), np.zeros((n, n_move)), skew, -losses], axis=1)
    noisy = np.ix_(np.arange(n_ocv + n_move, x.shape[1]), np.arange(n_ocv + n_move, x.shape[1]))
    cov = _noise_cov(period, taus, noise_A)
    weight = on.astype(np.float64)
    y = pair.y - float(pair.y[on].mean())  # a large constant costs digits in the normal matrix
    lost = current.copy()
    beta = np.zeros(x.shape[1])
    residual = y
    for _ in range(ROUNDS):
        for k in range(n_move):
            x[:, n_ocv + k] = -lost * q ** (k + 1)
        gram, right = normal_matrix(x, weight, y)
        gram[noisy] -= weight.sum() * cov
        try:
            beta = solve_bounded(gram, right, free)
        except (np.linalg.LinAlgError, RuntimeError):
            return NotFitted("current and voltage do not determine a resistance", "log a whole match with its loads")
        residual = y - applied(x, beta)
        lost = applied(losses, beta[free:])
        weight = huber_weights(residual, on)
    if beta[free:].sum() <= 0:
        return NotFitted(
            "the voltage does not fall when the current rises",
            "check the sign of the current and that both channels belong to the same pack",
        )
    edges = np.linspace(0, n, BLOCKS + 1).astype(int)
    grams, rights = np.empty((BLOCKS, *gram.shape)), np.empty((BLOCKS, x.shape[1]))
    for k in range(BLOCKS):
        s = slice(edges[k], edges[k + 1])
        grams[k], rights[k] = normal_matrix(x[s], weight[s], y[s])
        grams[k][noisy] -= weight[s].sum() * cov
    try:
        left_out = np.stack(
            [solve_bounded(grams.sum(0) - grams[k], rights.sum(0) - rights[k], free)[free:] for k in range(BLOCKS)]
        )
    except (np.linalg.LinAlgError, RuntimeError):
        return NotFitted("the loads stand in one short stretch of the log only", "log a whole match with its loads")
    total = float(beta[free:].sum())
    rise = np.concatenate([[1.0], 1 - np.exp(-1.0 / taus)])  # at 1 s: the slowest branch is never well determined
    if not jackknife_half_width(left_out @ rise) < float(beta[free:] @ rise):
        return NotFitted("the resistance cannot be told from zero", "log a match with more load, or a finer voltage")
    r_now = float(beta[free])
    skew_s = float(np.clip(beta[n_ocv + n_move] / r_now, -2, 2)) * period if r_now > 0.1 * total else 0.0
    open_circuit = beta[:n_ocv].copy()
    open_circuit[0] += float(pair.y[on].mean())
    moves = beta[n_ocv : n_ocv + n_move]
    return Ladder(
        used, middle, scale, open_circuit, moves, beta[free:], taus, left_out, residual, on, skew_s, grams, rights
    )
