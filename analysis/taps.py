"""Where voltage is tapped: the resistance of every run between taps, and a joint that stepped up, creeps, wanders or
comes and goes.

A step that every tap below the pack sees is in what they share; a step that follows one branch's current is in that
branch's own lead. What two runs explain equally well stays with both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.match_data import MatchData
from analysis.pack_model.harness import Step, find_step
from analysis.run_drops import FINE_S, Drop, drops, robust, solve, warming
from analysis.signal import Bools, Floats, Measured
from analysis.wiring import Tree, currents_of, tree

# Two taps see the same step when it lies within this of each other (our choice: three samples of a 20 Hz logger
# plus the alignment's own error).
SAME_STEP_S = 1.0
# Copper gains 39 % in 100 K (IEC 60028, from memory): a rise under this share of a run is warming and no joint.
WARM_SHARE = 0.4
LEAST_SIGMAS = 7.0  # our choice: no healthy match of any rate reaches it by chance
# A joint that holds adds one resistance; a loose one wanders. Our choice: by this share of what it added.
UNSTEADY_SHARE = 0.22
LEAST_LOAD_A = 2.5  # our choice: under it the drop over a joint drowns in the sensors' steps
BAD_MOHM = 10.0  # our choice: five times what counts as a lasting step, because it is seen for moments only
BAD_SIGMAS = 6.0
EPISODE_S = 0.8
GOOD_AGAIN_S = 1.0
LEAST_SOUND_BINS = 100
ONSET_S = 4.0
CLEARLY = 1.3


@dataclass(frozen=True, eq=False)
class JointStep:
    """A lasting rise of resistance, placed as closely as the taps allow.

    runs: the runs it may sit in (one where the taps place it); candidates: their contacts and the runs themselves.
    how: "step" (one value from then on), "wanders" (unsteady from then on), "creeps" (grows with the heat in it).
    from_pack: no tap lies between it and the cells, so the pack itself may be it.
    """

    step: Step
    runs: tuple[str, ...]
    candidates: tuple[str, ...]
    tap: str
    agreeing: int
    taps: int
    how: str = "step"
    from_pack: bool = False

    @property
    def part(self) -> str:
        return self.runs[0]


@dataclass(frozen=True)
class Flicker:
    """A run whose resistance comes and goes. spans: the stretches; mohm: the largest that was seen, and its tap."""

    run: str
    candidates: tuple[str, ...]
    spans: tuple[tuple[float, float, float], ...]
    mohm: Measured
    tap: str
    times: int


@dataclass(frozen=True, eq=False)
class Joints:
    steps: tuple[JointStep, ...] = ()
    flickers: tuple[Flicker, ...] = ()
    taps: int = 0


def joint_step(data: MatchData) -> JointStep | None:
    """The step that the taps see best; None without taps or without a step."""
    steps = joints(data).steps
    return steps[0] if steps else None


def joints(data: MatchData) -> Joints:
    """Everything the taps say about joints, made once."""
    if "joints" not in data.memo:
        data.memo["joints"] = _find(data)
    found: Joints = data.memo["joints"]
    return found


def _find(data: MatchData) -> Joints:
    if data.build is None or data.window is None:
        return Joints()
    wiring = tree(data.build)
    currents = currents_of(data, wiring)
    coarse = drops(data, wiring, currents)
    if not coarse:
        return Joints()
    fine = {d.tap: d for d in drops(data, wiring, currents, FINE_S)}
    flickers: list[Flicker] = []
    steps: list[tuple[Drop, str, Step, str]] = []
    for drop in coarse:
        best = _best_step(drop, data.settings.joint_step_mohm)
        seen = None if drop.upstream is None else _flicker(fine.get(drop.tap, drop), best, wiring)
        if seen is not None:
            flickers.append(seen)
        elif best is not None:
            how = _manner(fine.get(drop.tap, drop), best[0], best[1])
            step = _onset(fine.get(drop.tap, drop), best[0], best[1]) if how == "wanders" else best[1]
            steps.append((drop, best[0], step, how))
    return Joints(tuple(_placed(wiring, steps, coarse)), tuple(flickers), len(coarse))


def candidates_of(wiring: Tree, runs: tuple[str, ...]) -> tuple[str, ...]:
    """The contacts, fuses and leads of these runs."""
    names: list[str] = []
    for run in runs:
        names += [*wiring.runs[run].wire.through, *(f.id for f in wiring.runs[run].fuses), run]
    return tuple(dict.fromkeys(names))


def _best_step(drop: Drop, least_mohm: float) -> tuple[str, Step, float] | None:
    """The run of the path whose current carries a rise best: (run, step, sigmas of the next best run)."""
    creep = [warming(drop, run) for run in drop.path]
    x = drop.design(*creep)
    _, weight = robust(x, drop.y, drop.on)
    found: list[tuple[str, Step]] = []
    for column, run in enumerate(drop.path):
        i = drop.currents[run]
        if float(i[drop.on].std()) < max(1.0, 2.0 * drop.noise_A[run]):
            continue
        step = find_step(drop.t_s, i, x, drop.y, drop.on, weight, column)
        if step is None or step.sigmas < LEAST_SIGMAS:
            continue
        change = step.change_mohm
        if change.value < max(least_mohm, WARM_SHARE * max(step.before_mohm.value, 0.0)) or change.low <= 0:
            continue
        found.append((run, step))
    if not found:
        return None
    found.sort(key=lambda pair: -pair[1].sigmas)
    second = found[1][1].sigmas if len(found) > 1 else 0.0
    return found[0][0], found[0][1], second


def _manner(drop: Drop, run: str, step: Step) -> str:
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
    before, after = left[loaded & ~late], left[loaded & late]
    if len(before) > 20 and len(after) > 20:
        size = 1e-3 * step.change_mohm.value * np.abs(i[loaded & late])
        noise = max(float(np.median(np.abs(before))), 0.3 * drop.noise_V)
        unsteady = float(np.median(np.abs(after)))
        if np.sqrt(max(unsteady**2 - noise**2, 0.0)) > 0.67 * UNSTEADY_SHARE * float(np.median(size)):
            return "wanders"
    if float(w @ crept**2) < float(w @ left**2):
        return "creeps"
    return "step"


def _placed(wiring: Tree, steps: list[tuple[Drop, str, Step, str]], seen: list[Drop]) -> list[JointStep]:
    """Steps of several taps brought together; the run that explains most is named."""
    out: list[JointStep] = []
    left = sorted(steps, key=lambda row: -row[2].sigmas)
    while left:
        drop, run, step, how = left[0]
        same = [row for row in left if abs(row[2].at_s.value - step.at_s.value) < SAME_STEP_S]
        left = [row for row in left if row not in same]
        agreeing = [row for row in same if row[1] == run]
        runs: tuple[str, ...] = (run,)
        if drop.upstream is None:
            runs = drop.path
        elif len(drop.path) > 1:
            silent = [d for d in seen if run in d.path and d.tap not in {row[0].tap for row in same}]
            if silent and run == drop.path[0]:  # what others share and do not see is not there
                runs = drop.path[1:]
            second = _best_step_of(drop, run, step)
            if second is not None:
                runs = (run, second)
        out.append(
            JointStep(
                step, runs, candidates_of(wiring, runs), drop.tap, len(agreeing),
                sum(run in d.path for d in seen), how, drop.upstream is None,
            )
        )  # fmt: skip
    return out


def _best_step_of(drop: Drop, run: str, step: Step) -> str | None:
    """Another run of the path that explains the step about as well; None where one stands out."""
    late = drop.t_s >= step.at_s.value
    base = drop.design()
    _, w = robust(np.column_stack([base, drop.currents[run] * late]), drop.y, drop.on)
    gains = {}
    plain = drop.y - base @ solve(base, drop.y, w)
    for other in drop.path:
        full = np.column_stack([base, drop.currents[other] * late])
        gains[other] = float(w @ plain**2) - float(w @ (drop.y - full @ solve(full, drop.y, w)) ** 2)
    rest = {r: g for r, g in gains.items() if r != run}
    second = max(rest, key=lambda r: rest[r], default=None)
    return second if second is not None and gains[run] < CLEARLY * rest[second] else None


@dataclass(frozen=True, eq=False)
class _Moments:
    """What each fine bin lost beyond the sound state of one run, in mΩ, and which bins are clearly bad."""

    run: str
    flowing: Bools
    bad: Bools
    mohm: Floats
    sigma_V: float
    least_V: Floats  # the loss that would have been clear in each bin
    current_A: Floats

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
    beta, _ = robust(x, fine.y, sound, i if whole else None)
    left = fine.y - x @ beta
    sigma = max(1.4826 * float(np.median(np.abs(left[sound]))), 0.5 * fine.noise_V, 1e-4)
    mohm = np.where(flowing, 1e3 * left / np.where(flowing, i, 1.0), 0.0)
    least = BAD_SIGMAS * sigma + 1.5 * fine.blur
    return _Moments(run, flowing, flowing & (mohm > BAD_MOHM) & (np.abs(left) > least), mohm, sigma, least, i)


def _flicker(fine: Drop, best: tuple[str, Step, float] | None, wiring: Tree) -> Flicker | None:
    """Moments of far more resistance with sound ones between and after them."""
    found: Flicker | None = None
    for run in fine.path:
        until = best[1].at_s.value if best is not None and best[0] == run else None
        one = _episodes(fine, _moments(fine, run, until), wiring)
        if one is not None and (found is None or one.mohm.value < found.mohm.value):
            found = one
    return found


def _onset(fine: Drop, run: str, step: Step) -> Step:
    """The same rise from where its first bad moments stand: an unsteady joint may be sound when it begins."""
    moments = _moments(fine, run, step.at_s.low)
    marks = np.flatnonzero(moments.bad)
    near = [m for k, m in enumerate(marks[:-2]) if fine.t_s[marks[k + 2]] - fine.t_s[m] < EPISODE_S]
    if not near or abs(fine.t_s[near[0]] - step.at_s.value) > ONSET_S:
        return step
    at = float(fine.t_s[near[0]])
    return replace(step, at_s=Measured(at, at - fine.bin_s, at + fine.bin_s, "the first bad moment"))


def _episodes(drop: Drop, moments: _Moments, wiring: Tree) -> Flicker | None:
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
        spans.append((float(t[group[0]]), float(t[group[-1]]), float(np.percentile(lost[group], 90))))
        dips += 1 + turns
    if not spans:
        return None
    worst = max(spans, key=lambda s: s[2])
    after = moments.telling(float(np.median(lost[marks]))) & (t > max(end for _, end, _ in spans) + 0.2)
    if float(after.sum()) * drop.bin_s < GOOD_AGAIN_S or float(bad[after].mean()) > 0.02:
        return None
    error = 1e3 * 2.0 * sigma / max(LEAST_LOAD_A, 1.0)
    figure = Measured(worst[2], max(worst[2] - error, 0.0), worst[2] + error, "drop over the run while it was bad")
    return Flicker(run, candidates_of(wiring, (run,)), tuple(spans), figure, drop.tap, dips)
