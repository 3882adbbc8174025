"""Where voltage is tapped: the resistance between taps over time, and a joint that stepped up.

Between the pack's tap and each controller's tap lie the battery lead and that controller's own lead. A step that
every tap sees is in what they share; a step that one sees alone is in its own lead.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.match_data import MatchData
from analysis.pack_model import NotFitted, ResistanceOverTime, Step, resistance_steps
from analysis.signal import Signal
from analysis.wiring import NoCurrent, RunCurrent, Tree, currents_of, tree

# Two taps see the same step when it lies within this of each other (our choice: three samples of a 20 Hz logger
# plus the alignment's own error).
SAME_STEP_S = 1.0


@dataclass(frozen=True, eq=False)
class Seen:
    """What one pair of taps saw: the pack's and `tap`, with the runs between them."""

    tap: str
    path: tuple[str, ...]
    over_time: ResistanceOverTime


@dataclass(frozen=True, eq=False)
class JointStep:
    """A lasting step of resistance, placed as closely as the taps allow.

    runs: the runs it may sit in (one where the taps place it); candidates: their contacts and the runs themselves.
    """

    step: Step
    runs: tuple[str, ...]
    candidates: tuple[str, ...]
    tap: str
    agreeing: int
    taps: int

    @property
    def part(self) -> str:
        return self.runs[0]


def joint_step(data: MatchData) -> JointStep | None:
    """The step that the taps see best, made once; None without taps or without a step."""
    if "joint_step" not in data.memo:
        data.memo["joint_step"] = _find(data)
    found: JointStep | None = data.memo["joint_step"]
    return found


def _find(data: MatchData) -> JointStep | None:
    upstream = data.get("pack_voltage_V")
    if data.build is None or upstream is None or data.window is None:
        return None
    wiring = tree(data.build)
    currents = currents_of(data, wiring)
    seen = [s for tap in _taps(data, wiring) if (s := _look(data, wiring, currents, upstream, tap)) is not None]
    data.memo["taps"] = seen
    steps = [
        (s, s.over_time.step)
        for s in seen
        if s.over_time.step is not None and s.over_time.step.change_mohm.value >= data.settings.joint_step_mohm
    ]
    if not steps:
        return None
    best, step = max(steps, key=lambda pair: pair[1].sigmas)
    agreeing = [s for s, other in steps if abs(other.at_s.value - step.at_s.value) < SAME_STEP_S]
    runs = _place(best, agreeing, seen)
    candidates: list[str] = []
    for run in runs:
        candidates += [*wiring.runs[run].wire.through, run]
    return JointStep(step, runs, tuple(dict.fromkeys(candidates)), best.tap, len(agreeing), len(seen))


def _place(best: Seen, agreeing: list[Seen], seen: list[Seen]) -> tuple[str, ...]:
    """The runs that all agreeing taps share and no silent tap would have seen; else the whole path."""
    runs = [run for run in best.path if all(run in other.path for other in agreeing)]
    silent = [s for s in seen if s not in agreeing]
    if len(agreeing) == 1:  # alone: not in what the others also see
        alone = [run for run in runs if not any(run in other.path for other in silent)]
        runs = alone or runs
    return tuple(runs or best.path)


def _taps(data: MatchData, wiring: Tree) -> list[tuple[str, str]]:
    """(channel, node) of every voltage below the pack: controllers, regulators, the distribution."""
    assert data.build is not None
    nodes = dict.fromkeys(run.wire.to for run in wiring.runs.values() if not run.is_motor_lead)
    taps = [(f"{node}_voltage_V", node) for node in nodes]
    taps += [(f"{r.id}_voltage_V", r.from_) for group in wiring.taps.values() for r in group]
    return [(channel, node) for channel, node in taps if channel in data.signals]


def _look(
    data: MatchData,
    wiring: Tree,
    currents: dict[str, RunCurrent | NoCurrent],
    upstream: Signal,
    tap: tuple[str, str],
) -> Seen | None:
    channel, node = tap
    path = wiring.path_to(node)
    if not path:
        return None
    main = currents.get(path[0])
    if not isinstance(main, RunCurrent) or not main.complete:
        return None
    if not data.same_clock(channel, "pack_voltage_V", main.signal.channel):
        return None
    downstream = data.signals[channel]
    assert data.window is not None
    start, end = data.window.start_s, data.window.end_s
    current, above, below = (s.between(start, end).good() for s in (main.signal, upstream, downstream))
    found = resistance_steps(current, above, below)
    return None if isinstance(found, NotFitted) else Seen(channel, path, found)
