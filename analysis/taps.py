"""Where voltage is tapped: the resistance of every run between taps, and a joint that stepped up, creeps, wanders or
comes and goes.

A step that every tap below the pack sees is in what they share; a step that follows one branch's current is in that
branch's own lead. What two runs explain equally well stays with both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.joint_moments import Flicker, also_bad, flicker, lost_elsewhere, manner, onset
from analysis.match_data import MatchData
from analysis.pack_model.harness import Step, find_step
from analysis.run_drops import FINE_S, Drop, drops, robust, solve, warming
from analysis.signal import Floats, Measured
from analysis.suspects import candidates_of
from analysis.wiring import NoCurrent, RunCurrent, Tree, currents_of, tree

# Two taps see the same step when it lies within this of each other (our choice: three samples of a 20 Hz logger
# plus the alignment's own error).
SAME_STEP_S = 1.0
# Copper gains 39 % in 100 K (IEC 60028, from memory): a rise under this share of a run is warming and no joint.
WARM_SHARE = 0.4
# Copper at the 200 °C that no insulation outlives has 71 % more than at 20 °C (the same coefficient).
COPPER_SHARE = 0.8
CREEP_SIGMAS = 12.0  # our choice: as for a sure step
LEAST_SIGMAS = 7.0  # our choice: no healthy match of any rate reaches it by chance
CLEARLY = 1.3
SEEN_SHARE = 0.5
WITNESS_S = 0.25  # our choice: ten times the clock error of a 20 Hz log
MODEL_REL = 0.01  # our choice, from matches with known joints: hits between the samples of several clocks


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


@dataclass(frozen=True, eq=False)
class Joints:
    steps: tuple[JointStep, ...] = ()
    flickers: tuple[Flicker, ...] = ()
    taps: int = 0


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
    rises: list[_Rise] = []
    for drop in coarse:
        found = _steps(drop, data.settings.joint_step_mohm)
        close_up = fine.get(drop.tap, drop)
        seen = None if drop.upstream is None else flicker(close_up, found[0] if found else None, wiring)
        if seen is not None and any(
            lost_elsewhere(close_up, fine.get(d.tap, d), seen) for d in coarse if d is not drop
        ):
            seen = None
        if seen is not None and all(also_bad(fine.get(d.tap, d), seen) for d in coarse if seen.run in d.path):
            flickers.append(seen)
            continue
        found = found or _creeps(drop, data.settings.joint_step_mohm)
        for run, step in found:
            how = manner(close_up, run, step)
            rises.append(_Rise(drop, run, onset(close_up, run, step) if how == "wanders" else step, how))
    placed = tuple(_placed(wiring, rises, coarse, _witnesses(data, wiring, currents, coarse) if rises else []))
    return Joints(placed, tuple(flickers), len(coarse))


def _witnesses(
    data: MatchData, wiring: Tree, currents: dict[str, RunCurrent | NoCurrent], seen: list[Drop]
) -> list[Drop]:
    """Taps whose clock is too loose to find a joint by, in bins so wide that it no longer matters.

    They may confirm a rise that a better tap found, and so place it; they never clear one.
    """
    better = {drop.tap for drop in seen}
    return [d for d in drops(data, wiring, currents, WITNESS_S) if d.tap not in better]


@dataclass(frozen=True, eq=False)
class _Rise:
    drop: Drop
    run: str
    step: Step
    how: str


def _steps(drop: Drop, least_mohm: float) -> list[tuple[str, Step]]:
    """Rises by the run of the path whose current carries them, the clearest first.

    A further one counts only beside the clearest: a rise in one run looks like a rise in every run that shares its
    load.
    """
    creep = [warming(drop, run) for run in drop.path]
    x = drop.design(*creep)
    _, weight = robust(x, drop.y, drop.on)
    found = [(run, step) for run in drop.path if (step := _rise(drop, run, x, weight, least_mohm)) is not None]
    found.sort(key=lambda pair: -pair[1].sigmas)
    if len(found) < 2:
        return found
    first, step = found[0]
    known = np.column_stack([x, drop.currents[first] * (drop.t_s >= step.at_s.value)])
    _, weight = robust(known, drop.y, drop.on)
    beside = {run for run, _ in found[1:] if _rise(drop, run, known, weight, least_mohm) is not None}
    return [found[0], *(pair for pair in found[1:] if pair[0] in beside)]


def _rise(drop: Drop, run: str, x: Floats, weight: Floats, least_mohm: float) -> Step | None:
    """The clearest lasting rise that goes with the current of one run, where it counts."""
    i = drop.currents[run]
    if float(i[drop.on].std()) < max(1.0, 2.0 * drop.noise_A[run]):
        return None
    step = find_step(drop.t_s, i, x, drop.y, drop.on, weight, drop.path.index(run))
    if step is None or step.sigmas < LEAST_SIGMAS:
        return None
    change = step.change_mohm
    if change.value < max(least_mohm, WARM_SHARE * max(step.before_mohm.value, 0.0)) or change.low <= 0:
        return None
    return step


def _creeps(drop: Drop, least_mohm: float) -> list[tuple[str, Step]]:
    """A rise without a step in it: the drop grows with the heat, by more than copper does; none where the copper of
    another run of the path explains it as well."""
    found: list[tuple[str, Step]] = []
    warmed: dict[str, float] = {}  # runs whose own copper may be all of it, and how clearly
    for run in drop.path:
        i = drop.currents[run]
        heat = warming(drop, run)
        shape = np.divide(heat, i, out=np.zeros_like(i), where=np.abs(i) > 1e-9)
        slow = np.linspace(-1.0, 1.0, len(i))
        base = drop.design()
        x = np.column_stack([base, heat, i * slow])
        beta, w = robust(x, drop.y, drop.on)
        before = drop.y - base @ solve(base, drop.y, w)
        after = drop.y - x @ beta
        var = max(float(w @ after**2) / max(float(w.sum()), 1.0), 1e-12)
        sigmas = float(np.sqrt(max(float(w @ before**2) - float(w @ after**2), 0.0) / var))
        r = 1e3 * (beta[drop.path.index(run)] + beta[-2] * shape + beta[-1] * slow)
        r = r[drop.on]
        early, late = float(np.median(r[: len(r) // 10])), float(np.percentile(r, 95))
        rise = late - early
        if rise < COPPER_SHARE * max(early, 0.0):
            warmed[run] = sigmas
        if sigmas < CREEP_SIGMAS or rise < max(least_mohm, COPPER_SHARE * max(early, 0.0)):
            continue
        at = float(drop.t_s[drop.on][int(np.argmax(r > early + 0.5 * least_mohm))])
        error = 1.96 * rise / sigmas
        made = [Measured(v, v - error, v + error, "least squares") for v in (early, late, rise)]
        when = Measured(at, at, float(drop.t_s[-1]), "where it has grown by half of what counts")
        found.append((run, Step(when, made[0], made[1], made[2], sigmas)))
    copper = max(warmed.values(), default=0.0)
    return sorted((pair for pair in found if pair[1].sigmas > copper), key=lambda pair: -pair[1].sigmas)[:1]


def _placed(wiring: Tree, steps: list[_Rise], seen: list[Drop], witnesses: list[Drop]) -> list[JointStep]:
    """Rises of several taps brought together, each in the run that every tap below it sees; the clearest first."""
    out: list[JointStep] = []
    left = sorted(steps, key=lambda row: -row.step.sigmas)
    while left:
        rise = left[0]
        drop, run, step = rise.drop, rise.run, rise.step
        spanning = [d for d in seen if run in d.path]
        agreeing = [d for d in spanning if d is drop or _share(d, run, step) >= SEEN_SHARE]
        confirming = [d for d in witnesses if run in d.path and _share(d, run, step) >= SEEN_SHARE]
        agreeing, spanning = agreeing + confirming, spanning + confirming
        same = {id(d) for d in agreeing}
        left = left[1:]
        if len(agreeing) < len(spanning):  # a tap that spans this run and stays silent clears it
            continue
        left = [r for r in left if not (id(r.drop) in same and abs(r.step.at_s.value - step.at_s.value) < SAME_STEP_S)]
        runs: tuple[str, ...] = (run,)
        shared = set.intersection(*(set(d.path) for d in agreeing))
        if drop.upstream is None:
            runs = drop.path
        elif len(shared) > 1:
            second = _second(drop, run, step, shared)
            runs = (run,) if second is None else (run, second)
        figures = [r.step.change_mohm for r in steps if r.run == run and id(r.drop) in same]
        change = _spread(step.change_mohm, figures)
        out.append(
            JointStep(
                replace(step, change_mohm=change), runs, candidates_of(wiring, runs), drop.tap, len(agreeing),
                len(spanning), rise.how, drop.upstream is None,
            )
        )  # fmt: skip
    return out


def _spread(figure: Measured, others: list[Measured]) -> Measured:
    """The figure with what the other taps say of the same joint, and what a regression on a moving drop is worth."""
    model = MODEL_REL * abs(figure.value)
    low = min([figure.low, *(o.low for o in others if abs(o.value - figure.value) < 0.2 * abs(figure.value))])
    high = max([figure.high, *(o.high for o in others if abs(o.value - figure.value) < 0.2 * abs(figure.value))])
    return Measured(figure.value, low - model, high + model, f"{figure.basis}, {max(len(others), 1)} taps")


def _share(drop: Drop, run: str, step: Step) -> float:
    """What share of a rise in one run this tap sees at that moment."""
    late = drop.t_s >= step.at_s.value
    if not bool((drop.on & late).any()) or not bool((drop.on & ~late).any()):
        return 1.0  # nothing on one side of it: it cannot say
    x = np.column_stack([drop.design(), drop.currents[run] * late])
    _, w = robust(x, drop.y, drop.on)
    return 1e3 * float(solve(x, drop.y, w)[-1]) / step.change_mohm.value


def _second(drop: Drop, run: str, step: Step, shared: set[str]) -> str | None:
    """Another run of the path that explains the rise about as well; None where one stands out."""
    late = drop.t_s >= step.at_s.value
    base = drop.design()
    _, w = robust(np.column_stack([base, drop.currents[run] * late]), drop.y, drop.on)
    plain = drop.y - base @ solve(base, drop.y, w)
    gains = {}
    for other in shared:
        full = np.column_stack([base, drop.currents[other] * late])
        gains[other] = float(w @ plain**2) - float(w @ (drop.y - full @ solve(full, drop.y, w)) ** 2)
    rest = {r: g for r, g in gains.items() if r != run}
    second = max(rest, key=lambda r: rest[r], default=None)
    return second if second is not None and gains[run] < CLEARLY * rest[second] else None
