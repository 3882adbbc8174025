"""A joint seen from close by: bins of 10 ms against the sound state of its run. Does it hold one value, wander, creep
with its heat, or come and go?
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.pack_model.harness import Step
from analysis.run_drops import Drop, robust, solve, warming
from analysis.signal import Bools, Floats, Measured
from analysis.suspects import candidates_of
from analysis.wiring import Tree

# Our choices, tried on simulated matches at 10 to 1000 Hz. A joint that holds adds one resistance; a loose one
# wanders by a good share of what it added. Under LEAST_LOAD_A the drop over a joint drowns in the sensors' steps. A
# state that lasts for moments only must add five times what counts as a lasting rise.
UNSTEADY_SHARE = 0.22
LEAST_LOAD_A = 2.5
BAD_MOHM = 10.0
BAD_SIGMAS = 6.0
EPISODE_S = 0.8
GOOD_AGAIN_S = 1.0
LEAST_SOUND_BINS = 100
ONSET_S = 4.0
GAINED_SHARE = 0.2
ALSO_SHARE = 0.5
STILL_SHARE = 0.5
CLEARLY_NOISIER = 1.3
MOST_FITTED = 4000  # bins that the sound state is fitted on; more change nothing


@dataclass(frozen=True)
class Flicker:
    """A run whose resistance comes and goes. spans: the stretches; mohm: the largest that was seen, and its tap."""

    run: str
    candidates: tuple[str, ...]
    spans: tuple[tuple[float, float, float], ...]
    mohm: Measured
    tap: str
    times: int


def manner(drop: Drop, run: str, step: Step) -> str:
    """step, wanders or creeps."""
    i = drop.currents[run]
    late = drop.t_s >= step.at_s.value
    base = drop.design()
    with_step = np.column_stack([base, i * late])
    _, w = robust(with_step, drop.y, drop.on)
    left = drop.y - with_step @ solve(with_step, drop.y, w)
    with_creep = np.column_stack([base, warming(drop, run), i * np.linspace(-1.0, 1.0, len(i))])
    crept = drop.y - with_creep @ solve(with_creep, drop.y, w)
    loaded = drop.on & (np.abs(i) > LEAST_LOAD_A)
    if bool((loaded & late).any()):  # the heavier half: what wanders does so in proportion to the current
        loaded &= np.abs(i) >= float(np.median(np.abs(i[loaded & late])))
    before, after = left[loaded & ~late], left[loaded & late]
    if len(before) > 20 and len(after) > 20:
        size = 1e-3 * step.change_mohm.value * np.abs(i[loaded & late])
        noise = max(float(np.median(np.abs(before))), 0.67 * drop.noise_V)
        unsteady = float(np.median(np.abs(after)))
        more = unsteady > CLEARLY_NOISIER * noise
        if more and np.sqrt(unsteady**2 - noise**2) > 0.67 * UNSTEADY_SHARE * float(np.median(size)):
            return "wanders"
    if float(w @ crept**2) < float(w @ left**2):
        return "creeps"
    return "step"


@dataclass(frozen=True, eq=False)
class _Moments:
    """What each fine bin lost beyond the sound state of one run, in mΩ, and which bins are clearly bad."""

    run: str
    flowing: Bools
    bad: Bools
    mohm: Floats
    sigma_V: float
    gained: Bools  # bins that lost clearly less: no joint does that, an unquiet current sensor does
    least_V: Floats  # the loss that would have been clear in each bin
    current_A: Floats
    left_V: Floats  # what is lost beyond the sound state

    def telling(self, mohm: float) -> Bools:
        """Bins in which half as much as this would have shown."""
        return np.asarray(self.flowing & (np.abs(self.current_A) * 0.5e-3 * mohm > self.least_V))


def _moments(fine: Drop, run: str, sound_until_s: float | None) -> _Moments:
    """sound_until_s: the drop up to there is the sound state, where enough of it is loaded; else the lower state."""
    i = fine.currents[run]
    flowing = fine.on & (np.abs(i) > max(LEAST_LOAD_A, 6.0 * fine.noise_A[run]))
    sound = fine.on
    if sound_until_s is not None:
        before = fine.on & (fine.t_s < sound_until_s - 0.3)
        if int((before & flowing).sum()) > LEAST_SOUND_BINS:
            sound = before
    x = fine.design()
    whole = sound is fine.on
    if not whole:  # what the head of the match cannot fix goes by the plain shape: no drift from so little
        x = np.delete(x, len(fine.path) + 1, axis=1)
    some = slice(None, None, max(1, len(i) // MOST_FITTED))
    beta, _ = robust(x[some], fine.y[some], sound[some], i[some] if whole else None)
    left = fine.y - x @ beta
    sigma = max(1.4826 * float(np.median(np.abs(left[sound]))), 0.5 * fine.noise_V, 1e-4)
    # By the largest current nearby: a reading that misses its current for one bin would else pass for a resistance.
    near = np.abs(i)
    near = np.maximum(near, np.maximum(np.append(near[1:], 0.0), np.insert(near[:-1], 0, 0.0)))
    mohm = np.where(flowing, 1e3 * left / np.where(flowing, np.sign(i) * near, 1.0), 0.0)
    least = BAD_SIGMAS * sigma + 1.5 * fine.blur
    clear = flowing & (np.abs(left) > least)
    return _Moments(run, flowing, clear & (mohm > BAD_MOHM), mohm, sigma, clear & (mohm < -BAD_MOHM), least, i, left)


def flicker(fine: Drop, best: tuple[str, Step] | None, wiring: Tree) -> Flicker | None:
    """Moments of far more resistance with sound ones between and after them."""
    found: Flicker | None = None
    for run in fine.path if best is None else (best[0],):
        until = None if best is None else best[1].at_s.value
        lasting = 0.0 if best is None else best[1].change_mohm.value
        one = _episodes(fine, _moments(fine, run, until), wiring, lasting)
        if one is not None and (found is None or one.mohm.value < found.mohm.value):
            found = one
    return found


def also_bad(fine: Drop, seen: Flicker) -> bool:
    """Whether another tap over the same run lost about as much in the same moments; one that says nothing agrees."""
    if fine.tap == seen.tap:
        return True
    moments = _moments(fine, seen.run, None)
    inside = np.logical_or.reduce([(fine.t_s >= a) & (fine.t_s <= b) for a, b, _ in seen.spans])
    telling = inside & moments.telling(seen.mohm.value)
    if int(telling.sum()) < 4:
        return True
    return float(np.percentile(moments.mohm[telling], 90)) > ALSO_SHARE * seen.mohm.value


def lost_elsewhere(fine: Drop, other: Drop, seen: Flicker) -> bool:
    """Whether a tap that does not span the run lost about as many volts in the same moments: then it is none of the
    run's doing, but of what both share (a long thin lead that warms with every burst)."""
    if seen.run in other.path or other.upstream != fine.upstream or not set(other.path) & set(fine.path):
        return False
    mine, theirs = _moments(fine, seen.run, None), _moments(other, other.path[-1], None)
    inside = np.logical_or.reduce([(fine.t_s >= a) & (fine.t_s <= b) for a, b, _ in seen.spans]) & mine.bad
    if not bool(inside.any()):
        return False
    there = np.interp(fine.t_s[inside], other.t_s, theirs.left_V)
    return float(np.median(there)) > ALSO_SHARE * float(np.median(mine.left_V[inside]))


def onset(fine: Drop, run: str, step: Step) -> Step:
    """The same rise from where its first bad moments stand: an unsteady joint may be sound when it begins."""
    moments = _moments(fine, run, step.at_s.low)
    marks = np.flatnonzero(moments.bad)
    near = [m for k, m in enumerate(marks[:-2]) if fine.t_s[marks[k + 2]] - fine.t_s[m] < EPISODE_S]
    if not near or abs(fine.t_s[near[0]] - step.at_s.value) > ONSET_S:
        return step
    at = float(fine.t_s[near[0]])
    return replace(step, at_s=Measured(at, at - fine.bin_s, at + fine.bin_s, "the first bad moment"))


def _episodes(drop: Drop, moments: _Moments, wiring: Tree, lasting_mohm: float) -> Flicker | None:
    """lasting_mohm: the rise that a step would be; what is still there behind the last bad moment is that step."""
    run, bad, lost, sigma = moments.run, moments.bad, moments.mohm, moments.sigma_V
    marks = np.flatnonzero(bad)
    if len(marks) < 4:
        return None
    t = drop.t_s
    groups = np.split(marks, np.flatnonzero(np.diff(t[marks]) > EPISODE_S) + 1)
    spans, dips = [], 0
    for group in groups:
        inside = slice(int(group[0]), int(group[-1]) + 1)
        typical = float(np.percentile(lost[group], 50))
        telling = moments.telling(typical)[inside]
        between = telling & ~bad[inside]
        turns = int(np.sum(np.diff(np.concatenate(([False], between)).astype(np.int8)) == 1))
        if len(group) < 4 or int(between.sum()) < 2 or turns < 1:
            continue
        if int(moments.gained[inside].sum()) > GAINED_SHARE * len(group):
            continue
        spans.append((float(t[group[0]]), float(t[group[-1]]), float(np.percentile(lost[group], 90))))
        dips += 1 + turns
    if not spans:
        return None
    worst = max(spans, key=lambda s: s[2])
    after = moments.telling(float(np.median(lost[marks]))) & (t > max(end for _, end, _ in spans) + 0.2)
    if float(after.sum()) * drop.bin_s < GOOD_AGAIN_S or float(bad[after].mean()) > 0.02:
        return None
    if lasting_mohm and float(np.median(lost[after])) > STILL_SHARE * lasting_mohm:
        return None
    error = 1e3 * 2.0 * sigma / max(LEAST_LOAD_A, 1.0)
    figure = Measured(worst[2], max(worst[2] - error, 0.0), worst[2] + error, "drop over the run while it was bad")
    return Flicker(run, candidates_of(wiring, (run,)), tuple(spans), figure, drop.tap, dips)
